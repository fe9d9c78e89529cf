"""What Linux says of a one-wire sensor, against the kernel's documentation and real captures."""

from __future__ import annotations

import pytest

from collector.arrival import Arrival, Decoded
from collector.decode.w1_slave import W1SlaveDecoder, crc8
from collector.settings import W1Slave

DEVICE = "28-00000000ab01"


def decode(payload: bytes, device: str = DEVICE) -> Decoded:
    return W1SlaveDecoder(W1Slave(kind="w1_slave")).decode(Arrival("pins", payload, 0, topic=device))


def scratchpad(raw: int, byte6: int | None = None, config: int = 0x7F) -> bytes:
    """Nine bytes as a sensor sends them; byte 6 is 16 less the lowest four bits after a conversion."""
    eight = bytes(
        [
            raw & 0xFF,
            raw >> 8 & 0xFF,
            0x4B,
            0x46,
            config,
            0xFF,
            16 - (raw & 15) if byte6 is None else byte6,
            16,
        ]
    )
    return eight + bytes([crc8(eight)])


def file_of(nine: bytes, thousandths: int, verdict: str = "YES") -> bytes:
    spelt = nine.hex(" ")
    return f"{spelt} : crc={nine[8]:02x} {verdict}\n{spelt} t={thousandths}\n".encode()


def refused(payload: bytes, device: str = DEVICE) -> str:
    decoded = decode(payload, device)
    assert decoded.samples == []
    (refusal,) = decoded.refused
    return refusal.kind


def test_the_crc_is_the_one_of_the_makers_worked_example() -> None:
    """ROM code 02 1C B8 01 00 00 00 with CRC A2: the worked example of application note 27; value from memory."""
    assert crc8(bytes.fromhex("021cb801000000")) == 0xA2


CAPTURED = {
    # raspberrypi.stackexchange.com question 48106: a sensor's file as its owner saw it.
    "5e 01 ff ff 7f ff ff ff 52 : crc=52 YES\n5e 01 ff ff 7f ff ff ff 52 t=21875\n": 21.875,
    # Values from memory: captures of this kind are in many guides.
    "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n": 23.125,
}


@pytest.mark.parametrize("text", CAPTURED)
def test_captured_files_are_read(text: str) -> None:
    (sample,) = decode(text.encode()).samples
    assert (sample.name, sample.value, sample.at) == (DEVICE, CAPTURED[text], None)


@pytest.mark.parametrize(
    ("raw", "degrees", "thousandths"),
    # The sensor's own table of temperature and bytes (data sheet, table "temperature/data relationship"),
    # from memory; thousandths as w1_therm.c cuts them, towards zero.
    [
        (0x07D0, 125.0, 125000),
        (0x0191, 25.0625, 25062),
        (0x00A2, 10.125, 10125),
        (0x0008, 0.5, 500),
        (0xFFF8, -0.5, -500),
        (0xFF5E, -10.125, -10125),
        (0xFE6F, -25.0625, -25062),
        (0xFC90, -55.0, -55000),
    ],
)
def test_the_table_of_temperatures_and_bytes_holds(raw: int, degrees: float, thousandths: int) -> None:
    (sample,) = decode(file_of(scratchpad(raw), thousandths)).samples
    assert sample.value == degrees


def test_a_sensor_with_fourteen_bits_is_read_by_the_kernels_rule_for_it() -> None:
    """w1_DS18B20_convert_temp() of the Linux kernel: two lowest bits in the configuration byte, 64 to a degree."""
    (sample,) = decode(file_of(scratchpad(0x0190, config=0xA3), 25046)).samples
    assert sample.value == 25.046875


def test_the_plain_temperature_file_is_read_where_there_is_no_other() -> None:
    (sample,) = decode(b"-2062\n", f"{DEVICE}/temperature").samples
    assert (sample.name, sample.value) == (DEVICE, -2.062)
    assert refused(b"2e3\n", f"{DEVICE}/temperature") == "format"
    assert refused(b"-2062\n") == "format", "the rest of a w1_slave file is not a temperature file"


def test_a_crc_that_is_wrong_is_refused_whatever_the_kernel_says_of_it() -> None:
    nine = bytearray(scratchpad(200))
    assert refused(file_of(bytes(nine), 12500, "NO")) == "checksum"
    nine[0] ^= 1
    assert refused(file_of(bytes(nine), 12562)) == "checksum"


def test_every_single_wrong_bit_is_refused() -> None:
    good = scratchpad(200)
    for bit in range(72):
        nine = bytearray(good)
        nine[bit // 8] ^= 1 << bit % 8
        assert refused(file_of(bytes(nine), 12500)) == "checksum"


def test_retained_bytes_of_an_earlier_reading_are_not_taken_for_this_one() -> None:
    """The second line shows the last good reading, which may be hours old."""
    new, old = scratchpad(200).hex(" "), scratchpad(320).hex(" ")
    assert refused(f"{new} : crc=00 YES\n{old} t=20000\n".encode()) == "format"


def test_power_on_85_is_told_from_a_real_85() -> None:
    """w1_therm.rst, features: byte 6 is 0x0C and 85.00 or 127.94 is read if no conversion took place."""
    assert refused(file_of(scratchpad(0x0550, byte6=0x0C), 85000)) == "power-on value"
    (real,) = decode(file_of(scratchpad(0x0550), 85000)).samples
    assert real.value == 85.0
    assert refused(file_of(scratchpad(0x07FF, byte6=0x0C), 127937)) == "power too weak"


def test_nine_zero_bytes_pass_the_crc_and_are_refused_all_the_same() -> None:
    assert crc8(bytes(8)) == 0
    assert refused(file_of(bytes(9), 0)) == "all zero"


def test_a_missing_device_and_one_of_another_family_are_told() -> None:
    assert refused(b"") == "no answer"
    assert refused(file_of(scratchpad(200), 12500), "10-000000000001") == "other device"


def test_a_file_cut_at_any_byte_is_refused() -> None:
    whole = file_of(scratchpad(200), 12500)
    for length in range(1, len(whole) - 4):
        assert refused(whole[:length]) in ("format", "checksum")
