"""One MQTT 5 client: its connection, its callbacks as events in a queue, its acknowledgements.

The callbacks run in the library's network thread, which an exception would end while is_connected() stays
True; so they only put an event on the queue, and what still goes wrong becomes an event too. Nothing is
acknowledged here by itself: the broker keeps a message until ack() is called for it.
"""

from __future__ import annotations

import logging
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Any, NamedTuple

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector import settings
from collector.broker_tls import password_of, tls_context, why_no_connection
from collector.clock import Clock
from collector.sources.quick_client import QuickClient

KEEPALIVE_S = 20
CONNECT_TIMEOUT_S = 3.0
NEVER = 0xFFFFFFFF
"""The session never expires (MQTT 5, 3.1.2.11.2): the broker keeps messages however long we are away."""
IN_FLIGHT = 100
"""Messages the broker hands over before it waits for an acknowledgement; it bounds our memory at QoS 1."""
STALLED_S = 8.0
"""If an acknowledgement takes longer, the broker may be keeping messages back; a batch is cut at 5 s (pace.py)."""
MAX_PACKET = 2_000_000
MAX_PAYLOAD = 64 * 1024
"""No reading is larger. Of a larger payload nothing is kept but its size, so that a full window stays small."""
MAX_WAITING_QOS0 = 10_000
"""QoS 0 has no such window: beyond this many waiting, further ones are dropped and counted."""

_CALLBACKS = (
    "on_connect",
    "on_connect_fail",
    "on_disconnect",
    "on_subscribe",
    "on_publish",
    "on_message",
)

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Connected:
    resumed: bool


@dataclass(frozen=True, slots=True)
class Refused:
    """The broker answered, and does not let us in."""

    why: str


@dataclass(frozen=True, slots=True)
class Unreachable:
    """No connection; the library tries again by itself."""

    why: str


@dataclass(frozen=True, slots=True)
class Lost:
    why: str


@dataclass(frozen=True, slots=True)
class Subscribed:
    """For each topic asked for: None, or why the broker refuses it."""

    refusals: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class Published:
    """The broker's answer to our marker: None, or why it refuses it."""

    refusal: str | None


class Message(NamedTuple):
    """`received` is UTC ms; `connection` numbers the connection it came through; `size` counts bytes that came.

    The payload is empty if size is over MAX_PAYLOAD.
    """

    topic: str
    payload: bytes
    received: int
    mid: int
    qos: int
    dup: bool
    retained: bool
    connection: int
    size: int


@dataclass(frozen=True, slots=True)
class Stored:
    """Messages are ours now: send_acks() tells the broker."""


@dataclass(frozen=True, slots=True)
class Alive:
    """The broker answered a ping; the library cuts the connection itself if it does not."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A callback failed; its message, if there was one, stays unacknowledged."""

    why: str


Event = Connected | Refused | Unreachable | Lost | Subscribed | Published | Message | Stored | Alive | Trouble


class _Ear(logging.Logger):
    """Hears that a ping was answered: the library has no callback for it, but logs it.

    Nothing is formatted: an on_log callback would get each message's log line as finished text, which takes as long
    as all the rest of receiving it.
    """

    def __init__(self, events: SimpleQueue[Event]) -> None:
        super().__init__(f"{__name__}.library")
        self._events = events

    def log(self, level: int, msg: object, *args: object, **more: Any) -> None:
        if msg == "Received PINGRESP":
            self._events.put(Alive())
        elif level >= logging.WARNING:
            log.debug(str(msg), *args)  # what matters of it comes as an event too, and is told in words


