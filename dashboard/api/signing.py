"""Entries that are signed with a PIN, each time: those that let a panel go on against a hold, or end it for good."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from fastapi import Request

from dashboard.api.door import Refusal
from dashboard.door.doorway import NOT_YOURS, SIGN, refused
from dashboard.door.visitor import OPEN_HOUSE, Means, Visitor, answering
from dashboard.ports import Logbook
from dashboard.words.door import DOOR_SAID

SIGNED = frozenset({"demoulded", "released", "scrapped"})


def is_signed(kind: str, of: str | None, logbook: Logbook) -> bool:
    """Whether an entry of that kind is; of: the entry it takes back. Without its hold a panel goes on, as released."""
    if kind != "withdrawn":
        return kind in SIGNED
    return any(event.id == of and event.kind == "held" for event in logbook.events())


@contextmanager
def signing(request: Request) -> Iterator[str]:
    """Takes the signature that was given just now; within it, whoever gave it is who asks. Gives the signer's name.

    "" where nobody has to sign in, and for the commands of this computer's own user. Raises Refusal without one.
    """
    visitor: Visitor = getattr(request.state, "visitor", OPEN_HOUSE)
    if visitor.means is Means.TOKEN:
        raise Refusal(refused(403, DOOR_SAID["token_not"], DOOR_SAID["only_persons_do"], NOT_YOURS))
    if not visitor.signs:
        yield ""
        return
    name = request.state.signature()
    if not name:
        raise Refusal(refused(403, DOOR_SAID["sign"], DOOR_SAID["sign_do"], SIGN))
    request.state.visitor = replace(visitor, signed=name)
    done = answering(request.state.visitor)
    try:
        yield name
    finally:
        done()
