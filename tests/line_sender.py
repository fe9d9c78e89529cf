"""A probe's board on a pseudo-terminal: it prints its lines for as long as the test wants."""

from __future__ import annotations

import contextlib
import itertools
import os
import threading
import tty
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def line_sender(*lines: str | Callable[[int], str], every_s: float = 0.02) -> Iterator[str]:
    """A pseudo-terminal on which the lines come again and again; gives its far end's path.

    A line may be made anew each time, from how often it was sent before.
    """
    master, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    os.set_blocking(master, False)
    stop = threading.Event()

    def send() -> None:
        for number in itertools.count():
            if stop.wait(every_s):
                return
            made = [line if isinstance(line, str) else line(number) for line in lines]
            with contextlib.suppress(OSError):  # nobody reads, and its buffer is full
                os.write(master, "".join(f"{line}\n" for line in made).encode())

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield name
    finally:
        stop.set()
        thread.join()
        os.close(master)
