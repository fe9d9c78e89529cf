"""Two ways in which the people of the shop do one thing: by the API, and with a thumb in a real browser."""

from __future__ import annotations

import re
from typing import Any, Protocol

from playwright.sync_api import BrowserContext, Page, expect

from tests.dashboard.client import Client, new_id
from tests.scenario.house import House

PANEL = "lid-4"
RECORD = f"/api/panels/{PANEL}/record"
PLAN = (("seal", "own-25min"), ("laminate", "own-25min"), ("fill", "own-25min"))
LOTS = ("R-17", "H-03")


class Hands(Protocol):
    """What somebody does and reads. Every deed is one entry, worked out by watch before the next."""

    def may_mix(self) -> str: ...
    def register(self) -> None: ...
    def start_coat(self) -> None: ...
    def weigh(self, resin_g: float, hardener_g: float) -> None: ...
    def applied(self) -> None: ...
    def felt(self, word: str) -> str: ...
    def log(self, kind: str, label: str) -> None: ...
    def hardness(self, value: float, on: str, at_C: float) -> None: ...
    def before_leaving(self) -> str: ...
    def demould(self, who: str) -> tuple[bool, str]: ...
    def headline(self) -> str: ...
    def record(self) -> dict[str, Any]: ...


class ByApi:
    """Straight requests."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._client = Client(house.app)

    def _post(self, kind: str, body: dict[str, Any] | None = None) -> dict[str, Any]:
        entry = {"id": new_id(), "who": "Kim", "kind": kind, "panel": PANEL}
        answer = self._client.post("/api/events", entry | ({"body": body} if body else {}))
        assert answer.status_code == 200, answer.text
        self._house.worked_out()
        told: dict[str, Any] = answer.json()
        return told

    def may_mix(self) -> str:
        answer: str = self._client.get(f"/api/mix?card={PLAN[0][1]}").json()["answer"]
        return answer

    def register(self) -> None:
        body = {
            "id": new_id(), "who": "Kim", "name": "Lid 4", "zone": "shed", "surface_probe": "S1", "air_probe": "A1",
            "substrate": "composite mould", "plan": [{"kind": kind, "card": card} for kind, card in PLAN],
        }  # fmt: skip
        assert self._client.post("/api/panels", body).json()["panel"] == PANEL
        self._house.worked_out()

    def start_coat(self) -> None:
        planned = self._house.logbook.panels()[PANEL].next_planned
        assert planned is not None
        lots = {"resin_lot": LOTS[0], "hardener_lot": LOTS[1]}
        self._post("coat mixed", {"card": planned.card, "kind": planned.kind, **lots})

    def weigh(self, resin_g: float, hardener_g: float) -> None:
        newest = self._house.logbook.panels()[PANEL].newest
        assert newest is not None
        pot = {"resin_g": resin_g, "hardener_g": hardener_g, "stirred": True}
        self._post("pot weighed", {"of": newest.pots[-1].event, "pot": pot})

    def applied(self) -> None:
        self._post("coat applied")

    def felt(self, word: str) -> str:
        moved = self._post("thumb test", {"words": [word]})["moved"]
        return str(moved["said"])

    def log(self, kind: str, label: str) -> None:
        self._post(kind)

    def hardness(self, value: float, on: str, at_C: float) -> None:
        self._post("hardness", {"scale": "Shore D", "value": value, "on": on, "at_C": at_C})

    def before_leaving(self) -> str:
        leaving = self._client.get("/api/tonight").json()["leaving"]
        return _plain(str(leaving))

    def demould(self, who: str) -> tuple[bool, str]:
        body = {"id": new_id(), "who": who, "act": "demould"}
        answer = self._client.post(f"/api/panels/{PANEL}/decisions", body).json()
        self._house.worked_out()
        return answer["granted"], _plain("; ".join(answer["missing"]))

    def headline(self) -> str:
        strips = self._client.get("/api/round").json()["strips"]
        return _plain(next(strip["headline"] for strip in strips if strip["panel"] == PANEL))

    def record(self) -> dict[str, Any]:
        found: dict[str, Any] = self._client.get(RECORD).json()
        return found


class ByThumb:
    """Taps in a browser on a phone, from the round on."""

    def __init__(self, house: House, context: BrowserContext, url: str) -> None:
        self._house = house
        self._url = url
        self.page: Page = context.new_page()
        self.page.goto(url)
        self.page.evaluate("localStorage.setItem('who', 'Kim')")
        self.complaints: list[str] = []
        self.page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        self.page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))

    def _open(self, path: str) -> Page:
        self.page.goto(self._url + path)
        return self.page

    def _logged(self, said: str) -> None:
        expect(self.page.locator("#toast")).to_contain_text(said)
        self._house.worked_out()

    def may_mix(self) -> str:
        page = self._open(f"/mix?card={PLAN[0][1]}")
        return page.locator(".headline").first.inner_text().lower()

    def register(self) -> None:
        page = self._open("/")
        page.get_by_role("link", name="Register a panel").click()
        page.get_by_label("Name").fill("Lid 4")
        page.get_by_label("Zone").fill("shed")
        page.get_by_label("Probe on the panel").select_option("S1")
        page.get_by_label("Probe in the air").select_option("A1")
        page.get_by_label("Laid on").select_option("composite mould")
        page.get_by_role("button", name="Register it").click()
        page.wait_for_url(f"**/panels/{PANEL}")
        page.get_by_role("link", name="Log something else").click()
        page.locator("summary", has_text="Plan").click()
        for number, (kind, card) in enumerate(PLAN):
            row = page.locator("[data-row=plan]").nth(number)
            row.get_by_label("Kind of coat").select_option(kind)
            row.get_by_label("Resin card").select_option(card)
        page.get_by_role("button", name="Save the plan").click()
        self._logged("Described anew")

    def start_coat(self) -> None:
        page = self._open(f"/panels/{PANEL}/coat")
        page.locator("summary", has_text="Peel ply, lots, pot").click()
        page.get_by_label("Lot of the resin").fill(LOTS[0])
        page.get_by_label("Lot of the hardener").fill(LOTS[1])
        page.get_by_role("button", name="Mixed just now").click()
        self._logged("started")

    def weigh(self, resin_g: float, hardener_g: float) -> None:
        page = self._open(f"/panels/{PANEL}/pot")
        page.get_by_label("Resin, g").fill(str(resin_g))
        page.get_by_label("Hardener, g").fill(str(hardener_g))
        page.get_by_label("Yes").check()
        page.get_by_role("button", name="Note the weights").click()
        self._logged("Pot told")

    def applied(self) -> None:
        self._open("/").get_by_role("button", name="Applied").click()
        self._logged("Coat on")

    def felt(self, word: str) -> str:
        page = self._open(f"/panels/{PANEL}/thumb")
        page.get_by_role("button", name=re.compile(word, re.IGNORECASE)).click()
        self._logged("Thumb test")
        return page.locator("#toast").inner_text()

    def log(self, kind: str, label: str) -> None:
        self._open(f"/panels/{PANEL}").get_by_role("button", name=label).first.click()
        self._logged(kind.capitalize())

    def hardness(self, value: float, on: str, at_C: float) -> None:
        page = self._open(f"/panels/{PANEL}/thumb")
        page.locator("#hardness").evaluate("form => form.closest('details').open = true")
        page.get_by_label("Scale").select_option("Shore D")
        page.locator("#value").fill(str(value))
        page.locator(f"#hardness [value={on}]").check()
        page.locator("#warm").fill(str(at_C))
        page.locator("#hardness button").click()
        self._logged("Hardness")

    def before_leaving(self) -> str:
        return _plain(self._open("/").locator("main").inner_text())

    def demould(self, who: str) -> tuple[bool, str]:
        page = self._open(f"/panels/{PANEL}/demould")
        missing = _plain("; ".join(page.locator(".evidence .lacking span").all_inner_texts()))
        page.locator("#who").fill(who)
        page.locator("form[data-post] button[type=submit]").click()
        page.wait_for_url(f"**/panels/{PANEL}")
        self._house.worked_out()
        return not missing, missing

    def headline(self) -> str:
        strip = self._open("/").locator(f"#strip-{PANEL}, [data-strip={PANEL}]").first
        return _plain(strip.locator(".headline").first.inner_text())

    def record(self) -> dict[str, Any]:
        """The paper is opened, and its data taken."""
        expect(self._open(f"/panels/{PANEL}/record").locator("h1")).to_contain_text("Lid 4")
        found: dict[str, Any] = self.page.request.get(self._url + RECORD).json()
        return found


def _plain(text: str) -> str:
    """With spaces that break."""
    return text.replace("\u00a0", " ")
