"""Tells verdicts and alarms to a broker, retained, so that a lamp or another program can show them.

Topics     coldshed/<site>/panel/<id>/verdict    what to do now
           coldshed/<site>/alarm/<id>            one occurrence, empty once it is over
           coldshed/<site>/watch                 "here", or the last will "gone"

The rule for readers: a verdict counts only until its `good_until`, and only while .../watch says "here";
otherwise the answer is "not known". read_verdict() is that rule in code; firmware_notes/verdicts.md tells it.
"""

from __future__ import annotations

import json
import logging
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from dashboard.assessment import Assessment
from dashboard.watch_store import Alarm

log = logging.getLogger("coldshed.announce")

GONE = b"gone"
HERE = b"here"


@dataclass(frozen=True)
class Broker:
    """Where verdicts are told. `password` is asked before each connection, so that a corrected file counts at once;
    it may raise OSError, with words."""

    host: str
    port: int
    user: str | None = None
    password: Callable[[], str | None] = lambda: None
    tls: ssl.SSLContext | None = None


def verdict_topic(site: str, panel: str) -> str:
    return f"coldshed/{site}/panel/{panel}/verdict"


def watch_topic(site: str) -> str:
    return f"coldshed/{site}/watch"


def verdict_payload(item: Assessment, headline: str, why: list[str]) -> bytes:
    """JSON: panel, name, headline and why in words, state, kind, flags, at, readings_to, good_until (UTC ms)."""
    return _json(
        {
            "panel": item.panel,
            "name": item.name,
            "headline": headline,
            "why": why,
            "state": item.verdict.state.value,
            "kind": item.verdict.kind.value,
            "flags": sorted(flag.value for flag in item.verdict.flags),
            "at": item.at,
            "readings_to": item.readings_to,
            "good_until": item.good_until,
        }
    )


def alarm_payload(alarm: Alarm, words: str) -> bytes:
    """JSON of an alarm that stands."""
    return _json(
        {
            "id": alarm.id,
            "kind": alarm.kind,
            "panel": alarm.panel,
            "probe": alarm.probe,
            "raised_at": alarm.raised_at,
            "words": words,
        }
    )


def read_verdict(payload: bytes, watch: bytes | None, now: int) -> str:
    """The readers' rule: the headline, or "Not known ..." once it is past its time or watch has gone.

    payload is the retained verdict, watch what the site's watch topic holds, now UTC ms.
    Raises ValueError for a payload that is not a verdict.
    """
    try:
        verdict = json.loads(payload)
    except RecursionError as error:
        raise ValueError("not a verdict: nested too deeply") from error
    if not isinstance(verdict, dict) or not {"headline", "good_until"} <= verdict.keys():
        raise ValueError("not a verdict: it needs headline and good_until")
    if type(verdict["good_until"]) is not int:
        raise ValueError("not a verdict: good_until must be a whole number of ms")
    if watch != HERE or now >= verdict["good_until"]:
        return f"Not known. Last said: {verdict['headline']}"
    return str(verdict["headline"])


class Announcer:
    """Keeps the broker's retained topics as they should be; connects by itself, again and again.

    What should be retained is kept here, so that a broker that was away, or forgot, is told anew.
    """

    def __init__(self, broker: Broker, site: str, client_id: str) -> None:
        """`client_id`: the same after every start; whoever knows it can take the connection over."""
        self._broker = broker
        self._site = site
        self._wanted: dict[str, bytes] = {}
        self._lock = threading.Lock()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv5)
        self._client.max_queued_messages_set(1000)
        self._client.will_set(watch_topic(site), GONE, qos=1, retain=True)
        self._client.reconnect_delay_set(1, 30)
        self._client.on_connect = self._on_connect
        self._client.on_pre_connect = self._on_pre_connect
        if broker.tls is not None:
            self._client.tls_set_context(broker.tls)

    def start(self) -> None:
        """Begins to connect; returns at once, whether the broker is there or not."""
        self._client.connect_async(self._broker.host, self._broker.port, keepalive=20)
        self._client.loop_start()

    def tell(self, topic: str, payload: bytes) -> None:
        """Retains `payload` on `topic`; empty bytes clear it. Nothing is sent if it is there already."""
        with self._lock:
            if self._wanted.get(topic) == payload:
                return
            self._wanted[topic] = payload
            if self._client.is_connected():
                self._client.publish(topic, payload, qos=1, retain=True)

    def tell_verdict(self, item: Assessment, headline: str, why: list[str]) -> None:
        self.tell(verdict_topic(self._site, item.panel), verdict_payload(item, headline, why))

    def clear_verdict(self, panel: str) -> None:
        self.tell(verdict_topic(self._site, panel), b"")

    def tell_alarm(self, alarm: Alarm, words: Callable[[Alarm], str]) -> None:
        payload = b"" if alarm.returned_at is not None else alarm_payload(alarm, words(alarm))
        self.tell(f"coldshed/{self._site}/alarm/{alarm.id}", payload)

    def stop(self) -> None:
        """Says "gone" where it can, and ends; at most about a second."""
        if self._client.is_connected():
            self._client.publish(watch_topic(self._site), GONE, qos=1, retain=True).wait_for_publish(1.0)
        self._client.disconnect()
        self._client.loop_stop()

    def _on_pre_connect(self, client: mqtt.Client, data: Any) -> None:
        if self._broker.user is None:
            return
        try:
            client.username_pw_set(self._broker.user, self._broker.password())
        except (OSError, UnicodeDecodeError) as error:
            log.warning("the broker's password cannot be had: %s", error)

    def _on_connect(
        self,
        client: mqtt.Client,
        data: Any,
        flags: mqtt.ConnectFlags,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if code.is_failure:
            log.warning("the broker at %s:%d refuses us: %s", self._broker.host, self._broker.port, code)
            return
        log.info("telling verdicts to the broker at %s:%d", self._broker.host, self._broker.port)
        with self._lock:
            client.publish(watch_topic(self._site), HERE, qos=1, retain=True)
            for topic, payload in self._wanted.items():
                client.publish(topic, payload, qos=1, retain=True)


def _json(value: dict[str, Any]) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()
