"""The log as a page shows it: what, when, by whom, and whether it was taken back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from dashboard.chart_layout import Did
from dashboard.devices import ProbeLog
from dashboard.display import DECIMALS, UNITS, View
from dashboard.entry_check import TIMELESS
from dashboard.fold import STEPS, time_changes, told
from dashboard.measures import SYSTEMS
from dashboard.panel import Event, Panel
from dashboard.words import DID, LABELS

KEPT = frozenset({"withdrawn", "alarm seen", "preference"})
"""What nobody takes back."""
HIDDEN = frozenset({"withdrawn", "time changed"})
"""What shows on the entry that it is about."""


@dataclass(frozen=True)
class Entry:
    """One line of the log; `taken_back` says when, by whom and why, or is "".

    at       UTC ms, as it was last said
    before   what it said before its time was changed, each with when, by whom and why
    photo    where its picture is shown, if it has one
    asks     an unlikely thumb test that nobody has confirmed: it does not count
    """

    id: str
    at: int
    text: str
    who: str
    taken_back: str
    can_take_back: bool
    can_change_time: bool
    before: tuple[tuple[str, str], ...] = ()
    photo: str | None = None
    asks: bool = False


def said(event: Event, view: View, coat: int | None = None) -> str:
    """ "Coat 3 started 06:12"."""
    body = event.body
    if event.kind == "decided":
        return _decided(event, view)
    values = {
        name: body.get(name, "")
        for name in ("probe", "zone", "reason", "text", "value", "scale", "on", "of", "person")
    }
    text = DID[event.kind].format(
        at=view.clock(event.at),
        n=coat if coat else "",
        unit=_chosen(str(body.get("value", ""))),
        found=_found(event),
        pot=_poured(body.get("pot") or {}),
        until=view.clock(body["until"]) if "until" in body else "",
        warm=view.temperature(body["at_C"]) if "at_C" in body else "",
        **values,
    )
    return text.replace("  ", " ")


def _decided(event: Event, view: View) -> str:
    """ "Demould granted 09:10"."""
    key = "decided_granted" if event.body["granted"] else "decided_refused"
    return LABELS[key].format(
        act=_act(event), at=view.clock(event.at), missing="; ".join(event.body["missing"])
    )


def refused(event: Event, view: View) -> str:
    """A decision that was not granted, in short: "Demoulding not granted 09:10; 3 things are missing"."""
    count = len(event.body["missing"])
    key = "decided_short" if count == 1 else "decided_shorts"
    return LABELS[key].format(act=_act(event), at=view.clock(event.at), n=count)


def _act(event: Event) -> str:
    return LABELS[f"decided_{event.body['act'].replace(' ', '')}"]


def _poured(pot: Mapping[str, Any]) -> str:
    """ "312 g resin, 94 g hardener, stirred and scraped"."""
    said = []
    if pot.get("resin_g") is not None and pot.get("hardener_g") is not None:
        said.append(LABELS["poured"].format(resin=f"{pot['resin_g']:g}", hardener=f"{pot['hardener_g']:g}"))
    if pot.get("stirred") is not None:
        said.append(LABELS["stirred" if pot["stirred"] else "not_stirred"])
    if pot.get("vessel") is not None:
        said.append(LABELS["in_vessel"].format(vessel=pot["vessel"]))
    return ", ".join(said)


def _chosen(value: str) -> str:
    """A preference in words; "" for an entry that is none."""
    if value in DECIMALS:
        return LABELS[f"decimal_{value}"]
    return UNITS.get(value) or (LABELS[value] if value in SYSTEMS else "")


def _found(event: Event) -> str:
    """A thumb test's words, the softest first; and the tile's temperature."""
    tile_C = event.body.get("tile_C")
    found = LABELS["or"].join(str(word) for word in event.body.get("words", ()))
    if event.body.get("patchy"):
        found = LABELS["patchy"].format(found=found)
    return found if tile_C is None else LABELS["on_a_tile"].format(found=found, tile=f"{tile_C:g}")


def entries(events: Iterable[Event], view: View) -> list[Entry]:
    """Newest first. A coat's number counts the coats that were not taken back.

    A registration may be taken back while the panel has no coat: it would take what was logged since with it.
    """
    listed = list(events)
    gone = {str(event.body["event"]): event for event in listed if event.kind == "withdrawn"}
    changes = time_changes(listed)
    coats = [event for event in listed if event.kind == "coat mixed" and event.id not in gone]
    kept = KEPT | {"panel registered"} if coats else KEPT
    meant = {event.body["of"] for event in listed if event.kind == "thumb sure" and event.id not in gone}
    found, coat = [], 0
    for first, event in zip(listed, told(listed), strict=True):
        if event.kind in HIDDEN or (event.kind == "decided" and event.body["of"]):
            continue  # what is kept beside an entry shows on the record
        back = gone.get(event.id)
        number = coat + 1 if event.kind == "coat mixed" else None
        if event.kind == "coat mixed" and back is None:
            coat += 1
        found.append(
            Entry(
                id=event.id,
                at=event.at,
                text=said(event, view, number),
                who=event.who,
                taken_back=_by(back, "taken_back", view) if back else "",
                can_take_back=back is None and event.kind not in kept,
                can_change_time=back is None and event.kind in STEPS and event.kind not in TIMELESS,
                before=tuple(_before(first, changes, number, view)),
                photo=f"/panels/{event.panel}/photos/{event.body['digest']}"
                if event.kind == "photo"
                else None,
                asks=back is None and event.body.get("sure") is False and event.id not in meant,
            )
        )
    return found[::-1]


def _before(
    first: Event, changes: Iterable[Event], number: int | None, view: View
) -> Iterator[tuple[str, str]]:
    """What an entry said before each change of its time, and the change."""
    event = first
    for change in changes:
        if change.body["event"] == first.id:
            yield said(event, view, number), _by(change, "time_changed", view)
            event = replace(event, at=int(change.body["to"]))


def _by(entry: Event, key: str, view: View) -> str:
    """ "taken back 06:30 by Kim: wrong panel"."""
    text = LABELS[key].format(at=view.clock(entry.at), who=entry.who or LABELS["nobody"])
    return f"{text}: {entry.body['reason']}" if entry.body.get("reason") else text


def rail(panel: Panel, logs: Mapping[str, ProbeLog]) -> list[Did]:
    """What the chart's lowest rail shows of a panel: what was done to it, and to its probes (`logs`, by probe)."""
    done = [
        Did(coat.mixed_at, LABELS["coat"].format(n=coat.number), str(coat.number)) for coat in panel.coats
    ]
    done += [Did(test.at, LABELS["did_thumb"]) for coat in panel.coats for test in coat.thumb_tests]
    for at, label in (
        (panel.washed_at, "washed"),
        (panel.sanded_at, "sanded"),
        (panel.trimmed_at, "trimmed"),
        (panel.demoulded_at, "demoulded"),
        (panel.heated_since, "did_heat"),
    ):
        if at is not None:
            done.append(Did(at, LABELS[label]))
    known = [
        logs[probe] for probe in (panel.surface_probe, panel.air_probe) if probe is not None and probe in logs
    ]
    replaced = {device for log in known for device in log.replaced}
    done += [Did(device.since, LABELS["probe_mark"]) for device in replaced]
    return done
