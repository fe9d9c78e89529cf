"""Settings: what the shop is set to, and what is chosen on the pages. People: whose name this device logs under."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from dashboard.desk import Desk
from dashboard.display import View
from dashboard.fold import withdrawn
from dashboard.pages.alarms import PersonLine, person_lines
from dashboard.words import LABELS
from model.resin_card import ResinCard
from model.verdict import Say, Value

MOST = 12
"""Names to choose from, those who logged last."""


@dataclass(frozen=True)
class CardLine:
    """A card that an open panel uses: what it says, in sentences."""

    id: str
    title: str
    says: tuple[str, ...]


@dataclass(frozen=True)
class Worker:
    """One who has logged something; `about` in one line."""

    name: str
    about: str


def router(desk: Desk) -> APIRouter:
    """GET /more/settings, /more/people."""
    routes = APIRouter()

    @routes.get("/more/settings")
    def settings(request: Request) -> Response:
        view, told = desk.view(), desk.shop.settings
        groups = [
            (group.title, [(line, _text(line.value, view)) for line in group.lines])
            for group in (told.groups if told else ())
        ]
        return desk.page(
            request,
            "settings.html",
            view,
            tab="more",
            told=told,
            groups=groups,
            cards=cards_in_use(desk, view),
        )

    @routes.get("/more/people")
    def people(request: Request) -> Response:
        view = desk.view()
        told: list[PersonLine] = person_lines(desk, view)
        return desk.page(
            request, "people.html", view, tab="more", told=told, workers=workers(desk, view),
            names=names(desk, view),
        )  # fmt: skip

    return routes


def _text(value: Say | str, view: View) -> str:
    return value if isinstance(value, str) else view.sentence(value)


def cards_in_use(desk: Desk, view: View) -> list[CardLine]:
    """Cards of open panels, laid or planned; one that cannot be read is left out: its panel says so."""
    used = {
        card
        for panel in desk.panels().values()
        if not panel.closed
        for card in (*(coat.card for coat in panel.coats), *(coat.card for coat in panel.plan))
        if card
    }
    found = (desk.shop.card(name) for name in sorted(used))
    return [_card(card, view) for card in found if card is not None]


def _card(card: ResinCard, view: View) -> CardLine:
    film, per = card.film, 100.0 * card.mix.hardener_per_resin_by_weight
    limits: dict[str, Value] = {
        "minimum_C": card.minimum_C,
        "maximum_C": card.maximum_C,
        "reference_C": card.reference_C,
    }
    pot: dict[str, Value] = {
        "life_h": card.pot.life_min / 60.0,
        "pot_g": card.pot.mass_g,
        "bottles_C": card.pot.temperature_C,
    }
    times: dict[str, Value] = {
        "open_h": film.recoat_from.middle, "shut_h": film.recoat_until.low, "sand_h": film.sand.middle,
        "demould_h": film.demould.middle, "cured_h": film.cured.middle,
    }  # fmt: skip
    ratio: dict[str, Value] = {"part": view.signed(f"{per:.1f}"), "off_pc": card.mix.tolerance_percent}
    says = (
        Say("card_covers", limits), Say("card_film", times), Say("card_pot", pot), Say("card_mix", ratio),
    )  # fmt: skip
    whose = LABELS["card_invented"] if card.invented else LABELS["card_own"]
    told = (*(view.sentence(say) for say in says), LABELS["card_source"].format(source=card.source), whose)
    return CardLine(card.id, card.title, told)


def workers(desk: Desk, view: View) -> list[Worker]:
    """Everybody in the log, who logged last first."""
    events = desk.shop.logbook.events()
    gone = withdrawn(events)
    kept = [event for event in events if event.who and event.id not in gone]
    counts, last = Counter(event.who for event in kept), {event.who: event.recorded for event in kept}
    return [
        Worker(
            name,
            LABELS["people_initials"].format(
                initials=initials(name), n=counts[name], at=view.clock(last[name])
            ),
        )
        for name in sorted(counts, key=lambda name: -last[name])
    ]


def names(desk: Desk, view: View) -> list[str]:
    """To choose from: who has logged, then who is told of alarms."""
    known = [worker.name for worker in workers(desk, view)] + list(desk.shop.told)
    return list(dict.fromkeys(known))[:MOST]


def initials(name: str) -> str:
    """ "Kim Berg" is KB."""
    return "".join(part[0] for part in name.split()[:3]).upper()
