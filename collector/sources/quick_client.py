"""The MQTT library's client, sparing the machine: it asks the system once for many packets, not thrice for each.

The library reads a packet's first byte, its length and its body one after the other from the socket, and waits anew
for the next packet. Each of these calls also lets another of our threads go first.
"""

from __future__ import annotations

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTErrorCode

AT_ONCE = 65_536


class QuickClient(Client):
    """_sock_recv is the library's own, and not promised: if it goes, nothing is read ahead, and all else holds."""

    _ahead = memoryview(b"")
    """What was read of the socket and not handed on yet. For the library's thread."""

    def reconnect(self) -> MQTTErrorCode:
        self._ahead = memoryview(b"")
        return super().reconnect()

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Until all that was read is handed on: the socket would not tell that there is more of it."""
        done = super().loop_read(max_packets)
        while self._ahead and done == MQTTErrorCode.MQTT_ERR_SUCCESS:
            done = super().loop_read(max_packets)
        return done

    def _sock_recv(self, bufsize: int) -> bytes:
        if not self._ahead:
            self._ahead = memoryview(super()._sock_recv(AT_ONCE))
        taken, self._ahead = self._ahead[:bufsize], self._ahead[bufsize:]
        return bytes(taken)
