"""Settings for a process that nobody watches start: a file that was saved half must not end a running night.

Whoever starts coldshed by hand gets a refusal with file and line. A process that a supervisor starts, perhaps at
three in the morning, goes on with the settings that could last be used; their copy lies beside the file.
"""

from __future__ import annotations

import logging
from pathlib import Path

from collector import settings as settings_file
from collector.durable import replace_whole
from collector.settings import Settings, SettingsError

log = logging.getLogger("coldshed.run")


def good_copy(path: Path) -> Path:
    """Where the last good copy of a settings file lies."""
    return path.with_name(path.name + ".good")


def load_to_run(path: Path, by_supervisor: bool, keep: bool) -> Settings:
    """The settings; if they cannot be used, for a supervisor those of the copy.

    `keep` makes the copy; only one process at a time may.

    Raises SettingsError, about the file itself, if there is no copy or a person started this.
    """
    try:
        settings = settings_file.load(path)
    except SettingsError as error:
        if not by_supervisor:
            raise
        return _last_good(path, error)
    if keep:
        _keep(path)
    return settings


def _last_good(path: Path, error: SettingsError) -> Settings:
    copy = good_copy(path)
    try:
        settings = settings_file.parse(copy.read_text(encoding="utf-8"), path)
    except (OSError, ValueError):
        raise error from None  # without a copy that can be used, what is wrong is the file
    log.error("%s\ngoing on with the last good settings, %s: correct the file, then start again", error, copy)
    return settings


def _keep(path: Path) -> None:
    copy = good_copy(path)
    text = path.read_text(encoding="utf-8")
    try:
        if not copy.exists() or copy.read_text(encoding="utf-8") != text:
            replace_whole(copy, text, path.stat().st_mode & 0o777)  # no more may read it than the file itself
    except OSError as error:
        log.warning("no copy of the settings is kept (%s): with a broken file no process will start", error)
