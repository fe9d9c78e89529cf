"""Who asks, as far as the door knows: a role, what may be done with it, and the name that entries carry."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from enum import IntEnum, StrEnum


class Role(IntEnum):
    """Each may do what those before it may."""

    ANYONE = 0
    LOOK = 1
    WORK = 2
    MANAGE = 3

    @classmethod
    def of(cls, word: str) -> Role:
        """Of look, work or manage. Raises DoorError for any other word."""
        if word not in ROLES:
            raise DoorError(f"{word[:40]!r} is no role; allowed: {', '.join(ROLES)}")
        return cls[word.upper()]

    @property
    def word(self) -> str:
        return self.name.lower()


ROLES = ("look", "work", "manage")


class Means(StrEnum):
    """By what somebody came in."""

    NOTHING = "nothing"
    OPEN_HOUSE = "open house"
    """On loopback only, while nobody has an account: whoever sits at this computer."""
    PERSON = "person"
    PHONE = "shop phone"
    TOKEN = "token"
    KEY = "house key"
    """The file that only the user who runs coldshed can read: the commands use it."""


class DoorError(Exception):
    """It cannot be done; the text says why and what is allowed."""


@dataclass(frozen=True)
class Visitor:
    """names: whom a shop phone may speak for. session, token: its public id. signed: who has just given a PIN."""

    means: Means
    role: Role = Role.ANYONE
    name: str = ""
    scopes: frozenset[str] = frozenset()
    names: tuple[str, ...] = ()
    session: str = ""
    account: int | None = None
    signed: str = ""

    @property
    def known(self) -> bool:
        return self.means is not Means.NOTHING

    @property
    def signs(self) -> bool:
        """A signature has to be given anew by whoever this is."""
        return self.means in (Means.PERSON, Means.PHONE)

    @property
    def page_of(self) -> str:
        """Whose name stands in a page: "" where several share it."""
        return self.name if self.means is Means.PERSON else ""

    def may(self, word: str) -> bool:
        return self.role >= Role.of(word)

    def speaks_as(self, said: str) -> str:
        """The name an entry carries if `said` was given. Raises ValueError if that is somebody else's."""
        if self.signed:
            return self.signed
        match self.means:
            case Means.PERSON | Means.TOKEN:
                return self.name
            case Means.PHONE if not said:
                return self.name
            case Means.PHONE if said not in self.names:
                raise ValueError(
                    "nobody of that name has an account here: choose your name on the page People"
                )
        return said


STRANGER = Visitor(Means.NOTHING)
OPEN_HOUSE = Visitor(Means.OPEN_HOUSE, Role.MANAGE)
_asking: ContextVar[Visitor] = ContextVar("asking", default=OPEN_HOUSE)


def asking() -> Visitor:
    """Who asks for what is being answered now."""
    return _asking.get()


def speaks_as(said: str) -> str:
    """What visitor.speaks_as says of whoever asks: nobody logs under another's name."""
    return asking().speaks_as(said)


def answering(visitor: Visitor) -> Callable[[], None]:
    """Until the returned function is called, `visitor` is who asks."""
    token = _asking.set(visitor)
    return lambda: _asking.reset(token)
