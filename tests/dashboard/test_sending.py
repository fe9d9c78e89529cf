"""How much is sent, and what is not sent or read twice."""

from __future__ import annotations

import gc
import re
import shutil
import tracemalloc
from pathlib import Path

import httpx
import pytest

from dashboard import display, static_files
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.watch_store import WatchReader
from tests.browser.fake_shop import MINUTE, NOW, FakeShop, answer, many, morning, plain_app, register, stopped
from tests.dashboard.client import Client

MOST_ROUND = 60_000
"""Bytes of the round's first view, packed: our own rule."""
LINKED = re.compile(r'(?:src|href)="(/static/[^"]+)"')


def sent(answer: httpx.Response) -> int:
    """Bytes of the body as they went over the wire."""
    return int(answer.headers["content-length"])


def test_the_first_view_of_fifty_panels_is_at_most_60_kb(shop: FakeShop, client: Client) -> None:
    """With all that its worker then fetches to be kept, though much of that is fetched once only."""
    many(shop, 45)
    page = client.get("/")
    assert page.headers["content-encoding"] == "gzip"
    worker = client.get("/worker.js").text
    linked = sorted({*LINKED.findall(page.text), *re.findall(r'"(/static/[^"]+)"', worker)})
    assert any(name.endswith("coldshed.css") for name in linked)
    assert not [name for name in linked if "plotly" in name]
    total = sent(page) + len(worker) + sum(sent(client.get(name)) for name in linked)
    assert total <= MOST_ROUND, f"{total} bytes"


def test_who_takes_no_packed_answers_gets_the_same_text_plain(client: Client) -> None:
    packed, plain = client.get("/"), client.get("/", **{"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert plain.text == packed.text
    assert sent(packed) < sent(plain) / 2
    assert plain.headers["vary"] == packed.headers["vary"] == "Accept-Encoding"


def test_plotly_keeps_its_address_when_our_own_files_change(
    shop: FakeShop, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def addresses(page: str) -> dict[str, str]:
        return {name.rpartition("/")[2]: name for name in LINKED.findall(page)}

    before = addresses(client.get("/panels/plug-7").text)
    ours = static_files._ours() | {"coldshed.css": b"p {}"}
    monkeypatch.setattr("dashboard.static_files._ours", lambda: ours)
    after = addresses(Client(plain_app(shop)).get("/panels/plug-7").text)
    assert after["plotly.min.js"] == before["plotly.min.js"]
    assert after["coldshed.css"] != before["coldshed.css"]
    kept = client.get(after["plotly.min.js"])
    assert kept.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert client.get(before["coldshed.css"].replace("coldshed.css", "plotly.min.js")).status_code == 404


def test_a_reader_sees_what_another_process_adds_and_reads_nothing_twice(shop: FakeShop) -> None:
    reader = LogbookReader(shop.folder / "shop.db")
    panels, entries = reader.panels(), reader.events()
    register(shop, "Hatch 2", 1)
    assert set(reader.panels()) - set(panels) == {"hatch-2"}
    assert [item.id for item in reader.events("hatch-2")] == ["hatch-2-00000000", "hatch-2-00000001"]
    assert all(now is before for now, before in zip(reader.events(), entries, strict=False))


def test_a_caller_who_changes_what_it_was_given_changes_nothing_for_others(shop: FakeShop) -> None:
    shop.logbook.panels().clear()
    shop.logbook.events().clear()
    assert len(shop.logbook.panels()) == 5
    assert shop.logbook.events()


def test_a_log_that_was_restored_from_a_backup_is_read_anew(tmp_path: Path) -> None:
    """In place of the file, and into it: the newest entry that was read is not there any more."""
    body = {"zone": "shed", "surface_probe": "S1", "air_probe": None, "substrate": "wood"}

    def book(name: str, entries: list[str]) -> Path:
        log = Logbook(tmp_path / name / "shop.db").open()
        for entry in entries:
            log.append(Event(entry, NOW, NOW, "Kim", "panel registered", entry, body | {"name": entry}))
        log.close()
        return tmp_path / name / "shop.db"

    here, backup = book("here", ["one", "two", "three"]), book("backup", ["one", "other"])
    reader = LogbookReader(here)
    assert list(reader.panels()) == ["one", "two", "three"]
    shutil.copyfile(backup, here)
    assert list(reader.panels()) == ["one", "other"]
    book("newer", ["one", "other", "more"]).replace(here)
    assert list(reader.panels()) == ["one", "other", "more"]


def test_answers_are_read_again_when_watch_has_worked_them_out_anew(shop: FakeShop) -> None:
    reader = WatchReader(shop.folder / "watch.db", shop.logbook)
    before = {item.panel: item for item in reader.latest()}
    shop.save(answer("plug-7", "Plug 7", stopped(NOW), NOW + MINUTE))
    shop.store.save((), (), ["lid-4"])
    after = {item.panel: item for item in reader.latest()}
    assert after["plug-7"].at == NOW + MINUTE
    assert "lid-4" not in after
    assert all(after[panel] is before[panel] for panel in after if panel != "plug-7")
    one = reader.assessment("plug-7")
    assert one is not None
    assert one.without_curve == after["plug-7"]


def test_two_hundred_views_of_a_shop_that_is_at_work_leave_no_memory_behind(
    shop: FakeShop, client: Client
) -> None:
    """Python's own count of what it holds; watch works all panels out anew between every ten views."""

    def views(count: int) -> int:
        for number in range(count):
            if number % 10 == 0:
                shop.clock.at += MINUTE  # type: ignore[attr-defined]
                shop.save(*morning(shop.clock.now()))
            client.get(("/", "/panels/plug-7")[number % 2])
        for told in (display._local, display._rounded, display._clock):
            assert told.cache_info().maxsize is not None
            told.cache_clear()  # times that were told before: more with each minute, up to their bound
        gc.collect()
        return tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    try:
        before = views(20)
        assert views(200) - before < 300_000
    finally:
        tracemalloc.stop()
