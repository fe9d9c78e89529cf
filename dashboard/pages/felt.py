"""What is answered to a thumb test, before it is taken down: what it does, and whether it is to be confirmed."""

from __future__ import annotations

from collector.store.schema import NotYet
from dashboard.desk import Desk
from dashboard.entry_check import check
from dashboard.felt import Moved, Told, weigh
from dashboard.panel import Event


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
