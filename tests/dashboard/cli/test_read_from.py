"""Commands on a machine that reads from a server: its sites' probes are known, and nothing is collected."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.settings import parse
from collector.store.time_series.export_api import ExportApi
from collector.store.time_series.influxql import InfluxQL
from dashboard.cli import main
from dashboard.cli.read_from import engine_of, probes_of
from tests.collector.store.suite.backends import Influx, backend
from tests.collector.store.suite.site import Site
from tests.services import free_port

TABLE = 'site = "All"\ntime_zone = "UTC"\n[read_from]\nserver = "{server}"\nurl = "http://127.0.0.1:{port}"\n'


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Settings over a real server that holds what one site has sent."""
    folder = tmp_path_factory.mktemp("office")
    with backend("influxdb", folder / "server") as server:
        assert isinstance(server, Influx)
        site = Site("north", folder / "north", server.write)
        site.commit(range(5))
        site.send()
        site.close()
        settings = folder / "coldshed.toml"
        text = TABLE.format(server="influxdb-1", port=server.server.port)
        settings.write_text(f'{text}bucket = "coldshed"\nsites = ["north"]\n')
        yield settings


def run(settings: Path, *words: str) -> int:
    return main([*words, "--settings", str(settings)])


def test_a_panel_is_registered_on_a_sites_probe_and_on_no_other(
    office: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(office, "panel", "add", "Lid 4", "--surface", "S1") == 1
    assert "no probe is called 'S1'; there are: north:A 1, north:S1" in capsys.readouterr().err
    assert run(office, "panel", "add", "Lid 4", "--surface", "north:S1") == 0


def test_probes_are_listed_by_site_and_exported_from_a_time_on(
    office: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(office, "probe", "list") == 0
    assert "north:S1" in capsys.readouterr().out
    assert run(office, "export", "--probe", "north:S1") == 1
    assert "--from is missing" in capsys.readouterr().err
    words = ("--probe", "north:S1", "--from", "2026-11-25T00:00", "--to", "2026-11-26T23:00")
    assert run(office, "export", *words) == 0
    assert capsys.readouterr().out.count("north:S1,temperature,") == 5


def test_nothing_is_collected_there(office: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(office, "collect") == 1
    assert "nothing is collected on this machine" in capsys.readouterr().err


def test_a_server_that_does_not_answer_is_told_and_no_probe_is_denied(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = tmp_path / "coldshed.toml"
    settings.write_text(TABLE.format(server="victoria-metrics", port=free_port()) + 'sites = ["north"]\n')
    assert run(settings, "panel", "add", "Lid 4", "--surface", "north:S1") == 1
    assert "does not answer" in capsys.readouterr().err


def test_each_kind_of_server_is_asked_in_its_own_way(tmp_path: Path) -> None:
    for server, engine in (("influxdb", InfluxQL), ("influxdb-1", InfluxQL), ("victoria-metrics", ExportApi)):
        text = TABLE.format(server=server, port=1) + 'bucket = "b"\nsites = ["north"]\n'
        table = parse(text, tmp_path / "x.toml").read_from
        assert table is not None
        assert isinstance(engine_of(table, tmp_path), engine)


def test_a_house_of_one_has_the_probes_of_its_settings(tmp_path: Path) -> None:
    text = (
        'site = "s"\ntime_zone = "UTC"\n[[source]]\nid = "x"\nkind = "simulated"\ndecode = { kind = "senml" }\n'
        '[[probe]]\nid = "S1"\nsource = "x"\nzone = "shed"\nplace = "air"\ninterval_s = 10\n'
    )
    assert [probe.id for probe in probes_of(parse(text, tmp_path / "x.toml"))] == ["S1"]
