"""One shop with every kind of wire, through the whole of collect into a real store."""

from __future__ import annotations

import os
import threading
from pathlib import Path

from collector.app import collect
from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.recording import Recorder
from collector.settings import Settings
from collector.store.reader import Reader
from collector.store.schema import NotYet
from tests.collector.shops import LINES, probe, shop
from tests.collector.sources.rs485 import Pty, answer, asked, slaves
from tests.services import wait_until

T0 = 1_795_600_000_000
NMEA = '[source.decode]\nkind = "nmea_xdr"\ntalker = "WI"\n'
W1 = '[source.decode]\nkind = "w1_slave"\n'
MODBUS = """
[source.decode]
kind = "modbus_registers"
registers = [
  { name = "M1", slave = 7, function = "holding", address = 0, quantity = "temperature", unit = "degC", scale = 0.1 },
]
"""
SENSOR = "28-00000000ab01"
SCRATCHPAD = b"c8 00 4b 46 7f ff 08 10 02 : crc=02 YES\nc8 00 4b 46 7f ff 08 10 02 t=12500\n"


def source(id: str, kind: str, keys: str, decode: str) -> str:
    return f'[[source]]\nid = "{id}"\nkind = "{kind}"\n{keys}\n{decode}'


def stored(settings: Settings) -> dict[str, float]:
    """The newest value of each probe."""
    try:
        reader = Reader.open(settings.readings_db)
    except NotYet:
        return {}
    try:
        return {reading.probe: reading.value for reading in reader.newest()}
    finally:
        reader.close()


def test_every_kind_of_wire_ends_in_the_store_under_its_probe(tmp_path: Path) -> None:
    (tmp_path / "devices" / SENSOR).mkdir(parents=True)
    (tmp_path / "devices" / SENSOR / "w1_slave").write_bytes(SCRATCHPAD)
    with Recorder(tmp_path / "night.rec") as recorder:
        recorder.add(Arrival("usb", b"R1 T=9.5", T0 - 1000))
    mast, stop = Pty(), threading.Event()
    with slaves(lambda request: answer(7, *[0xFF33] * asked(request)[2], function=3)) as peer:
        settings = shop(
            tmp_path,
            source("mast", "serial", f'port = "{mast.path}"', NMEA),
            source("pins", "one_wire", 'folder = "devices"\ninterval_s = 0.1', W1),
            source("rs485", "modbus", f'port = "{peer.pty.path}"\ninterval_s = 0.1', MODBUS),
            source("again", "replay", 'file = "night.rec"\nrecorded_as = "usb"', LINES),
            probe("N1", "mast", name="T1"),
            probe("W1", "pins", name=SENSOR),
            probe("M1", "rs485"),
            probe("R1", "again"),
        )
        thread = threading.Thread(target=collect, args=(settings, SteppedClock(T0), stop.is_set))
        thread.start()
        try:
            wait_until(
                lambda: (
                    os.write(mast.master, b"$WIXDR,C,12.5,C,T1,H,84.2,P,H1*5C\r\n") > 0
                    and stored(settings) == {"N1": 12.5, "W1": 12.5, "M1": -20.5, "R1": 9.5}
                ),
                "a reading of each",
            )
        finally:
            stop.set()
            thread.join(10)
            mast.close()
    assert not thread.is_alive()
    reader = Reader.open(settings.readings_db)
    assert {tally.kind for tally in reader.tallies()} <= {"unknown name", "no answer"}
    assert [item.name for item in reader.heard()] == ["H1"]
    reader.close()
