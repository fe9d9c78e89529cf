"""The follower that sends: batches past the cursor, their commits, a heartbeat, the facts; and asks if all is there."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Protocol

from collector.clock import Clock
from collector.forward.corrected import Correcting, Corrections, NoCorrections, Stored
from collector.forward.link import Link, Refused, ServerError, TooLarge
from collector.forward.portion import LINES, RefusesAll, Sender
from collector.forward.read_back import Sent, count_held, has_commits
from collector.forward.state import ForwardState, NotHeld
from collector.forward.still_there import StillThere
from collector.forward.telling import Known, Telling
from collector.forward.waiting import Acknowledged, Waiting
from collector.patience import GrowingWait, rest
from collector.reading import Reading
from collector.settings import Forward
from collector.store.arrived import Arrived
from collector.store.runs import SYNCED
from collector.store.schema import StoreError
from collector.store.time_series import lines
from collector.web_address import without_login

TRY_AGAIN_S = 600.0
"""Between two attempts to bring the server what it acknowledged twice and does not have."""
DROPPED_MS = 2 * 86_400_000
"""VictoriaMetrics acknowledges what is so far ahead of its clock, and drops it; InfluxDB keeps it, and a dashboard that
reads there goes on from those ticks."""
IDLE_S = 2.0
"""After a portion that is not full: each costs writes on our card, and requests."""
LONGEST_WAIT_S = 60.0

log = logging.getLogger("coldshed.forward")


class Committed(Known, Stored, Protocol):
    """What we need of the store's reader."""

    def arrived_after(self, seq: int, limit: int, upto: int | None = None) -> Arrived | None: ...

    def is_replaced(self) -> bool: ...

    def close(self) -> None: ...


class _Ended(Exception):
    """We were asked to stop."""


class _NewConnection(Exception):
    """The server has ended the old one unasked: it may have been started anew, and lost what it acknowledged last."""


@dataclass
class _HalfSent:
    """Pieces of a long portion that were acknowledged before the server wanted a pause; how many readings they hold,
    and how many of these it took."""

    seq: int = 0
    pieces: int = 0
    rows: int = 0
    taken: int = 0


