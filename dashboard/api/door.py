"""Signing in and out, signing what is to be signed, and who may come in: every change by POST with JSON."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Request, Response
from pydantic import Field
from starlette.responses import JSONResponse

from dashboard.api.entry_models import Body
from dashboard.door.accounts import Account, good_name, name_key, no_persons
from dashboard.door.door import Door
from dashboard.door.doorway import NOT_YOURS, refused, wait_for
from dashboard.door.secret import good_password
from dashboard.door.visitor import DoorError, Means, Role, Visitor
from dashboard.security import problem
from dashboard.words.door import DOOR_SAID

Text = Annotated[str, Field(max_length=200)]
Secret = Annotated[str, Field(max_length=1000)]
RoleWord = Literal["look", "work", "manage"]


class SignIn(Body):
    name: Text
    password: Secret


class First(SignIn):
    """The first account; code: as it stands where coldshed was started."""

    code: Text


class Signature(Body):
    """secret: the PIN, or the password of somebody who has none."""

    name: Text
    secret: Secret


class NewPassword(Body):
    old: Secret
    new: Secret


class NewPin(Body):
    """pin "": it is taken away."""

    password: Secret
    pin: Secret


class Named(Body):
    name: Text


class NewAccount(Body):
    name: Text
    role: RoleWord
    password: Secret


class RoleOf(Body):
    name: Text
    role: RoleWord


class PasswordOf(Body):
    name: Text
    password: Secret


class PinOf(Body):
    name: Text
    pin: Secret


class Ident(Body):
    id: Text


class NewToken(Body):
    name: Text
    scopes: Annotated[list[Text], Field(max_length=10)]


class Refusal(Exception):
    """Carries the answer."""

    def __init__(self, answer: Response) -> None:
        super().__init__()
        self.answer = answer


def router(door: Door) -> APIRouter:
    """POST /door/in, first, out, sign, phone."""
    routes = APIRouter(prefix="/door")

    @routes.post("/in")
    def sign_in(request: Request, entry: SignIn) -> Response:
        """Name and password; the answer carries the cookie of a new session, and an older one of this browser ends."""
        account = checked(door, request, entry.name, entry.password, "sign_in_failed", signature=False)
        return _begin(door, request, account, Visitor(Means.PERSON, account.role, account.name), "signed_in")

    @routes.post("/first")
    def first(request: Request, entry: First) -> Response:
        """The first account, by whoever can read what serve printed."""
        if door.accounts.any():
            raise Refusal(problem(409, DOOR_SAID["has_accounts"], DOOR_SAID["has_accounts_do"]))
        good_name(entry.name)  # before the code, which is void once it was said
        good_password(entry.password, [entry.name])
        with tried(door, request, "", "first_failed", wrong=("wrong_code", "wrong_code_do")) as found:
            found.append(door.code is not None and door.code.use(entry.code))
        by = Visitor(Means.OPEN_HOUSE, Role.MANAGE, "")
        account = door.accounts.add(entry.name, Role.MANAGE, entry.password, by, address(request))
        return _begin(door, request, account, Visitor(Means.PERSON, account.role, account.name), "signed_in")

    @routes.post("/out")
    def sign_out(request: Request) -> Response:
        visitor = asks(request)
        if visitor.means in (Means.PERSON, Means.PHONE):
            door.sessions.end(visitor.session, visitor, address(request))
        answer = Response('{"out": true}', media_type="application/json")
        answer.headers["Set-Cookie"] = door.cookie(request.headers, "")
        return answer

    @routes.post("/sign")
    def sign(request: Request, entry: Signature) -> dict[str, Any]:
        """A PIN, for the one signature that follows. On a shop phone anybody who may log, else only oneself."""
        visitor = asks(request)
        mine = visitor.name if visitor.means is Means.PERSON else entry.name
        if not visitor.signs:
            raise Refusal(refused(403, DOOR_SAID["only_persons"], DOOR_SAID["only_persons_do"], NOT_YOURS))
        account = checked(door, request, mine, entry.secret, "signature_failed", signature=True)
        door.sign(visitor.session, account.name)
        return {"signed": account.name}

    @routes.post("/phone")
    def phone(request: Request, entry: Named) -> Response:
        """This browser becomes a shop phone: it stays signed in, may log, and asks for a PIN to sign."""
        visitor = asks(request)
        if visitor.means is not Means.PERSON:
            raise Refusal(refused(403, DOOR_SAID["only_persons"], DOOR_SAID["only_persons_do"], NOT_YOURS))
        label = no_persons(entry.name, door.file)
        return _begin(door, request, None, visitor, "phone_made", label)

    return routes


def me_router(door: Door) -> APIRouter:
    """POST /door/me/password, me/pin: what a person changes of the own account."""
    routes = APIRouter(prefix="/door/me")

    @routes.post("/password")
    def my_password(request: Request, entry: NewPassword) -> dict[str, Any]:
        account = _me(door, request, entry.old)
        visitor = asks(request)
        door.accounts.set_password(account, entry.new, visitor.session, visitor, address(request))
        return {"done": True}

    @routes.post("/pin")
    def my_pin(request: Request, entry: NewPin) -> dict[str, Any]:
        account = _me(door, request, entry.password)
        door.accounts.set_pin(account, entry.pin or None, asks(request), address(request))
        return {"done": True}

    return routes


def keys_router(door: Door) -> APIRouter:
    """POST /door/accounts and what changes one; /door/sessions/end; /door/tokens, tokens/revoke: for who manages."""
    routes = APIRouter(prefix="/door")

    @routes.post("/accounts")
    def add(request: Request, entry: NewAccount) -> dict[str, Any]:
        made = door.accounts.add(
            entry.name, Role.of(entry.role), entry.password, asks(request), address(request)
        )
        return {"name": made.name, "role": made.role.word}

    @routes.post("/accounts/role")
    def role(request: Request, entry: RoleOf) -> dict[str, Any]:
        account = door.accounts.named(entry.name)
        door.accounts.set_role(account, Role.of(entry.role), asks(request), address(request))
        return {"name": account.name, "role": entry.role}

    @routes.post("/accounts/password")
    def password(request: Request, entry: PasswordOf) -> dict[str, Any]:
        account, visitor = door.accounts.named(entry.name), asks(request)
        door.accounts.set_password(account, entry.password, visitor.session, visitor, address(request))
        return {"name": account.name}

    @routes.post("/accounts/pin")
    def pin(request: Request, entry: PinOf) -> dict[str, Any]:
        account = door.accounts.named(entry.name)
        door.accounts.set_pin(account, entry.pin or None, asks(request), address(request))
        return {"name": account.name}

    @routes.post("/accounts/remove")
    def remove(request: Request, entry: Named) -> dict[str, Any]:
        account = door.accounts.named(entry.name)
        door.accounts.remove(account, asks(request), address(request))
        return {"name": account.name}

    @routes.post("/sessions/end")
    def end(request: Request, entry: Ident) -> dict[str, Any]:
        door.sessions.end(entry.id, asks(request), address(request))
        return {"id": entry.id}

    @routes.post("/tokens")
    def token(request: Request, entry: NewToken) -> dict[str, Any]:
        """`token` is shown this once; nobody can be shown it again."""
        made = door.tokens.make(entry.name, entry.scopes, asks(request), address(request))
        return {"name": entry.name, "token": made}

    @routes.post("/tokens/revoke")
    def revoke(request: Request, entry: Ident) -> dict[str, Any]:
        door.tokens.revoke(entry.id, asks(request), address(request))
        return {"id": entry.id}

    return routes


def asks(request: Request) -> Visitor:
    """Who asks, as the doorway found."""
    found: Visitor = request.state.visitor
    return found


def address(request: Request) -> str:
    return str(request.state.address)


@contextmanager
def tried(
    door: Door, request: Request, name: str, failed: str, wrong: tuple[str, str]
) -> Iterator[list[object]]:
    """What is tried in it appends its outcome. What is false is refused and slows the next try down: Refusal."""
    key, where = name_key(name), address(request)
    _or_wait(door.delays.wait_s(key, where))
    if not door.hashing.acquire(blocking=False):
        raise Refusal(wait_for(1, DOOR_SAID["busy_in"]))
    found: list[object] = []
    try:
        _or_wait(door.delays.begin(key, where))  # asked above, too: who has to wait takes no place of others
        yield found
    finally:
        door.hashing.release()
    if found and found[0]:
        door.delays.right(key, where)
        return
    # A password is sometimes typed where the name belongs: only a name that is known is written down.
    known = next((one.name for one in door.accounts.all() if name_key(one.name) == key), "")
    door.trail.add(asks(request), where, DOOR_SAID[failed], known)
    what, do = wrong
    raise Refusal(
        refused(401 if failed == "sign_in_failed" else 403, DOOR_SAID[what], DOOR_SAID[do], "again")
    )


def _or_wait(seconds: float) -> None:
    if seconds > 0:
        raise Refusal(wait_for(seconds, DOOR_SAID["tried_often"]))


def checked(door: Door, request: Request, name: str, text: str, failed: str, *, signature: bool) -> Account:
    """Whose name and secret these are. Raises Refusal, after as much time and in the same words for any reason."""
    wrong = ("wrong_sign", "wrong_sign_do") if signature else ("wrong_in", "wrong_in_do")
    with tried(door, request, name, failed, wrong) as found:
        look = door.accounts.by_signature if signature else door.accounts.by_password
        account = look(name, text)
        if account is not None and signature and account.role < Role.WORK:
            account = None
        found.append(account)
    assert account is not None
    return account


def _me(door: Door, request: Request, password: str) -> Account:
    visitor = asks(request)
    if visitor.means is not Means.PERSON:
        raise Refusal(refused(403, DOOR_SAID["only_persons"], DOOR_SAID["only_persons_do"], NOT_YOURS))
    return checked(door, request, visitor.name, password, "signature_failed", signature=False)


def _begin(
    door: Door, request: Request, account: Account | None, visitor: Visitor, what: str, label: str = ""
) -> Response:
    """A new session in this browser's cookie; the one it had ends, so that none is carried over a sign-in."""
    where = address(request)
    had = door.session_of(request.headers)
    if had.session:
        door.sessions.end(had.session, had, where)
    try:
        made = door.sessions.begin(account.id if account else None, label or _browser(request))
    except DoorError as error:
        raise Refusal(problem(409, str(error), DOOR_SAID["mend_do"])) from error
    door.trail.add(visitor, where, DOOR_SAID[what], label)
    answer = JSONResponse({"in": True, "name": account.name if account else ""})
    answer.headers["Set-Cookie"] = door.cookie(request.headers, made, phone=account is None)
    return answer


def _browser(request: Request) -> str:
    """What the session is told by on the list: enough to know one's own phone again."""
    kind = "phone" if "mobi" in request.headers.get("user-agent", "").lower() else "computer"
    return f"{kind}, {address(request)}"
