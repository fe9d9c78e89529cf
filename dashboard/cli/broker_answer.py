"""Asks a broker what it would let a client do, in a session that it forgets at once, not in that of collect."""

from __future__ import annotations

import secrets
import ssl
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.broker_tls import NO_ANSWER, why_no_connection

PATIENCE_S = 5.0


@dataclass(frozen=True)
class BrokerAnswer:
    """unreachable  why no answer came; "" if one did
    refused         why it does not let us in; "" if it does
    topics_refused  (topic, why) of what we may not hear
    marker_refused  (topic, why) if we may not publish our marker
    """

    unreachable: str = ""
    refused: str = ""
    topics_refused: tuple[tuple[str, str], ...] = ()
    marker_refused: tuple[str, str] | None = None


def ask_broker(
    host: str,
    port: int,
    user: str | None,
    password: str | None,
    topics: Sequence[str] = (),
    marker: str | None = None,
    tls: ssl.SSLContext | None = None,
) -> BrokerAnswer:
    """Connects, asks for `topics` (at QoS 0, to take nothing), publishes to `marker`, leaves. Never raises OSError."""
    asked = _Asked()
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"coldshed-check-{secrets.token_hex(4)}",
        protocol=MQTTProtocolVersion.MQTTv5,
        reconnect_on_failure=False,
    )
    if user is not None:
        client.username_pw_set(user, password)
    if tls is not None:
        client.tls_set_context(tls)
    client.connect_timeout = PATIENCE_S
    client.on_connect = asked.on_connect
    client.on_subscribe = asked.on_subscribe
    client.on_publish = asked.on_publish
    try:
        client.connect(host, port, clean_start=True)
    except OSError as error:
        return BrokerAnswer(unreachable=why_no_connection(error))
    client.loop_start()
    try:
        return _talk(client, asked, topics, marker)
    finally:
        client.disconnect()
        client.loop_stop()


class _Asked:
    """The broker's answers, as they come in the library's thread."""

    def __init__(self) -> None:
        self.came = {name: threading.Event() for name in ("connect", "subscribe", "publish")}
        self.reasons: dict[str, list[ReasonCode]] = {}

    def on_connect(self, client: Client, _: Any, flags: Any, reason: ReasonCode, *__: Any) -> None:
        self._take("connect", [reason])

    def on_subscribe(self, client: Client, _: Any, mid: int, reasons: list[ReasonCode], *__: Any) -> None:
        self._take("subscribe", reasons)

    def on_publish(self, client: Client, _: Any, mid: int, reason: ReasonCode, *__: Any) -> None:
        self._take("publish", [reason])

    def why(self, name: str) -> list[str]:
        """Why each thing asked for is refused, "" where it is not; waits for the answer. Raises TimeoutError."""
        if not self.came[name].wait(PATIENCE_S):
            silent = f"no answer to {name} within {PATIENCE_S:g} s"
            raise TimeoutError(f"{silent}: {NO_ANSWER}" if name == "connect" else silent)
        return [str(reason) if reason.is_failure else "" for reason in self.reasons[name]]

    def _take(self, name: str, reasons: list[ReasonCode]) -> None:
        if not self.came[name].is_set():
            self.reasons[name] = list(reasons)
            self.came[name].set()


def _talk(client: Client, asked: _Asked, topics: Sequence[str], marker: str | None) -> BrokerAnswer:
    try:
        (refused,) = asked.why("connect")
        if refused:
            return BrokerAnswer(refused=refused)
        topics_refused: tuple[tuple[str, str], ...] = ()
        if topics:
            client.subscribe([(topic, 0) for topic in topics])
            answers = zip(topics, asked.why("subscribe"), strict=True)
            topics_refused = tuple((topic, why) for topic, why in answers if why)
        marker_refused = None
        if marker is not None:
            client.publish(marker, b"check", qos=1)
            (why,) = asked.why("publish")
            marker_refused = (marker, why) if why else None
        return BrokerAnswer(topics_refused=topics_refused, marker_refused=marker_refused)
    except TimeoutError as error:
        return BrokerAnswer(unreachable=str(error))
