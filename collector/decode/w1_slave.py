"""What Linux says of a one-wire temperature sensor: its `w1_slave` file (with the sensor's bytes) or `temperature`.

Source: Documentation/w1/slaves/w1_therm.rst and drivers/w1/slaves/w1_therm.c of the Linux kernel. Nine bytes, the
last one the CRC-8 (x^8 + x^5 + x^4 + 1, lowest bit first) of the others; the first two are sixteenths of a degC.
The second line repeats the last bytes that were right, which may be old ones: the first line counts, and the
number after `t=` must be what its bytes say. `temperature` is that number alone, and nothing protects it.
"""

from __future__ import annotations

import re

from collector import settings
from collector.arrival import Arrival, Decoded, Sample
from collector.decode.refusing import NotTaken, shown
from collector.reading import Quantity

MAX_BYTES = 200
PLAIN = "/temperature"
"""Behind the device's id in a topic: the file is `temperature`, which has no bytes to hold the number against."""
FAMILIES = frozenset({"22", "28", "42"})
"""The first two digits of the ids of the sensors that count in sixteenths; w1_therm.c converts these alike."""
NEVER_CONVERTED = 0x0C
"""Byte 6 with one of the next two values: the sensor has not measured (w1_therm.rst, `features`)."""
POWER_ON_RAW = 0x0550
"""85 degC: what stands there from power-on until the first conversion has ended."""
TOO_WEAK_RAW = 0x07FF
"""127.94 degC: there was not enough power to convert."""

_BYTES = rb"((?:[0-9a-f]{2} ){9})"
_W1_SLAVE = re.compile(_BYTES + rb": crc=([0-9a-f]{2}) (YES|NO)\n" + _BYTES + rb"t=(-?[0-9]{1,6})\n?")
_TEMPERATURE = re.compile(rb"(-?[0-9]{1,6})\n?")


class W1SlaveDecoder:
    """One file to one sample under the device's id, which is in the arrival's topic; never raises for any bytes."""

    def __init__(self, settings: settings.W1Slave) -> None:
        self.settings = settings

    def decode(self, arrival: Arrival) -> Decoded:
        """A sample in degC without a time of its own."""
        device = arrival.topic.removesuffix(PLAIN)
        try:
            if not arrival.payload.strip():
                raise NotTaken(
                    "no answer", "nothing to read: is the sensor plugged in? (no file, or an empty one)"
                )
            if device[:2].lower() not in FAMILIES:
                known = ", ".join(sorted(FAMILIES))
                raise NotTaken("other device", f"a device of another family; read are {known}")
            read = _plain if arrival.topic.endswith(PLAIN) else _with_bytes
            value = read(arrival.payload)
        except NotTaken as error:
            text = f"{device[:40]}: {error.refusal.text}"
            return Decoded(refused=[NotTaken(error.refusal.kind, text).refusal])
        return Decoded(samples=[Sample(device, Quantity.TEMPERATURE, value, None)])


def crc8(data: bytes) -> int:
    """CRC-8 of one-wire devices: polynomial x^8 + x^5 + x^4 + 1, lowest bit first, start 0."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0x8C if crc & 1 else 0)
    return crc


def _plain(payload: bytes) -> float:
    found = _TEMPERATURE.fullmatch(payload)
    if found is None:
        raise NotTaken("format", f"not thousandths of a degC: {shown(payload)}")
    return int(found[1]) / 1000


def _with_bytes(payload: bytes) -> float:
    found = _W1_SLAVE.fullmatch(payload) if len(payload) <= MAX_BYTES else None
    if found is None:
        raise NotTaken("format", f"not what w1_therm writes: {shown(payload)}")
    scratchpad = bytes.fromhex(found[1].decode("ascii"))
    if found[3] == b"NO" or crc8(scratchpad[:8]) != scratchpad[8]:
        raise NotTaken("checksum", "the sensor's bytes came wrong (CRC): check cable, pull-up and power")
    if not any(scratchpad):
        raise NotTaken("all zero", "nine zero bytes, whose CRC is right: the data line is shorted to ground")
    _must_have_measured(scratchpad)
    value, thousandths = _value(scratchpad)
    if int(found[5]) != thousandths:
        raise NotTaken("format", f"t={int(found[5])} is not what the bytes say ({thousandths})")
    return value


def _must_have_measured(scratchpad: bytes) -> None:
    raw = int.from_bytes(scratchpad[:2], "little")
    if scratchpad[6] != NEVER_CONVERTED:
        return
    if raw == POWER_ON_RAW:
        raise NotTaken("power-on value", "85 degC, the power-on value: the sensor has not measured yet")
    if raw == TOO_WEAK_RAW:
        raise NotTaken("power too weak", "127.94 degC: too little power to measure; give it a third wire")


def _value(scratchpad: bytes) -> tuple[float, int]:
    """degC, and the same in thousandths cut towards zero, as the kernel writes it."""
    raw, per_degree = int.from_bytes(scratchpad[:2], "little"), 16
    if scratchpad[4] & 0x80:  # sensors with 14 bits keep the two lowest ones here
        raw, per_degree = (raw << 2 | scratchpad[4] & 3) & 0xFFFF, 64
    if raw >= 0x8000:
        raw -= 0x10000
    return raw / per_degree, int(raw * 1000 / per_degree)
