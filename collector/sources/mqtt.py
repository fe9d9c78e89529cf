"""Probes behind an MQTT broker: nothing is lost while we are away, and nothing old passes for new.

QoS 1 in a session that the broker keeps; a message is acknowledged once its rows are committed
(Arrival.done), so whatever was not stored comes again. A message that may be old is handed on as not live:
then only a sample with a time of its own is taken. Old may be: retained ones, repeated ones (dup), and what
the broker kept for us while we were away or slow to acknowledge (see backlog.py). Whether we are alive is
judged by what arrives, never by is_connected().
"""

from __future__ import annotations

import functools
import hashlib
import re
import socket
import time
from collections.abc import Callable
from pathlib import Path
from queue import Empty

from collector import settings
from collector.arrival import Arrival, Delivery, Refusal
from collector.broker_tls import NO_ANSWER, LoginFileError
from collector.clock import Clock
from collector.patience import rest
from collector.sources.backlog import Backlog
from collector.sources.mqtt_link import (
    MAX_PAYLOAD,
    Connected,
    Event,
    Link,
    Lost,
    Message,
    Published,
    Refused,
    Stored,
    Subscribed,
    Trouble,
    Unreachable,
)

LIFELESS_S = 45.0
"""Longer than two keepalives, and than the longest wait before a new try: nothing heard by then, begin anew."""
AGAIN_S = 60.0
"""Messages not stored by then are asked for again, by a new connection: MQTT repeats them only then."""
REST_S = 30.0
"""Before a new try after what a new try at once would only repeat."""
SHORT_S = 10.0
SHORT_IN_A_ROW = 3
"""Connections shorter than that, so many in a row, are such a case: two clients that use one session."""
TICK_S = 0.2

_FILTER = re.compile(r"(?:(?:\+|[^+#/]*)/)*(?:\+|#|[^+#/]*)")
"""MQTT 5, 4.7.1."""


