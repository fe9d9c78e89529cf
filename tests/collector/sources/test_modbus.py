"""A line of Modbus slaves, over real pseudo-terminals: pymodbus' own server, and slaves fed by hand."""

from __future__ import annotations

import serial

from collector.decode.modbus_registers import ModbusRegistersDecoder
from collector.reading import Quantity
from tests.collector.sources.rs485 import T0, answer, asked, asking, real_server, register, slaves, table
from tests.services import wait_until


def test_several_slaves_of_a_real_server_are_read_over_one_line() -> None:
    wanted = [
        register("M1", 1),
        register("M1", 2, quantity="relative_humidity", unit="%"),
        register("M2", 0, slave=2),
    ]
    with real_server({1: [0, 0x10000 - 21, 842, 0], 2: [125, 0]}) as port:
        settings = table(port, wanted, timeout_s=1.0)
        with asking(settings) as source:
            wait_until(lambda: len(source.arrivals) >= 4, "two rounds")
            assert source.state == "connected"
        decoder = ModbusRegistersDecoder(settings.decode)
        for arrival in source.arrivals[:4]:
            decoded = decoder.decode(arrival)
            assert decoded.refused == []
            assert arrival.received == T0
            values = [(sample.name, sample.quantity, sample.value) for sample in decoded.samples]
            assert values in (
                [("M1", Quantity.TEMPERATURE, -2.1), ("M1", Quantity.RELATIVE_HUMIDITY, 84.2)],
                [("M2", Quantity.TEMPERATURE, 12.5)],
            )


def test_a_slave_that_is_silent_is_named_and_does_not_stop_the_others() -> None:
    def only_slave_2(request: bytes) -> bytes:
        slave, _, count = asked(request)
        return answer(2, *[125] * count) if slave == 2 else b""

    with (
        slaves(only_slave_2) as peer,
        asking(table(peer.pty.path, [register("M1", 1), register("M2", 0, slave=2)])) as source,
    ):
        wait_until(lambda: source.state == "failed: no answer from slave 1", "slave 1 is named")
        wait_until(lambda: any(arrival.payload for arrival in source.arrivals), "slave 2 is heard")
        silent = [arrival.payload for arrival in source.arrivals if arrival.topic == "1/input/1/1"]
        assert set(silent) == {b""}


def test_dead_slaves_cost_the_living_one_silence_each_in_a_round() -> None:
    """Not two, nor one for each of their registers: with many slaves off, the rest must still come in time."""

    def only_slave_9(request: bytes) -> bytes:
        slave, _, count = asked(request)
        return answer(9, *[125] * count) if slave == 9 else b""

    dead = [register(f"{slave}.{address}", address, slave=slave) for slave in (1, 2) for address in (0, 5, 9)]
    with slaves(only_slave_9) as peer:
        with asking(table(peer.pty.path, [*dead, register("M9", 0, slave=9)])) as source:
            wait_until(lambda: sum(bool(arrival.payload) for arrival in source.arrivals) >= 3, "three rounds")
        rounds = sum(arrival.topic == "9/input/0/1" for arrival in source.arrivals)
        askings = [asked(request)[0] for request in peer.requests]
        for slave in (1, 2):
            assert askings.count(slave) in (rounds, rounds + 1)


def test_a_slave_that_never_gives_another_length_is_asked_again_when_nothing_late_can_come() -> None:
    """Some answer only the very query their manual shows. A clock that runs fast stands in for the half minute."""
    seconds = iter(range(0, 10_000_000, 4))

    def only_two(request: bytes) -> bytes:
        _, _, count = asked(request)
        return answer(1, 125, 842) if count == 2 else b""

    with slaves(only_two) as peer:
        settings = table(
            peer.pty.path,
            [register("M1", 1), register("M1", 2, quantity="relative_humidity", unit="%")],
            timeout_s=10.0,
        )
        with asking(settings, monotonic=lambda: float(next(seconds))) as source:
            wait_until(lambda: any(arrival.payload for arrival in source.arrivals), "an answer")


def test_a_port_that_is_missing_or_taken_is_told_and_tried_again(tmp_path) -> None:
    link = tmp_path / "usb-invented-rs485-if00"
    with (
        slaves(lambda request: answer(1, *[125] * asked(request)[2])) as peer,
        asking(table(str(link), [register("M1", 1)])) as source,
    ):
        wait_until(lambda: "no such port: plug the device in" in source.state, "the port is missing")
        with serial.Serial(peer.pty.path, exclusive=True):
            link.symlink_to(peer.pty.path)
            wait_until(lambda: "another program has the port open" in source.state, "the port is taken")
        wait_until(lambda: source.state == "connected", "the port is free")
        wait_until(lambda: any(arrival.payload for arrival in source.arrivals), "an answer")
