"""Whether a server still has what was safe on it: it may have been emptied since, or put back from an old copy, or the
settings name another one, another database of it, or another name of this site."""

from __future__ import annotations

from collections.abc import Callable

from collector.forward.link import ServerError
from collector.forward.read_back import Asked, Sent, has_commits, newest_commit
from collector.forward.state import ForwardState
from collector.settings import Forward

ASK_EVERY_S = 3600.0


class StillThere:
    """Asked over each new connection, and each hour. monotonic: s."""

    def __init__(self, settings: Forward, site: str, monotonic: Callable[[], float]) -> None:
        self._settings = settings
        self._site = site
        self._monotonic = monotonic
        self._asked = float("-inf")

    def begin_again(self) -> None:
        """It is to be asked at once."""
        self._asked = float("-inf")

    def asked(self) -> None:
        """Not again for an hour: a server that loses its commits always would be sent all of it without end."""
        self._asked = self._monotonic()

    def last(self, link: Asked, state: ForwardState) -> int:
        """The last batch that is safe and there. One that the server does not speak of is believed to be.

        Raises ServerError if it does not answer.
        """
        if not state.safe_tick or self._monotonic() - self._asked < ASK_EVERY_S:
            return state.safe
        self.asked()
        newest = Sent(state.safe, state.safe, False, 0, 0, 0, (state.safe_tick,))
        try:
            if has_commits(link, self._settings, self._site, newest):
                return state.safe
            return min(state.safe, newest_commit(link, self._settings, self._site, state.safe_tick))
        except ServerError as error:
            if not error.says_nothing:
                raise
            return state.safe
