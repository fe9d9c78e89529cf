"""Checks of what the probes said: silent, never heard, suspicious, under names nobody claims, or refused."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from difflib import get_close_matches
from zoneinfo import ZoneInfo

from collector.reading import ProbeFacts, Quality, Reading, Suspicion, silent_after_ms
from collector.settings import Probe, Settings, wire_names
from collector.store.reader import HeardName, Reader, Tally
from dashboard.cli.findings import Finding, ago, note, ok, wrong
from dashboard.devices import ProbeLog
from dashboard.display import View, say
from dashboard.doubts import LEANS, NOTICES, unanswered, words
from dashboard.words import QUALITY

RECENT_MS = 24 * 3_600_000
"""What was refused before is history; the pages still count it."""

DO: dict[str, str] = {
    "unknown name": "add a [[probe]] table with this name, or leave it: the names below are what is heard",
    "stale": "let the probe send its own time, or sequence and age (firmware_notes/firmware.md)",
    "time": "set the probe's clock, or correct time.unit or time.zone of this source",
    "checksum": "look for a bad contact, a long cable, or a second program on the port",
    "garbage": "check baud, and that this is the right port",
    "format": "compare what 'coldshed listen' shows with the decode table of this source",
    "missing field": "compare what 'coldshed listen' shows with the decode table of this source",
    "decoder": "report it with the text of this line: it is a fault of coldshed",
}
SEE = "'coldshed listen' shows what comes"


def store_findings(settings: Settings, reader: Reader, now: int) -> Iterator[Finding]:
    """All that readings.db tells of the probes, at `now` (UTC ms)."""
    newest = by_probe(reader.newest())
    for probe in settings.probe:
        yield from probe_findings(probe, newest.get(probe.id, []), now)
    yield from unclaimed_findings(reader.heard(), wire_names(settings), newest, now)
    yield from refused_findings(reader.tallies(), now)
    if rivals := reader.conflicts():
        do = "most often two devices use one name: give each its own; the first value was kept"
        yield note(f"{rivals} values came a second time with another number", do)


def by_probe(readings: Iterable[Reading]) -> dict[str, list[Reading]]:
    found: dict[str, list[Reading]] = {}
    for reading in readings:
        found.setdefault(reading.probe, []).append(reading)
    return found


def probe_findings(probe: Probe | ProbeFacts, newest: list[Reading], now: int) -> Iterator[Finding]:
    """One probe, by the newest reading of each of its quantities."""
    if not newest:
        do = "'coldshed listen' shows what is heard, and under which name"
        yield wrong(f"probe {probe.id}: never heard", do)
        return
    silent_ms = silent_after_ms(probe.interval_s)
    age = now - max(reading.at for reading in newest)
    if age > silent_ms:
        do = (
            "check battery, cable and network"
            if age < RECENT_MS
            else "check it, or take it out of the settings"
        )
        yield wrong(f"probe {probe.id}: last heard {ago(age)} ago, silent after {ago(silent_ms)}", do)
        return
    suspicious = False
    for reading in newest:
        if not reading.quality.usable:
            suspicious = True
            why = ", ".join(_words(reading.quality))
            do = "look at the sensor and its contacts; readings like this are kept and not used"
            yield wrong(f"probe {probe.id}: {reading.quantity} {reading.value:g} is not believed ({why})", do)
    for reading in newest:
        if now - reading.at > silent_ms:
            suspicious = True
            text = f"probe {probe.id}: its {reading.quantity} last came {ago(now - reading.at)} ago"
            yield wrong(text, "the probe speaks, but not of this: look at this sensor of it")
    if not suspicious:
        yield ok(f"probe {probe.id}: last heard {ago(max(0, age))} ago")


def doubt_findings(
    suspicions: Iterable[Suspicion], logs: Mapping[str, ProbeLog], zone: ZoneInfo, now: int
) -> Iterator[Finding]:
    """What comparing probes over hours says against them, until somebody has seen to it; `logs` by probe."""
    view, listed = View(zone=zone, unit="degC", now=now), list(suspicions)
    for probe in sorted({item.probe for item in listed}):
        log = logs.get(probe)
        for item in unanswered(listed, probe, log.put_right if log else ()):
            text = f"probe {probe}: {say(words(item, 'doubt'), view)}"
            if item.kind in NOTICES:
                yield note(text.removesuffix("."), "look at it when there is time")
            else:
                do = "look at it, then say on its page that it was mended or is right as it is"
                yield (note if item.kind in LEANS else wrong)(text.removesuffix("."), do)


def unclaimed_findings(
    heard: Iterable[HeardName],
    claimed: Mapping[tuple[str, str], str],
    newest: Mapping[str, list[Reading]],
    now: int,
) -> Iterator[Finding]:
    """Names heard of late that no probe of the settings has; a misspelt one is next to a probe never heard."""
    silent = {name.lower(): name for (_, name), probe in claimed.items() if probe not in newest}
    told: set[tuple[str, str]] = set()
    for item in heard:
        key = (item.source, item.name)
        if key in claimed or key in told or now - item.last_at > RECENT_MS:
            continue
        told.add(key)
        do = f'a [[probe]] table with source = "{item.source}" and name = "{item.name}" takes it in'
        for guess in get_close_matches(item.name.lower(), silent, n=1):
            do += f"; or is it the probe that the settings call {silent[guess]!r}?"
        yield note(f"source {item.source}: {item.name!r} is heard and no probe claims it", do)


def refused_findings(tallies: Iterable[Tally], now: int) -> Iterator[Finding]:
    """What was refused of late, by source and reason, with the last case."""
    for tally in tallies:
        if now - tally.last_at <= RECENT_MS and tally.kind != "unknown name":
            text = f"source {tally.source}: refused {tally.n} x {tally.kind}, last {tally.last_text}"
            yield note(text, DO.get(tally.kind, SEE))


def _words(quality: Quality) -> list[str]:
    return [
        QUALITY.get(flag.name or "", str(flag.name).lower().replace("_", " "))
        for flag in Quality
        if flag and flag in quality and not flag.usable
    ]
