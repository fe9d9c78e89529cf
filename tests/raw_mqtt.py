"""A sender of QoS 1 messages that costs next to nothing: frames of MQTT 3.1.1 written straight to a socket.

OASIS MQTT 3.1.1: CONNECT 3.1, PUBLISH 3.3, PUBACK 3.4, remaining length 2.2.3.
"""

from __future__ import annotations

import itertools
import secrets
import socket
import struct
import sys
import threading
from collections.abc import Iterable

CHUNK = 60_000
PUBACK_BYTES = 4
MID_LIMIT = 60_000


class RawSender:
    """One clean session. Raises OSError when the connection is cut."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), 20)
        self._counted = threading.Condition()
        self._mids = itertools.cycle(range(1, MID_LIMIT))
        client = b"raw" + secrets.token_hex(6).encode()
        self._socket.sendall(
            _packet(0x10, b"\x00\x04MQTT\x04\x02\x00\x00" + struct.pack("!H", len(client)) + client)
        )
        assert _exactly(self._socket, 4) == b"\x20\x02\x00\x00", "the broker refuses us"

    def send(self, messages: Iterable[tuple[str, bytes]]) -> int:
        """Returns how many, once the broker has acknowledged all of them. Raises OSError if it goes away."""
        self._sent, self._acknowledged, self._failure = 0, 0, None
        whole = threading.Event()
        reader = threading.Thread(target=self._drain, args=(whole,), daemon=True)
        reader.start()
        buffer = bytearray()
        try:
            for topic, payload in messages:
                buffer += _publish(topic, next(self._mids), payload)
                self._sent += 1
                if len(buffer) > CHUNK:
                    self._write(buffer)
                    buffer = bytearray()
                    self._wait_for_room()
            self._write(buffer)
        finally:
            whole.set()
            reader.join()
        if self._failure is not None:
            raise self._failure
        return self._sent

    def _wait_for_room(self) -> None:
        """No message number is used again before its first use is acknowledged."""
        with self._counted:
            self._counted.wait_for(lambda: self._failure or self._waiting < MID_LIMIT // 2, timeout=20)

    @property
    def _waiting(self) -> int:
        return self._sent - self._acknowledged // PUBACK_BYTES

    def _drain(self, whole: threading.Event) -> None:
        self._socket.settimeout(0.05)
        try:
            while self._waiting > 0 or not whole.is_set():
                try:
                    data = self._socket.recv(65536)
                except TimeoutError:
                    continue
                if not data:
                    raise ConnectionResetError("the broker went away")
                with self._counted:
                    self._acknowledged += len(data)
                    self._counted.notify()
        except OSError as error:
            self._failure = error

    def _write(self, data: bytearray) -> None:
        view = memoryview(data)
        while view:
            try:
                view = view[self._socket.send(view) :]
            except TimeoutError:
                continue
        view.release()

    def close(self) -> None:
        self._socket.close()


def _publish(topic: str, mid: int, payload: bytes) -> bytes:
    name = topic.encode()
    return _packet(0x32, struct.pack("!H", len(name)) + name + struct.pack("!H", mid) + payload)


def _packet(kind: int, body: bytes) -> bytes:
    length, left = bytearray(), len(body)
    while True:
        left, digit = divmod(left, 128)
        length.append(digit | 0x80 if left else digit)
        if not left:
            return bytes((kind,)) + bytes(length) + body


def _exactly(of: socket.socket, count: int) -> bytes:
    found = b""
    while len(found) < count:
        more = of.recv(count - len(found))
        if not more:
            raise ConnectionResetError("the broker went away")
        found += more
    return found


def numbered(number: int, first: int) -> bytes:
    """120 bytes of plain JSON as a chatty device sends it: reading `number`, at UTC second first + number."""
    return (
        b'{"temp": %d.%03d, "hum": 81.2, "ts": %d, "seq": 1%06d, "device": "invented-probe-7", '
        b'"battery": 3.71, "rssi": -67}' % (10 + number // 1000 % 30, number % 1000, first + number, number)
    )


def main() -> None:
    """PORT TOPIC COUNT FIRST: says "ready", and sends when a line comes."""
    port, topic, count, first = int(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    sender = RawSender(port)
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    sender.send((topic, numbered(number, first)) for number in range(count))
    sender.close()


if __name__ == "__main__":
    main()
