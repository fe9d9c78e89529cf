"""One portion of lines to the server, whatever it refuses: smaller requests, and bad lines found one by one."""

from __future__ import annotations

from collections.abc import Callable

from collector.forward.link import Refused, ServerError, TooLarge
from collector.forward.state import Kept

LINES = 5000
"""In one request, unless the server wants fewer."""
MOST_BAD = 10
"""Bad lines in a row, with none between them that was taken. If the last line of a portion is refused then too, the
server has something against all of them: passing them over would only empty readings.db into the list of refused ones.
"""

Write = Callable[[list[str]], None]
"""Returns once the server has acknowledged these lines; raises ServerError."""


class RefusesAll(ServerError):
    """The server takes none of our lines, though it answers."""


class Sender:
    """Sends lists of lines. `at_once`: how many of them the server takes in one request, as far as is known."""

    def __init__(self, write: Write) -> None:
        self._write = write
        self.at_once = LINES
        self._too_old = 0
        self._bad_in_a_row = 0

    def send(self, lines: list[str]) -> tuple[list[Kept], int]:
        """Returns once all have been acknowledged but those that are returned: bad lines, each with the server's words,
        and how many were older than the server keeps. Raises RefusesAll, or another ServerError; then any of them may
        have been written.
        """
        kept: list[Kept] = []
        done = self._too_old = 0
        while done < len(lines):
            chunk = lines[done : done + min(self.at_once, _reach(done, len(kept)))]
            try:
                self._write(chunk)
                done += len(chunk)
                self._bad_in_a_row = 0
                if len(chunk) == self.at_once:  # perhaps it takes more by now
                    self.at_once = min(LINES, self.at_once + 1 + self.at_once // 100)
            except TooLarge:
                if len(chunk) == 1:
                    raise
                self.at_once = len(chunk) // 2
            except Refused as error:
                if self._only_too_old(error):
                    done += len(chunk)
                    continue
                taken, bad = self._first_bad(chunk)
                done += taken + (bad is not None)
                kept += [bad] if bad else []
                self._count(bad is not None, taken)
                if self._bad_in_a_row > MOST_BAD:
                    self._try_last(lines[-1])
        return kept, self._too_old

    def _count(self, bad: bool, taken: int) -> None:
        self._bad_in_a_row = bad + (0 if taken else self._bad_in_a_row)

    def _try_last(self, line: str) -> None:
        """Whether the server takes that one at least. Raises RefusesAll if not."""
        try:
            self._write([line])
        except Refused as error:
            if error.too_old is None:
                text = f"{error}. It takes none of them, so none is passed over"
                raise RefusesAll(text, "refuses all", alive=True) from error
        self._bad_in_a_row = 0

    def _first_bad(self, lines: list[str]) -> tuple[int, Kept | None]:
        """How many lines before the first bad one have been sent, and that one: halving what is left of a chunk that
        was refused as a whole. None if the line on its own is taken after all.

        Of 5,000 lines: 13 requests here, beside the one that was refused and the one that takes the rest.
        """
        good, end = 0, len(lines)
        while end - good > 1:
            middle = (good + end) // 2
            try:
                self._write(lines[good:middle])
                good = middle
            except Refused as error:
                if self._only_too_old(error):
                    good = middle
                else:
                    end = middle
        try:
            self._write(lines[good:end])
        except Refused as error:
            if not self._only_too_old(error):
                return good, Kept(lines[good], error.words)
        return end, None

    def _only_too_old(self, refusal: Refused) -> bool:
        """True if the server has taken all lines but those that are older than what it keeps, which are counted."""
        self._too_old += refusal.too_old or 0
        return refusal.too_old is not None


def _reach(done: int, bad: int) -> int:
    """Where many lines are bad, as far as about one of them lies: halving a long chunk for each would cost more."""
    return LINES if bad <= MOST_BAD else max(1, 2 * done // bad)
