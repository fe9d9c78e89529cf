"""A line of Modbus RTU slaves: each is asked in turn, and only its own answer to this very query is taken.

Answers on a serial line carry no number that says which query they belong to. So a slave that left a query without
its answer is out of step: the answer may still come, and would pass for the next query's. It is brought back into
step by a query of a length that it is never asked otherwise: the late answer has another length and is dropped, and a
slave that answers this one has, as slaves answer in turn, no earlier answer left. Every slave starts out of step.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import serial

from collector import settings
from collector.arrival import Arrival
from collector.clock import Clock
from collector.decode.modbus_registers import EXCEPTION, EXCEPTION_LENGTH, Query, queries
from collector.decode.refusing import NotTaken
from collector.patience import GrowingWait, rest
from collector.sources.serial_port import PORT_TROUBLE, explained, open_alone

READ_S = 0.02
QUIET_BITS = 38.5
"""3.5 characters of 11 bits between two frames, and never less than QUIET_S (Serial Line V1.02, 2.5.1.1)."""
QUIET_S = 0.00175
TRIES = 2
"""Queries to bring a slave back into step, in one round: the first may meet the late answer."""
FORGOTTEN_S = 30.0
"""An answer this late does not come any more: for slaves that stay silent when asked for another length."""
LONGEST_ANSWER = 5 + 2 * 125
_PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class ModbusLineSource:
    """Hands over each answer's bytes with its query as topic; empty bytes where none came."""

    def __init__(
        self, settings: settings.ModbusSource, clock: Clock, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self.id = settings.id
        self._settings = settings
        self._clock = clock
        self._monotonic = monotonic
        self._state = "waiting"

    @property
    def state(self) -> str:
        return self._state

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        """Asks all slaves every interval until stopped; opens the port again whenever it fails."""
        wait = GrowingWait()
        table = self._settings
        while not stop():
            try:
                with open_alone(
                    table.port, table.baud, READ_S, _PARITY[table.parity], table.stop_bits
                ) as port:
                    self._state = "connected"
                    line = _Line(port, table, self._monotonic, stop)
                    while not stop():
                        began = self._monotonic()
                        self._round(line, put, stop)
                        wait.reset()
                        rest(began + table.interval_s - self._monotonic(), stop)
            except PORT_TROUBLE as error:
                self._state = f"failed: {explained(error)}"
                wait.pause(stop)
        self._state = "waiting"

    def _round(self, line: _Line, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        silent = set()
        for query in line.queries:
            if stop():
                return
            answer = b"" if query.slave in silent else line.ask(query)
            if not answer:
                silent.add(query.slave)  # asked again in the next round: the others must not wait for it
            put(Arrival(self.id, answer, self._clock.now(), topic=query.topic))
        slaves = ", ".join(str(slave) for slave in sorted(silent))
        self._state = f"failed: no answer from slave {slaves}" if silent else "connected"


class _Line:
    """The open port, and which slaves are in step."""

    def __init__(
        self,
        port: serial.Serial,
        table: settings.ModbusSource,
        monotonic: Callable[[], float],
        stop: Callable[[], bool],
    ) -> None:
        self.queries = queries(table.decode.registers)
        self._port = port
        self._timeout_s = table.timeout_s
        self._quiet_s = max(QUIET_S, QUIET_BITS / table.baud)
        self._monotonic = monotonic
        self._stop = stop
        # slave -> monotonic second of the query that may still be answered
        self._late = {query.slave: monotonic() for query in self.queries}

    def ask(self, query: Query) -> bytes:
        """The answer's bytes as they came; empty if there was none, or if none can be believed yet."""
        if not self._in_step(query.slave):
            return b""
        answer = self._exchange(query)
        if _said(query, answer) is not None:
            self._late[query.slave] = self._monotonic()
            self._drain(answer)
        return answer

    def _in_step(self, slave: int) -> bool:
        since = self._late.get(slave)
        if since is None:
            return True
        if self._monotonic() - since < FORGOTTEN_S and not self._brought_back(slave):
            return False
        del self._late[slave]
        return True

    def _brought_back(self, slave: int) -> bool:
        other = self._of_other_length(slave)
        for _ in range(TRIES):
            answer = self._exchange(other)
            if _said(other, answer) in (None, EXCEPTION):
                return True
            if not answer:  # silent: the other slaves must not wait for a second silence
                return False
            self._drain(answer)
        return False

    def _of_other_length(self, slave: int) -> Query:
        asked = [query for query in self.queries if query.slave == slave]
        counts = {query.count for query in asked}
        count = next(count for count in range(1, len(counts) + 2) if count not in counts)
        return Query(slave, asked[0].function, asked[0].address, count)

    def _exchange(self, query: Query) -> bytes:
        """Sends the query; reads until the answer's length is there, or until the slave has been silent too long."""
        if self._port.in_waiting:
            self._drain(b"more")
        rest(self._quiet_s, self._stop)
        self._port.write(query.frame())
        answer = b""
        end = self._monotonic() + self._timeout_s
        while len(answer) < _length(query, answer) and not self._stop() and self._monotonic() < end:
            answer += self._port.read(_length(query, answer) - len(answer))
        return answer

    def _drain(self, began: bytes) -> None:
        """Drops what still comes, until the line has been quiet for the time an answer may take.

        began: what was read of it; if nothing, the line has been quiet for so long already.
        """
        if not began:
            return
        quiet = self._monotonic() + self._timeout_s
        limit = self._monotonic() + 4 * self._timeout_s
        while not self._stop() and self._monotonic() < min(quiet, limit):
            if self._port.read(LONGEST_ANSWER):
                quiet = self._monotonic() + self._timeout_s


def _length(query: Query, answer: bytes) -> int:
    refuses = len(answer) >= 2 and answer[1] & 0x80
    return EXCEPTION_LENGTH if refuses else query.length


def _said(query: Query, answer: bytes) -> str | None:
    """None if these bytes can only be what this slave says to this query, else the kind of its refusal.

    A refusal (EXCEPTION) has no length of its own. It brings a slave back into step, for some have no register to be
    asked for another length; but one that comes for a sample's query may be that query's, or the late one of that.
    """
    try:
        query.registers(answer)
    except NotTaken as error:
        return error.refusal.kind
    return None
