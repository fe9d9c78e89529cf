"""An invented shop of five panels in real stores, with answers written by hand: for tests of the pages only."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from fastapi import FastAPI

from collector.clock import Clock, SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.app import create_app
from dashboard.assessment import Assessment, Curve, Film, Passing
from dashboard.cards import CardShelf
from dashboard.decided import Decisions
from dashboard.display import View
from dashboard.door.door import Door
from dashboard.logbook import Logbook
from dashboard.panel import Event
from dashboard.shop_settings import ShopSettings
from dashboard.watch_store import Alarm, WatchReader, WatchWriter
from model.psychrometrics import saturation_pressure_water_Pa
from model.verdict import Flag, Kind, Mark, Say, State, Verdict

MINUTE = 60_000
HOUR = 60 * MINUTE
ZONE = "Europe/Oslo"


def utc(text: str) -> int:
    """UTC ms of "2026-01-11 06:10"."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


NOW = utc("2026-01-11 05:10")
"""06:10 in the shop's zone, on a winter morning."""

PROBES = [
    ProbeFacts("S1", "shed", "surface", 30.0, 0.8),
    ProbeFacts("S2", "shed", "surface", 30.0, 0.8),
    ProbeFacts("A1", "shed", "air", 30.0, 0.8),
    ProbeFacts("S7", "shed", "surface", 30.0, 0.8),
    ProbeFacts("A7", "shed", "air", 30.0, 0.8),
]
PLUG_PROBES = ("S7", "A7")
"""Of Plug 7 alone, the panel whose night lies in readings.db too."""
CARDS = ["invented-15min", "invented-25min", "invented-winter"]


@dataclass
class FakeShop:
    """Real stores in a folder, a clock moved by hand, and the application over them."""

    folder: Path
    clock: Clock
    logbook: Logbook
    store: WatchWriter
    app: FastAPI
    port: int

    def save(self, *items: Assessment, alarms: tuple[Alarm, ...] = ()) -> None:
        """Stores assessments and alarms as watch would."""
        self.store.save(items, alarms)

    def read(self, *readings: Reading) -> None:
        """Stores readings as collect would."""
        writer = Writer.open(self.folder / "readings.db", self.clock)
        writer.describe(PROBES)
        writer.commit(readings)
        writer.close()

    def close(self) -> None:
        self.store.close()
        self.logbook.close()


def open_shop(
    folder: Path,
    clock: Clock | None = None,
    port: int = 8137,
    filled: bool = True,
    heard: bool = False,
    public_url: str | None = None,
    sent: Callable[[int], list[Reading]] | None = None,
    told: tuple[str, ...] = (),
    door: Door | None = None,
    settings: ShopSettings | None = None,
    bare: bool = False,
    more_probes: tuple[ProbeFacts, ...] = (),
) -> FakeShop:
    """A shop; `filled` with five panels and their answers as of NOW; `heard`: its probes have `sent` (in_ice).

    `told`: who is told of alarms away from the pages; `door`: who may come in; `bare`: on its first morning, without
    panel, probe or card.
    """
    clock = clock or SteppedClock(NOW)
    logbook = Logbook(folder / "shop.db", lambda: CARDS).open()
    store = WatchWriter(folder / "watch.db")
    deciding = Decisions(
        WatchReader(folder / "watch.db", logbook),
        folder / "readings.db",
        lambda: View(ZoneInfo(ZONE), "degC", clock.now()),
    )
    if door:
        logbook.beside = deciding.beside
    app = create_app(
        watched=WatchReader(folder / "watch.db", logbook),
        logbook=logbook,
        probes=lambda: [] if bare else [*PROBES, *more_probes],
        cards=lambda: [] if bare else CARDS,
        clock=clock,
        site="Invented shed",
        time_zone=ZONE,
        invented=True,
        allowed_hosts=("127.0.0.1", "localhost", "testserver"),
        port=port,
        readings=folder / "readings.db" if heard else None,
        card=CardShelf(None).get,
        card_facts=lambda: {card: (5.0 if "winter" in card else 10.0, 35.0) for card in CARDS},
        public_url=public_url,
        told=told,
        notices=folder / "notices.db" if told else None,
        door=door,
        decisions=deciding if door else None,
        settings=settings,
    )
    shop = FakeShop(folder, clock, logbook, store, app, port)
    if filled and not bare:
        for name, coats in (("Skiff deck 2", 2), ("Lid 4", 2), ("Rib 1", 1), ("Box A", 3), ("Plug 7", 2)):
            register(shop, name, coats)
        shop.save(*morning(NOW), alarms=(too_cold(),))
    if heard:
        shop.read(*(sent or in_ice)(NOW), *([] if sent else night_readings(NOW)))
    return shop


