"""`coldshed backup` and `restore`: all files, whole and proved by their digests."""

from __future__ import annotations

import argparse
from pathlib import Path

from collector import settings as settings_file
from collector.clock import SystemClock
from collector.forward.state import FORWARD, OLD_CURSOR
from collector.settings import Settings
from collector.store.backup import back_up
from collector.store.backup import restore as put_back
from collector.store.readings_schema import READINGS
from collector.store.schema import Schema
from dashboard.logbook import SHOP
from dashboard.notice_store import NOTICES
from dashboard.watch_store import WATCH


def files_of(settings: Settings) -> list[tuple[Path, Schema]]:
    """Answers rest on entries and readings, so they are copied first: what they rest on is in the copies then."""
    files = (settings.notices_db, NOTICES), (settings.watch_db, WATCH), (settings.shop_db, SHOP)
    return [*files, (settings.readings_db, READINGS)]


def backup(arguments: argparse.Namespace) -> int:
    """Returns 0, or raises StoreError and leaves nothing."""
    settings = settings_file.load(arguments.settings)
    for item in back_up(files_of(settings), arguments.target, SystemClock().now()):
        print(f"{item.name}: {item.bytes} bytes, SHA-256 {item.sha256}")
    print(f"{arguments.target} is whole; the settings file and your cards are text: copy them yourself")
    if settings.data_folder.joinpath("accounts.db").exists():
        print("accounts stay here: an old copy put back would let in whoever was sent away since")
    return 0


def restore(arguments: argparse.Namespace) -> int:
    """Returns 0, or raises StoreError; then nothing was changed, or it says so."""
    settings = settings_file.load(arguments.settings)
    # No backup holds forward.db: all is sent on once more, and a repeat overwrites itself.
    files = [*files_of(settings), (settings.forward_db, FORWARD)]
    beside = [settings.data_folder / OLD_CURSOR]
    aside = put_back(arguments.backup, files, beside, SystemClock().now())
    print(f"restored from {arguments.backup}; what was there before lies in {aside}")
    return 0
