"""The command `coldshed`. Each command imports what it needs when it runs, so that --help answers at once."""

from __future__ import annotations

import argparse
import importlib
import os
from collections.abc import Sequence
from pathlib import Path

from dashboard.cli import account_parser, log_parser

COMMANDS = "dashboard.cli."


def parser() -> argparse.ArgumentParser:
    """All commands, with their help."""
    top = argparse.ArgumentParser(
        prog="coldshed",
        description="Watches epoxy laminates cure in places whose climate nobody controls, and says what to do now.",
    )
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    demo = _command(
        commands, "demo", "show an invented cold night in an invented shop", "demo:demo", settings=False
    )
    demo.add_argument("--port", type=int, default=8137, help="port on 127.0.0.1 (default 8137)")
    demo.add_argument(
        "--folder", type=Path, help="where to keep the demo's files (default: a fresh temporary folder)"
    )
    demo.add_argument(
        "--rate", type=float, default=10.0, help="seconds of the night in one real second (default 10)"
    )
    demo.add_argument(
        "--start", default="05:50", help="time of that morning at which to begin (default 05:50)"
    )

    first = _command(
        commands, "set-up", "find what is plugged in, say what is what, write the settings", "set_up:set_up"
    )
    first.add_argument("--browser", action="store_true", help="in a browser on this computer")
    first.add_argument("--port", type=int, default=8137, help="port of the pages on 127.0.0.1 (default 8137)")

    _processes(commands)
    _assess(commands)
    _files(commands)
    _copies(commands)
    _panels(commands)
    _tonight(commands)
    log_parser.add(commands, _command)
    _probes(commands)
    _paper(commands)
    _record(commands)
    _decide(commands)
    _mix(commands)
    _alarms(commands)
    account_parser.add(commands, _command)
    _check(commands)
    return top


