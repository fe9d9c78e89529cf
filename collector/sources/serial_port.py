"""A serial port: bytes as they come, cut into whole lines, for ever.

The port is opened for this program alone. Whatever goes wrong on it (unplugged, busy, no permission: pyserial
has three unrelated exceptions) ends the session; it is closed, and opened again after a growing wait.
`is_open` is never believed.
"""

from __future__ import annotations

import errno
import fcntl
import termios
from collections.abc import Callable, Iterator

import serial

from collector.arrival import Arrival
from collector.clock import Clock
from collector.decode.text_line import MAX_LINE
from collector.patience import GrowingWait

READ_S = 0.2
TOGETHER_MS = 1000
"""Lines that waited together, because we were slow, get a millisecond each: at one time the second value of a probe
would count as a rival of the first."""
LOOKED_AT = 200
"""Bytes: a few lines, or a second of garbage from a slow device."""
ODD_SHARE = 0.25
_TEXT = bytes([*range(0x20, 0x7F), *b"\t\r\n"])
CUT = MAX_LINE + 3
"""Bytes kept of an endless line: too long even if CR LF are taken off."""
PORT_TROUBLE = (OSError, termios.error, TypeError, ValueError, serial.SerialException)
_ADVICE = {
    errno.ENOENT: "no such port: plug the device in, or see 'coldshed listen --ports'",
    errno.EACCES: "no permission: add this user to the port's group (dialout on many systems)",
    errno.EBUSY: "another program has the port open",
    errno.EAGAIN: "another program has the port open",
}


class LineAssembler:
    """Chunks to whole lines, in bounded memory.

    Whatever comes before the first line end is dropped, for it may be the tail of a line. A pause never ends
    a line. Of a line that is too long the beginning comes out, longer than MAX_LINE, so that the decoder
    refuses and counts it; the rest up to the next line end is dropped.
    """

    def __init__(self) -> None:
        self._part = bytearray()
        self._skipping = True

    def feed(self, chunk: bytes) -> Iterator[bytes]:
        """The lines that end in this chunk, without their line ends (LF, or CR LF)."""
        *ended, rest = chunk.split(b"\n")
        for piece in ended:
            self._add(piece)
            if not self._skipping:
                yield bytes(self._part).removesuffix(b"\r")
            self._part.clear()
            self._skipping = False
        self._add(rest)
        if len(self._part) >= CUT:
            yield bytes(self._part)
            self._part.clear()
            self._skipping = True

    def _add(self, piece: bytes) -> None:
        if not self._skipping:
            self._part += piece[: CUT - len(self._part)]


class Impression:
    """Whether what arrives looks like text; at another baud rate than ours, every other byte does not."""

    def __init__(self) -> None:
        self._seen = self._odd = 0

    def add(self, chunk: bytes) -> None:
        self._seen += len(chunk)
        self._odd += len(chunk.translate(None, _TEXT))
        if self._seen > 2 * LOOKED_AT:  # what came lately counts
            self._seen, self._odd = self._seen // 2, self._odd // 2

    @property
    def garbled(self) -> bool:
        return self._seen >= LOOKED_AT and self._odd > self._seen * ODD_SHARE


class SerialPortSource:
    """One port. Give its by-id or by-path link: it leads to the device again after replugging."""

    def __init__(self, id: str, port: str, baud: int, clock: Clock) -> None:
        self.id = id
        self._port = port
        self._baud = baud
        self._clock = clock
        self._state = "waiting"
        self._hint = f"; what arrives is no text: is baud = {baud} the device's own?"

    @property
    def state(self) -> str:
        return self._state

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        """Reads until stopped; opens the port again whenever it fails."""
        wait = GrowingWait()
        while not stop():
            try:
                with open_alone(self._port, self._baud, READ_S) as port:
                    self._state = "connected"
                    self._read(port, put, stop, wait)
            except PORT_TROUBLE as error:
                self._state = f"failed: {explained(error)}"
                wait.pause(stop)
        self._state = "waiting"

    def _read(
        self,
        port: serial.Serial,
        put: Callable[[Arrival], None],
        stop: Callable[[], bool],
        wait: GrowingWait,
    ) -> None:
        assembler, impression = LineAssembler(), Impression()
        last = 0
        while not stop():
            chunk = port.read(port.in_waiting or 1)
            impression.add(chunk)
            self._state = f"connected{self._hint if impression.garbled else ''}"
            for line in assembler.feed(chunk):
                wait.reset()
                now = self._clock.now()
                last = last + 1 if 0 <= last - now < TOGETHER_MS else now
                put(Arrival(self.id, line, last))


def open_alone(
    port: str, baud: int, timeout_s: float, parity: str = serial.PARITY_NONE, stop_bits: int = 1
) -> serial.Serial:
    """The port, open for this program alone. Raises one of PORT_TROUBLE."""
    opened = serial.Serial(port, baud, timeout=timeout_s, parity=parity, stopbits=stop_bits, exclusive=True)
    try:
        # `exclusive` is a lock that only polite programs ask for; this one the kernel enforces.
        fcntl.ioctl(opened.fileno(), termios.TIOCEXCL)
    except PORT_TROUBLE:
        opened.close()
        raise
    return opened


def explained(error: BaseException) -> str:
    """Words for a port's error. pyserial wraps the system's error: its number says what to do."""
    number = getattr(error, "errno", None)
    if number is None and error.__context__ is not None:
        number = getattr(error.__context__, "errno", None)
    return _ADVICE.get(number or 0, str(error) or type(error).__name__)
