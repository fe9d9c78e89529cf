"""How secrets are kept, and what is taken as one; how long a wrong one makes somebody wait."""

from __future__ import annotations

import hashlib

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.low_level import Type, core, error_to_str, ffi, lib

from dashboard.door import secret
from dashboard.door.delays import ACCOUNT_MOST_S, ADDRESS_MOST_S, FREE, Delays, Pace, network
from dashboard.door.visitor import DoorError
from tests.door.house import BOSS, PASSWORD, Hand, House


def test_the_library_gives_argon2id_of_rfc_9106() -> None:
    """RFC 9106, section 5.3: m = 32 KiB, t = 3, p = 4, tag of 32 bytes, with a secret and associated data."""
    out = ffi.new("uint8_t[]", 32)
    parts = {name: ffi.new("uint8_t[]", bytes([byte]) * size) for name, byte, size in
             (("pwd", 1, 32), ("salt", 2, 16), ("secret", 3, 8), ("ad", 4, 12))}  # fmt: skip
    context = ffi.new("argon2_context *", {
        "version": 0x13, "out": out, "outlen": 32, "pwd": parts["pwd"], "pwdlen": 32, "salt": parts["salt"],
        "saltlen": 16, "secret": parts["secret"], "secretlen": 8, "ad": parts["ad"], "adlen": 12, "t_cost": 3,
        "m_cost": 32, "lanes": 4, "threads": 4, "allocate_cbk": ffi.NULL, "free_cbk": ffi.NULL,
        "flags": lib.ARGON2_DEFAULT_FLAGS,
    })  # fmt: skip
    found = core(context, Type.ID.value)
    assert found == 0, error_to_str(found)
    assert bytes(ffi.buffer(out, 32)).hex() == (
        "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"
    )


def test_passwords_are_kept_as_owasp_recommends() -> None:
    """OWASP Password Storage Cheat Sheet: Argon2id with at least m = 19 MiB, t = 2, p = 1."""
    kept = secret.hashed(PASSWORD)
    told = extract_parameters(kept)
    assert (told.type, told.memory_cost, told.time_cost, told.parallelism) == (Type.ID, 19 * 1024, 2, 1)
    assert kept != secret.hashed(PASSWORD), "each has a salt of its own"
    assert secret.matches(kept, PASSWORD)
    assert not secret.matches(kept, PASSWORD + " ")
    assert not secret.matches(None, PASSWORD)


@pytest.fixture
def looked_at(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, bool]]:
    """What was compared with, and whether another might have been meanwhile."""
    found: list[tuple[str, bool]] = []
    verify, make = PasswordHasher.verify, PasswordHasher.hash

    def is_free() -> bool:
        free = secret._one_at_a_time.acquire(blocking=False)
        if free:
            secret._one_at_a_time.release()
        return free

    def verified(self: PasswordHasher, kept: str, text: bytes) -> bool:
        found.append((kept, is_free()))
        return verify(self, kept, text)

    def made(self: PasswordHasher, text: bytes, **more: bytes) -> str:
        found.append(("", is_free()))
        return make(self, text, **more)

    monkeypatch.setattr(PasswordHasher, "verify", verified)
    monkeypatch.setattr(PasswordHasher, "hash", made)
    return found


def test_a_name_that_nobody_has_costs_as_much_as_a_wrong_password(
    house: House, looked_at: list[tuple[str, bool]]
) -> None:
    """ASVS 6.3.8: what an answer takes tells nobody who has an account, nor who has a PIN."""
    accounts = house.door.accounts
    secret._nobodys()
    house.door.accounts.set_pin(accounts.named("Sam"), None, BOSS, "")
    looked_at.clear()
    assert accounts.by_password("Kim", "wrong") is None
    assert accounts.by_password("Nobody", "wrong") is None
    for name in ("Kim", "Sam", "Nobody"):
        assert accounts.by_signature(name, "000111") is None
    assert len(looked_at) == 5, "one comparison each"
    assert len({str(extract_parameters(kept)) for kept, _ in looked_at}) == 1, "each as slow"


def test_passwords_are_looked_at_one_at_a_time(looked_at: list[tuple[str, bool]]) -> None:
    """ASVS 15.2.2: each takes 19 MiB, and a small computer has few of them."""
    secret.matches(secret.hashed(PASSWORD), PASSWORD)
    assert [free for _, free in looked_at] == [False, False]


