"""How collect comes by its file at the start: also when the disk is full, and when the file is damaged."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import apsw

from collector.clock import Clock
from collector.store.ballast import Ballast
from collector.store.damage import set_aside
from collector.store.schema import MAY_PASS, Damaged, StoreError
from collector.store.trouble import DO, Kind, TroubleFile, kind_of
from collector.store.writer import Writer

log = logging.getLogger("coldshed.collect")


class NoStart(Exception):
    """collect cannot start; the text says why and what to do."""


@contextmanager
def tell_troubles(folder: Path, ballast: Ballast) -> Iterator[TroubleFile]:
    """The file that tells of trouble, for as long as collect runs; a full disk gives it the ballast's room."""
    try:
        try:
            troubles = TroubleFile(folder)
        except OSError:
            if not ballast.give_up():
                raise
            troubles = TroubleFile(folder)
    except OSError as error:
        raise NoStart(f"{folder} cannot be written ({error.strerror}): give room, or the right to") from error
    try:
        yield troubles
    finally:
        troubles.close()


def open_or_begin(path: Path, clock: Clock, ballast: Ballast, troubles: TroubleFile) -> Writer:
    """The writer of the file, or of a new one if it is damaged: the coming night counts more than an old file's place.

    A full disk gets the ballast's room. Raises NoStart for what a person must mend.
    """
    try:
        try:
            return Writer.open(path, clock)
        except apsw.FullError:
            if not ballast.give_up():
                raise
            log.error("the disk is full: the reserve is given up, recording goes on; make room")
            troubles.tell(Kind.ON_RESERVE, clock.now())
        except Damaged as error:
            log.error("%s", error)
            begin_anew(path, clock)
        return Writer.open(path, clock)
    except (StoreError, OSError) as error:
        raise NoStart(str(error)) from error
    except MAY_PASS as error:
        raise NoStart(f"{path.name}: {error}; {DO[kind_of(error)]}") from error


def begin_anew(path: Path, clock: Clock) -> None:
    """Sets a damaged file aside and begins a new one, loudly."""
    aside = set_aside(path, clock.now())
    writer = Writer.open(path, clock)
    try:
        writer.number_batches_from(clock.now() // 1000)
    finally:
        writer.close()
    log.error(
        "%s WAS DAMAGED. It is kept as %s and a new one is begun: readings from now on are stored, earlier ones are "
        "not seen. 'coldshed check store %s' says what is wrong; 'coldshed restore' brings a backup back; the alarm "
        "lasts until the damaged file is moved away",
        path.name, aside, aside,
    )  # fmt: skip
