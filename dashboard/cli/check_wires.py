"""Checks of where readings come from: serial ports, folders and brokers."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from collector.broker_tls import LoginFileError, password_of, tls_context
from collector.first_run.places import group_of, open_by
from collector.listen import LINKS, lacks_serial_number, stable_link
from collector.recording import RecordingError, arrivals
from collector.settings import (
    FolderSource,
    ModbusSource,
    MqttSource,
    OneWireSource,
    ReplaySource,
    SerialSource,
    Settings,
)
from collector.source_tables import BrokerLogin
from collector.sources.mqtt import echo_topic
from dashboard.alive import lock_holder
from dashboard.cli.broker_answer import BrokerAnswer, ask_broker
from dashboard.cli.findings import Finding, note, ok, wrong

SEE_PORTS = "plug the device in; 'coldshed listen --ports' shows the ports there are"


def source_findings(settings: Settings) -> Iterator[Finding]:
    """One or more for each source of the settings, and the broker that is told."""
    collect = lock_holder(settings.readings_db)
    for source in settings.source:
        if isinstance(source, SerialSource | ModbusSource):
            yield from port_findings(f"source {source.id}", source.port, ours=collect)
        elif isinstance(source, MqttSource):
            yield from mqtt_findings(settings, source)
        elif isinstance(source, FolderSource):
            yield folder_finding(f"source {source.id}", settings.folder / source.folder)
        elif isinstance(source, OneWireSource):
            devices = [
                name for probe in settings.probe if probe.source == source.id for name in probe.wire_names
            ]
            yield from one_wire_findings(f"source {source.id}", settings.folder / source.folder, devices)
        elif isinstance(source, ReplaySource):
            yield replay_finding(f"source {source.id}", settings.folder / source.file)
    if settings.announce is not None:
        yield from login_findings("announce", settings.announce.with_files_in(settings.folder))


def mqtt_findings(settings: Settings, source: MqttSource) -> Iterator[Finding]:
    """Asks the broker as collect would, in a session of its own."""
    login = source.with_files_in(settings.folder)
    yield from login_findings(
        f"source {source.id}", login, source.topic, echo_topic(settings.site, source.id)
    )


def login_findings(
    who: str, login: BrokerLogin, topics: Sequence[str] = (), marker: str | None = None
) -> Iterator[Finding]:
    """What the broker answers to this login; the names of its files are whole."""
    try:
        tls, password = tls_context(login), password_of(login)
    except LoginFileError as error:
        yield wrong(f"{who}: {error}", "correct it: collect cannot connect without it")
        return
    answer = ask_broker(login.host, login.port, login.user, password, topics, marker, tls)
    yield from broker_findings(who, f"{login.host}:{login.port}", answer)


def broker_findings(who: str, where: str, answer: BrokerAnswer) -> Iterator[Finding]:
    """What a broker's answer means."""
    if answer.unreachable:
        do = "start it, or correct host and port"
        yield wrong(f"{who}: broker {where} does not answer ({answer.unreachable})", do)
        return
    if answer.refused:
        do = "correct user and password_file, or enter this user at the broker"
        yield wrong(f"{who}: broker {where} does not let us in ({answer.refused})", do)
        return
    for topic, why in answer.topics_refused:
        do = "add a line 'topic read ...' for this user to the broker's ACL"
        yield wrong(f"{who}: broker {where} refuses the topic {topic} ({why})", do)
    if answer.marker_refused:
        topic, why = answer.marker_refused
        do = f"add 'topic readwrite {topic}' to the broker's ACL: without it old messages pass for new ones"
        yield wrong(f"{who}: broker {where} does not let us publish there ({why})", do)
    if not answer.topics_refused and not answer.marker_refused:
        yield ok(f"{who}: broker {where} answers and lets us in")


def port_findings(
    who: str,
    port: str,
    links: Path = LINKS,
    may: Callable[[str, int], bool] = os.access,
    ours: int | None = None,
) -> Iterator[Finding]:
    """A serial port: there, ours to open, read by nobody but `ours`, and of a name that survives replugging."""
    try:
        state = os.stat(port)
    except OSError as error:
        why = "is not there" if error.errno == errno.ENOENT else f"cannot be looked at ({error.strerror})"
        yield wrong(f"{who}: {port} {why}", SEE_PORTS)
        return
    if not stat.S_ISCHR(state.st_mode):
        yield wrong(f"{who}: {port} is not a serial port", SEE_PORTS)
        return
    if not may(port, os.R_OK | os.W_OK):
        group = group_of(port)
        do = f"sudo usermod -aG {group} USER for the user who runs coldshed, who then signs in again"
        yield wrong(f"{who}: {port} may not be opened by this user", do)
        return
    for pid, name in open_by(port):
        if pid != ours:
            do = "end it: two programs on one port take the bytes from each other"
            yield wrong(f"{who}: {port} is open in another program, {name} (process {pid})", do)
    by_path = stable_link(port, links, has_serial_number=False)
    better = None if port.startswith(f"{links}/") else stable_link(port, links)
    if port.startswith(f"{links}/by-id/") and lacks_serial_number(port):
        do = f'write port = "{by_path}", the socket it is plugged into' if by_path else SEE_PORTS
        yield note(
            f"{who}: the adapter has no serial number, so another of its kind takes the name {port}", do
        )
    elif better:
        do = f'write port = "{better}", which stays the same'
        yield note(f"{who}: {port} may have another name after the next start or replugging", do)
    else:
        yield ok(f"{who}: {port} is there")


def folder_finding(who: str, folder: Path, may: Callable[[Path, int], bool] = os.access) -> Finding:
    """A watched folder: files are moved out of it, so it must be ours to write."""
    if not folder.exists():
        return note(f"{who}: {folder} is not there yet", "collect makes it, or correct 'folder'")
    if not folder.is_dir() or not may(folder, os.R_OK | os.W_OK | os.X_OK):
        return wrong(
            f"{who}: {folder} is no folder that this user may write", "correct 'folder', or its owner"
        )
    refused = folder / "refused"
    left = sum(1 for path in refused.glob("*.report.txt")) if refused.is_dir() else 0
    if left:
        return note(
            f"{who}: {left} files lie in {refused}", "the report beside each says why; correct and put back"
        )
    return ok(f"{who}: {folder} is there")


def one_wire_findings(who: str, folder: Path, devices: Sequence[str]) -> Iterator[Finding]:
    """The folder of one-wire devices, and each device that a probe names."""
    if not folder.is_dir():
        do = "load the one-wire driver of this computer, or correct 'folder'"
        yield wrong(f"{who}: {folder} is not there", do)
        return
    missing = [device for device in devices if not (folder / device).is_dir()]
    for device in missing:
        yield wrong(
            f"{who}: {folder / device} is not there", "check the sensor's cable, or correct the probe's name"
        )
    if not missing:
        yield ok(f"{who}: {folder} shows all {len(devices)} devices")


def replay_finding(who: str, file: Path) -> Finding:
    """A recording: there, and one of ours."""
    try:
        next(arrivals(file), None)
    except (OSError, RecordingError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no recording"
        return wrong(
            f"{who}: {file} cannot be replayed ({why})", "make one with 'coldshed listen --record FILE'"
        )
    return ok(f"{who}: {file} is a recording")
