"""Modbus slaves at the far end of a pseudo-terminal: one fed by hand, and pymodbus' own server behind a relay."""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence

from pymodbus.framer import FramerRTU
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from collector.clock import SteppedClock
from collector.settings import ModbusRegisters, ModbusSource, Register
from collector.sources.modbus import ModbusLineSource
from tests.collector.sources.threads import Running, running

T0 = 1_795_600_000_000
REQUEST = 8


def sealed(body: bytes) -> bytes:
    return body + FramerRTU.compute_CRC(body).to_bytes(2)


def answer(slave: int, *registers: int, function: int = 4) -> bytes:
    """A whole answer, as a slave would send it."""
    return sealed(bytes([slave, function, 2 * len(registers)]) + b"".join(r.to_bytes(2) for r in registers))


def exception(slave: int, code: int, function: int = 4) -> bytes:
    return sealed(bytes([slave, function | 0x80, code]))


def asked(request: bytes) -> tuple[int, int, int]:
    """Slave, address and count of a request."""
    return request[0], int.from_bytes(request[2:4]), int.from_bytes(request[4:6])


class Pty:
    """A pseudo-terminal; `path` is the end that a program opens as its serial port."""

    def __init__(self) -> None:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)

    def close(self) -> None:
        for end in (self.master, self._slave):
            with contextlib.suppress(OSError):
                os.close(end)


class Peer(threading.Thread):
    """Answers each whole request with what `slave` gives for it, in a thread of its own."""

    def __init__(self, slave: Callable[[bytes], bytes]) -> None:
        super().__init__(daemon=True)
        self.pty = Pty()
        self.requests: list[bytes] = []
        self._slave = slave
        self._ended = threading.Event()

    def run(self) -> None:
        held = b""
        while not self._ended.is_set():
            if not select.select([self.pty.master], [], [], 0.05)[0]:
                continue
            held += os.read(self.pty.master, 1000)
            while len(held) >= REQUEST:
                request, held = held[:REQUEST], held[REQUEST:]
                self.requests.append(request)
                os.write(self.pty.master, self._slave(request))

    def close(self) -> None:
        self._ended.set()
        self.join(5)
        self.pty.close()


class Relay(threading.Thread):
    """Two pseudo-terminals joined as by a cable."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.near, self.far = Pty(), Pty()
        self._ended = threading.Event()

    def run(self) -> None:
        other = {self.near.master: self.far.master, self.far.master: self.near.master}
        while not self._ended.is_set():
            for end in select.select(list(other), [], [], 0.05)[0]:
                os.write(other[end], os.read(end, 1000))

    def close(self) -> None:
        self._ended.set()
        self.join(5)
        self.near.close()
        self.far.close()


@contextlib.contextmanager
def real_server(slaves: dict[int, list[int]]) -> Iterator[str]:
    """pymodbus' server on one line: slave -> its input registers from 0 on. Gives the port to open."""
    relay = Relay()
    relay.start()
    loop = asyncio.new_event_loop()
    ready = threading.Event()
    servers: list[ModbusSerialServer] = []

    async def serve() -> None:
        devices = [SimDevice(id, _blocks(registers)) for id, registers in slaves.items()]
        server = ModbusSerialServer(devices, port=relay.far.path, baudrate=9600, ignore_missing_devices=True)
        servers.append(server)
        await server.serve_forever(background=True)
        ready.set()

    async def end() -> None:
        await servers[0].shutdown()

    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    try:
        asyncio.run_coroutine_threadsafe(serve(), loop).result(10)
        yield relay.near.path
        asyncio.run_coroutine_threadsafe(end(), loop).result(10)
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join(5)
        loop.close()
        relay.close()


def _blocks(registers: list[int]) -> tuple[list[SimData], ...]:
    bits = [SimData(0, values=[False], datatype=DataType.BITS)]
    holding = [SimData(0, values=[0], datatype=DataType.REGISTERS)]
    return bits, bits, holding, [SimData(0, values=registers, datatype=DataType.REGISTERS)]


def register(name: str, address: int, slave: int = 1, **more: object) -> Register:
    table: dict[str, object] = {"quantity": "temperature", "unit": "degC", "scale": 0.1, "function": "input"}
    return Register(name=name, slave=slave, address=address, **(table | more))  # type: ignore[arg-type]


def table(port: str, registers: Sequence[Register], **more: object) -> ModbusSource:
    """Settings with short times; an interval of 0.2 s keeps the tests short."""
    times = {"interval_s": 0.2, "timeout_s": 0.15} | more
    decode = ModbusRegisters(kind="modbus_registers", registers=tuple(registers))
    return ModbusSource(id="rs485", kind="modbus", port=port, decode=decode, **times)  # type: ignore[arg-type]


def asking(
    settings: ModbusSource, monotonic: Callable[[], float] = time.monotonic
) -> contextlib.AbstractContextManager[Running]:
    return running(ModbusLineSource(settings, SteppedClock(T0), monotonic))


@contextlib.contextmanager
def slaves(slave: Callable[[bytes], bytes]) -> Iterator[Peer]:
    """Slaves fed by hand: `slave` is called with each request and gives the bytes to send."""
    peer = Peer(slave)
    peer.start()
    try:
        yield peer
    finally:
        peer.close()