def _processes(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    _command(commands, "run", "collect, watch and serve, each started again when it ends", "processes:run")
    for name, text in (
        ("collect", "take down what the probes say"),
        ("watch", "work out what it means, raise alarms"),
        ("serve", "show the pages and take down what people did"),
        ("forward", "send committed readings on to the time-series server"),
    ):
        _command(commands, name, text, f"processes:{name}")
    notify = _command(commands, "notify", "tell people of alarms away from the pages", "notices:notify")
    notify.add_argument(
        "--test", action="store_true", help="only send everybody a test, and say who was reached"
    )

    listen = _command(
        commands, "listen", "print live what the probes send, without storing it", "processes:listen"
    )
    listen.add_argument("--ports", action="store_true", help="only list the serial ports there are")
    listen.add_argument(
        "--record",
        type=Path,
        metavar="FILE",
        help="also write the bytes to a new FILE, for a source of kind replay",
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns its exit code. 0 done, 1 could not, 2 wrong words on the command line."""
    arguments = parser().parse_args(argv)
    os.umask(os.umask(0o077) | 0o022)  # nobody else changes what is made here, whatever the shell was told
    module, function = arguments.does.split(":")
    from dashboard.cli import log_lines
    from dashboard.cli.errors import explained

    log_lines.begin()

    with explained() as outcome:
        outcome.code = getattr(importlib.import_module(COMMANDS + module), function)(arguments)
    return outcome.code


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    text: str,
    does: str,
    *,
    settings: bool = True,
) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
    command.set_defaults(does=does)
    if settings:
        command.add_argument(
            "--settings",
            type=Path,
            default=Path("coldshed.toml"),
            help="settings file (default coldshed.toml here)",
        )
        command.add_argument("--demo-clock", help=argparse.SUPPRESS)
        command.add_argument("--supervised", action="store_true", help=argparse.SUPPRESS)
    return command


def _assess(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    assess = _command(
        commands, "assess", "say what a logger's CSV file means for one coat", "assess:assess", settings=False
    )
    assess.add_argument(
        "file", type=Path, help="CSV with a header row, e.g. time,panel [degC],air [degC],air [%%RH]"
    )
    assess.add_argument("--card", required=True, help="a card's id, or the path of its file")
    assess.add_argument("--mixed", required=True, help="when the coat was mixed, e.g. 2026-01-10T18:20")
    assess.add_argument("--at", help="the time to answer for (default: the last reading)")
    assess.add_argument(
        "--zone", help="time zone of the file's times and of --mixed, e.g. Europe/Oslo or UTC"
    )
    assess.add_argument(
        "--interval", type=float, help="seconds between readings (default: as the file has it)"
    )
    assess.add_argument("--unit", choices=("degC", "degF"), default="degC", help="unit of the answer")
    assess.add_argument("--json", action="store_true", help="print the whole assessment as JSON")
    assess.add_argument("--chart", type=Path, help="also write a chart to this .html file")


def _files(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    take = _command(commands, "import", "take in a logger's CSV file", "files:import_")
    take.add_argument("file", type=Path)
    take.add_argument(
        "--source", required=True, help="id of the source in the settings that says how to read it"
    )
    export = _command(commands, "export", "write readings as CSV", "files:export")
    export.add_argument("--probe", required=True)
    export.add_argument(
        "--from", dest="start", help="first time, UTC, e.g. 2026-01-10T18:00 (default: the beginning)"
    )
    export.add_argument("--to", dest="end", help="last time, UTC (default: now)")
    export.add_argument(
        "--corrected", action="store_true", help="add corrected values and the entries they rest on"
    )
    export.add_argument("-o", "--output", type=Path, help="file to write (default: standard output)")


def _copies(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    backup = _command(
        commands,
        "backup",
        "copy readings, answers and logbook into a new folder, while everything runs",
        "copies:backup",
    )
    backup.add_argument("target", type=Path, help="folder to make, best on another disk; it must not exist")
    restore = _command(
        commands,
        "restore",
        "put a backup in place; what it replaces is moved aside. End coldshed first",
        "copies:restore",
    )
    restore.add_argument("backup", type=Path, help="folder that 'coldshed backup' made")


def _panels(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    add = _command(
        commands, "panel", "register a panel, or log a coat, a thumb test, a wash or sanding", "panels:panel"
    )
    add.add_argument(
        "what",
        choices=(
            "add",
            "coat",
            "pot",
            "applied",
            "felt",
            "sure",
            "hardness",
            "washed",
            "sanded",
            "close",
            "list",
        ),
    )
    add.add_argument("name", nargs="?", help="the panel's name")
    add.add_argument("--zone", default="", help="with add: part of the site")
    add.add_argument("--surface", help="with add: the probe on its surface")
    add.add_argument("--air", help="with add: the probe in the air around it")
    add.add_argument("--substrate", default="wood", help="with add: what it is laid on (default wood)")
    add.add_argument("--card", help="with coat: the resin card's id")
    add.add_argument(
        "--found", action="append", help="with felt: the thumb's word; neighbours may be given, too"
    )
    add.add_argument("--tile", type=float, help="with felt: temperature of the tile that was felt, degC")
    add.add_argument("--patchy", action="store_true", help="with felt: hard here and soft there")
    add.add_argument(
        "--scale", choices=("Shore D", "Shore A", "Barcol"), default="Shore D", help="with hardness"
    )
    add.add_argument("--value", type=float, help="with hardness: what the tester shows")
    add.add_argument("--on", choices=("part", "tile"), default="tile", help="with hardness: what was tested")
    add.add_argument("--warm", type=float, help="with hardness: how warm that is, degC")
    add.add_argument("--at", help="when it happened, time of the shop, e.g. 2026-01-10T18:20 (default: now)")
    add.add_argument("--who", default="command", help="who did it")


def _probes(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    probe = _command(
        commands,
        "probe",
        "check a probe step by step, correct its readings, or put another device in",
        "probes:probe",
    )
    probe.add_argument("what", choices=("list", "show", "check", "correct", "device", "back"))
    probe.add_argument("name", nargs="?", help="the probe's id in the settings")
    probe.add_argument(
        "--serial", help="with device: of the new one; with correct: of one that is not there now"
    )
    probe.add_argument("--quantity", choices=("temperature", "relative_humidity"), default="temperature")
    probe.add_argument(
        "--point", action="append", metavar="READS=TRUE", help="with correct: degC or %%, once or more"
    )
    probe.add_argument("--within", type=float, help="with correct: what may still be wrong, either way")
    probe.add_argument("--margin", type=float, help="with correct: how far beyond the points it may be used")
    probe.add_argument("--reference", help="with correct: what the probe was compared with")
    probe.add_argument("--due", help="with correct: when it is checked next, e.g. 2027-01-10")
    probe.add_argument(
        "--at", help="from when it counts, time of the shop, e.g. 2026-01-10T18:20 (default: now)"
    )
    probe.add_argument(
        "--against", choices=("ice water", "magnesium chloride", "sodium chloride", "potassium chloride"),
        default="ice water", help="with check",
    )  # fmt: skip
    probe.add_argument("--stage", choices=("as found", "as left"), default="as found", help="with check")
    probe.add_argument("--since", help="with check: when the probe went in, if it is in already")
    probe.add_argument("--yes", action="store_true", help="with check: log and correct without asking")
    probe.add_argument("--entry", help="with back: id of the entry to take back")
    probe.add_argument("--who", default="command", help="who did it")


def _mix(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    ask = _command(
        commands, "mix", "say whether to mix now, until when, and how much in which pots", "mix:mix"
    )
    ask.add_argument("spot", nargs="?", help="a panel's name, or a probe's id (default: the first panel)")
    ask.add_argument("--card", help="the resin card's id (default: as the panel had last)")
    ask.add_argument("--onto", choices=("wood", "foam", "other"), help="what it goes onto, if bare")
    ask.add_argument("--wood", dest="wood_pc", type=float, metavar="PERCENT", help="moisture of bare wood")
    ask.add_argument(
        "--bottles", dest="bottles_C", type=float, metavar="DEGC", help="the bottles' temperature"
    )
    ask.add_argument("--cloudy", action="store_true", help="the resin is grainy or cloudy")
    ask.add_argument("--crusted", action="store_true", help="the hardener is crusted or was long open")
    ask.add_argument("--area", dest="area_m2", type=float, metavar="M2")
    ask.add_argument(
        "--cloth", action="append", metavar="GM2[xPLIES[:KIND]]", help="e.g. 300x2:woven; repeat it"
    )
    ask.add_argument("--peel", action="store_true", help="peel ply on the last coat")
    ask.add_argument("--tools", type=int, help="rollers and brushes (default 1)")
    ask.add_argument("--fills", type=int, help="fill coats to come after it")
    ask.add_argument("--amount", dest="amount_g", type=float, metavar="G", help="or just so much, mixed")
    ask.add_argument("--vessel", choices=("cup", "tray"), help="what it is mixed in (default cup)")
    ask.add_argument("--upright", action="store_true", help="vertical or overhead")
    ask.add_argument("--unit", choices=("degC", "degF"), help="of the answer (default: as the shop prefers)")
    ask.add_argument(
        "--measures", choices=("metric", "US"), help="of the answer (default: as the shop prefers)"
    )
    ask.add_argument("--json", action="store_true", help="print everything as JSON")


def _paper(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    walk = _command(
        commands, "round", "say what to do with each panel, or write the round sheet", "paper:round_"
    )
    walk.add_argument("--zone", help="only this part of the site (default: all)")
    walk.add_argument(
        "--html", type=Path, metavar="FILE", help="write a sheet with tick boxes, to be printed"
    )
    label = _command(commands, "labels", "say each panel's six letters, or write QR labels", "paper:labels_")
    label.add_argument("panel", nargs="*", help="the panel's name (default: all that are open)")
    label.add_argument("--html", type=Path, metavar="FILE", help="write labels, to be printed")


def _record(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    record = _command(
        commands, "record", "write what a panel went through: to print, or as numbers", "record:record"
    )
    record.add_argument("panel", help="the panel's name or id")
    record.add_argument("--html", type=Path, metavar="FILE", help="as a page that prints on A4 and Letter")
    record.add_argument(
        "--json", type=Path, metavar="FILE", help="as JSON, which 'coldshed check record' works out again"
    )
    record.add_argument("--csv", type=Path, metavar="FILE", help="only its readings, as CSV")


def _tonight(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    night = _command(
        commands,
        "tonight",
        "say what the night brings, what to do before leaving, and what heat or another hour would change",
        "tonight:tonight_",
    )
    night.add_argument("panel", nargs="?", help="the panel's name (default: the whole shop)")
    night.add_argument("--hold", help="what if: hold it so warm, in the unit of the pages")
    night.add_argument(
        "--from", help="heat from, time of the shop, e.g. 20:30 (default: now, or once it gels)"
    )
    night.add_argument("--to", help="heat to, e.g. 22:00 (default: when the shop leaves)")
    night.add_argument("--rise", help="how fast it warms, degrees an hour (default 8 K)")
    night.add_argument("--start", help="what if: mix a coat at this time, e.g. 21:00")
    night.add_argument("--card", help="of this card (default: the one in use)")
    night.add_argument("--least", action="store_true", help="the least heat that reaches --until by --by")
    night.add_argument("--until", choices=("sand", "recoat_from", "tack_free"), help="default sand")
    night.add_argument("--by", help="default 08:00")


def _decide(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    decide = _command(
        commands,
        "decide",
        "say what demoulding or signing off still asks for, and decide it",
        "decide:decide",
    )
    decide.add_argument("panel", help="the panel's name or id")
    decide.add_argument("act", choices=("demould", "sign-off"))
    decide.add_argument("--who", help="log the decision under this name: granted if nothing is missing")


def _alarms(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    alarm = _command(
        commands, "alarm", "show alarms; say that one was seen, or keep it quiet", "alarms:alarm"
    )
    alarm.add_argument("what", choices=("list", "seen", "quiet", "loud", "off", "on"))
    alarm.add_argument("alarm", nargs="?", help="its id, as 'list' shows it")
    alarm.add_argument("--minutes", type=int, default=30, help="with quiet: how long (default 30)")
    alarm.add_argument("--reason", default="", help="with quiet and off")
    alarm.add_argument("--who", default="command", help="who says so")


def _check(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = _command(commands, "check", "say what is wrong anywhere, and what to do", "checks:check")
    check.add_argument(
        "what",
        nargs="?",
        choices=("settings", "card", "store", "record"),
        help="only this (default: everything)",
    )
    check.add_argument(
        "file",
        nargs="?",
        type=Path,
        help="with card: the card's file, or its id; with store: a file or a backup (default: all); "
        "with record: the JSON that 'coldshed record' wrote",
    )
    check.add_argument("--chart", type=Path, help="with card: also write a chart to this .html file")
