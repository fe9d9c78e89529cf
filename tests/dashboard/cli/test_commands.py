"""The commands, run as a person runs them: by the console script, with their output and exit code."""

from __future__ import annotations

import json
import subprocess
import sysconfig
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from dashboard.cli.log_entry import in_words

SCRIPT = Path(sysconfig.get_paths()["scripts"]) / "coldshed"

SETTINGS = """
site = "test-shed"
time_zone = "Europe/Oslo"

[[source]]
id = "logger"
kind = "folder"
folder = "inbox"
[source.decode]
kind = "logger_csv"
time = { key = "time", unit = "iso8601", zone = "Europe/Oslo" }
field = [
  { key = "panel [degC]", quantity = "temperature", unit = "degC", name = "L1" },
]

[[probe]]
id = "L1"
source = "logger"
zone = "shed"
place = "surface"
interval_s = 300
"""


def coldshed(folder: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SCRIPT, *words], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "coldshed.toml").write_text(SETTINGS, encoding="utf-8")
    return tmp_path


def night(folder: Path, heading: str = "time,panel [degC],air [degC],air [%RH]", hours: int = 16) -> Path:
    """Every five minutes from 17:00: falling from 16 to 5 degC; the last digit moves, as it does in a shed."""
    lines = [heading]
    for minute in range(0, hours * 60, 5):
        hour = 17 + minute // 60
        panel = max(5.2, 16 - 0.9 * minute / 60) + 0.1 * (minute // 5 % 3)
        stamp = f"2026-01-{10 + hour // 24} {hour % 24:02d}:{minute % 60:02d}:00"
        lines.append(f"{stamp},{panel:.2f},{panel - 1:.2f},{50 + minute / 120:.1f}")
    path = folder / "night.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


ASK = ("--card", "invented-25min", "--mixed", "2026-01-10T18:20")


def test_assess_answers_for_a_loggers_file(tmp_path: Path) -> None:
    """A table with the headline first, its reasons and the numbers behind it."""
    result = coldshed(tmp_path, "assess", night(tmp_path), *ASK, "--zone", "Europe/Oslo")
    assert result.returncode == 0, result.stderr
    assert result.stdout.startswith("Warm it above ")
    for name in (
        "equivalent age, exact",
        "equivalent age, interval mean",
        "temperature-time factor",
        "dew point",
    ):
        assert name in result.stdout


def test_assess_speaks_degF_and_writes_a_chart(tmp_path: Path) -> None:
    """The same night on the other scale, and a chart that opens without a network."""
    chart = tmp_path / "night.html"
    result = coldshed(
        tmp_path, "assess", night(tmp_path), *ASK, "--zone", "Europe/Oslo", "--unit", "degF", "--chart", chart
    )
    assert result.returncode == 0, result.stderr
    assert "°F" in result.stdout
    text = chart.read_text(encoding="utf-8")
    assert "newPlot" in text
    assert "@ink" not in text, "colours are colours, not names"
    assert '<script src="http' not in text


def test_assess_gives_the_whole_assessment_as_json(tmp_path: Path) -> None:
    """What a program reads is what the pages rest on."""
    result = coldshed(tmp_path, "assess", night(tmp_path), *ASK, "--zone", "Europe/Oslo", "--json")
    answer = json.loads(result.stdout)
    assert answer["verdict"]["headline"]["key"] == "stopped_by_cold"
    assert answer["measured_h"] + answer["missing_h"] == pytest.approx(14.583, abs=0.01)


def test_the_zone_matters_and_must_be_said(tmp_path: Path) -> None:
    """Without a zone nothing is guessed; a wrong one moves every time by the hours between."""
    path = night(tmp_path)
    result = coldshed(tmp_path, "assess", path, *ASK)
    assert result.returncode == 1
    assert "has no time zone" in result.stderr
    ends = []
    for zone in ("Europe/Oslo", "UTC"):
        result = coldshed(tmp_path, "assess", path, *ASK, "--zone", zone, "--json")
        ends.append(json.loads(result.stdout)["readings_to"])
    assert ends[1] - ends[0] == 3_600_000


@pytest.mark.parametrize(
    ("heading", "says"),
    [
        ("zeit,panel [degC],air [degC],air [%RH]", "no column of times"),
        ("time,panel,air,rh", "no column with a quantity and its unit"),
    ],
)
def test_headings_that_cannot_be_read_are_named(tmp_path: Path, heading: str, says: str) -> None:
    """The error shows what a heading may look like."""
    result = coldshed(tmp_path, "assess", night(tmp_path, heading), *ASK, "--zone", "UTC")
    assert result.returncode == 1
    assert says in result.stderr
    assert "panel [degC]" in result.stderr


def test_a_card_nobody_has_is_named_with_those_there_are(tmp_path: Path) -> None:
    """No guess, no default resin."""
    result = coldshed(
        tmp_path, "assess", night(tmp_path), "--card", "fast", "--mixed", "2026-01-10T18:20", "--zone", "UTC"
    )
    assert result.returncode == 1
    assert "invented-25min" in result.stderr


def test_a_file_is_imported_once_and_exported_as_it_was(shop: Path) -> None:
    """In, out, the same values; a second import of the same file adds nothing."""
    path = night(shop)
    first = coldshed(shop, "import", path, "--source", "logger")
    assert "192 readings taken in, 0 refused" in first.stdout, first.stderr
    assert coldshed(shop, "import", path, "--source", "logger").returncode == 0
    out = coldshed(shop, "export", "--probe", "L1")
    rows = out.stdout.split("\n")[1:-1]
    assert len(rows) == 192
    assert rows[0].startswith("2026-01-10T16:00:00.000Z,L1,temperature,16.0,degC,good")
    assert "192 readings of L1" in out.stderr


def test_export_and_import_refuse_what_is_not_there(shop: Path) -> None:
    """Unknown probe, unknown source: named, with what there is."""
    assert "no source of kind" in coldshed(shop, "import", night(shop), "--source", "usb").stderr
    coldshed(shop, "import", night(shop), "--source", "logger")
    result = coldshed(shop, "export", "--probe", "L9")
    assert result.returncode == 1
    assert "there are: L1" in result.stderr


def yesterday_evening() -> tuple[str, datetime]:
    """18:20 of yesterday as Oslo's clocks tell it, and the same in UTC."""
    oslo = datetime.now(ZoneInfo("Europe/Oslo")) - timedelta(days=1)
    evening = oslo.replace(hour=18, minute=20, second=0, microsecond=0)
    return f"{evening:%Y-%m-%dT%H:%M}", evening.astimezone(UTC)


def test_panels_are_registered_and_coats_logged_without_a_server(shop: Path) -> None:
    """The command writes shop.db itself while serve does not run."""
    assert coldshed(shop, "panel", "add", "Lid 4", "--zone", "shed", "--surface", "L1").returncode == 0
    told, utc = yesterday_evening()
    result = coldshed(shop, "panel", "coat", "Lid 4", "--card", "invented-25min", "--at", told)
    assert result.returncode == 0, result.stderr
    listed = coldshed(shop, "panel", "list").stdout
    assert listed.startswith("lid-4")
    mixed = f"coat 1, invented-25min, mixed {utc:%Y-%m-%dT%H:%M:%SZ}"
    assert mixed in listed, "a time is that of the shop, in Oslo"
    wrong = coldshed(shop, "panel", "add", "Lid 5", "--surface", "L7")
    assert "there are: L1" in wrong.stderr
    assert coldshed(shop, "panel", "coat", "Lid 9", "--card", "invented-25min").returncode == 1


def test_check_says_what_is_wrong_and_what_to_do(shop: Path) -> None:
    """Right settings first; then a misspelt key with file, line and the nearest word."""
    result = coldshed(shop, "check", "settings")
    assert result.returncode == 0, result.stdout
    text = SETTINGS.replace("interval_s", "intervall_s")
    (shop / "coldshed.toml").write_text(text, encoding="utf-8")
    result = coldshed(shop, "check")
    assert result.returncode == 1
    line = text.splitlines().index("intervall_s = 300") + 1
    assert f"coldshed.toml:{line}" in result.stdout
    assert "did you mean 'interval_s'?" in result.stdout


def test_check_finds_a_probe_that_was_never_heard(shop: Path) -> None:
    """The store is there, the probe's place in it is empty."""
    coldshed(shop, "import", night(shop), "--source", "logger")
    text = SETTINGS + SETTINGS.split("[[probe]]")[1].replace('"L1"', '"L2"').replace(
        "id =", "\n[[probe]]\nid ="
    )
    (shop / "coldshed.toml").write_text(text, encoding="utf-8")
    result = coldshed(shop, "check")
    assert "probe L2: never heard" in result.stdout
    assert "probe L1: last heard" in result.stdout
    assert result.returncode == 1


def test_check_card_prints_every_milestone_from_0_to_35_degC(tmp_path: Path) -> None:
    """The ratio at the sheet's own temperature is one; a card with an error is named by file, line and key."""
    result = coldshed(tmp_path, "check", "card", "invented-25min")
    assert result.returncode == 0
    reference = next(line for line in result.stdout.splitlines() if line.strip().startswith("20 "))
    assert reference.count("(x1.00)") == 8
    card = tmp_path / "mine.toml"
    card.write_text('id = "mine"\ntitel = "x"\n', encoding="utf-8")
    wrong = coldshed(tmp_path, "check", "card", card)
    assert wrong.returncode == 1
    assert "mine.toml:2" in wrong.stderr
    assert "title" in wrong.stderr


def test_a_reader_that_goes_away_is_no_error(shop: Path) -> None:
    """`coldshed export | head -1` ends without a traceback."""
    coldshed(shop, "import", night(shop), "--source", "logger")
    result = subprocess.run(
        f"{SCRIPT} export --probe L1 | head -n 1", cwd=shop, shell=True, capture_output=True, text=True, timeout=60,
        check=True,
    )  # fmt: skip
    assert "Traceback" not in result.stderr


def test_what_serve_refuses_is_told_in_its_words_and_a_foreign_answer_as_it_came() -> None:
    """No JSON on a terminal."""
    assert (
        in_words(b'{"error": {"what": "No panel is called x.", "do": "Tap again."}}')
        == "No panel is called x."
    )
    assert in_words(b"<html>") == "<html>"


def test_a_recording_that_finds_no_more_room_ends_in_words(tmp_path: Path) -> None:
    """A limit on the size of files stands for the full disk; what is heard comes from an older recording."""
    line = {
        "received": 1795604832000,
        "source": "usb",
        "topic": "",
        "live": True,
        "payload": "S1 T=12.5 " + "x" * 900,
    }
    text = "".join(json.dumps(item) + "\n" for item in [{"recording": 1}, line, line, line])
    (tmp_path / "old.rec").write_text(text, encoding="utf-8")
    (tmp_path / "coldshed.toml").write_text(
        'site = "s"\ntime_zone = "UTC"\n[[source]]\nid = "r"\nkind = "replay"\nfile = "old.rec"\nrecorded_as = "usb"\n'
        '[source.decode]\nkind = "text_line"\nfield = [{ key = "T", quantity = "temperature", unit = "degC" }]\n',
        encoding="utf-8",
    )
    command = ["sh", "-c", 'ulimit -f 2; exec "$0" listen --record new.rec', SCRIPT]
    result = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)
    assert result.returncode == 1
    assert "new.rec: cannot be written on" in result.stderr
    assert "Traceback" not in result.stderr
