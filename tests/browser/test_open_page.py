"""A page that stays open: it ages by itself, takes in what is new, and holds still under the thumb."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

from dashboard.panel import Event
from model.verdict import Kind, Mark, Say, State, Verdict
from tests.browser.conftest import Visit
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, answer, register, stopped, too_cold
from tests.browser.serving import Served, until

ROUND = 15_000


def order(page: Page) -> list[str]:
    return page.eval_on_selector_all(".strip", "all => all.map(one => one.dataset.strip)")


def poll(page: Page) -> None:
    page.evaluate("window.coldshed.poll()")


def pot(now: int) -> Verdict:
    """A pot is running: first of all."""
    return Verdict(
        State.IN_THE_POT, Kind.ACT, Mark.CUP, Say("in_the_pot", {"pour_by": now + 12 * MINUTE}),
        (Say("why_in_the_pot", {"mixed_at": now, "usable_at": now + 16 * MINUTE}),), None, frozenset(), 0,
    )  # fmt: skip


def test_with_the_server_dead_an_open_round_turns_to_not_known_by_itself(
    visit: Visit, served: Served
) -> None:
    page = visit.open("/")
    first = page.locator("#strip-skiff-deck-2")
    expect(first.locator(".fresh .headline")).to_have_text("Recoat before 06:50")
    served.stop()
    page.clock.install()
    page.clock.fast_forward(9 * MINUTE)
    expect(first.locator(".fresh .headline")).to_be_visible()
    page.clock.fast_forward(2 * MINUTE)
    expect(first.locator(".stale .headline")).to_be_visible(timeout=ROUND)
    expect(first.locator(".stale .headline")).to_have_text("Not known: this answer is too old")
    expect(first.locator(".stale .why")).to_have_text("Last said 06:10: Recoat before 06:50.")
    expect(first.locator(".fresh .headline")).to_be_hidden()
    assert "not-known" in (first.get_attribute("class") or "")
    assert page.locator(".strip .fresh .headline:visible").count() == 0


def test_what_was_said_last_is_read_on_a_strip_that_said_less_to_keep_its_height(
    visit: Visit, served: Served
) -> None:
    page = visit.open("/")
    first = page.locator("#strip-skiff-deck-2")
    first.evaluate("strip => strip.classList.add('tight', 'tighter')")  # as a longer answer leaves it
    expect(first.locator(".fresh .why")).to_be_hidden()
    served.stop()
    page.clock.install()
    page.clock.fast_forward(11 * MINUTE)
    expect(first.locator(".stale .headline")).to_be_visible(timeout=ROUND)
    expect(first.locator(".stale .why")).to_be_visible()


def test_an_open_panel_page_turns_to_not_known_by_itself(visit: Visit, served: Served) -> None:
    page = visit.open("/panels/skiff-deck-2")
    served.stop()
    page.clock.install()
    page.clock.fast_forward(11 * MINUTE)
    expect(page.locator(".answer .stale .headline")).to_be_visible(timeout=ROUND)
    expect(page.locator(".answer .fresh")).to_be_hidden()
    expect(page.locator("#why .fresh")).to_have_count(2)
    expect(page.locator("#why .fresh:visible")).to_have_count(0)
    page.wait_for_selector("#chart .main-svg")
    drawn = "document.getElementById('chart').layout"
    until(lambda: page.evaluate(f"{drawn}.xaxis.range[1]") == NOW, "the chart ends where it was drawn")
    flags = f"{drawn}.annotations.filter((note) => note.name === 'now').map((note) => note.text)"
    assert page.evaluate(flags) == ["06:10"]
    page.locator("#cursor").focus()
    page.keyboard.press("End")
    expect(page.locator("#at-cursor")).not_to_contain_text("outlook")


def test_the_first_coats_chart_comes_without_a_reload(visit: Visit, shop: FakeShop) -> None:
    panel = register(shop, "Hatch 2", 0)
    page = visit.open(f"/panels/{panel}")
    expect(page.get_by_text("No coat yet: the chart begins")).to_be_visible()
    page.evaluate("window.kept = true")
    shop.save(answer(panel, "Hatch 2", stopped(NOW)))
    poll(page)
    page.wait_for_selector("#chart .main-svg")
    expect(page.get_by_text("The numbers", exact=True)).to_be_visible()
    assert page.evaluate("window.kept")
    assert visit.complaints == []


def test_the_legends_lines_are_those_of_the_chart(visit: Visit) -> None:
    page = visit.open("/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    drawn = page.eval_on_selector_all(
        "#chart .xy .js-line", "all => all.map(one => one.style.strokeDasharray.replaceAll('px', ''))"
    )
    legend = page.eval_on_selector_all(
        ".swatch path[stroke-width]", "all => all.map(one => one.getAttribute('stroke-dasharray') ?? '')"
    )
    assert len(legend) == 5
    assert {text.replace(" ", "") for text in drawn} == set(legend)


def test_from_headline_to_the_charts_end_is_one_screen(visit: Visit) -> None:
    """About 600 px at 390: our own rule."""
    for panel in ("skiff-deck-2", "lid-4", "rib-1", "box-a", "plug-7"):
        page = visit.open(f"/panels/{panel}")
        page.wait_for_selector("#chart .main-svg")
        top, chart = page.locator(".answer").bounding_box(), page.locator("#chart").bounding_box()
        assert top
        assert chart
        assert chart["y"] + chart["height"] - top["y"] <= 600, panel
        page.close()


def test_an_alarm_can_be_read_whole_and_the_page_keeps_its_title(visit: Visit) -> None:
    for path, title in (("/more", "More"), ("/more/alarms", "Alarms"), ("/more/probes", "Probes"),
                        ("/panels/lid-4/coat", "Start coat 3"), ("/", None)):  # fmt: skip
        page = visit.open(path)
        words = page.locator(".alarm span")
        expect(words).to_be_visible()
        assert words.evaluate("one => one.scrollHeight <= one.clientHeight + 1"), path
        assert page.locator(".alarm").evaluate("one => one.offsetWidth") >= 350, path
        if title:
            expect(page.locator(".whose").first).to_have_text(title)
        page.close()


def test_a_page_that_lost_touch_says_since_when(visit: Visit, served: Served) -> None:
    page = visit.open("/")
    expect(page.locator("#lost")).to_be_hidden()
    served.stop()
    poll(page)
    expect(page.locator("#lost")).to_have_text("this page lost touch 06:10")


def test_a_new_answer_comes_in_place_and_is_spoken(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    before = order(page)
    shop.save(answer("box-a", "Box A", pot(NOW)))
    poll(page)
    expect(page.locator("#strip-box-a .fresh .headline")).to_have_text("Pour it out before 06:20")
    expect(page.locator("#spoken")).to_have_text("Box A · 3 coats: Pour it out before 06:20")
    assert order(page) == before
    assert before[-1] == "box-a"


def test_what_says_the_same_as_before_is_not_spoken(visit: Visit, shop: FakeShop) -> None:
    """A new answer with the headline of before, a minute later: its ages change, and nobody is told."""
    page = visit.open("/")
    page.evaluate(
        """() => {
          window.said = [];
          const spoken = document.getElementById("spoken");
          const heard = () => window.said.push(spoken.textContent);
          new MutationObserver(heard).observe(spoken, { childList: true, characterData: true });
        }"""
    )
    shop.clock.at = NOW + MINUTE  # type: ignore[attr-defined]
    shop.save(answer("box-a", "Box A", pot(NOW)), answer("plug-7", "Plug 7", stopped(NOW), NOW + MINUTE))
    poll(page)
    expect(page.locator("#strip-box-a .fresh .headline")).to_have_text("Pour it out before 06:20")
    expect(page.locator(".ages")).to_contain_text("06:11")
    assert page.evaluate("window.said") == ["Box A · 3 coats: Pour it out before 06:20"]


def test_strips_hold_their_places_until_somebody_asks_for_the_new_order(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    before = order(page)
    places = page.eval_on_selector_all(".strip", "all => all.map(one => one.getBoundingClientRect().top)")
    expect(page.locator("#resort")).to_be_hidden()
    shop.save(answer("box-a", "Box A", pot(NOW)))
    poll(page)
    button = page.get_by_role("button", name="Box A first now: sort again")
    expect(button).to_be_visible()
    assert order(page) == before
    assert (
        page.eval_on_selector_all(".strip", "all => all.map(one => one.getBoundingClientRect().top)")
        == places
    )
    button.click()
    expect(page.locator(".strip").first).to_have_attribute("data-strip", "box-a", timeout=ROUND)


def test_a_new_alarm_takes_the_titles_place_is_told_once_and_pushes_nothing(
    visit: Visit, shop: FakeShop
) -> None:
    shop.logbook.append(Event("seen-00000001", NOW, NOW, "Kim", "alarm seen", None, {"alarm": too_cold().id}))
    page = visit.open("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Morning round")
    top = page.locator(".strip").first.bounding_box()
    shop.save(alarms=(too_cold("too cold:plug-7:2"),))
    poll(page)
    expect(page.locator(".alarm")).to_contain_text("Warm Plug 7")
    expect(page.locator("#rings")).to_contain_text("Warm Plug 7")
    assert page.locator(".strip").first.bounding_box() == top
    page.evaluate("document.getElementById('rings').textContent = ''")
    poll(page)
    expect(page.locator("#rings")).to_have_text("")


def test_focus_stays_where_it_is_when_a_strip_changes(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    page.locator("#strip-box-a .do").focus()
    shop.save(answer("box-a", "Box A", pot(NOW)))
    poll(page)
    expect(page.locator("#strip-box-a .fresh .headline")).to_have_text("Pour it out before 06:20")
    assert page.evaluate("document.activeElement.closest('.strip')?.dataset.strip") == "box-a"


def test_the_chart_takes_in_a_new_night_by_itself(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    later = NOW + HOUR
    shop.clock.at = later  # type: ignore[attr-defined]
    shop.save(answer("plug-7", "Plug 7", stopped(later), later))
    poll(page)
    at_now = f"document.getElementById('chart').layout.shapes.some((shape) => shape.x0 === {later})"
    until(lambda: page.evaluate(at_now), "the now line moves")
    assert visit.complaints == []


def test_the_cursor_reads_the_night_out_by_keys(visit: Visit) -> None:
    page = visit.open("/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    expect(page.locator("#at-cursor")).to_contain_text("Panel between")
    page.locator("#cursor").focus()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#at-cursor")).to_contain_text("06:00: panel")
    assert (
        page.locator("#cursor").get_attribute("aria-valuetext") == page.locator("#at-cursor").text_content()
    )


def test_the_theme_recolours_the_chart(visit: Visit) -> None:
    page = visit.open("/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    ink: Callable[[], str] = lambda: page.evaluate("document.getElementById('chart').layout.font.color")  # noqa: E731
    assert ink() == "rgb(21, 25, 28)"
    page.emulate_media(color_scheme="dark")
    until(lambda: ink() == "rgb(242, 241, 234)", "the chart turns dark")


def test_a_dead_watch_is_told_by_its_age(visit: Visit, shop: FakeShop) -> None:
    shop.clock.at = NOW + 7 * MINUTE  # type: ignore[attr-defined]
    page = visit.open("/")
    expect(page.locator(".ages")).to_contain_text("worked out 06:10")
    expect(page.locator(".ages")).to_contain_text("06:17")
    assert page.locator(".strip .fresh .headline:visible").count() == 5
