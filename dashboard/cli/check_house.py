"""Checks of the machine and our files on it: data folder, stores, processes, clock, pages, forwarding."""

from __future__ import annotations

import ctypes
import http.client
import json
import os
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import apsw

from collector.forward.state import progress
from collector.settings import Settings
from collector.store.readings_schema import READINGS
from collector.store.schema import NotYet, Schema, StoreError, open_reader
from collector.web_address import without_login
from dashboard.alive import doing, lock_holder
from dashboard.cli.doors import authority, base_of, headers_for
from dashboard.cli.findings import Finding, ago, note, ok, wrong
from dashboard.logbook import NIGHT_BYTES, SHOP
from dashboard.notice_store import NOTICES
from dashboard.watch_store import WATCH

LEAST_MB, LEAST_INODES = NIGHT_BYTES // 1_000_000, 1000
MOST_WAL_BYTES = 16_000_000
"""A log that is never folded in grows for ever: something holds a read open."""
TIME_ERROR = 5
"""What adjtimex(2) returns while the kernel's clock is not kept right by anybody."""
FIRST_MS = 1_767_225_600_000
"""2026-01-01 UTC: no clock that is right shows an earlier time to this program."""
AHEAD_MS = 120_000
WATCH_SILENT = "silent"


def folder_findings(
    folder: Path,
    may: Callable[[Path, int], bool] = os.access,
    room: Callable[[Path], os.statvfs_result] = os.statvfs,
) -> Iterator[Finding]:
    """The data folder: ours to write, each file in it too, and room for the night in bytes and in files."""
    if not folder.exists():
        yield note(f"{folder}: not there yet", "the first start makes it")
        return
    locked = [path for path in (folder, *sorted(folder.glob("*.db*"))) if not may(path, os.R_OK | os.W_OK)]
    for path in locked:
        do = (
            "give it to the user who runs coldshed: sudo chown USER; it may come from a start as another user"
        )
        yield wrong(f"{path}: cannot be written", do)
    found = room(folder)
    if found.f_flag & os.ST_RDONLY:
        do = "look into 'dmesg' for errors of the card or disk; copy the data folder elsewhere first"
        yield wrong(f"{folder}: its file system is read-only", do)
    free_MB = found.f_bavail * found.f_frsize // 1_000_000
    if free_MB < LEAST_MB:
        yield wrong(f"{folder}: {free_MB} MB free", f"make room before the night: at least {LEAST_MB} MB")
    if found.f_files and found.f_favail < LEAST_INODES:
        do = "delete small files that nobody needs; 'df -i' shows how many there are"
        yield wrong(f"{folder}: only {found.f_favail} more files fit", do)
    if not locked and free_MB >= LEAST_MB:
        yield ok(f"{folder}: {free_MB} MB free")


def file_findings(settings: Settings) -> Iterator[Finding]:
    """Each of our files: ours, of a version we know, whole by SQLite's quick_check, its log folded in."""
    for path, schema in written_files(settings):
        yield from file_finding(path, schema)


def written_files(settings: Settings) -> list[tuple[Path, Schema]]:
    """What the shop's processes write; notices.db only where somebody is told."""
    told = [(settings.notices_db, NOTICES)] if settings.notices is not None else []
    mine = [] if settings.read_from else [(settings.readings_db, READINGS)]
    return [*mine, (settings.watch_db, WATCH), (settings.shop_db, SHOP), *told]


def file_finding(path: Path, schema: Schema) -> Iterator[Finding]:
    """One file. `check store` looks deeper."""
    try:
        connection = open_reader(path, schema)
    except NotYet as reason:
        yield note(str(reason), "'coldshed run' starts all")
        return
    except (StoreError, apsw.Error) as error:
        yield wrong(f"{path.name}: {error}", f"keep the file; restore a backup of {path}")
        return
    try:
        found = str(connection.pragma("quick_check"))
    except apsw.Error as error:
        found = str(error)
    finally:
        connection.close()
    if found == "ok":
        yield ok(f"{path.name}: whole")
    else:
        do = "end coldshed, keep the file and its -wal, restore a backup; 'coldshed check store' says what is lost"
        yield wrong(f"{path.name}: damaged: {found}", do)
    log = path.with_name(path.name + "-wal")
    if log.exists() and (size := log.stat().st_size) > MOST_WAL_BYTES:
        do = "end the program that holds the file open for reading (lsof shows it)"
        yield wrong(f"{log.name}: {size // 1_000_000} MB and growing", do)


