"""The words of `coldshed account`."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path


def add(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    command: Callable[..., argparse.ArgumentParser],
) -> None:
    account = command(
        commands,
        "account",
        "say who may come in, make tokens for devices, show who did what",
        "account:account",
    )
    account.add_argument(
        "what", choices=("list", "add", "role", "password", "pin", "remove", "token", "revoke", "trail")
    )
    account.add_argument("name", nargs="?", help="whose; with token and revoke: which device or program")
    account.add_argument(
        "--role",
        choices=("look", "work", "manage"),
        help="with add (default work) and role: what they may do",
    )
    account.add_argument(
        "--scope", action="append", choices=("read", "taps"),
        help="with token: what it may do, once or more (default read)",
    )  # fmt: skip
    account.add_argument("--csv", type=Path, metavar="FILE", help="with trail: write it as CSV")
