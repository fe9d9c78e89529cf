"""What the tool said when somebody decided, kept beside the entry for good: working it out anew never changes it.

A decision is an entry that goes on from an answer: the next coat, sanding, demoulding, releasing a hold. Serve puts
a `decided` event beside each in the same commit; one that goes against the answer is a deviation, and says so.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from typing import Any, Protocol

from collector.store.reads import Where, open_store
from collector.store.schema import StoreError
from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.door.visitor import asking
from dashboard.panel import Coat, Event, Panel
from dashboard.record.gather import ledgers, probes_of, since_of, software
from dashboard.words import KEYS
from model.verdict import Say

ACTS: Mapping[str, str] = {
    "coat mixed": "recoat", "sanded": "sand", "demoulded": "demould", "released": "release", "scrapped": "scrap",
}  # fmt: skip
"""Entries that are decisions, and what is decided. A first coat is "mix"."""

FITS: Mapping[str, frozenset[str]] = {
    "mix": frozenset({"planned"}),
    "recoat": frozenset({"recoatable", "recoatable_last", "sanded"}),
    "sand": frozenset({"sandable", "sandable_cold", "sanded", "demouldable", "fully_cured"}),
    "demould": frozenset({"demouldable", "fully_cured"}),
}
"""Headlines that an act goes with; of any other act nothing is said, so that none is against it."""

LATE_MS = 5 * 60_000
"""An entry for a time longer ago than this is held against what was shown then, not now."""


class Answers(Protocol):
    """What watch has worked out; both may raise collector.store.schema.NotYet."""

    def assessment(self, panel: str) -> Assessment | None: ...
    def said(self, panel: str) -> list[tuple[int, str, str]]: ...


@dataclass(frozen=True)
class Decisions:
    """Makes the `decided` event that goes beside an entry. `readings`: where they are, None: there are none."""

    answers: Answers
    readings: Where | None
    view: Callable[[], View]

    def beside(self, event: Event, panels: Mapping[str, Panel]) -> list[Event]:
        """What is to be taken down with an entry; `panels` as they were before it."""
        panel = panels.get(event.panel or "")
        act = ACTS.get(event.kind)
        if act is None or panel is None:
            return []
        act = "mix" if act == "recoat" and not panel.coats else act
        return [
            self.decided(
                f"{event.id}.decided", event, panel, act, of=event.id, signed=bool(asking().signed) or None
            )
        ]

    def decided(
        self,
        id_: str,
        event: Event,
        panel: Panel,
        act: str,
        *,
        of: str | None = None,
        granted: bool = True,
        missing: tuple[str, ...] = (),
        signed: bool | None = None,
    ) -> Event:
        """The decision as it is taken down: at, by whom and for which panel as `event` says. Times UTC ms.

        of       id of the entry it goes with, None: it stands by itself
        missing  keys of what would have been needed, of one that was not granted
        signed   whether a PIN or password proved the name just then; None: nobody is asked for one
        """
        said = self._said(event, panel)
        # A grant rests on its evidence; what is held against the answer is what was done.
        against = of is not None and act in FITS and not _fits(act, said, panel.newest)
        body: dict[str, Any] = {
            "act": act, "of": of, "granted": granted, "missing": list(missing), "deviation": against, "said": said,
            "software": software(),
        }  # fmt: skip
        if signed is not None:
            body["signed"] = signed
        return Event(id_, event.at, event.recorded, event.who, "decided", panel.id, body)

    def _said(self, event: Event, panel: Panel) -> dict[str, Any] | None:
        """None if nothing was worked out of the panel as it was."""
        try:
            item = self.answers.assessment(panel.id)
            shown = self.answers.said(panel.id) if event.at < event.recorded - LATE_MS else []
        except StoreError:
            return None
        if item is None or not item.is_of(panel):
            return None
        old = item.is_old(event.recorded)
        headline = Say("too_old") if old else item.verdict.headline
        earlier = [json.loads(text) for at, _, text in shown if at <= event.at]
        if earlier:
            headline = Say(**earlier[-1])
        why = () if earlier or old else item.verdict.why
        view = self.view()
        return frozen(item, headline) | {
            "words": view.sentence(headline) if headline.key in KEYS else headline.key,
            "why": [view.sentence(say) for say in why],
            "shown_at": event.at if earlier else event.recorded,
            **self._readings(panel, item),
        }

    def _readings(self, panel: Panel, item: Assessment) -> dict[str, Any]:
        """Digests of the raw readings that the answer rested on, of every probe of the panel; or why there are none:
        an entry is taken down all the same."""
        if self.readings is None:
            return {"readings": [], "not_read": "no readings"}
        since, seqs = since_of(panel, item.at), dict(item.seqs)
        try:
            with closing(open_store(self.readings)) as reader:
                series = ledgers(reader, probes_of(panel), since, item.at, item.batch, seqs)
                # A batch's number that is a sum over sites cuts nothing: that of the probe's own site does.
                cuts = {one.probe: seqs.get(reader.site_of(one.probe), item.batch) for one in series}
        except StoreError as error:
            return {"readings": [], "not_read": str(error)}
        found = []
        for one in series:
            n, sha256 = one.digest()
            about = {"probe": one.probe, "quantity": one.quantity.value, "since": since, "until": item.at}
            cut = {"batch": cuts[one.probe]} if seqs else {}
            found.append({**about, **cut, "n": n, "sha256": sha256})
        return {"readings": found}


def frozen(item: Assessment, headline: Say) -> dict[str, Any]:
    """An answer's numbers as they were."""
    film = item.film
    return {
        "state": item.verdict.state.value,
        "kind": item.verdict.kind.value,
        "flags": sorted(flag.value for flag in item.verdict.flags),
        "headline": {"key": headline.key, "values": dict(headline.values)},
        "at": item.at,
        "good_until": item.good_until,
        "readings_to": item.readings_to,
        "batch": item.batch,
        "coat": item.coat,
        "conversion": item.conversion,
        "age_h": item.age_h,
        "glass_transition_C": item.glass_transition_C,
        "rate": item.rate,
        "effective": item.effective,
        "equivalent_age_h": item.equivalent_age_h,
        "temperature_time_factor_Ch": item.temperature_time_factor_Ch,
        "measured_h": item.measured_h,
        "missing_h": item.missing_h,
        "passed": {passing.name: passing.passed for passing in item.milestones},
        "film": film.level if film else None,
        "least_margin_K": film.least_margin_K if film else None,
        "least_margin_at": film.least_margin_at if film else None,
        "cards": [list(card) for card in item.cards],
        "corrections": list(item.corrections),
        "entries": item.entries,
    }


def _fits(act: str, said: Mapping[str, Any] | None, newest: Coat | None) -> bool:
    """An overlap of the window's ends is left to a thumb: whoever felt it has done as he was told."""
    if said is None:
        return False
    key = said["headline"]["key"]
    if act == "recoat" and key == "overlap":
        return newest is not None and any(test.sure for test in newest.thumb_tests)
    return key in FITS[act]
