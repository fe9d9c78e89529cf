"""Entries that are signed with a PIN, each time: those that let a panel go on against a hold, or end it for good."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from fastapi import Request

from dashboard.api.door import Refusal
from dashboard.door.doorway import NOT_YOURS, SIGN, refused
from dashboard.door.visitor import OPEN_HOUSE, Means, Visitor, answering
from dashboard.panel import Event
from dashboard.ports import Logbook
from dashboard.words.door import DOOR_SAID

SIGNED = frozenset({"demoulded", "released", "scrapped"})


_LETS_ON = {"withdrawn": frozenset({"held"}), "time changed": frozenset({"held", "released"})}
"""Without its hold a panel goes on, as released; so it does if the hold then lies before a release."""


def is_signed(event: Event, logbook: Logbook) -> bool:
    """Whether it is: by its kind, or because of the entry that it takes back or tells another time of."""
    if event.kind not in _LETS_ON:
        return event.kind in SIGNED
    known = {earlier.id: earlier for earlier in logbook.events()}
    of, kinds = known.get(str(event.body["event"])), _LETS_ON[event.kind]
    if of is not None and of.kind == "time changed":
        of, kinds = known.get(str(of.body["event"])), _LETS_ON["time changed"]
    return of is not None and of.kind in kinds


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