class Forwarder:
    """One server of the settings. `open_store` is called in run(), and again after the store could not be read."""

    def __init__(
        self,
        open_store: Callable[[], Committed],
        settings: Forward,
        site: str,
        state_db: Path,
        clock: Clock,
        monotonic: Callable[[], float] = time.monotonic,
        corrections: Corrections | None = None,
    ) -> None:
        self._open_store = open_store
        self._settings = settings
        self._site = site
        self._state_db = state_db
        self._clock = clock
        self._monotonic = monotonic
        self._stop: Callable[[], bool] = lambda: False
        self._store: Committed | None = None
        self._link: Link | None = None
        self._db: ForwardState | None = None
        self._sender = Sender(self._write)
        self._waiting = Waiting()
        self._half_sent = _HalfSent()
        self._telling = Telling(self._write, site, clock, monotonic)
        self._still_there = StillThere(settings, site, monotonic)
        self._correcting = Correcting(corrections or NoCorrections(), site)
        self._tried = float("-inf")
        self._lost: list[NotHeld] = []
        self._unasked = ""
        self._state = "waiting"
        self._kind = ""

    @property
    def state(self) -> str:
        """ "waiting", "connected" or "failed: <why>"."""
        return self._state

    def run(self, stop: Callable[[], bool]) -> None:
        """Sends until stopped. Nothing the server does ends it; what is not acknowledged is sent again later."""
        self._stop = stop
        wait = GrowingWait(longest=LONGEST_WAIT_S)
        try:
            while not stop():
                try:
                    sent = self.send_some()
                except _Ended:
                    break
                except (ServerError, StoreError, OSError, ValueError) as error:
                    self._failed(error)
                    if isinstance(error, ServerError):
                        rest(error.wait_s, stop)
                    wait.pause(stop)
                    continue
                wait.reset()
                if sent < self._sender.at_once:
                    rest(IDLE_S, stop)
        finally:
            self.close()

    def send_some(self) -> int:
        """Sends the next portion and what else is due; returns how many readings it held.

        Raises ServerError if the server did not take it, StoreError if readings.db or forward.db cannot be used,
        OSError or ValueError if the token file cannot; the cursor stays where it was.
        """
        store, state = self._opened()
        rows = 0
        try:
            self._look_at_ticks(store, state)
            self._look_at_server(state)
            self._correcting.look(store, state, self._monotonic())
            arrived = store.arrived_after(state.acknowledged, self._sender.at_once)
            if arrived is not None:
                sent, rows = self._send(state, arrived, self._half_sent)
                self._waiting.add(Acknowledged(sent, self._monotonic()))
                state.acknowledged = sent.seq
            self._telling.tell(store, state)
            self._ask(store, state)
            if again := self._correcting.next_lines(state, self._monotonic()):
                self._sender.send(again)
                rows = LINES
        except _NewConnection:
            self._begin_again(state)
            return LINES
        except ServerError as error:
            if not error.alive:
                self._begin_again(state)
            elif isinstance(error, (Refused, RefusesAll, TooLarge)):
                self._tell_all_the_same(store, state)
            raise
        if rows < self._sender.at_once:
            state.save()
        self._works(state)
        return rows

    def _tell_all_the_same(self, store: Committed, state: ForwardState) -> None:
        """It does not take our readings, but may take that we live: this site lags, it is not cut off."""
        try:
            self._telling.tell(store, state)
        except _NewConnection:
            self._begin_again(state)
        except ServerError as error:
            if not error.alive:
                self._begin_again(state)

    def close(self) -> None:
        """Closes the store, forward.db and the connection; send_some() opens them again, behind what is safe."""
        self._hang_up()
        self._close_store()
        if self._db is not None:
            self._db.close()
            self._db = None

    def _opened(self) -> tuple[Committed, ForwardState]:
        if self._db is None:
            self._db = ForwardState.open(self._state_db)
            self._begin_again(self._db)
            self._lost = self._db.not_held()
        if self._store is not None and self._store.is_replaced():
            self._close_store()
        if self._store is None:
            self._store = self._open_store()
            self._look_at_end(self._store, self._db)
        if self._link is None:
            self._link = Link(self._settings, self._clock.now)
        return self._store, self._db

    def _look_at_end(self, store: Committed, state: ForwardState) -> None:
        """A readings.db that ends before what was sent is another one, or has lost its end: all of it is sent."""
        newest = store.last_batch()
        if newest < state.safe:
            log.warning(
                "readings.db ends at batch %d, and %d was sent: all is sent again", newest, state.safe
            )
            state.only_safe_to(0)
            self._begin_again(state)

    def _look_at_ticks(self, store: Committed, state: ForwardState) -> None:
        """Our clock was far ahead once, and is set now: nothing that was sent at such ticks is there."""
        drops = self._settings.server == "victoria-metrics" and state.tick > self._clock.now() + DROPPED_MS
        if drops and store.runs()[-1].state == SYNCED:
            log.warning(
                "the clock was ahead when readings were sent, up to %s: all is sent again", _utc(state.tick)
            )
            state.only_safe_to(0)
            state.tick = 0
            self._begin_again(state)

    def _look_at_server(self, state: ForwardState) -> None:
        """One that was emptied, or put back from an old copy, gets again what it has no more."""
        assert self._link is not None
        last = self._still_there.last(self._link, state)
        if last < state.safe:
            url = without_login(self._settings.url)
            log.warning(
                "%s has batches to %d, and %d was safe there: the rest is sent again", url, last, state.safe
            )
            state.only_safe_to(last)
            self._begin_again(state)
            self._still_there.asked()

    def _hang_up(self) -> None:
        if self._link is not None:
            self._link.close()
            self._link = None

    def _close_store(self) -> None:
        if self._store is not None:
            self._store.close()
            self._store = None

    def _begin_again(self, state: ForwardState) -> None:
        """Behind what is safe: the server may have lost what came after."""
        state.acknowledged = state.safe
        self._half_sent = _HalfSent()
        self._waiting.clear()
        self._telling.begin_again()
        self._correcting.begin_again()
        self._still_there.begin_again()

    def _write(self, text: list[str]) -> None:
        if self._stop():
            raise _Ended
        assert self._link is not None
        if not self._link.write(text):
            raise _NewConnection

    def _send(self, state: ForwardState, arrived: Arrived, half: _HalfSent) -> tuple[Sent, int]:
        """Returns once the server has acknowledged the readings, then the commit that counts those it took; and how
        many readings there were. What `half` says of this portion is not sent again.
        """
        if half.seq != arrived.seq or not arrived.revised:
            half.seq, half.pieces, half.rows, half.taken = arrived.seq, 0, 0, 0
        for piece in islice(arrived.pieces, half.pieces, None):
            kept, too_old = self._sender.send([self._line(arrived, *item) for item in piece])
            state.too_old += too_old
            state.save(kept, self._clock.now())
            half.pieces += 1
            half.rows += len(piece)
            half.taken += len(piece) - len(kept) - too_old
        span, tick = (arrived.t_min, arrived.t_max), state.next_tick(self._clock.now())
        commit = lines.commit_line(
            self._site, arrived.seq, arrived.since, half.taken, span, arrived.revised, tick
        )
        self._write([commit])
        sent = Sent(arrived.since, arrived.seq, bool(arrived.revised), *span, half.taken, (tick,))
        return sent, half.rows

    def _line(self, arrived: Arrived, reading: Reading, seq: int) -> str:
        revised_by = arrived.seq if arrived.revised else 0
        return lines.reading_line(self._site, reading, seq, revised_by, self._correcting.value(reading))

    def _ask(self, store: Committed, state: ForwardState) -> None:
        """Whether the server still has what it acknowledged; what it does not have is sent again, once at first."""
        if self._lost and self._monotonic() - self._tried >= TRY_AGAIN_S:
            self._tried = self._monotonic()
            oldest = self._lost[0]
            self._send_again(store, state, oldest.since, oldest.seq)
        item = self._waiting.take_due(self._monotonic())
        if item is not None:
            found = self._held(item.sent)
            if found is None or found >= item.sent.n:
                self._waiting.found(item)
                self._note(state, item.sent, None)
            elif not item.missed:
                log.warning("%s", self._missing(item.sent, found, "once"))
                self._send_again(store, state, item.sent.since, item.sent.seq)
            else:  # passed over, and told: no commit line is known that should be there
                self._waiting.found(replace(item, sent=replace(item.sent, ticks=())))
                self._note(state, item.sent, found)
        safe, tick = self._waiting.safe(self._monotonic())
        if safe > state.safe:
            state.safe, state.safe_tick = safe, tick

    def _held(self, sent: Sent) -> int | None:
        """How many the server has of them; None if it does not say, which is told and changes nothing."""
        assert self._link is not None
        try:
            found = count_held(self._link, self._settings, self._site, sent)
            if found >= sent.n and not has_commits(self._link, self._settings, self._site, sent):
                return 0  # whoever reads there would not count them
        except ServerError as error:
            if not error.says_nothing:
                raise
            if not self._unasked:
                log.warning("the server takes readings but does not say whether it has them: %s", error)
            self._unasked = str(error)
            return None
        self._unasked = ""
        return found

    def _send_again(self, store: Committed, state: ForwardState, since: int, upto: int) -> None:
        """What the server acknowledged and does not have."""
        sent: Sent | None = None
        while (arrived := store.arrived_after(sent.seq if sent else since, LINES, upto)) is not None:
            more, _ = self._send(state, arrived, _HalfSent())
            sent = more if sent is None else sent.with_next(more)
        if sent is not None:
            self._waiting.add_first(Acknowledged(sent, self._monotonic(), missed=1))

    def _note(self, state: ForwardState, sent: Sent, found: int | None) -> None:
        """Takes down what the server does not have though it took it twice (found: how many it has), or that it has."""
        before = len(self._lost)
        item = NotHeld(sent.since, sent.seq, sent.t_min, sent.t_max, sent.n, found or 0)
        if found is not None or any((lost.since, lost.seq) == (item.since, item.seq) for lost in self._lost):
            state.note_not_held(item, held=found is None)
            self._lost = state.not_held()
        if len(self._lost) < before:
            self._tried = float("-inf")

    def _missing(self, sent: Sent | NotHeld, found: int, often: str) -> str:
        span = f"from {_utc(sent.t_min)} to {_utc(sent.t_max)}"
        took = f"{without_login(self._settings.url)} took {sent.n} readings {span} {often} and has {found} of them"
        return f"{took}: see how long it keeps readings, and whether its disk is full"

    def _works(self, state: ForwardState) -> None:
        text = self._missing(self._lost[0], self._lost[0].found, "twice") if self._lost else ""
        self._say("not held" if text else "", text, state)

    def _failed(self, error: Exception) -> None:
        kind = error.kind if isinstance(error, ServerError) else type(error).__name__
        if not (isinstance(error, ServerError) and (error.alive or kind.startswith("5"))):
            self._hang_up()
        if isinstance(error, StoreError):
            self._close_store()
        self._say(kind, str(error), self._db)

    def _say(self, kind: str, text: str, state: ForwardState | None) -> None:
        """Once when it begins or changes its kind, and when it is over; never each time it comes again."""
        self._state = f"failed: {text}" if text else "connected"
        if kind == self._kind:
            return
        self._kind = kind
        if text:
            log.warning("not sent on: %s", text)
        else:
            log.info("sends on to %s", without_login(self._settings.url))
        if state is not None:
            try:
                state.trouble(text, self._clock.now())
            except StoreError as error:
                log.warning("%s", error)


def _utc(at: int) -> str:
    return f"{datetime.fromtimestamp(at / 1000, UTC):%Y-%m-%d %H:%M} UTC"
