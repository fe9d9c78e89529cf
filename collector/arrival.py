"""What a source hands to the pipeline, and what a decoder makes of it: neither knows the other.

What is made for each message is a named tuple: made in half the time of a frozen dataclass.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from collector.reading import Quantity


class Delivery(NamedTuple):
    """An MQTT message's identity, committed with its rows so that a redelivery is absorbed."""

    client: str
    mid: int
    digest: bytes
    dup: bool


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something that will not become a reading: a short stable word, and what it was and what is allowed."""

    kind: str
    text: str


class Outcome(NamedTuple):
    """What became of one arrival: its refusals, and how many readings it gave (repeated ones included)."""

    readings: int
    refused: tuple[Refusal, ...]


class Arrival(NamedTuple):
    """Bytes as they came, whole: one line, one message, or one file.

    received   UTC ms
    live       False if the bytes may be old (retained, dup, or backlog of a resumed session): then only a
               sample that carries its own time is taken, any other is refused and counted
    sure       False while our own clock may be wrong: then no time is refused because it lies ahead of ours
    done       called from the pipeline's thread once the batch with these bytes is committed, and also when
               they were refused for good (poison is acknowledged too); never called if the commit failed
    refusal    why the source itself refuses it: it is counted and answered like poison, and not decoded
    outcome    called just before `done`, from the same thread, by sources that report what became of a file
    """

    source: str
    payload: bytes
    received: int
    topic: str = ""
    live: bool = True
    sure: bool = True
    delivery: Delivery | None = None
    done: Callable[[], None] | None = None
    outcome: Callable[[Outcome], None] | None = None
    refusal: Refusal | None = None


class Sample(NamedTuple):
    """One value in SI under the probe's name on the wire; at = UTC ms, None if it brought no time.

    ours    `at` was counted back from when it arrived here: it is as right as our own clock
    number  the number its device gives the message, since which of its starts
    """

    name: str
    quantity: Quantity
    value: float
    at: int | None
    ours: bool = False
    number: tuple[str, int] | None = None


@dataclass(slots=True)
class Decoded:
    """All that one arrival held."""

    samples: list[Sample] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)


class Decoder(Protocol):
    """Bytes to samples. Never raises for any bytes; what cannot be used comes back as a Refusal."""

    def decode(self, arrival: Arrival) -> Decoded: ...


class Source(Protocol):
    """Runs until stopped; hands arrivals to `put`. Connects in run(), never in its constructor."""

    id: str

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None: ...

    @property
    def state(self) -> str:
        """One of "waiting", "connected", "failed: <why>", for the health table and `listen`."""
        ...