def plain_app(shop: FakeShop) -> FastAPI:
    """Another application over a shop's stores, as a newer program would be."""
    return create_app(
        watched=WatchReader(shop.folder / "watch.db", shop.logbook), logbook=shop.logbook, probes=list, cards=list,
        clock=shop.clock, site="Invented shed", time_zone=ZONE, port=shop.port,
    )  # fmt: skip


def warm_night(now: int) -> list[Reading]:
    """Fourteen hours, a reading a minute: S1 on a panel at 20 degC, A1 beside it in dry air."""
    times = [now - number * MINUTE for number in range(14 * 60)]
    wanted = (
        ("S1", Quantity.TEMPERATURE, 20.0),
        ("A1", Quantity.TEMPERATURE, 20.0),
        ("A1", Quantity.RELATIVE_HUMIDITY, 50.0),
    )
    # The last digit moves, as a real probe's does: a number that never changes is taken for a stuck one.
    return [
        Reading(probe, what, value + 0.1 * (index % 2), at, at)
        for probe, what, value in wanted
        for index, at in enumerate(times)
    ]


def in_ice(now: int) -> list[Reading]:
    """Ten minutes in which S1 lies in ice water and reads 0.4 degC, and A1 hangs in the shed."""
    times = [now - number * MINUTE // 2 for number in range(20)]
    wanted = (
        ("S1", Quantity.TEMPERATURE, 0.4),
        ("A1", Quantity.TEMPERATURE, 3.0),
        ("A1", Quantity.RELATIVE_HUMIDITY, 78.0),
    )
    return [Reading(probe, what, value, at, at) for probe, what, value in wanted for at in times]


def many(shop: FakeShop, panels: int) -> None:
    """More panels, in two zones, most of them waiting: a small shop's morning."""
    for number in range(1, panels + 1):
        name = f"Hull {number}"
        panel = register(shop, name, 2, "hall" if number % 3 else "shed")
        verdict = recoat(NOW + number * MINUTE, NOW + 90 * MINUTE) if number % 9 == 0 else waiting(NOW)
        shop.save(answer(panel, name, verdict))


def register(shop: FakeShop, name: str, coats: int, zone: str = "shed") -> str:
    """Registers a panel with coats two and a half hours apart, the first at 17:00; returns its id."""
    panel = name.lower().replace(" ", "-")
    start = NOW - 13 * HOUR - 10 * MINUTE
    surface, air = PLUG_PROBES if panel == "plug-7" else ("S1", "A1")
    body = {"name": name, "zone": zone, "surface_probe": surface, "air_probe": air, "substrate": "wood"}
    events = [("panel registered", start - HOUR, body)]
    for number in range(coats):
        events.append(("coat mixed", start + number * 160 * MINUTE, {"card": CARDS[1], "kind": "laminate"}))
    for number, (kind, at, body) in enumerate(events):
        shop.logbook.append(Event(f"{panel}-{number:08d}", at, at, "Kim", kind, panel, body))
    return panel


def warmth(h: float) -> tuple[float, float, float]:
    """Panel, air and dew point of the cold night h hours after 17:00, degC."""
    panel = 10.5 + 6.5 * math.cos((h + 1.0) * math.pi / 13.0) if h < 13 else 4 + 1.7 * (h - 12.9)
    return panel, panel - 1.6 + h * 0.15, 4.0 if h < 11.5 else 4.0 + 2.2 * (h - 11.5)


def missing(h: float) -> bool:
    """An hour at 01:00 of which there are no readings."""
    return 8.0 <= h < 9.1


def night_readings(now: int) -> list[Reading]:
    """The night of Plug 7, two minutes apart, as its probes sent it; the air's humidity by its dew point."""
    start, found = now - 13 * HOUR - 10 * MINUTE, []
    for at in range(start, now, 2 * MINUTE):
        h = (at - start) / HOUR
        panel, air, dew = warmth(h)
        moist = 100.0 * float(saturation_pressure_water_Pa(dew) / saturation_pressure_water_Pa(air))
        if not missing(h):
            found += [
                Reading("S7", Quantity.TEMPERATURE, round(panel, 2), at, at),
                Reading("A7", Quantity.TEMPERATURE, round(air, 2), at, at),
                Reading("A7", Quantity.RELATIVE_HUMIDITY, round(moist, 2), at, at),
            ]
    return found


def night(now: int) -> Curve:
    """A cold night, 17:00 to 13:00, with an hour missing at 01:00, and an outlook."""
    start = now - 13 * HOUR - 10 * MINUTE
    t = tuple(start + i * 10 * MINUTE for i in range(120))
    panel, air, dew, outlook, low, mid, high, tg = ([] for _ in range(8))
    for i, at in enumerate(t):
        h = i / 6
        seen = None if missing(h) or at > now else warmth(h)
        panel.append(round(seen[0], 2) if seen else None)
        air.append(round(seen[1], 2) if seen else None)
        dew.append(round(seen[2], 2) if seen else None)
        outlook.append(round(warmth(h)[0], 2) if at > now else None)
        middle = 1 - math.exp(-0.045 * h)
        spread = 0.02 + 0.006 * h
        low.append(max(0.0, middle - spread))
        mid.append(middle)
        high.append(min(1.0, middle + spread))
        tg.append(-30 + 90 * middle)
    return Curve(
        t,
        tuple(low),
        tuple(mid),
        tuple(high),
        tuple(tg),
        tuple(panel),
        tuple(air),
        tuple(dew),
        tuple(outlook),
    )


COATS = {"box-a": 3, "rib-1": 1}
"""How many coats the shop's panels have, if not two."""


def answer(panel: str, name: str, verdict: Verdict, now: int = NOW, **more: object) -> Assessment:
    """An assessment of one panel, good for ten minutes."""
    base = Assessment(
        panel=panel,
        name=name,
        zone="shed",
        coat=COATS.get(panel, 2),
        coats=COATS.get(panel, 2),
        card=CARDS[1],
        at=now,
        readings_to=now - MINUTE,
        good_until=now + 10 * MINUTE,
        batch=1,
        verdict=verdict,
        minimum_C=10.0,
        mixed_at=now - 13 * HOUR - 10 * MINUTE,
        missing_h=1.1,
        gaps=((now - 5 * HOUR - 10 * MINUTE, now - 4 * HOUR - 5 * MINUTE),),
        curve=night(now),
        milestones=(
            Passing("recoat_from", now - 9 * HOUR, now - 8 * HOUR, now - 7 * HOUR, 1.0),
            Passing("recoat_until", now - 2 * HOUR, now - HOUR, now + HOUR, 0.4),
            Passing("tack_free", now - 8 * HOUR, now - 7 * HOUR, now - 6 * HOUR, 1.0),
            Passing("sand", now + 3 * HOUR, now + 6 * HOUR, now + 8 * HOUR, 0.0),
        ),
        glass_transition_C=(24.0, 27.0, 41.0),
        film=Film("wet", 3.0, -0.8, now - HOUR, now - 2 * HOUR, now - 45 * MINUTE, None),
        cautions=("estimate",),
    )
    return replace(base, **more)  # type: ignore[arg-type]


def morning(now: int) -> list[Assessment]:
    """Five answers, one of each kind of act."""
    return [
        answer("skiff-deck-2", "Skiff deck 2", recoat(now + 40 * MINUTE, now + 75 * MINUTE), now),
        answer(
            "lid-4",
            "Lid 4",
            Verdict(
                State.FIRM, Kind.CARE, Mark.DROP, Say("wash_wet"),
                (Say("why_wash_wet", {"under_K": 0.8, "wet_at": now - 2 * HOUR, "dry_at": now - 45 * MINUTE}),),
                Say("next_sand", {"sand_at": now + 5 * HOUR}), frozenset({Flag.WASH_FIRST}), 3,
            ),
            now,
        ),
        answer(
            "rib-1",
            "Rib 1",
            Verdict(
                State.NOT_KNOWN, Kind.NOT_KNOWN, Mark.TORN, Say("probe_silent", {"silent_at": now - 178 * MINUTE}),
                (Say("why_probe_silent", {"was": "firm"}),), Say("next_probe"), frozenset({Flag.PROBE_SILENT}), 2,
            ),
            now,
            readings_to=now - 178 * MINUTE,
        ),
        answer(
            "box-a",
            "Box A",
            Verdict(
                State.SANDABLE, Kind.GO, Mark.TEETH, Say("sandable"),
                (Say("why_sandable", {"passed_at": now - 30 * MINUTE}),),
                Say("next_demould", {"demould_at": now + 9 * HOUR}), frozenset(), 5,
            ),
            now,
        ),
        answer("plug-7", "Plug 7", stopped(now), now),
    ]  # fmt: skip


def recoat(by: int, likely: int) -> Verdict:
    """Recoat before `by`."""
    return Verdict(
        State.RECOATABLE, Kind.ACT, Mark.LAP, Say("recoatable", {"shut_by": by}),
        (Say("why_recoatable", {"opened_at": by - 3 * HOUR, "shut_at": likely}),),
        Say("next_shut", {"shut_at": likely}), frozenset(), 1,
    )  # fmt: skip


def stopped(now: int) -> Verdict:
    """Stopped by cold."""
    return Verdict(
        State.SETTING, Kind.CARE, Mark.KNEE, Say("stopped_by_cold", {"move_C": 12.0}),
        (
            Say("why_stopped_by_cold", {"panel_C": 4.8, "minimum_C": 10.0, "since_at": now - 260 * MINUTE}),
            Say("why_warmed", {"warm_C": 20.0, "do": "sand", "warmed_h": 6.0}),
        ),
        Say("next_warmed", {"do": "sand", "warm_C": 20.0, "warmed_h": 6.0, "soon_h": 4.5, "late_h": 8.0}),
        frozenset({Flag.STOPPED_BY_COLD}), 4,
    )  # fmt: skip


def waiting(now: int) -> Verdict:
    """Wait, then recoat."""
    return Verdict(
        State.SETTING, Kind.WAIT, Mark.RAMP, Say("setting", {"open_from": now + 2 * HOUR}),
        (Say("why_setting", {"open_at": now + 90 * MINUTE, "panel_C": 8.2, "trend": "falling"}),),
        Say("next_open", {"open_at": now + 90 * MINUTE}), frozenset(), 6,
    )  # fmt: skip


def too_cold(ident: str = "too cold:plug-7:1") -> Alarm:
    """Plug 7 has been below its card's minimum."""
    say = Say("alarm_too_cold", {"panel": "Plug 7", "panel_C": 4.8, "minimum_C": 10.0})
    return Alarm(ident, "too cold", "plug-7", None, NOW - 4 * HOUR, None, say)