class Link:
    """A client from open() to close(); connects again by itself in between, waiting 1 to 30 s.

    stalled is set when an acknowledgement came so late that later messages may have waited at the broker.
    """

    def __init__(
        self, settings: settings.MqttSource, client_id: str, clock: Clock, lasting: bool = True
    ) -> None:
        """`lasting`: the broker keeps for us what comes while we are away."""
        self._lasting = lasting
        self.events: SimpleQueue[Event] = SimpleQueue()
        self.dropped = 0
        self.stalled = threading.Event()
        self._settings = settings
        self._clock = clock
        self._lock = threading.Lock()
        self._connection = 0
        self._unacknowledged: dict[int, float] = {}
        self._stored: list[int] = []
        self._client = QuickClient(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            manual_ack=True,
        )

    def open(self) -> None:
        """Begins to connect, in a thread of its own. Raises LoginFileError if a file cannot be used."""
        client = self._client
        if self._settings.user is not None:
            client.username_pw_set(self._settings.user, password_of(self._settings))
        if (context := tls_context(self._settings)) is not None:
            client.tls_set_context(context)
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.reconnect_delay_set(1, 30)
        client.enable_logger(_Ear(self.events))
        for callback in _CALLBACKS:
            setattr(client, callback, self._safe(getattr(self, f"_{callback}")))
        wishes = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library leaves it bare
        wishes.SessionExpiryInterval = NEVER if self._lasting else 0
        wishes.ReceiveMaximum = IN_FLIGHT
        wishes.MaximumPacketSize = MAX_PACKET
        client.connect_async(
            self._settings.host,
            self._settings.port,
            keepalive=KEEPALIVE_S,
            clean_start=not self._lasting,
            properties=wishes,
        )
        client.loop_start()

    def close(self) -> None:
        """Leaves, keeping the session at the broker if it is to last, and ends the thread."""
        self.send_acks()
        self._new_connection()
        self._client.disconnect()
        self._client.loop_stop()
        # Callbacks and client hold each other, and with them sockets, until garbage is collected.
        for callback in _CALLBACKS:
            setattr(self._client, callback, None)

    def subscribe(self, topics: Sequence[str]) -> None:
        """QoS 1; retained messages only where the subscription is new."""
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
        self._client.subscribe([(topic, options) for topic in topics])

    def publish(self, topic: str, payload: bytes) -> None:
        self._client.publish(topic, payload, qos=1)

    def ack(self, mid: int, connection: int) -> None:
        """The broker is to be told that a message is ours now; any thread may call it.

        Those of one commit are told together: the first puts an event on the queue, whose taker calls send_acks().
        Does nothing once its connection is gone: the broker then sends the message again, and the same number
        may by now belong to another one.
        """
        with self._lock:
            since = self._unacknowledged.pop(mid, None) if connection == self._connection else None
            if since is None:
                return
            if time.monotonic() - since > STALLED_S:
                self.stalled.set()  # before the broker can send what it kept back
            self._stored.append(mid)
            first = len(self._stored) == 1
        if first:
            self.events.put(Stored())

    def send_acks(self) -> None:
        """Tells the broker of all messages that are ours by now."""
        with self._lock:
            for mid in self._stored:
                self._client.ack(mid, 1)
            self._stored = []

    def longest_unacknowledged(self) -> float:
        """Seconds the oldest message of this connection has waited for its ack(); 0 if none waits."""
        with self._lock:
            oldest = next(iter(self._unacknowledged.values()), None)
        return 0.0 if oldest is None else time.monotonic() - oldest

    def _new_connection(self) -> None:
        with self._lock:
            self._connection += 1
            self._unacknowledged.clear()
            self._stored = []

    def _safe(self, callback: Callable[..., None]) -> Callable[..., None]:
        def guarded(*args: Any) -> None:
            try:
                callback(*args)
            except Exception as error:
                log.exception("an MQTT callback failed")
                self.events.put(Trouble(f"{type(error).__name__}: {error}"))

        return guarded

    def _on_connect(self, client: Client, _: Any, flags: Any, reason: ReasonCode, *__: Any) -> None:
        self._new_connection()
        if reason.is_failure:
            self.events.put(Refused(str(reason)))
        else:
            self.events.put(Connected(bool(flags.session_present)))

    def _on_connect_fail(self, *_: Any) -> None:
        # The library does not say why, but calls this while it handles the error.
        self.events.put(Unreachable(why_no_connection(sys.exc_info()[1])))

    def _on_disconnect(self, client: Client, _: Any, flags: Any, reason: ReasonCode, *__: Any) -> None:
        self._new_connection()
        self.events.put(Lost(str(reason)))

    def _on_subscribe(
        self, client: Client, _: Any, mid: int, reasons: Sequence[ReasonCode], *__: Any
    ) -> None:
        self.events.put(Subscribed(tuple(_refusal(reason) for reason in reasons)))

    def _on_publish(self, client: Client, _: Any, mid: int, reason: ReasonCode, *__: Any) -> None:
        self.events.put(Published(_refusal(reason)))

    def _on_message(self, client: Client, _: Any, message: MQTTMessage) -> None:
        received = self._clock.now()
        if message.qos == 0 and self.events.qsize() >= MAX_WAITING_QOS0:
            self.dropped += 1
            return
        if message.qos > 0:
            with self._lock:
                self._unacknowledged[message.mid] = time.monotonic()
        size = len(message.payload)
        self.events.put(
            Message(
                topic=message.topic,
                payload=bytes(message.payload) if size <= MAX_PAYLOAD else b"",
                received=received,
                mid=message.mid,
                qos=message.qos,
                dup=message.dup,
                retained=message.retain,
                connection=self._connection,
                size=size,
            )
        )


def _refusal(reason: ReasonCode) -> str | None:
    return str(reason) if reason.is_failure else None
