"""Answers of Modbus RTU slaves to samples: each arrival is one answer's bytes, its topic the query.

Standards: MODBUS Application Protocol V1.1b3 (functions 3 and 4, exception codes) and MODBUS over Serial Line V1.02
(RTU framing, CRC). Codec and CRC are pymodbus'. An RTU answer does not say which register it belongs to: here it is
held against its query in every way it can be (slave, function, length), and the source sees to it that no answer to
an earlier query can be taken for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from collector import settings
from collector.arrival import Arrival, Decoded, Sample
from collector.decode.numbers import to_si
from collector.decode.refusing import NotTaken, shown

try:
    from pymodbus.framer import FramerRTU
    from pymodbus.pdu import DecodePDU, ExceptionResponse
    from pymodbus.pdu.register_message import (
        ReadHoldingRegistersRequest,
        ReadHoldingRegistersResponse,
        ReadInputRegistersRequest,
    )
except ImportError as error:
    raise settings.SettingsError(
        "a source of kind 'modbus' needs the pymodbus library: pip install 'coldshed[modbus]'"
    ) from error

MOST = 125
"""Registers in one answer (V1.1b3, 6.3)."""
EXCEPTION_LENGTH = 5
ECHO_LENGTH = 6
"""Bytes of a query before its CRC."""
EXCEPTION = "exception"
"""The kind of refusal by which the slave itself declines a query."""
_FUNCTIONS = {"holding": ReadHoldingRegistersRequest, "input": ReadInputRegistersRequest}
_SAID = {
    1: "it does not know this function",
    2: "it has no such register",
    3: "it does not give so many registers",
    4: "it failed",
    6: "it is busy",
}


@dataclass(frozen=True, slots=True)
class Query:
    """`count` registers of a slave, from `address` on."""

    slave: int
    function: str
    address: int
    count: int

    @property
    def topic(self) -> str:
        return f"{self.slave}/{self.function}/{self.address}/{self.count}"

    @property
    def length(self) -> int:
        """Bytes of the answer."""
        return 5 + 2 * self.count

    def frame(self) -> bytes:
        """The query as it goes onto the line."""
        request = _FUNCTIONS[self.function](address=self.address, count=self.count, dev_id=self.slave)
        return FramerRTU(DecodePDU(False)).buildFrame(request)

    def registers(self, answer: bytes) -> list[int]:
        """The registers, 0 to 65535, that the slave's answer holds. Raises NotTaken if this is not its answer."""
        if not answer:
            raise NotTaken(
                "no answer", f"slave {self.slave} is silent: check cable, power, address and baud rate"
            )
        if len(answer) < EXCEPTION_LENGTH:
            raise NotTaken("cut short", f"{len(answer)} bytes; an answer has {self.length}: {shown(answer)}")
        if not FramerRTU.check_CRC(answer[:-2], int.from_bytes(answer[-2:], "big")):
            if self.frame().startswith(answer[:ECHO_LENGTH]):
                raise NotTaken("echo", "the adapter gives back what is sent: switch its local echo off")
            raise NotTaken(
                "checksum", f"the CRC is wrong: check cable, terminator and baud rate: {shown(answer)}"
            )
        if answer[0] != self.slave:
            raise NotTaken("wrong slave", f"slave {answer[0]} answered instead of {self.slave}")
        wanted = _FUNCTIONS[self.function].function_code
        if answer[1] & 0x7F != wanted:
            raise NotTaken("wrong answer", f"function {answer[1]} instead of {wanted}")
        answered = DecodePDU(False).decode(answer[1:-2])
        if isinstance(answered, ExceptionResponse):
            code = answered.exception_code
            said = _SAID.get(code, "see its manual")
            raise NotTaken(EXCEPTION, f"slave {self.slave} refuses {self.topic}: code {code}, {said}")
        whole = len(answer) == self.length and answer[2] == 2 * self.count
        if not isinstance(answered, ReadHoldingRegistersResponse) or not whole:
            raise NotTaken("wrong answer", f"not {self.count} registers: {shown(answer)}")
        return list(answered.registers)


def queries(registers: Iterable[settings.Register]) -> list[Query]:
    """What to ask, so that one answer holds all registers that follow on each other."""
    found: list[Query] = []
    for slave, function, address in sorted({(r.slave, r.function, r.address) for r in registers}):
        last = found[-1] if found else Query(0, "", 0, 0)
        next_of_last = (last.slave, last.function, last.address + last.count)
        if (slave, function, address) == next_of_last and last.count < MOST:
            found[-1] = Query(slave, function, last.address, last.count + 1)
        else:
            found.append(Query(slave, function, address, 1))
    return found


class ModbusRegistersDecoder:
    """Pure; never raises for any bytes."""

    def __init__(self, settings: settings.ModbusRegisters) -> None:
        self._registers = settings.registers
        self._queries = {query.topic: query for query in queries(settings.registers)}

    def decode(self, arrival: Arrival) -> Decoded:
        """Samples in SI without a time; an answer that is not the query's is refused whole."""
        try:
            query = self._queries.get(arrival.topic)
            if query is None:
                raise NotTaken("format", f"the settings ask nothing like {arrival.topic[:60]!r}")
            answered = query.registers(arrival.payload)
        except NotTaken as error:
            return Decoded(refused=[error.refusal])
        return Decoded(
            samples=[self._sample(r, query, answered) for r in self._registers if _asked(r, query)]
        )

    @staticmethod
    def _sample(register: settings.Register, query: Query, answered: list[int]) -> Sample:
        number = signed(answered[register.address - query.address], register.negative)
        # Nine digits: 123 * 0.1 is 12.3, not 12.300000000000001.
        value = to_si(round(number * register.scale, 9), register.unit)
        return Sample(register.name, register.quantity, value, None)


def _asked(register: settings.Register, query: Query) -> bool:
    same = (register.slave, register.function) == (query.slave, query.function)
    return same and query.address <= register.address < query.address + query.count


def signed(register: int, negative: str) -> int:
    """The number that 16 bits stand for, 0 to 65535, by one of the encodings of settings.Register."""
    match negative:
        case "twos_complement":
            return register - 0x10000 if register & 0x8000 else register
        case "sign_bit":
            return -(register & 0x7FFF) if register & 0x8000 else register
        case "ten_thousand_plus":
            return 10_000 - register if register > 10_000 else register
        case "never":
            return register
    raise ValueError(f"{negative!r} is none of twos_complement, sign_bit, ten_thousand_plus, never")
