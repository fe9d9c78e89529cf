"""Registers to samples, against the worked example of the Modbus specification."""

from __future__ import annotations

import importlib
import sys

import pytest
from pymodbus.framer import FramerRTU

from collector.arrival import Arrival
from collector.decode.modbus_registers import ModbusRegistersDecoder, Query, queries
from collector.reading import Quantity
from collector.settings import ModbusRegisters, Register, SettingsError


def register(address: int, slave: int = 1, function: str = "input", **more: object) -> Register:
    table = {"name": f"{slave}.{address}", "quantity": "temperature", "unit": "degC"} | more
    return Register(slave=slave, function=function, address=address, **table)  # type: ignore[arg-type]


def test_the_specifications_example_is_asked_and_read_as_printed() -> None:
    """MODBUS Application Protocol V1.1b3, 6.3: registers 108 to 110 hold 022B, 0000, 0064. The slave and its CRC are
    those of the same example on a serial line in public guides (11 03 00 6B 00 03 76 87)."""
    query = Query(0x11, "holding", 0x6B, 3)
    assert query.frame() == bytes.fromhex("1103006B00037687")
    assert query.registers(bytes.fromhex("110306022B00000064C8BA")) == [0x022B, 0, 0x64]


def test_registers_that_follow_on_each_other_are_asked_for_together() -> None:
    asked = queries(
        [
            register(3),
            register(1),
            register(2),
            register(5),
            register(1, slave=2),
            register(6, function="holding"),
        ]
    )
    assert asked == [
        Query(1, "holding", 6, 1),
        Query(1, "input", 1, 3),
        Query(1, "input", 5, 1),
        Query(2, "input", 1, 1),
    ]
    long = queries(register(address) for address in range(300))
    assert [(query.address, query.count) for query in long] == [(0, 125), (125, 125), (250, 50)]


def test_each_register_comes_with_its_own_scale_unit_and_name() -> None:
    table = ModbusRegisters(
        kind="modbus_registers",
        registers=(
            register(1, scale=0.1, name="M1"),
            register(2, scale=0.1, name="M1", quantity="relative_humidity", unit="%"),
            register(3, scale=0.01, name="M2", unit="degF"),
            register(4, name="M2", quantity="co2", unit="ppm", negative="never"),
        ),
    )
    body = bytes([1, 4, 8, *(123).to_bytes(2), *(842).to_bytes(2), *(5450).to_bytes(2), *(40000).to_bytes(2)])
    answer = body + FramerRTU.compute_CRC(body).to_bytes(2)
    decoded = ModbusRegistersDecoder(table).decode(Arrival("rs485", answer, 0, topic="1/input/1/4"))
    assert decoded.refused == []
    assert [(sample.name, sample.quantity, sample.value) for sample in decoded.samples] == [
        ("M1", Quantity.TEMPERATURE, 12.3),
        ("M1", Quantity.RELATIVE_HUMIDITY, 84.2),
        ("M2", Quantity.TEMPERATURE, 12.5),
        ("M2", Quantity.CO2, 40000.0),
    ]


def test_an_answer_to_a_query_that_the_settings_do_not_ask_is_refused() -> None:
    decoder = ModbusRegistersDecoder(ModbusRegisters(kind="modbus_registers", registers=(register(1),)))
    (refusal,) = decoder.decode(Arrival("rs485", b"", 0, topic="1/input/9/1")).refused
    assert refusal.kind == "format"


def test_two_registers_cannot_be_the_same_quantity_of_one_name() -> None:
    with pytest.raises(ValueError, match="each needs its own name"):
        ModbusRegisters(kind="modbus_registers", registers=(register(1, name="M1"), register(2, name="M1")))


def test_without_the_library_the_error_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "collector.decode.modbus_registers")
    monkeypatch.setitem(sys.modules, "pymodbus.framer", None)
    with pytest.raises(SettingsError, match=r"pip install 'coldshed\[modbus\]'"):
        importlib.import_module("collector.decode.modbus_registers")