class MqttClientSource:
    """One broker of the settings. See collector.arrival.Source."""

    def __init__(
        self, settings: settings.MqttSource, site: str, clock: Clock, *, lasting: bool = True
    ) -> None:
        """`lasting`: the broker keeps for us what comes while we are away.

        Raises ValueError if a topic is not a filter that MQTT knows.
        """
        self._lasting = lasting
        for topic in settings.topic:
            if not _FILTER.fullmatch(topic):
                raise ValueError(
                    f"source {settings.id!r}: topic {topic!r} is no MQTT filter: "
                    "+ stands alone between slashes, # alone at the end"
                )
        self.id = settings.id
        self.echo_topic = echo_topic(site, settings.id)
        self._settings = settings
        self._site = site
        self._clock = clock
        self._backlog = Backlog()
        self._client_id = ""
        self._connected = self._subscribed = False
        self._failure = ""
        self._refused = False
        self._marker_refused = ""
        self._since = 0.0
        self._short = 0
        self._dropped = 0

    @property
    def state(self) -> str:
        """ "waiting", "connected" (with a remark after "; ", if there is one) or "failed: <why>"."""
        if self._failure:
            return f"failed: {self._failure}"
        if not self._connected or not self._subscribed:
            return "waiting"
        remarks = ["connected"]
        if self._backlog.missed:
            why = self._marker_refused or "none came back"
            remarks.append(
                f"old messages cannot be told from new ones: let us publish to {self.echo_topic} ({why})"
            )
        if self._dropped:
            remarks.append(f"{self._dropped} messages of QoS 0 came too fast and were lost: send with QoS 1")
        return "; ".join(remarks)

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        """Hands on what arrives until stopped. What `put` raises ends it; the message comes again."""
        self._client_id = client_id(self._site, self.id, machine_id())
        while not stop():
            link = Link(self._settings, self._client_id, self._clock, self._lasting)
            try:
                link.open()
            except LoginFileError as error:
                self._failure = str(error)
                rest(REST_S, stop)
                continue
            try:
                later = self._follow(link, put, stop)
            finally:
                self._connected = False
                link.close()
            if later:
                rest(REST_S, stop)
        self._failure = ""

    def _follow(self, link: Link, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> bool:
        """One client, until stopped or until a new one is better; True if not at once."""
        heard = looked = time.monotonic()
        while not stop():
            try:
                event: Event | None = link.events.get(timeout=TICK_S)
            except Empty:
                event = None
            now = time.monotonic()
            if isinstance(event, Stored):
                link.send_acks()
            elif event is not None:
                heard = now
                if link.stalled.is_set():
                    link.stalled.clear()
                    self._mark(link, now)
                self._handle(event, link, put, now)
                if isinstance(event, Trouble) or self._short >= SHORT_IN_A_ROW:
                    self._short = 0
                    return True
            if now - looked < TICK_S:
                continue
            looked = now
            self._backlog.over(now)
            self._dropped = link.dropped
            if now - heard > LIFELESS_S:
                self._failure = f"no sign of life from {self._where} for {LIFELESS_S:g} s; connecting anew"
                return False
            if link.longest_unacknowledged() > AGAIN_S:
                self._failure = f"messages not stored after {AGAIN_S:g} s; asking the broker for them again"
                return False
        return False

    def _mark(self, link: Link, now: float) -> None:
        """From here on what arrives may be old, until our marker is back."""
        marker = self._backlog.begin(True, now)
        if not self._marker_refused:  # some brokers cut the connection each time
            link.publish(self.echo_topic, marker)

    def _handle(self, event: Event, link: Link, put: Callable[[Arrival], None], now: float) -> None:
        match event:
            case Message():
                self._take(event, link, put, now)
            case Connected():
                self._connected, self._subscribed, self._since, self._failure = True, False, now, ""
                link.subscribe([*self._settings.topic, self.echo_topic])
                if event.resumed:
                    self._mark(link, now)
                else:
                    self._backlog.begin(False, now)
            case Subscribed():
                self._take_subscription(event)
            case Published():
                self._marker_refused = event.refusal or ""
            case Refused():
                self._refused = True
                self._failure = f"{self._where} refuses us: {event.why}; check user and password_file"
            case Unreachable():
                self._failure = f"no broker answers at {self._where}: {event.why}; trying again"
            case Lost():
                self._lost(event, now)
            case Trouble():
                self._failure = f"inside the MQTT client: {event.why}; its message will come again"

    def _lost(self, event: Lost, now: float) -> None:
        if not self._connected:
            if not self._refused:  # then it has said why
                self._failure = f"no broker answers at {self._where}: {NO_ANSWER}; trying again"
            self._refused = False
            return
        self._connected = False
        self._short = self._short + 1 if now - self._since < SHORT_S else 0
        self._failure = f"the connection to {self._where} was lost ({event.why}); trying again"
        if self._short >= SHORT_IN_A_ROW:
            self._failure = (
                f"{self._where} cut {self._short} connections in a row ({event.why}): does another client use "
                f"our id {self._client_id}? Is a second collector running? Trying again in {REST_S:g} s"
            )

    def _take_subscription(self, event: Subscribed) -> None:
        self._subscribed = True
        refused = [
            f"{topic!r} ({why})"
            for topic, why in zip(self._settings.topic, event.refusals, strict=False)
            if why is not None
        ]
        if refused:
            self._failure = f"{self._where} does not let us read {', '.join(refused)}: allow it for our user"

    def _take(self, message: Message, link: Link, put: Callable[[Arrival], None], now: float) -> None:
        acknowledge = functools.partial(link.ack, message.mid, message.connection)
        if message.topic == self.echo_topic:
            self._backlog.echo(message.payload)
            acknowledge()
            return
        digest = hashlib.sha256(message.topic.encode() + message.payload).digest()[:16]
        put(
            Arrival(
                source=self.id,
                payload=message.payload,
                received=message.received,
                topic=message.topic,
                live=not message.retained and not message.dup and self._backlog.over(now),
                delivery=Delivery(self._client_id, message.mid, digest, message.dup) if message.qos else None,
                done=acknowledge if message.qos else None,
                refusal=_too_large(message) if message.size > MAX_PAYLOAD else None,
            )
        )

    @property
    def _where(self) -> str:
        return f"{self._settings.host}:{self._settings.port}"


def echo_topic(site: str, source: str) -> str:
    """Where we publish a marker to ourselves: what came before it was kept by the broker and may be old."""
    return f"coldshed/{site}/collector/{source}/echo"


def _too_large(message: Message) -> Refusal:
    return Refusal(
        "too large",
        f"{message.size} bytes on {message.topic[:80]!r}; allowed: up to {MAX_PAYLOAD} in one message",
    )


def client_id(site: str, source: str, machine: str) -> str:
    """The same after every start, and another for each source and machine: 23 letters and digits.

    MQTT 5, 3.1.3.1: every broker must take 1 to 23 of these.
    """
    return "coldshed" + hashlib.sha256("\0".join((site, source, machine)).encode()).hexdigest()[:15]


def machine_id() -> str:
    """This machine's lasting name: its machine-id, or else its host name."""
    for path in (Path("/etc/machine-id"), Path("/var/lib/dbus/machine-id")):
        if path.is_file() and (text := path.read_text(encoding="ascii").strip()):
            return text
    return socket.gethostname()
