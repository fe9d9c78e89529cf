"""The log as a page shows it: what, when, by whom, and whether it was taken back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dashboard.chart_layout import Did
from dashboard.display import View
from dashboard.logbook import Event, Panel
from dashboard.words import DID, LABELS

# Registering is not taken back by a tap: it would take everything that was logged since with it.
KEPT = frozenset({"panel registered", "withdrawn", "alarm seen", "preference"})


@dataclass(frozen=True)
class Entry:
    """One line of the log; `taken_back` says when and by whom, or is ""."""

    id: str
    text: str
    who: str
    taken_back: str
    can_take_back: bool


def said(event: Event, view: View, coat: int | None = None) -> str:
    """ "Coat 3 started 06:12"."""
    text = DID[event.kind].format(at=view.clock(event.at), n=coat if coat else "").replace("  ", " ")
    return text


def entries(events: Iterable[Event], view: View) -> list[Entry]:
    """Newest first. A coat's number counts the coats that were not taken back."""
    listed = list(events)
    gone = {str(event.body["event"]): event for event in listed if event.kind == "withdrawn"}
    found, coat = [], 0
    for event in listed:
        if event.kind == "withdrawn":
            continue
        back = gone.get(event.id)
        number = coat + 1 if event.kind == "coat mixed" else None
        if event.kind == "coat mixed" and back is None:
            coat += 1
        found.append(
            Entry(
                id=event.id,
                text=said(event, view, number),
                who=event.who,
                taken_back=LABELS["taken_back"].format(at=view.clock(back.at), who=back.who) if back else "",
                can_take_back=back is None and event.kind not in KEPT,
            )
        )
    return found[::-1]


def rail(panel: Panel) -> list[Did]:
    """What the chart's lowest rail shows of a panel."""
    done = [Did(coat.mixed_at, str(coat.number)) for coat in panel.coats]
    for at, label in (
        (panel.washed_at, "washed"),
        (panel.sanded_at, "sanded"),
        (panel.demoulded_at, "demoulded"),
    ):
        if at is not None:
            done.append(Did(at, LABELS[label]))
    return done
