"""What is answered to a thumb test, before it is taken down: what it does, and whether it is to be confirmed."""

from __future__ import annotations

from collector.store.schema import NotYet, StoreError
from dashboard.assess import assess
from dashboard.desk import Desk
from dashboard.entry_check import check
from dashboard.felt import Moved, Told, weigh
from dashboard.panel import Event, Panel


def felt(desk: Desk, event: Event) -> Told:
    """Of a thumb test, or of its confirmation. Raises LogbookError if the entry makes no sense.

    An entry that is there already is not weighed again: it comes twice when its first answer was lost.
    """
    events, panels, now = desk.shop.logbook.events(), desk.panels(), desk.shop.clock.now()
    earlier = next((item for item in events if item.id == event.id), None)
    if earlier is not None:
        return Told(earlier, Moved("", None, None, None, ""))
    check(event, panels, events, None)
    try:
        facts = desk.shop.facts(panels[event.panel or ""], now)
    except NotYet:
        facts = None
    return weigh(facts, event, now, desk.view())


def look_ahead(desk: Desk, panel: Panel) -> None:
    """Works the panel out once while somebody looks at its thumb page: readings are in memory when the tap comes."""
    now = desk.shop.clock.now()
    try:
        assess(desk.shop.facts(panel, now), now)
    except StoreError:
        return  # the tap itself will tell
