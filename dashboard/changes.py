"""Tells open pages that something has changed; what it is, each page asks for itself, with a conditional GET.

Server-sent events (WHATWG HTML, 9.2). One look at the stores serves all who listen, and none is taken while nobody
does. Each listener has room for one event: a slow one misses none that matters and holds up no other.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import AsyncIterator, Callable

from anyio import to_thread

from collector.clock import Clock
from collector.store.reads import Where, open_store
from collector.store.schema import MAY_PASS, StoreError
from dashboard.ports import Shop

log = logging.getLogger("coldshed.serve")

LOOK_S = 0.5
"""How often the stores are looked at while somebody listens, real seconds."""
READINGS_LOOKS = 10
"""Readings come all the time and change little: they are looked at once in so many looks."""
BEAT_S = 10.0
"""A stream says at least this often that it lives: a page takes one that is silent for longer as dead."""
LONGEST_S = 3600.0
"""A stream ends after this; the page opens another. What hangs unseen is gone by then."""
MOST = 64
"""Streams at a time. Who comes later asks every few seconds instead, and misses nothing."""

Look = Callable[[], object]
"""Something that differs whenever a page may have changed."""


class Changes:
    """Who listens, and the one look for all of them. Used from one event loop only."""

    def __init__(self, look: Look, clock: Clock, most: int = MOST, beat_s: float = BEAT_S) -> None:
        self._look = look
        self._clock = clock
        self._most = most
        self._beat_s = beat_s
        self._listening: set[asyncio.Event] = set()
        self._looking: asyncio.Task[None] | None = None
        self._looked = asyncio.Event()
        self._last: object = None
        self._closed = False

    @property
    def listening(self) -> int:
        """How many streams are open."""
        return len(self._listening)

    @property
    def full(self) -> bool:
        """Whether no further stream is given: all are taken, or serve is about to end."""
        return self._closed or len(self._listening) >= self._most

    def close(self) -> None:
        """Ends all streams: serve is about to end."""
        self._closed = True
        self._wake()

    async def events(self, is_in: Callable[[], bool] = lambda: True) -> AsyncIterator[bytes]:
        """One listener's stream: an event at once, one after each change, and one at least every `beat_s`.

        It ends before an event that whoever listens may not hear any more: once `is_in` says no.
        """
        mine = asyncio.Event()
        self._listening.add(mine)
        loop = asyncio.get_running_loop()
        end = loop.time() + LONGEST_S
        try:
            await self._begin()
            yield self._event("changed")  # what changed between the page and its stream
            while not self._closed and loop.time() < end:
                name = "changed" if await _within(mine, self._beat_s) else "beat"
                mine.clear()
                if not await to_thread.run_sync(is_in):
                    return
                yield self._event(name)
        finally:
            self._listening.discard(mine)

    def _event(self, name: str) -> bytes:
        told = {"now": self._clock.now(), "rate": self._clock.rate}
        return f"event: {name}\ndata: {json.dumps(told)}\n\n".encode()

    async def _begin(self) -> None:
        if self._looking is None or self._looking.done():
            self._looked = asyncio.Event()
            self._looking = asyncio.get_running_loop().create_task(self._keep_looking())
        await self._looked.wait()

    async def _keep_looking(self) -> None:
        try:
            self._last = await to_thread.run_sync(self._look)
        finally:
            self._looked.set()
        while self._listening and not self._closed:
            await asyncio.sleep(LOOK_S)
            found = await to_thread.run_sync(self._look)
            if found != self._last:
                self._last = found
                self._wake()

    def _wake(self) -> None:
        for one in self._listening:
            one.set()


async def _within(event: asyncio.Event, seconds: float) -> bool:
    try:
        async with asyncio.timeout(seconds):
            await event.wait()
    except TimeoutError:
        return False
    return True


def look_of(shop: Shop, readings: Where | None, at_the_door: Look = lambda: None) -> Look:
    """What pages are made from, in numbers: watch's answers, the log, what keeps readings from being stored, who may
    come in, and now and then the readings. Called from one thread at a time.
    """
    looks, batch = 0, 0

    def readings_batch() -> int:
        nonlocal looks, batch
        if readings is not None and looks % READINGS_LOOKS == 0:
            reader = open_store(readings)
            try:
                batch = reader.last_batch()
            finally:
                reader.close()
        looks += 1
        return batch

    def asked(one: Callable[[], object]) -> object:
        try:
            return one()
        except StoreError as error:
            return str(error)
        except MAY_PASS as error:
            log.info("looking for changes: %s", error)
            return None  # the look after it tells

    def troubles() -> object:
        return tuple(shop.troubles())

    parts = (shop.watched.version, shop.logbook.version, troubles, at_the_door, readings_batch)
    return lambda: tuple(asked(part) for part in parts)