def process_findings(settings: Settings) -> Iterator[Finding]:
    """collect, watch, serve and notify, each known by the lock that it holds on its file."""
    for path, schema in written_files(settings):
        if not path.exists():
            continue
        holder, what = lock_holder(path), doing(path)
        if what == "not running":
            do = "start it with 'coldshed run', or 'sudo systemctl start coldshed.target'"
            yield wrong(f"{schema.writer} does not run", do)
        elif what == "stopped":
            do = f"kill -CONT {holder}, or kill -9 {holder}: it is then started again"
            yield wrong(f"{schema.writer} runs as process {holder} and has been stopped", do)
        else:
            yield ok(f"{schema.writer} runs as process {holder}")


def kernel_says_synchronised() -> bool:
    """Whether anything keeps the kernel's clock right: timesyncd, chrony, ntpd or a radio clock, adjtimex(2)."""
    timex = ctypes.create_string_buffer(1024)  # all zero, so only asking; struct timex has about 200 bytes
    return bool(ctypes.CDLL(None).adjtimex(timex) != TIME_ERROR)


def clock_findings(now: int, synchronised: bool, newest: int | None) -> Iterator[Finding]:
    """The machine's clock against the calendar, the time service and the newest reading (all UTC ms)."""
    if now < FIRST_MS:
        do = "set it: 'sudo timedatectl set-time', or give the machine network or a clock module with a battery"
        yield wrong("clock: it shows a time before 2026", do)
    elif newest is not None and newest > now + AHEAD_MS:
        do = "'timedatectl' shows it; set it, or wait for the network. New readings are filed too early until then"
        yield wrong(f"clock: it is {ago(newest - now)} behind the newest reading", do)
    elif not synchronised:
        do = "look whether it is right; 'sudo timedatectl set-ntp true', or a clock module with a battery, keeps it so"
        yield note("clock: no time service keeps it right", do)
    else:
        yield ok("clock: kept right by a time service")


def page_findings(settings: Settings, serve_runs: bool) -> Iterator[Finding]:
    """Whether the pages come, and what serve says of watch."""
    where = f"pages: {base_of(settings)}"
    health = _health(settings)
    if isinstance(health, dict):
        yield ok(f"{where} answers")
        if health.get("watch") == WATCH_SILENT:
            do = "its log says why; end it, and its supervisor starts another"
            yield wrong("watch has worked nothing out for minutes", do)
    elif serve_runs:
        yield wrong(f"{where} does not answer though serve runs ({health})", "end it: it is started again")
    elif "refused" in health:
        yield note(f"{where} does not answer", "'coldshed run' starts it")
    else:
        yield wrong(
            f"{where}: something else is there ({health})", "end it, or set another port under [serve]"
        )


def _health(settings: Settings) -> dict[str, Any] | str:
    """serve's health, or why there is none."""
    connection = http.client.HTTPConnection(authority(settings), timeout=3)
    try:
        connection.request("GET", "/api/health", headers=headers_for(settings))
        body = json.loads(connection.getresponse().read(65_536))
    except (OSError, http.client.HTTPException, ValueError) as error:
        return str(error) or type(error).__name__
    finally:
        connection.close()
    return body if isinstance(body, dict) and "serve" in body else "it is not coldshed's serve"


def forward_findings(settings: Settings, last_batch: int) -> Iterator[Finding]:
    """The time-series server: reachable, how much waits for it, and what it did not take or keep."""
    if settings.forward is None:
        return
    server = urlsplit(settings.forward.url)
    url = without_login(settings.forward.url)
    try:
        now = progress(settings.data_folder)
    except (OSError, StoreError) as error:
        yield wrong(f"forward: {error}", "correct it; what was sent twice overwrites itself")
        return
    waiting = f"{last_batch - now.acknowledged} batches wait"
    port = server.port or (443 if server.scheme == "https" else 80)
    try:
        with socket.create_connection((server.hostname or "", port), timeout=3):
            pass
    except OSError as error:
        do = "start it, or correct url; readings wait meanwhile and nothing is lost"
        yield note(f"forward: {url} does not answer ({error}); {waiting}", do)
    else:
        if now.trouble:
            do = "see to what it says; readings.db keeps all meanwhile, and what is missing there is sent again"
            yield wrong(f"forward: {now.trouble}; {waiting}", do)
        else:
            yield ok(f"forward: {url} answers; {waiting}")
    if now.kept:
        do = f"readings.db has them; 'sqlite3 {settings.forward_db} \"SELECT * FROM kept\"' shows them"
        yield note(f"forward: the server refused {now.kept} readings, the last with: {now.last_words}", do)
    if now.too_old:
        do = "let it keep them for longer if they are to be seen there"
        yield note("forward: readings that are older than the server keeps them were passed over", do)
