"""`coldshed set-up`: finds what is plugged in, shows what it sends, and writes coldshed.toml. Never writes over one."""

from __future__ import annotations

import argparse
import sys

from collector.first_run.facts import CannotSetUp
from collector.first_run.session import PORT, SetUp
from collector.last_good import good_copy
from collector.steady_clock import SteadyClock, this_machine
from dashboard.cli.errors import CommandError
from dashboard.cli.set_up_guide import Guide
from dashboard.cli.terminal import Left, Terminal


def set_up(arguments: argparse.Namespace) -> int:
    """The guide here, or with --browser the pages for it; then coldshed runs, if that is wanted."""
    return _browser(arguments) if arguments.browser else _terminal(arguments)


def may_begin(arguments: argparse.Namespace) -> bool:
    """True if there are no settings yet and a person is there to ask."""
    here = arguments.settings
    return not here.exists() and not good_copy(here).exists() and sys.stdin.isatty() and sys.stdout.isatty()


def begin(arguments: argparse.Namespace) -> int:
    """What `coldshed run` does where there are no settings: the guide, here or in a browser."""
    terminal = Terminal()
    terminal.tell(
        f"There is no {arguments.settings} yet: it says which probes there are. It is made with you now."
    )
    ways = ["here, in this terminal", "in a browser on this computer", "not now"]
    try:
        chosen = terminal.choose("Where?", ways)
    except Left:
        chosen = 3
    if chosen == 3:
        print(f"\nNothing was changed. 'coldshed set-up' begins, here or with --browser.\n{_by_hand()}")
        return 1
    arguments.browser, arguments.port = chosen == 2, PORT
    return set_up(arguments)


def _terminal(arguments: argparse.Namespace) -> int:
    terminal = Terminal()
    session = _session(arguments)
    try:
        written = Guide(session, terminal).run()
    except (Left, KeyboardInterrupt):  # the second while it was not waiting for an answer
        terminal.tell(f"\n\nLeft; every answer is kept. 'coldshed set-up{_named(arguments)}' goes on here.")
        return 1
    except OSError as error:
        raise CommandError(
            f"{error.filename or arguments.settings}: cannot be written ({error.strerror}): "
            "make room, or run this in a folder that you may write; answers so far are kept"
        ) from error
    finally:
        session.close()
    if not written:
        terminal.tell(f"Every answer is kept. 'coldshed set-up{_named(arguments)}' goes on here.")
        return 1
    terminal.tell(f"Written: {arguments.settings}. Only you can read it; go on editing it by hand.")
    return _start(arguments, terminal)


def _start(arguments: argparse.Namespace, terminal: Terminal) -> int:
    command, address = f"coldshed run{_named(arguments)}", f"http://127.0.0.1:{arguments.port}"
    try:
        now = terminal.yes("Start watching now?")
    except Left:
        now = False
    if not now:
        terminal.tell(f"\nWhen you want to start: {command}\nthen open {address}")
        return 0
    terminal.tell(f"Open {address} and tap 'Register a panel'. Ctrl-C here ends it.")
    return _run(arguments)


def _run(arguments: argparse.Namespace) -> int:
    from dashboard.cli.processes import run

    arguments.command = "run"
    return run(arguments)


def _browser(arguments: argparse.Namespace) -> int:
    from dashboard.cli.set_up_browser import in_a_browser

    session = _session(arguments)
    try:
        written = in_a_browser(session)
    except KeyboardInterrupt:  # uvicorn passes it on once it has ended
        written = False
    finally:
        session.close()
    if not written:
        print(f"\nLeft; every answer is kept. 'coldshed set-up --browser{_named(arguments)}' goes on here.")
        return 1
    print(f"Written: {arguments.settings}. coldshed starts; Ctrl-C here ends it.", flush=True)
    return _run(arguments)


def _session(arguments: argparse.Namespace) -> SetUp:
    folder = arguments.settings.parent
    if not folder.is_dir():
        raise CommandError(f"{folder} is no folder: make it first, or name another with --settings")
    try:
        return SetUp(arguments.settings, SteadyClock(this_machine()), port=arguments.port)
    except CannotSetUp as error:
        raise CommandError(str(error)) from error


def _named(arguments: argparse.Namespace) -> str:
    """The option by which the same file is meant again."""
    return "" if str(arguments.settings) == "coldshed.toml" else f" --settings {arguments.settings}"


def _by_hand() -> str:
    from collector.settings import EXAMPLE

    return f"By hand: copy {EXAMPLE} and edit it."
