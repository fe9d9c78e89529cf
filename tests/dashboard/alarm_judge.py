"""Judges replayed nights: how often people were woken, and whether anything that was true went untold.

What should have rung comes from the truth of the night: probes that said nothing, pots that were forgotten, panels that
were cold, water that condensed. Limits from the alarm standards as secondary pages give them: a flood is ten alarms in
ten minutes, chattering three of one alarm in a minute.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from dashboard.alarm_kinds import KINDS
from dashboard.alarm_state import cause_of
from model.verdict import State
from tests.dashboard.alarm_nights import NAMES, Outcome
from tests.dashboard.alarm_scene import CARD, LAST_MINUTE, MINUTE, NOON, PANELS, Scene

FLOOD, FLOOD_MIN = 10, 10
EVENING_ROUND = 10 * 60
"""22:00, minutes since noon."""
DONE = {State.SANDABLE, State.DEMOULDABLE, State.FULLY_CURED}


@dataclass
class Figures:
    """Of all nights, one number each; `wrong` names what must not be."""

    woken: dict[str, list[int]] = field(default_factory=lambda: {name: [] for name in NAMES})
    messages: dict[str, list[int]] = field(default_factory=lambda: {name: [] for name in NAMES})
    most_in_ten: int = 0
    expected: dict[str, int] = field(default_factory=dict)
    said_by_ten: list[bool] = field(default_factory=list)
    cold_for_nothing: list[bool] = field(default_factory=list)
    alarms: int = 0
    told_late: int = 0
    kills: int = 0
    outages: int = 0
    wrong: list[str] = field(default_factory=list)

    def table(self) -> str:
        lines = [
            f"{name}: woken median {np.median(self.woken[name]):g}, mean {np.mean(self.woken[name]):.2f}, worst "
            f"{max(self.woken[name])}; messages a night median {np.median(self.messages[name]):g}, worst "
            f"{max(self.messages[name])}"
            for name in NAMES
        ]
        lines.append(f"most messages in ten minutes: {self.most_in_ten}; alarms {self.alarms}")
        lines.append(f"true alarms looked for: {self.expected}; told as over {self.told_late}")
        lines.append(
            f"kills while sending {self.kills}, nights with two hours without a way out {self.outages}"
        )
        lines.append(
            f"cold nights said by 22:00: {sum(self.said_by_ten)} of {len(self.said_by_ten)}; "
            f"said and then not cold: {sum(self.cold_for_nothing)} of {len(self.cold_for_nothing)}"
        )
        return "\n".join([*lines, *self.wrong])


def judge(outcomes: Iterable[Outcome], panels: int = len(PANELS)) -> Figures:
    """Figures of replayed nights, in each of which the first `panels` were followed."""
    found = Figures()
    for number, outcome in enumerate(outcomes):
        for name in NAMES:
            mine = [sent for sent in outcome.sent if sent.person == name]
            found.woken[name].append(sum(sent.woke for sent in mine))
            found.messages[name].append(len(mine))
            minutes = [sent.minute for sent in mine]
            for minute in minutes:
                found.most_in_ten = max(
                    found.most_in_ten, sum(minute <= other < minute + FLOOD_MIN for other in minutes)
                )
        found.alarms += len(outcome.alarms)
        found.kills += outcome.killed
        found.outages += outcome.scene.away[0] < LAST_MINUTE
        for text in (*_chattering(outcome), *_untold(outcome, found), *_missed(outcome, found, panels)):
            found.wrong.append(f"night {number}: {text}")
    return found


def _chattering(outcome: Outcome) -> Iterator[str]:
    """The same alarm twice within ten minutes would be one that could not make up its mind."""
    raised: dict[str, list[int]] = {}
    for alarm in outcome.alarms.values():
        raised.setdefault(cause_of(alarm.id), []).append(alarm.raised_at)
    for cause, times in raised.items():
        if any(second - first < 10 * MINUTE for first, second in pairwise(sorted(times))):
            yield f"{cause} chatters"


def _untold(outcome: Outcome, found: Figures) -> Iterator[str]:
    """Every alarm is in a notice, and each person got it, in time or as over; what is no use late may be dropped."""
    for alarm in outcome.alarms.values():
        keys = outcome.told.get(alarm.id, set())
        if not keys:
            yield f"{alarm.id} is in no notice"
        for key in keys:
            for person, state in outcome.states[key].items():
                found.told_late += state == "told as over"
                if state == "waiting" or (state.startswith("dropped") and KINDS[alarm.kind].late):
                    yield f"{key} to {person}: {state}"


def _missed(outcome: Outcome, found: Figures, panels: int) -> Iterator[str]:
    scene = outcome.scene
    for what, ident, begin, end, kinds in _expected(outcome, panels):
        found.expected[what] = found.expected.get(what, 0) + 1
        rung = [
            alarm
            for alarm in outcome.alarms.values()
            if alarm.kind in kinds
            and ident in (alarm.panel, alarm.probe)
            and alarm.raised_at <= NOON + end * MINUTE
            and (alarm.returned_at is None or alarm.returned_at >= NOON + begin * MINUTE)
        ]
        if not rung:
            yield f"{what} {ident} from {begin} to {end}: nothing rang"
        if what == "cold" and scene.coats[ident][-1][0] < EVENING_ROUND - 60:
            by_ten = NOON + (EVENING_ROUND - 10) * MINUTE
            found.said_by_ten.append(any(alarm.raised_at <= by_ten for alarm in rung))
    for alarm in outcome.alarms.values():
        if alarm.kind == "too cold tonight" and alarm.panel is not None:
            probe = next(surface for name, surface, _ in PANELS if name == alarm.panel)
            begin = (alarm.raised_at - NOON) // MINUTE
            found.cold_for_nothing.append(scene.truth[probe][begin : 20 * 60].min() >= CARD.minimum_C)


def _expected(outcome: Outcome, panels: int) -> Iterator[tuple[str, str, int, int, tuple[str, ...]]]:
    """(what, panel or probe, from, to, kinds): what a person would say should have rung, minutes since noon."""
    scene, followed = outcome.scene, PANELS[:panels]
    for fault in scene.faults:
        if not fault.tape_off and fault.end - fault.begin >= 10 and 70 <= fault.begin < LAST_MINUTE - 20:
            yield "silent", fault.probe, fault.begin, fault.end, ("probe silent",)
        elif (
            fault.tape_off
            and fault.begin + 45 < LAST_MINUTE
            and fault.probe in outcome.spoke_at(fault.begin + 41)
        ):
            yield "tape off", fault.probe, fault.begin, fault.end, ("probe suspect",)
    for name, surface, _ in followed:
        for mixed, on in scene.coats[name]:
            if on - mixed >= 40:
                yield "forgotten pot", name, mixed, mixed + 25, ("pot about to go",)
        if any(fault.probe == surface for fault in scene.faults):
            continue  # what nobody measured, nobody can say
        last = scene.coats[name][-1][1]
        cold = _long(scene.truth[surface][last : 20 * 60] < CARD.minimum_C - 1.0, 120)
        if cold is not None and outcome.at_nine[name].verdict.state not in DONE:
            yield "cold", name, last + cold, 20 * 60, ("too cold tonight", "too cold")
        if name in outcome.washable:
            yield "to be washed", name, last, LAST_MINUTE, ("blush exposure",)


def condensed(scene: Scene, name: str) -> bool:
    """Whether water truly lay on a panel's last coat for half an hour in its first three hours, by a clear margin."""
    surface = next(probe for panel, probe, _ in PANELS if panel == name)
    on = scene.coats[name][-1][1]
    under = scene.truth[surface][on : on + 180] < scene.dew[on : on + 180] - 1.0
    return _long(under, 30) is not None


def _long(so: np.ndarray[tuple[int], np.dtype[np.bool_]], minutes: int) -> int | None:
    """Where the first stretch of at least so many minutes begins."""
    run = 0
    for index, one in enumerate(so):
        run = run + 1 if one else 0
        if run >= minutes:
            return index - minutes + 1
    return None
