"""What pages, API and commands say of alarms: each as text, with its state, what to do, and who was told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import KINDS, MINUTE_MS, Wakes
from dashboard.alarm_state import AlarmState, Marks, state_of
from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.panel import Panel
from dashboard.quiet import QUIET_MS, quiet_until
from dashboard.words import LABELS
from dashboard.words.alarms import ACTS, STATES
from model.decide import shuts_by

LONGER_MS = 120 * MINUTE_MS
MORNING = time(6, 0)
SHOWN = (
    AlarmState.UNACKNOWLEDGED, AlarmState.SHELVED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED,
    AlarmState.OUT_OF_SERVICE, AlarmState.NORMAL,
)  # fmt: skip
"""Order of the groups on the page."""


@dataclass(frozen=True)
class AlarmLine:
    """One alarm as text. `quiet` is False for one that is never quiet; `open` for one that still asks to be seen."""

    id: str
    text: str
    when: str
    seen: str
    panel: str | None
    probe: str | None
    state: str
    state_words: str
    act: str
    names: str
    told: tuple[str, ...]
    quiet: bool
    open: bool
    alarm: bool
    kind: str
    of: str


@dataclass(frozen=True)
class AlarmGroup:
    """Alarms in one state, those of one cause together."""

    title: str
    state: str
    lines: tuple[AlarmLine, ...]


def alarm_line(
    alarm: Alarm, marks: Marks, view: View, told: Iterable[tuple[str, str, int]] = ()
) -> AlarmLine:
    """An alarm's sentence, its state, since when, who saw it, and `told`: (person, state, UTC ms) of its notices."""
    kind, state, over = KINDS[alarm.kind], state_of(alarm, marks, view.now), alarm.returned_at
    lasts = LABELS["alarm_lasts"] if over is None else LABELS["alarm_gone"].format(at=view.clock(over))
    seen, shelf = marks.seen.get(alarm.id), marks.shelf(alarm)
    until = view.clock(shelf.until) if shelf else ""
    return AlarmLine(
        id=alarm.id,
        text=view.sentence(alarm.say),
        when=f"{LABELS['raised'].format(at=view.clock(alarm.raised_at))}, {lasts}",
        seen=LABELS["alarm_seen"].format(at=view.clock(seen.at), who=seen.who or LABELS["nobody"])
        if seen
        else "",
        panel=alarm.panel,
        probe=alarm.probe,
        state=state.value,
        state_words=STATES[state.value].format(until=until),
        act=ACTS[alarm.kind] if over is None else "",
        names=LABELS["notice_panels"].format(names=", ".join(alarm.panels))
        if alarm.panel is None and alarm.panels
        else "",
        told=tuple(_told(person, how, at, view) for person, how, at in told),
        quiet=kind.alarm and kind.wakes is not Wakes.ALWAYS and state is AlarmState.UNACKNOWLEDGED,
        open=seen is None and state is not AlarmState.OUT_OF_SERVICE,
        alarm=kind.alarm,
        kind=alarm.kind,
        of=alarm.of,
    )


def _told(person: str, how: str, at: int, view: View) -> str:
    key = {"sent": "told_sent", "told as over": "told_over", "waiting": "told_waiting"}.get(
        how, "told_dropped"
    )
    return LABELS[key].format(who=person, at=view.clock(at), why=how.removeprefix("dropped: "))


def groups(lines: Sequence[AlarmLine]) -> list[AlarmGroup]:
    """By state, and in each by cause: one cold night stands together."""
    found = []
    for state in SHOWN:
        mine = [line for line in lines if line.state == state.value and line.alarm]
        mine.sort(key=lambda line: list(KINDS).index(line.kind))
        if mine:
            found.append(AlarmGroup(LABELS[f"group_{state.name.lower()}"], state.value, tuple(mine)))
    just = [line for line in lines if not line.alarm and line.state != AlarmState.NORMAL.value]
    if just:
        found.insert(1 if found and found[0].state == AlarmState.UNACKNOWLEDGED.value else 0,
                     AlarmGroup(LABELS["group_notices"], "notice", tuple(just)))  # fmt: skip
    return found


def deadline(
    alarm: Alarm, panels: Mapping[str, Panel], assessments: Iterable[Assessment], now: int
) -> int | None:
    """The next time that an answer of the alarm's panels names as its end, UTC ms; None if none does."""
    used = {
        key
        for key, panel in panels.items()
        if key == alarm.panel or (alarm.probe and alarm.probe in (panel.surface_probe, panel.air_probe))
    }
    ends = [
        shuts_by(item.verdict, now) for item in assessments if item.panel in used and not item.is_old(now)
    ]
    return min((end for end in ends if end is not None), default=None)


def next_morning(now: int, zone: ZoneInfo) -> int:
    """The next 06:00 of the shop, UTC ms."""
    local = datetime.fromtimestamp(now / 1000, UTC).astimezone(zone)
    day = local.date() + timedelta(days=1 if local.time() >= MORNING else 0)
    return round(datetime.combine(day, MORNING, zone).timestamp() * 1000)


def until_of(alarm: Alarm, minutes: int | None, end: int | None, now: int, zone: ZoneInfo) -> int:
    """Until when it is quiet, asked for these minutes (None: till morning); `end`: its deadline. Raises QuietError."""
    asked = next_morning(now, zone) if minutes is None else now + minutes * MINUTE_MS
    return quiet_until(alarm, asked, end, now)


__all__ = ["LONGER_MS", "QUIET_MS", "AlarmGroup", "AlarmLine", "alarm_line", "deadline", "groups", "until_of"]
