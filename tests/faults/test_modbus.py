"""Modbus: what goes wrong on an RS-485 line gives no sample, and no answer slips to the next query."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable

import pytest

from collector.decode.modbus_registers import ModbusRegistersDecoder, signed
from collector.sources import modbus
from tests.collector.sources.rs485 import (
    answer,
    asked,
    asking,
    exception,
    register,
    sealed,
    slaves,
    table,
)
from tests.collector.sources.threads import Running
from tests.services import wait_until

TWO = [register("near", 10), register("far", 20)]
"""Two queries of the same slave, function and length: only the order tells their answers apart."""
VALUES = {10: 101, 20: 202}


def right(request: bytes) -> bytes:
    """A slave that holds 10.1 in register 10 and 20.2 in register 20."""
    slave, address, count = asked(request)
    return answer(slave, *[VALUES.get(address + offset, 0) for offset in range(count)])


def outcomes(source: Running, decoder: ModbusRegistersDecoder) -> tuple[set[tuple[str, float]], Counter[str]]:
    """All (name, value) that were taken, and how often each kind was refused."""
    decoded = [decoder.decode(arrival) for arrival in list(source.arrivals)]
    samples = {(sample.name, sample.value) for item in decoded for sample in item.samples}
    return samples, Counter(refusal.kind for item in decoded for refusal in item.refused)


def wrong_crc(request: bytes) -> bytes:
    whole = right(request)
    return whole[:-1] + bytes([whole[-1] ^ 0x40])


def wrong_slave(request: bytes) -> bytes:
    return right(bytes([9]) + request[1:])


def wrong_function(request: bytes) -> bytes:
    return answer(1, 101, function=3)


def too_few(request: bytes) -> bytes:
    return answer(1)


def lying_about_its_length(request: bytes) -> bytes:
    return sealed(bytes([1, 4, 4]) + right(request)[3:-2])


FAULTS: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "CRC error": (wrong_crc, "checksum"),
    "wrong slave answers": (wrong_slave, "wrong slave"),
    "exception code": (lambda request: exception(1, 2), "exception"),
    "another function": (wrong_function, "wrong answer"),
    "too few registers": (too_few, "wrong answer"),
    "a length that is not its own": (lying_about_its_length, "wrong answer"),
    "only the beginning": (lambda request: right(request)[:4], "cut short"),
    "an adapter's echo before the answer": (lambda request: request + right(request), "echo"),
    "nothing": (lambda request: b"", "no answer"),
}


@pytest.mark.parametrize(("fault", "kind"), FAULTS.values(), ids=FAULTS.keys())
def test_b15_a_wrong_answer_is_no_sample_and_the_right_ones_after_it_are(
    fault: Callable[[bytes], bytes], kind: str
) -> None:
    """The slave comes into step, then answers the third query wrongly, and rightly for ever after."""
    number = itertools.count()
    with slaves(lambda request: fault(request) if next(number) == 3 else right(request)) as peer:
        settings = table(peer.pty.path, TWO, interval_s=0.05)
        decoder = ModbusRegistersDecoder(settings.decode)
        with asking(settings) as source:
            wait_until(lambda: outcomes(source, decoder)[1][kind] > 0, f"one refusal: {kind}")
            heard = len(source.arrivals)
            wait_until(
                lambda: (
                    outcomes(source, decoder)[0] == {("near", 10.1), ("far", 20.2)}
                    and len(source.arrivals) >= heard + 4
                ),
                "both values, two rounds later",
            )
            assert set(outcomes(source, decoder)[1]) <= {kind, "no answer"}


def assert_values_never_shift(late: int, refuses: bool, requests: int) -> None:
    """Again and again a slave falls behind: `late` further queries come before it answers them all, in their order.

    refuses: asked for another length than its manual shows, it answers with an exception.
    """
    number, behind, waiting = itertools.count(), [0], []

    def tardy(request: bytes) -> bytes:
        _, _, count = asked(request)
        waiting.append(exception(1, 3) if refuses and count != 1 else right(request))
        if next(number) % 5 == 3 and not behind[0]:
            behind[0] = late + 1
        behind[0] = max(0, behind[0] - 1)
        if behind[0]:
            return b""
        now = b"".join(waiting)
        waiting.clear()
        return now

    with slaves(tardy) as peer:
        settings = table(peer.pty.path, TWO, interval_s=0.01, timeout_s=0.05)
        decoder = ModbusRegistersDecoder(settings.decode)
        with asking(settings) as source:
            wait_until(lambda: len(peer.requests) > requests, "many late answers", 120)
        samples, refused = outcomes(source, decoder)
        assert samples == {("near", 10.1), ("far", 20.2)}
        assert refused.total() > 3


@pytest.mark.parametrize(("late", "refuses"), [(1, False), (3, False), (2, True)])
def test_b15_a_late_answer_to_an_earlier_query_never_shifts_the_values_by_one(
    late: int, refuses: bool
) -> None:
    assert_values_never_shift(late, refuses, requests=30)


def test_b15_a_client_that_only_drains_the_line_would_shift(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same slave, asked without bringing it back into step: the harness sees the shift."""
    monkeypatch.setattr(modbus, "FORGOTTEN_S", 0.0)
    with pytest.raises(AssertionError, match=r"\('near', 20\.2\)|\('far', 10\.1\)"):
        assert_values_never_shift(1, False, requests=30)


@pytest.mark.parametrize(
    ("encoding", "register_holds", "number"),
    [
        ("twos_complement", 0xFF33, -205),
        ("twos_complement", 205, 205),
        ("twos_complement", 0x8000, -32768),
        ("ten_thousand_plus", 10205, -205),
        ("ten_thousand_plus", 205, 205),
        ("ten_thousand_plus", 10000, 10000),
        ("sign_bit", 0x80CD, -205),
        ("sign_bit", 205, 205),
        ("sign_bit", 0x8000, 0),
        ("never", 0xFF33, 0xFF33),
    ],
)
def test_b16_a_negative_number_is_read_by_the_slaves_own_encoding(
    encoding: str, register_holds: int, number: int
) -> None:
    """-20.5 as three makes of sensor send it (FAULTS 2.7): FF33, 10000 + 205, and the sign bit."""
    assert signed(register_holds, encoding) == number


def test_b16_slaves_of_three_encodings_on_one_line_all_say_the_same() -> None:
    registers = [
        register("A", 0, slave=1, negative="twos_complement"),
        register("B", 0, slave=2, negative="ten_thousand_plus"),
        register("C", 0, slave=3, negative="sign_bit"),
    ]
    holds = {1: 0xFF33, 2: 10205, 3: 0x80CD}
    with slaves(lambda request: answer(request[0], *[holds[request[0]]] * asked(request)[2])) as peer:
        settings = table(peer.pty.path, registers)
        decoder = ModbusRegistersDecoder(settings.decode)
        with asking(settings) as source:
            wait_until(lambda: len(source.arrivals) >= 3, "a round")
        assert outcomes(source, decoder)[0] == {("A", -20.5), ("B", -20.5), ("C", -20.5)}
