"""The panel's chart as Chromium draws it: the numbers of cursor, table and API; names clear of each other."""

from __future__ import annotations

import base64
import itertools
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page

from dashboard.display import TIE
from tests.browser.conftest import DESK, PHONE, Visit
from tests.browser.serving import until
from tests.dashboard.charted import put_together

PAGE, CHART = "/panels/plug-7", "/api/panels/plug-7/chart"
TINY = {"width": 320, "height": 568}
INK = {"light": "rgb(21, 25, 28)", "dark": "rgb(242, 241, 234)"}

PATH = """(width) => {
  const chart = document.getElementById("chart");
  const { xaxis, yaxis } = chart._fullLayout;
  const paths = [...chart.querySelectorAll(".xy .scatterlayer path.js-line")]
    .filter((line) => line.style.strokeWidth === `${width}px`);
  return paths.flatMap((path) => path.getAttribute("d").slice(1).split("M")).map((run) =>
    run.split("L").map((point) => point.split(",").map(Number)).map(([x, y]) => [xaxis.p2d(x), yaxis.p2d(y)]));
}"""
"""The panel's own line as it stands in the drawing, px turned back into time and degrees; a list for each run."""

INK_IN = """async (url) => {
  const image = Object.assign(new Image(), { src: url });
  await image.decode();
  const canvas = Object.assign(document.createElement("canvas"), { width: image.width, height: image.height });
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0);
  const { data } = context.getImageData(0, 0, image.width, image.height);
  let course = 0;
  for (let i = 0; i < data.length; i += 4)
    if (data[i] === 28 && data[i + 1] === 111 && data[i + 2] === 201) course += 1;
  return { course };
}"""
"""How many px of a picture have the colour of the light theme's course, #1c6fc9."""


def data_url(picture: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(picture).decode()


ASK = f"() => fetch('{CHART}').then((answer) => answer.json())"
NAMES = """() => [...document.querySelectorAll("#chart .annotation-text, #chart .xtick text, #chart .ytick text")]
  .map((name) => [name.textContent, name.getBoundingClientRect().toJSON()])"""


def opened(visit: Visit) -> Page:
    page = visit.open(PAGE)
    page.wait_for_selector("#chart[data-drawn]")
    return page


def test_what_is_drawn_at_a_time_is_what_cursor_table_and_api_say(visit: Visit) -> None:
    page = opened(visit)
    told = put_together(page.evaluate(ASK), {})
    says = {row["at"]: row["say"] for row in told["cursor"]}
    table = {
        cells[0]: cells[1:]
        for cells in page.eval_on_selector_all(
            "#numbers tbody tr", "rows => rows.map(row => [...row.cells].map(cell => cell.textContent))"
        )
    }
    runs = page.evaluate(PATH, 3.5)
    assert len(runs) == 2, "an hour without readings parts the line"
    read = 0
    for at, say in says.items():
        clock, _, text = say.rpartition(": panel ")
        run = next((run for run in runs if run[0][0] - 6e4 <= at <= run[-1][0] + 6e4), None)
        assert bool(clock) == (run is not None), say
        if run is None:
            continue
        x, y = np.array(run).T
        value = float(text.split(TIE)[0].replace("−", "-"))
        assert float(np.interp(at, x, y)) == pytest.approx(value, abs=0.2), say
        if clock in table:
            assert f"panel {table[clock][0]}, air {table[clock][1]}" in say
            read += 1
    assert read > 20
    last = list(says.values())[-1]
    page.locator("#cursor").press("End")
    assert page.locator("#at-cursor").text_content() == last
    assert page.locator("#cursor").get_attribute("aria-valuetext") == last
    assert visit.complaints == []


def overlap(one: dict[str, float], other: dict[str, float]) -> bool:
    """By more than a px, which rounding may cost."""
    return (
        min(one["right"], other["right"]) - max(one["left"], other["left"]) > 1
        and min(one["bottom"], other["bottom"]) - max(one["top"], other["top"]) > 1
    )


@pytest.mark.parametrize("visit", [(TINY, "light")], indirect=True)
def test_names_lie_on_no_other_and_in_the_chart_and_a_gap_runs_through_all_lanes(visit: Visit) -> None:
    page = opened(visit)
    for size in (TINY, PHONE, DESK):
        page.set_viewport_size(size)
        frame: dict[str, Any] = page.evaluate(
            "() => document.getElementById('chart').getBoundingClientRect().toJSON()"
        )
        until(
            lambda wide=frame["width"]: (
                abs(page.evaluate("document.getElementById('chart')._fullLayout.width") - wide) < 1
            ),
            "the chart takes the page's width",
        )
        names = page.evaluate(NAMES)
        assert len(names) > 15
        for text, box in names:
            assert frame["left"] <= box["left"], (size, text)
            assert box["right"] <= frame["right"], (size, text)
            assert frame["top"] <= box["top"], (size, text)
            assert box["bottom"] <= frame["bottom"], (size, text)
        for (one, box), (other, beside) in itertools.combinations(names, 2):
            assert not overlap(box, beside), (size, one, other)
        hatched = page.eval_on_selector_all(
            "#chart .xy4 .js-fill", "all => all.map(one => one.getBoundingClientRect().height)"
        )
        assert max(hatched) > 0.75 * frame["height"]


@pytest.mark.parametrize("visit", [(PHONE, "dark")], indirect=True)
def test_the_chart_takes_the_systems_own_colours_and_goes_on_paper_in_light(visit: Visit) -> None:
    page = opened(visit)

    def ink() -> str:
        return str(page.evaluate("document.getElementById('chart').layout.font.color"))

    assert ink() == INK["dark"]
    page.emulate_media(media="print")
    until(lambda: ink() == INK["light"], "black on paper")
    page.emulate_media(media="screen", forced_colors="active")
    system = page.evaluate(
        """() => { const one = document.body.appendChild(document.createElement("i"));
          one.style.color = "CanvasText"; return getComputedStyle(one).color; }"""
    )
    until(lambda: ink() == system, "the system's text colour")
    assert visit.complaints == []


@pytest.mark.parametrize("visit", [(PHONE, "dark")], indirect=True)
def test_the_chart_is_saved_as_a_picture_that_says_whose_it_is_and_what_it_is_not(
    visit: Visit, tmp_path: Path
) -> None:
    page = opened(visit)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save as a picture").click()
    assert download.value.suggested_filename == "plug-7-2026-01-11.png"
    download.value.save_as(tmp_path / "saved.png")
    data = (tmp_path / "saved.png").read_bytes()
    assert (
        data[:8] == b"\x89PNG\r\n\x1a\n"
    )  # PNG (W3C, third edition), 5.2: its signature; then IHDR with both sizes
    assert struct.unpack(">II", data[16:24]) == (2400, 1760)
    drawn = page.evaluate(INK_IN, data_url(data))
    assert drawn["course"] > 200, "the cure's line is in it"
    around = page.evaluate(ASK)["picture"]
    assert around["title"] == "Plug 7 · 2 coats: drawn 11 Jan 2026 06:10, times in Europe/Oslo".replace(
        "11 Jan 2026", f"11{TIE}Jan{TIE}2026"
    )
    assert around["below"][-2].startswith("Invented shop")
    assert around["below"][-1].startswith("An estimate, not an approval")
    assert page.evaluate("document.getElementById('chart').layout.font.color") == INK["dark"], (
        "the page keeps its own"
    )
    assert visit.complaints == []
