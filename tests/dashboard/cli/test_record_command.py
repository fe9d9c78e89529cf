"""`coldshed record`, `check record` and `decide`, as a person runs them, with serve away."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import main
from tests.dashboard.cli.test_commands import SETTINGS as LOGGERS
from tests.dashboard.record.night import MINUTE, OWN, START, Shop

SETTINGS = LOGGERS.replace('"L1"', '"S1"').replace("interval_s = 300", "interval_s = 60")


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shop's folder in which a coat lay two hours at 20 degC, with nothing running."""
    data = tmp_path / "data"
    data.mkdir()
    shop = Shop(data)
    shop.steady(-30, 120, 20.0)
    shop.log(
        "panel registered",
        -1,
        name="=Lid 4",
        zone="shed",
        surface_probe="S1",
        air_probe="A1",
        substrate="wood",
    )
    shop.clock.at = START + 119 * MINUTE
    shop.log("coat mixed", 0, card=OWN, applied_at=START, kind="laminate")
    shop.close()
    (data / "cards").rename(tmp_path / "cards")
    for command in ("record", "decide"):
        monkeypatch.setattr(f"dashboard.cli.{command}.house_clock", lambda _: shop.clock)
    path = tmp_path / "coldshed.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    return path


def test_a_record_is_written_three_ways_and_checked(
    settings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, numbers, table = (tmp_path / name for name in ("r.html", "r.json", "r.csv"))
    words = ["record", "=Lid 4", "--settings", str(settings)]
    assert main([*words, "--html", str(page), "--json", str(numbers), "--csv", str(table)]) == 0
    made = json.loads(numbers.read_text(encoding="utf-8"))
    assert made["sha256"] in page.read_text(encoding="utf-8")
    assert "<style>" in page.read_text(encoding="utf-8"), "it stands alone"
    assert table.read_bytes().count(b"\r\n") == 1 + 3 * 150
    capsys.readouterr()
    assert main(["check", "record", str(numbers)]) == 0
    assert main([*words]) == 0
    assert json.loads(capsys.readouterr().out.partition("\n")[2])["used"]["panel"] == "lid-4"


def test_what_cannot_be_written_or_found_is_said(
    settings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--settings", str(settings)]
    assert main(["record", "Nobody", *words]) == 1
    assert "no panel is called 'Nobody'; there are: =Lid 4" in capsys.readouterr().err
    assert main(["record", "=Lid 4", *words, "--html", str(tmp_path / "none" / "r.html")]) == 1
    assert "cannot be written" in capsys.readouterr().err
    assert main(["check", "record"]) == 1
    assert "needs a file" in capsys.readouterr().err


def test_deciding_says_what_is_missing_and_logs_it_under_a_name(
    settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["decide", "lid-4", "demould", "--settings", str(settings)]
    assert main(words) == 1
    said = capsys.readouterr().out
    assert "Missing  an answer: the panel is not known now" in said
    assert "There    A probe on the panel itself" in said
    assert main([*words, "--who", "Kim"]) == 1
    assert "logged: decided, lid-4" in capsys.readouterr().out
    assert main(["record", "lid-4", "--settings", str(settings)]) == 0
    decided = json.loads(capsys.readouterr().out)["used"]["events"][-1]
    assert (decided["who"], decided["body"]["granted"]) == ("Kim", False)
    assert any("hardness" in text for text in decided["body"]["missing"])
