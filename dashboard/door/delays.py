"""Waiting times: after wrong passwords, and for who asks too much. In memory, bounded, and nobody is shut out for good.

A wrong password makes its account wait a little (at most ACCOUNT_MOST_S: a neighbour who guesses cannot keep its
owner out) and its address longer. A right one lets its own account off and no other: whoever has an account cannot
guess at another's in between. Monotonic seconds are passed in.
"""

from __future__ import annotations

import ipaddress
import math
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

FREE = 3
"""So many may be wrong before anybody waits: fingers are cold."""
ACCOUNT_MOST_S = 5.0
ADDRESS_MOST_S = 120.0
FORGOTTEN_S = 3600.0
MOST_KEYS = 2000


@dataclass
class _Wrong:
    times: int
    until: float
    last: float


class Delays:
    """How long who has to wait before the next try. For several threads."""

    def __init__(self, monotonic: Callable[[], float], most_keys: int = MOST_KEYS) -> None:
        self._monotonic = monotonic
        self._most_keys = most_keys
        self._lock = threading.Lock()
        self._wrong: OrderedDict[tuple[str, str], _Wrong] = OrderedDict()

    def wait_s(self, account: str, address: str) -> float:
        """Seconds until the next try is taken; 0: now."""
        now = self._monotonic()
        found = (self._wrong.get(key) for key in _keys(account, address))
        return max(0.0, *(item.until - now for item in found if item is not None), 0.0)

    def begin(self, account: str, address: str) -> float:
        """As wait_s. 0: the try begins, and is wrong until right() says otherwise, so that of several at once each
        counts for the next."""
        with self._lock:
            if (wait := self.wait_s(account, address)) > 0:
                return wait
            now = self._monotonic()
            for key, most in zip(_keys(account, address), _MOST_S, strict=True):
                item = self._wrong.pop(key, None)
                if item is None or now - item.last > FORGOTTEN_S:
                    item = _Wrong(0, now, now)
                item.times, item.last = item.times + 1, now
                wait = min(2.0 ** min(item.times - FREE, 30), most) if item.times >= FREE else 0.0
                item.until = now + wait
                self._wrong[key] = item
            while len(self._wrong) > self._most_keys:
                self._wrong.popitem(last=False)
            return 0.0

    def right(self, account: str, address: str) -> None:
        """It was right: its account begins anew, and what this address got wrong of it is forgotten."""
        of_account, of_address, of_both = _keys(account, address)
        with self._lock:
            self._wrong.pop(of_account, None)
            both, other = self._wrong.pop(of_both, None), self._wrong.get(of_address)
            if both is not None and other is not None:
                other.times, other.until = max(0, other.times - both.times), self._monotonic()

    def __len__(self) -> int:
        return len(self._wrong)


class Pace:
    """A bucket for each address: `burst` requests at once, then `per_s`."""

    def __init__(
        self, per_s: float, burst: float, monotonic: Callable[[], float], most_keys: int = MOST_KEYS
    ) -> None:
        self._per_s, self._burst = per_s, burst
        self._monotonic = monotonic
        self._most_keys = most_keys
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_s(self, address: str) -> float:
        """Takes one; 0, or seconds until there is one again (none is taken then)."""
        now, key = self._monotonic(), network(address)
        left, at = self._left.pop(key, (self._burst, now))
        left = min(self._burst, left + (now - at) * self._per_s)
        wait = 0.0 if left >= 1 else (1 - left) / self._per_s
        self._left[key] = (left - 1 if wait == 0 else left, now)
        while len(self._left) > self._most_keys:
            self._left.popitem(last=False)
        return wait


class Seldom:
    """Says whether something is to be told: the first time, and again `every_s` later."""

    def __init__(self, every_s: float, monotonic: Callable[[], float], most_keys: int = MOST_KEYS) -> None:
        self._every_s = every_s
        self._monotonic = monotonic
        self._most_keys = most_keys
        self._told: OrderedDict[tuple[str, ...], float] = OrderedDict()

    def is_due(self, *key: str) -> bool:
        """True counts as told."""
        now = self._monotonic()
        if now - self._told.get(key, -math.inf) < self._every_s:
            return False
        self._told.pop(key, None)
        self._told[key] = now
        if len(self._told) > self._most_keys:
            self._told.popitem(last=False)
        return True


def network(address: str) -> str:
    """What counts as one client: an IPv4 address, or an IPv6 /64, which one phone may have to itself."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address[:64]
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)


def _keys(account: str, address: str) -> tuple[tuple[str, str], ...]:
    """Of the account, of the address, and of what the one got wrong of the other: as _MOST_S."""
    of = network(address)
    return ("account", account), ("address", of), ("both", f"{of} {account}")


_MOST_S = ACCOUNT_MOST_S, ADDRESS_MOST_S, 0.0
