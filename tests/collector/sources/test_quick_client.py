"""The MQTT client that reads ahead, against a peer that cuts its bytes wherever it likes."""

from __future__ import annotations

import itertools
import random
import socket
import struct
import threading
from collections.abc import Iterable, Sequence

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from collector.sources.quick_client import QuickClient
from tests.services import wait_until

CONNACK = b"\x20\x03\x00\x00\x00"
"""MQTT 5, 3.2: no session, success, no properties."""


def publication(payload: bytes) -> bytes:
    """MQTT 5, 3.3: QoS 0 on topic "t", no properties; remaining length as in 1.5.5."""
    body = b"\x00\x01t\x00" + payload
    length, left = bytearray(), len(body)
    while left >= 128:
        length.append(left % 128 | 128)
        left //= 128
    return struct.pack("!B", 0x30) + bytes(length) + bytes((left,)) + body


class Peer:
    """Takes a connection for each of `turns`, sends its pieces, each by itself, and keeps the last one open."""

    def __init__(self, turns: Sequence[Iterable[bytes]]) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._turns = turns
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def _serve(self) -> None:
        for number, pieces in enumerate(self._turns, 1):
            link, _ = self._listener.accept()
            with link:
                link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                link.recv(1000)
                for piece in pieces:
                    link.sendall(piece)
                if number == len(self._turns):
                    self._over.wait(20)

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        self._listener.close()


def heard_from(*turns: Iterable[bytes], count: int) -> list[bytes]:
    """The payloads of the first `count` messages."""
    peer, heard = Peer(turns), []
    client = QuickClient(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.on_message = lambda client, data, message: heard.append(bytes(message.payload))
    client.connect("127.0.0.1", peer.port)
    client.loop_start()
    try:
        wait_until(lambda: len(heard) >= count, f"{count} messages")
    finally:
        client.disconnect()
        client.loop_stop()
        peer.close()
    return heard


def test_messages_cut_anywhere_are_put_together_again_in_order():
    payloads = [b"%d" % number * (1 + number % 90) for number in range(300)]
    whole, chance = CONNACK + b"".join(map(publication, payloads)), random.Random(5)
    cuts = sorted({0, len(whole), *chance.sample(range(len(whole)), 200)})
    pieces = [whole[begin:end] for begin, end in itertools.pairwise(cuts)]
    assert heard_from(pieces, count=300) == payloads


def test_the_last_of_many_packets_that_came_at_once_does_not_wait_for_a_further_one():
    payloads = [b"%d" % number for number in range(500)]
    assert heard_from([CONNACK + b"".join(map(publication, payloads))], count=500) == payloads


def test_a_message_larger_than_what_is_read_at_once_is_whole():
    payload = random.Random(6).randbytes(500_000)
    assert heard_from([CONNACK + publication(payload) + publication(b"end")], count=2) == [payload, b"end"]


def test_what_was_read_ahead_of_a_connection_that_broke_is_forgotten():
    """A packet of type 0, which is forbidden (MQTT 5, 2.1.2), ends the first connection."""
    broken = [CONNACK + publication(b"one") + b"\x00\x00" + publication(b"never") * 5]
    assert heard_from(broken, [CONNACK + publication(b"two")], count=2) == [b"one", b"two"]


def test_the_system_is_asked_far_less_often_than_messages_come(monkeypatch: pytest.MonkeyPatch):
    asked, ask = [], Client._sock_recv

    def counted(client: Client, size: int) -> bytes:
        asked.append(size)
        return ask(client, size)

    monkeypatch.setattr(Client, "_sock_recv", counted)
    heard_from([CONNACK + publication(b"20.5") * 500], count=500)
    assert len(asked) < 100