def test_a_password_may_be_typed_on_any_keyboard() -> None:
    """One letter, composed and decomposed (Unicode Standard Annex 15)."""
    assert secret.matches(secret.hashed("gr\u00fcn wie moos am steg"), "gru\u0308n wie moos am steg")


@pytest.mark.parametrize(
    "text",
    [PASSWORD, "x7 " * 20 + "otter", "ØL og brød på brygga", "a" * 3 + "kestrel umbrella fog" + "z" * 100],
)
def test_a_long_password_is_taken_whatever_it_is_made_of(text: str) -> None:
    assert secret.good_password(text) == text


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("short", "12 characters"),
        ("password1234", "easily guessed"),
        ("qwertyuiop12", "easily guessed"),
        ("aaaaaaaaaaaaaaaa", "easily guessed"),
        ("coldshedcoldshed", "easily guessed"),
        ("kim kim kim kim", "easily guessed"),
        ("x" * 129, "at most 128"),
    ],
)
def test_a_password_that_is_guessed_first_is_refused_with_what_to_do(text: str, why: str) -> None:
    with pytest.raises(DoorError, match=why):
        secret.good_password(text, ["kim"])


@pytest.mark.parametrize(
    "text", ["", "12345", "123456", "987654", "111111", "121212", "12345a", "１２３９８７", "1" * 13]
)
def test_a_pin_that_is_tried_first_is_refused(text: str) -> None:
    with pytest.raises(DoorError):
        secret.good_pin(text)
    assert secret.good_pin("408162") == "408162"


def test_a_random_secret_has_256_bits_and_only_its_digest_is_kept() -> None:
    made = {secret.new_secret() for _ in range(100)}
    assert len(made) == 100
    assert all(len(one) == 43 for one in made)
    assert secret.digest("abc") == hashlib.sha256(b"abc").digest()


def test_waiting_doubles_to_its_end_and_is_forgotten() -> None:
    hand = Hand()
    delays = Delays(hand)
    waits = []
    for _ in range(12):
        assert delays.begin("kim", "192.0.2.1") == 0
        waits.append(round(delays.wait_s("", "192.0.2.1")))
        hand.at += waits[-1]
    assert waits == [0] * (FREE - 1) + [1, 2, 4, 8, 16, 32, 64, 120, 120, 120]
    assert delays.wait_s("kim", "198.51.100.9") <= ACCOUNT_MOST_S < ADDRESS_MOST_S
    delays.right("kim", "192.0.2.1")
    assert delays.wait_s("kim", "192.0.2.1") == 0
    assert [delays.begin("kim", "192.0.2.1") for _ in range(FREE)] == [0.0] * FREE, "all is forgotten"


def test_of_several_tries_at_once_each_counts_for_the_next() -> None:
    """None of them has been found wrong yet."""
    delays = Delays(Hand())
    waits = [delays.begin("kim", f"192.0.2.{number}") for number in range(6)]
    assert [wait > 0 for wait in waits] == [False] * FREE + [True] * (6 - FREE)


def test_who_has_a_password_buys_no_guesses_at_anothers_with_it() -> None:
    hand = Hand()
    delays = Delays(hand)
    for _ in range(FREE + 8):
        assert delays.begin("kim", "192.0.2.1") == 0
        hand.at += delays.wait_s("kim", "192.0.2.1")
        assert delays.begin("robin", "192.0.2.1") == 0
        delays.right("robin", "192.0.2.1")
    assert delays.begin("kim", "192.0.2.1") == 0
    assert delays.wait_s("kim", "192.0.2.1") == ADDRESS_MOST_S


def test_what_is_remembered_has_a_bound() -> None:
    hand = Hand()
    delays, pace = Delays(hand, most_keys=50), Pace(1, 2, hand, most_keys=50)
    for number in range(1000):
        delays.begin(f"name {number}", f"192.0.{number // 250}.{number % 250}")
        pace.wait_s(f"192.0.{number // 250}.{number % 250}")
    assert len(delays) == 50
    assert len(pace._left) == 50


def test_one_network_of_ipv6_counts_as_one_client() -> None:
    """A client has a /64 to choose addresses from (RFC 4291, 2.5.1)."""
    assert network("2001:db8:1:2::1") == network("2001:db8:1:2:ffff::9") != network("2001:db8:1:3::1")
    assert network("::ffff:192.0.2.1") == "192.0.2.1"
