"""What the sources send, live and decoded, without storing anything: to find a port, a name, a unit."""

from __future__ import annotations

import queue
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from serial.tools import list_ports

from collector.app import SourceThread
from collector.arrival import Arrival, Decoded
from collector.clock import Clock
from collector.decode import decoder_of
from collector.recording import Recorder
from collector.settings import FolderSource, Settings, wire_names
from collector.sources import source_for

UNITS = {"temperature": "degC", "relative_humidity": "%", "co2": "ppm"}
SHOWN = 120
LINKS = Path("/dev/serial")


def listen(
    settings: Settings, clock: Clock, stop: Callable[[], bool], recorder: Recorder | None = None
) -> int:
    """Prints until `stop`, and records what comes. A broker knows us by another name than collect, whose messages it
    keeps, and forgets us when we go.

    Watched folders are left out: listening must not use up their files.
    """
    apart = settings.model_copy(
        update={"site": f"{settings.site}-listen"}
    )  # not collect's own broker session
    items = [item for item in settings.source if not isinstance(item, FolderSource)]
    if not items:
        print("nothing to listen to: the settings hold no source, or only watched folders")
        return 1
    arrived: queue.Queue[Arrival] = queue.Queue(1000)
    decoders = {item.id: decoder_of(item) for item in items}
    known = wire_names(settings)
    threads = [SourceThread(source_for(item, apart, clock, lasting=False)) for item in items]
    for thread in threads:
        thread.start(arrived.put, stop)
    while not stop():
        for thread in threads:
            if (state := thread.change()) is not None:
                print(f"-- {thread.source.id}: {state}", flush=True)
        try:
            arrival = arrived.get(timeout=0.1)
        except queue.Empty:
            continue
        if recorder is not None:
            recorder.add(arrival)
        if arrival.refusal is None:
            decoded = decoders[arrival.source].decode(arrival)
        else:
            decoded = Decoded([], [arrival.refusal])
        for line in lines(arrival, decoded, known):
            print(line, flush=True)
        if arrival.done is not None:  # or the broker would send no more after the first hundred
            arrival.done()
    return 0


def lines(arrival: Arrival, decoded: Decoded, known: dict[tuple[str, str], str]) -> list[str]:
    """One arrival in words: each sample with its probe, each refusal with its reason, else the bytes."""
    when = datetime.fromtimestamp(arrival.received / 1000, UTC).strftime("%H:%M:%S")
    head = f"{when}Z {arrival.source}"
    found = []
    for sample in decoded.samples:
        probe = known.get((arrival.source, sample.name))
        who = f"{_plain(sample.name)} -> " + (f"probe {probe}" if probe else "no probe claims this name")
        found.append(f"{head}  {who}  {sample.quantity} {sample.value:.2f} {UNITS[sample.quantity]}")
    found += [f"{head}  refused ({refusal.kind}): {_plain(refusal.text)}" for refusal in decoded.refused]
    return found or [f"{head}  nothing in {_plain(repr(arrival.payload[:SHOWN]))}"]


def ports() -> list[str]:
    """The serial ports of this machine, one line each: the path to write into the settings, and what it is.

    by-id paths survive replugging; devices without a serial number share one, so by-path is given for them.
    """
    found = []
    for port in sorted(list_ports.comports(), key=lambda port: port.device):
        stable = stable_link(port.device, LINKS, has_serial_number=bool(port.serial_number)) or port.device
        found.append(f"{stable}  ({port.device}, {port.description or 'no description'})")
    return found


def print_ports() -> int:
    """Prints ports(); 1 if there is none."""
    found = ports()
    print("\n".join(found) if found else "no serial port found: is the device plugged in?")
    return 0 if found else 1


def stable_link(device: str, links: Path, *, has_serial_number: bool = True) -> str | None:
    """A device's name that survives replugging, None if there is none: by-id, else by-path."""
    by_id = _link(device, links / "by-id") if has_serial_number else None
    return by_id or _link(device, links / "by-path")


def lacks_serial_number(device: str) -> bool:
    """True for an adapter that others of its kind cannot be told from: its by-id link may lead to any of them."""
    real = str(Path(device).resolve())
    return any(port.device == real and not port.serial_number for port in list_ports.comports())


def _link(device: str, folder: Path) -> str | None:
    if not folder.is_dir():
        return None
    return next(
        (str(link) for link in sorted(folder.iterdir()) if link.resolve() == Path(device).resolve()), None
    )


def _plain(text: str) -> str:
    """Without control characters: names and payloads are foreign, and a terminal obeys some of them."""
    return "".join(c if c.isprintable() else "?" for c in text)[:300]
