"""Every kind of alarm and notice, in one table: how long it must last, what it rings for, whom it may wake.

An alarm asks for something to be done; a notice ("alarm" is False) only says that something may be done now. What may
wake somebody is decided by two questions: can it be mended at that hour, and what does it cost to wait till morning?

Pressing kinds come first: so pages and notices sort them.

    on, off    on-delay and off-delay: how long it must be so before it rings, and be away before it is over; ms
    deadband   by how much the value must have moved back before it counts as away: keeps a value that sits on its
               limit from ringing again and again; in `unit`, 0 where the kind has no value
    gather     ms: what rings within this of the first, with the same cause, goes into one notice
    nightly    one notice a night for the cause: what joins it later says nothing new, or waits for the morning
    late       whether it is still told once it is over
    most       so many notices a night for one panel or probe: what comes and goes is not told each time; 0: each time

Words of ISA-18.2 and IEC 62682 (alarm, on-delay, off-delay, deadband), as secondary pages give them; the numbers are
ours, set by replaying invented nights (tests/dashboard/test_alarm_nights.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS


class Wakes(StrEnum):
    """Whether a notice may come in somebody's quiet hours."""

    ALWAYS = "always"
    SUGGESTED = "unless a person says no"
    ASKED = "only who asked for it"
    NEVER = "never"


@dataclass(frozen=True)
class AlarmKind:
    """One line of the table; `why` says what can be done at that hour and what waiting costs."""

    on: int
    off: int
    cause: str
    wakes: Wakes
    why: str
    deadband: float = 0.0
    unit: str = ""
    gather: int = 0
    nightly: bool = False
    late: bool = True
    most: int = 0
    alarm: bool = True


_STAYS = AlarmKind(
    on=2 * MINUTE_MS, off=30 * MINUTE_MS, cause="ready", wakes=Wakes.NEVER, gather=10 * MINUTE_MS, alarm=False,
    late=False,
    why="it stays so",
)  # fmt: skip
"""What may be done from now on."""

KINDS: dict[str, AlarmKind] = {
    "pot about to go": AlarmKind(
        on=0, off=0, cause="pot", wakes=Wakes.ALWAYS,
        why="it can be poured out now; in ten minutes it smokes",
    ),
    "window shuts soon": AlarmKind(
        on=0, off=10 * MINUTE_MS, cause="window shuts", wakes=Wakes.ASKED, gather=2 * MINUTE_MS,
        why="a coat can go on now; waiting costs a wash and a sanding",
    ),
    "chore soon": AlarmKind(
        on=0, off=10 * MINUTE_MS, cause="chore soon", wakes=Wakes.ASKED, gather=2 * MINUTE_MS,
        why="a knife, a rasp or a hand can do it now; waiting costs a grinder",
    ),
    "window opens soon": AlarmKind(
        on=0, off=10 * MINUTE_MS, cause="window opens", wakes=Wakes.ASKED, gather=2 * MINUTE_MS, alarm=False,
        late=False,
        why="nothing is lost before it shuts",
    ),
    "too cold tonight": AlarmKind(
        on=10 * MINUTE_MS, off=60 * MINUTE_MS, cause="cold", wakes=Wakes.NEVER, deadband=1.0, unit="K",
        gather=10 * MINUTE_MS, nightly=True,
        why="heat is arranged before people leave; it is said by 22:00 or not at all",
    ),
    "too cold": AlarmKind(
        on=2 * MINUTE_MS, off=10 * MINUTE_MS, cause="cold", wakes=Wakes.ASKED, gather=10 * MINUTE_MS, nightly=True,
        why="no heater runs unattended at night; waiting costs hours of cure, no panel",
    ),
    "margin closing": AlarmKind(
        on=10 * MINUTE_MS, off=30 * MINUTE_MS, cause="damp", wakes=Wakes.ASKED, deadband=1.0, unit="h",
        gather=10 * MINUTE_MS, nightly=True, late=False,
        why="a cover or a little warmth helps now; waiting costs a wash",
    ),
    "blush exposure": AlarmKind(
        on=0, off=0, cause="wash", wakes=Wakes.NEVER, gather=10 * MINUTE_MS, nightly=True,
        why="it has happened; a film that can be washed can be washed in the morning",
    ),
    "probe silent": AlarmKind(
        on=0, off=MINUTE_MS, cause="probes", wakes=Wakes.SUGGESTED, gather=3 * MINUTE_MS, most=2,
        why="a battery or a plug is seen to in a minute; over a young film each hour missing costs a wash",
    ),
    "probe suspect": AlarmKind(
        on=0, off=MINUTE_MS, cause="probes", wakes=Wakes.ASKED, gather=3 * MINUTE_MS, most=2,
        why="a probe is taped on in a minute; waiting costs the night's answer",
    ),
    "site unheard": AlarmKind(
        on=0, off=MINUTE_MS, cause="sites", wakes=Wakes.SUGGESTED, gather=3 * MINUTE_MS, most=2,
        why="a plug or a router is seen to in minutes; it records meanwhile, but nobody is told of a night there",
    ),
    "site lags": AlarmKind(
        on=0, off=5 * MINUTE_MS, cause="sites", wakes=Wakes.SUGGESTED, gather=3 * MINUTE_MS, most=2,
        why="what waits is safe at the site, but nobody is told of a night there until it comes",
    ),
    "recording": AlarmKind(
        on=0, off=MINUTE_MS, cause="recording", wakes=Wakes.SUGGESTED, most=2,
        why="room can be made now; waiting costs the night",
    ),
    "ready to sand": _STAYS,
    "peel ply off": _STAYS,
    "clamps off": _STAYS,
    "ready to demould": _STAYS,
    "fully cured": _STAYS,
}  # fmt: skip

OFFERED = tuple(name for name, kind in KINDS.items() if kind.wakes in (Wakes.SUGGESTED, Wakes.ASKED))
"""What a person may ask to be woken for."""
SUGGESTED = tuple(name for name in OFFERED if KINDS[name].wakes is Wakes.SUGGESTED)
"""What is ticked until a person has chosen."""
OF_SITES = tuple(name for name in OFFERED if KINDS[name].cause == "sites")
"""What never rings in a house of one."""
