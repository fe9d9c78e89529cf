"""The collector's clock: UTC at the start, then elapsed time that no step of the machine's clock can touch.

A small computer may wake in 1970, or at the time of its last shutdown, and be set right an hour later; a person
may turn its clock. Elapsed time since boot is not touched by either, so inside a run the distances between
arrivals are always true. What the machine's own clock says is looked at beside it: as soon as that is worth
more than what we began with, a new run begins on it, and runs.py says where the old one lay.
"""

from __future__ import annotations

import ctypes
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from collector.arrival import Arrival
from collector.store.runs import ALLOWED_MS, PLAUSIBLE, SYNCED, UNKNOWN, Run, earliest_now, placed

STEP_MS = 200
"""Less is no step: a time service slews such an error away, which elapsed time follows too."""
HARDWARE_MS = 300_000
"""A hardware clock that drifts for weeks still agrees this far; one that lost its battery says 1970 or 2000."""
LATEST_MS = 4_102_444_800_000
"""2100-01-01 UTC: a clock past this is wrong, whoever set it."""
_TIME_ERROR = 5
_RANK = {UNKNOWN: 0, PLAUSIBLE: 1, SYNCED: 2}


@dataclass(frozen=True)
class Machine:
    """What this machine says of time; tests give their own.

    utc        its clock, UTC ms
    elapsed    ms since boot, sleep included
    boot       the kernel's name for this boot
    synced     whether a time service has set the clock in this boot
    hardware   what the hardware clock says, UTC ms; None if there is none
    """

    utc: Callable[[], int]
    elapsed: Callable[[], int]
    boot: str
    synced: Callable[[], bool]
    hardware: Callable[[], int | None]


def this_machine() -> Machine:
    """The machine this runs on."""
    return Machine(
        utc=lambda: time.time_ns() // 1_000_000,
        elapsed=lambda: time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000,
        boot=_boot(),
        synced=_synced,
        hardware=_hardware,
    )


@dataclass(frozen=True, slots=True)
class Noticed:
    """What look() saw: the machine's clock (UTC ms) so long after boot, how far it stepped, and what is known of it."""

    elapsed: int
    utc: int
    step: int
    state: str


class SteadyClock:
    """See collector.clock.Clock. now() may be asked from any thread, the rest from the one that owns the store."""

    rate = 1.0

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._zero = machine.utc() - machine.elapsed()
        self._seen = self._zero
        self._state = UNKNOWN
        self._left: list[tuple[int, int]] = []
        self._floor = 0

    def now(self) -> int:
        return self._zero + self._machine.elapsed()

    @property
    def known(self) -> bool:
        """Whether a probe's own time may be judged by this clock."""
        return self._state != UNKNOWN

    @property
    def origin(self) -> int:
        """UTC ms at which the boot began, by this clock."""
        return self._zero

    @property
    def state(self) -> str:
        return self._state

    def begin(self, earlier: Sequence[Run], number: int) -> Run:
        """The run that begins now, after the `earlier` ones; from here on now() follows it.

        It goes on from a run of the same boot that knew the time, unless the machine now knows better. A clock
        that nobody vouches for, and that lies before the last sign of life, is taken up from there instead: so
        readings of an unset clock neither fall among older ones nor upon each other.
        """
        elapsed, utc = self._machine.elapsed(), self._machine.utc()
        self._seen = utc - elapsed
        self._floor = earliest_now(earlier, self._machine.boot, elapsed)
        before = [run for run in placed(earlier) if run.elapsed is not None]
        last = before[-1] if before and before[-1].boot == self._machine.boot else None
        state = self._measured(utc)
        if last is not None and _RANK[last.state] >= _RANK[state]:
            state, utc = last.state, last.origin + last.offset + elapsed
        elif state == UNKNOWN:
            utc = max(utc, self._floor)
        self._state, self._zero = state, utc - elapsed
        return Run(number, self._machine.boot, utc, elapsed, state, 0)

    def look(self) -> Noticed | None:
        """Compares with the machine's clock; None if it went on as before and nothing more is known of it."""
        elapsed, utc = self._machine.elapsed(), self._machine.utc()
        step = utc - elapsed - self._seen
        state = self._better(utc, step)
        if abs(step) < STEP_MS and state == self._state:
            return None
        self._seen += step
        return Noticed(elapsed, utc, step, state)

    def follows(self, noticed: Noticed) -> bool:
        """True if the machine's clock is now worth more than ours and says another time: a new run must begin."""
        better = _RANK[noticed.state] > _RANK[self._state]
        return better and abs(noticed.utc - noticed.elapsed - self._zero) >= STEP_MS

    def next_run(self, noticed: Noticed, number: int) -> Run:
        """The run that is to begin with what was noticed; take() then goes over to it."""
        return Run(number, self._machine.boot, noticed.utc, noticed.elapsed, noticed.state, 0)

    def take(self, noticed: Noticed) -> None:
        """From here on by what was noticed."""
        zero = noticed.utc - noticed.elapsed
        if zero != self._zero:
            self._left.append((self.now(), zero - self._zero))
        self._zero, self._state = zero, noticed.state

    def confirm(self, noticed: Noticed) -> None:
        """The same time as before, of which more is known."""
        self._state = noticed.state

    def dated(self, arrival: Arrival) -> Arrival:
        """The arrival by this clock, also if it was stamped before a new run began; `sure` if a probe's own time
        may be judged by it.
        """
        received = arrival.received
        for left_at, moved in self._left:
            if received <= left_at if moved > 0 else received > self.now():
                received += moved
        if received == arrival.received and arrival.sure == self.known:
            return arrival
        return arrival._replace(received=received, sure=self.known)

    def _measured(self, utc: int) -> str:
        """What is known of the machine's clock."""
        if self._machine.synced():
            return SYNCED
        hardware = self._machine.hardware()
        agrees = hardware is not None and abs(hardware - utc) <= HARDWARE_MS
        return PLAUSIBLE if agrees and self._possible(utc) else UNKNOWN

    def _better(self, utc: int, step: int) -> str:
        """As _measured(), and never less than before: a clock nobody vouched for was set by hand if it stepped."""
        if self._state == SYNCED or self._machine.synced():
            return SYNCED
        if self._state == UNKNOWN and abs(step) >= STEP_MS and self._possible(utc):
            return PLAUSIBLE
        return self._state

    def _possible(self, utc: int) -> bool:
        return self._floor - ALLOWED_MS <= utc < LATEST_MS


def _boot() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return "unknown"


def _synced() -> bool:
    """systemd's time service leaves a file; any other tells the kernel, which adjtimex(2) asks."""
    if Path("/run/systemd/timesync/synchronized").exists():
        return True
    libc = ctypes.CDLL(None)
    if not hasattr(libc, "adjtimex"):
        return False
    answer = libc.adjtimex(ctypes.create_string_buffer(512))  # struct timex, all zero: change nothing
    return 0 <= int(answer) < _TIME_ERROR


def _hardware() -> int | None:
    try:
        return 1000 * int(Path("/sys/class/rtc/rtc0/since_epoch").read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
