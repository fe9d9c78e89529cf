"""The answer before mixing and its checks, as sentences by key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from dashboard.mix_hour import Choice, MixHour, Now
from model.blush import AIR_ONLY_K
from model.mix_now import BOTTLES_C, CEILING_RH_PC, START_MARGIN_K, Answer, Reason, Topic
from model.resin_card import ResinCard
from model.verdict import Kind, Mark, Say, State, Value, Verdict
from model.wood import MOISTURE_CAUTION_PC, MOISTURE_NO_PC

LOOKS: dict[Answer | None, tuple[Kind, Mark]] = {
    Answer.MIX_NOW: (Kind.ACT, Mark.CUP),
    Answer.MIX_IF: (Kind.CARE, Mark.CUP),
    Answer.NOT_YET: (Kind.WAIT, Mark.RAMP),
    None: (Kind.NOT_KNOWN, Mark.TORN),
}
"""The tile of each answer; None: not known."""


@dataclass(frozen=True)
class Check:
    """One check: its sentence, and how it stands.

    stands   "" fine, "if" see to it first, "no" it stops, "?" not known, "-" a fact to know
    """

    say: Say
    stands: str = ""


def headline(hour: MixHour) -> Say:
    """What to do, in one sentence: the first reason against it, or until when it may be done."""
    if hour.film is not None:
        return hour.film.headline
    if hour.unheard is not None or hour.now is None:
        return hour.unheard.headline if hour.unheard is not None else Say("not_worked_out")
    if not hour.reasons:
        tonight = hour.latest.latest_ms if hour.latest is not None else None
        late = [at for at in (tonight, hour.shut_by) if at is not None]
        return Say("mix_now_by", {"mix_by": min(late)}) if late else Say("mix_now")
    first = hour.reasons[0]
    return Say(_HEADS[first.topic, first.stops], _values(first, hour.card))


def look(hour: MixHour) -> tuple[Kind, Mark]:
    """The tile of the answer."""
    return (hour.film.kind, hour.film.mark) if hour.film is not None else LOOKS[hour.answer]


URGENT_MS = 60 * 60_000
"""A latest mixing time within this is a deadline."""


def verdict(hour: MixHour) -> Verdict:
    """The same answer as a panel's own, for the round; not for a panel that has a coat."""
    if hour.answer is None and hour.unheard is not None:
        return hour.unheard
    kind, mark = look(hour)
    late = hour.latest.latest_ms if hour.latest is not None else None
    urgent = hour.answer is Answer.MIX_NOW and late is not None and late - hour.at <= URGENT_MS
    rank = 1 if urgent else 6 if hour.answer is Answer.NOT_YET else 5
    why = [check.say for check in checks(hour) if check.stands in ("no", "if")][:1]
    return Verdict(State.PLANNED, kind, mark, headline(hour), (*why, latest(hour)), None, frozenset(), rank)


def others(hour: MixHour) -> int:
    """How many more things stand against it than the headline names."""
    return max(len(hour.reasons) - (hour.film is None), 0)


_HEADS: dict[tuple[Topic, bool], str] = {
    (Topic.PANEL_COLD, True): "not_yet_cold",
    (Topic.PANEL_HOT, True): "not_yet_hot",
    (Topic.COLD_AHEAD, False): "mix_if_cold",
    (Topic.MARGIN, True): "not_yet_margin",
    (Topic.MARGIN, False): "mix_if_margin",
    (Topic.SURFACE_RH, True): "not_yet_surface",
    (Topic.NO_HUMIDITY, False): "mix_if_no_humidity",
    (Topic.TOO_LATE, False): "mix_if_too_late",
    (Topic.BURNER, False): "mix_if_burner",
    (Topic.BOTTLES, False): "mix_if_bottles",
    (Topic.CLOUDY, True): "not_yet_cloudy",
    (Topic.CRUSTED, True): "not_yet_crusted",
    (Topic.WOOD_MOISTURE, True): "not_yet_wood_moist",
    (Topic.WOOD_MOISTURE, False): "mix_if_wood_moist",
    (Topic.WOOD_WARMS, True): "not_yet_wood_warms",
    (Topic.WOOD_WARMS, False): "mix_if_wood_warms",
}


def _values(reason: Reason, card: ResinCard) -> dict[str, float]:
    value = reason.value if reason.value is not None else 0.0
    limit = reason.limit if reason.limit is not None else 0.0
    named: dict[Topic, Callable[[], dict[str, float]]] = {
        Topic.PANEL_COLD: lambda: {"panel_C": value, "minimum_C": card.minimum_C},
        Topic.PANEL_HOT: lambda: {"panel_C": value, "maximum_C": card.maximum_C},
        Topic.COLD_AHEAD: lambda: {"minimum_C": card.minimum_C},
        Topic.MARGIN: lambda: {"margin_K": value},
        Topic.SURFACE_RH: lambda: {"surface_pc": value},
        Topic.TOO_LATE: lambda: {"close_by": limit},
        Topic.BOTTLES: lambda: {"bottles_C": limit},
        Topic.WOOD_MOISTURE: lambda: {"moisture_pc": value},
        Topic.WOOD_WARMS: lambda: {"rise_K": value},
    }
    return named[reason.topic]() if reason.topic in named else {}


def latest(hour: MixHour) -> Say:
    """The latest mixing time tonight, or why there is none to give."""
    found = hour.latest
    if found is None:
        return Say("mix_latest_unknown")
    if found.closes_ms is None:
        return Say("mix_latest_open")
    cold: dict[str, Value] = {"minimum_C": hour.card.minimum_C} if hour.by_cold else {}
    if found.latest_ms is None:
        if found.closes_ms <= hour.at:
            return Say("mix_latest_shut_cold", cold) if cold else Say("mix_latest_shut")
        return Say(
            "mix_latest_none_cold" if cold else "mix_latest_none", {"close_by": found.closes_ms} | cold
        )
    times: dict[str, Value] = {"mix_by": found.latest_ms, "close_by": found.closes_ms}
    if cold:
        return Say("mix_latest_cold", times | cold)
    if found.likely_closes_ms is None:
        return Say("mix_latest_far", times)
    return Say("mix_latest", times | {"likely_at": found.likely_closes_ms})


def best(hour: MixHour) -> Say:
    """The best hours of the next day."""
    if hour.shut_by is not None:
        return Say("mix_best_shuts", {"shut_by": hour.shut_by})
    if hour.best is None:
        return Say("mix_best_none" if hour.film is None else "mix_best_film_none")
    first, last = (choice.start for choice in hour.best)
    if hour.best[0] is hour.choices[0] and hour.best[1] is hour.choices[-1]:
        return Say("mix_best_any")
    if hour.film is not None:
        return Say("mix_best_film", {"best_at": first.at_ms, "panel_C": first.panel_C})
    if hour.best[0].answer is not Answer.MIX_NOW:
        return Say("mix_best_if", {"best_at": first.at_ms, "end_at": last.at_ms, "panel_C": first.panel_C})
    if first is last:
        return Say("mix_best_once", {"best_at": first.at_ms, "panel_C": first.panel_C})
    told: dict[str, Value] = {"best_at": first.at_ms, "end_at": last.at_ms, "panel_C": first.panel_C}
    if first.margin_K is None:
        return Say("mix_best_dry", told)
    return Say("mix_best", told | {"margin_K": first.margin_K})


def checks(hour: MixHour) -> list[Check]:
    """Every check in the order of the trade: surface, air, margin, the night, wood, bottles."""
    if hour.now is None:
        why = hour.unheard.why if hour.unheard is not None else ()
        return [Check(say, "?") for say in why] + _bottles(hour)
    first = hour.choices[0]
    film = [Check(say, "no") for say in hour.film.why] if hour.film is not None else []
    if hour.shut_by is not None:
        film.append(Check(Say("mix_shuts", {"shut_by": hour.shut_by}), "-"))
    return [
        *film,
        *_panel(hour, hour.now),
        *_air(hour, hour.now),
        *_night(hour, first),
        *_wood(hour, first),
        *_bottles(hour),
    ]


def _stands(hour: MixHour, *topics: Topic) -> str:
    found = [reason for reason in hour.reasons if reason.topic in topics]
    return "" if not found else "no" if any(reason.stops for reason in found) else "if"


def _panel(hour: MixHour, now: Now) -> list[Check]:
    card = hour.card
    told: dict[str, Value] = {"panel_C": now.panel_C, "trend": now.trend}
    say = Say("mix_panel", told | {"minimum_C": card.minimum_C, "maximum_C": card.maximum_C})
    return [Check(say, _stands(hour, Topic.PANEL_COLD, Topic.PANEL_HOT))]


def _air(hour: MixHour, now: Now) -> list[Check]:
    if now.dew_C is None or now.margin_K is None or now.air_C is None or now.air_rh is None:
        return [Check(Say("mix_air_unknown"), "?")]
    margin = {"margin_K": now.margin_K, "asked_K": START_MARGIN_K}
    found = [
        Check(Say("mix_margin", margin), _stands(hour, Topic.MARGIN)),
        Check(Say("mix_air", {"air_C": now.air_C, "air_pc": now.air_rh, "dew_C": now.dew_C}), "-"),
    ]
    if hour.air_only:
        found.append(Check(Say("mix_air_only", {"less_K": AIR_ONLY_K}), "-"))
    if now.surface_rh_pc is not None:
        told = {"surface_pc": now.surface_rh_pc, "limit_pc": CEILING_RH_PC}
        found.append(Check(Say("mix_surface", told), _stands(hour, Topic.SURFACE_RH)))
    burnt = next((reason.value for reason in hour.reasons if reason.topic is Topic.BURNER), None)
    if burnt is not None:
        found.append(Check(Say("mix_burner", {"jump_at": burnt}), "if"))
    return found


def _night(hour: MixHour, first: Choice) -> list[Check]:
    start = first.start
    found: list[Check] = []
    if _stands(hour, Topic.TOO_LATE) and start.closes_ms is not None:
        found.append(Check(Say("mix_closes", {"close_by": start.closes_ms}), "if"))
    if start.tack_free_ms is None:
        found.append(Check(Say("mix_free_far"), "-"))
    elif start.least_margin_K is None:
        found.append(Check(Say("mix_free_dry", {"free_from": start.tack_free_ms}), "-"))
    else:
        kept: dict[str, Value] = {"free_from": start.tack_free_ms, "least_K": start.least_margin_K}
        found.append(Check(Say("mix_free", kept), "-"))
    if _stands(hour, Topic.COLD_AHEAD):
        found.append(Check(Say("mix_cold_ahead", {"coldest_C": start.coldest_C}), "if"))
    cold = hour.cold
    if cold is not None:
        night: dict[str, Value] = {
            "minimum_C": hour.card.minimum_C, "coldest_C": cold.coldest_C, "coldest_at": cold.coldest_at,
        }  # fmt: skip
        hours: dict[str, Value] = {"under_h": cold.under_h} if cold.under_h else {}
        found.append(Check(Say("mix_cold_hours" if hours else "mix_cold_none", night | hours), "-"))
    return found


def _wood(hour: MixHour, first: Choice) -> list[Check]:
    if hour.asked.onto != "wood":
        return []
    warms = _stands(hour, Topic.WOOD_WARMS)
    breath = Say("mix_wood_warms", {"rise_K": first.start.rise_K}) if warms else Say("mix_wood_cools")
    limits = {"caution_pc": MOISTURE_CAUTION_PC, "limit_pc": MOISTURE_NO_PC}
    found = [Check(breath, warms)]
    if hour.asked.wood_pc is None:
        return [*found, Check(Say("mix_wood_unknown", limits), "?")]
    moist = _stands(hour, Topic.WOOD_MOISTURE)
    told = {"moisture_pc": hour.asked.wood_pc}
    return [
        *found,
        Check(Say("mix_wood_moist", told | limits) if moist else Say("mix_wood_dry", told), moist),
    ]


def _bottles(hour: MixHour) -> list[Check]:
    limits, asked = {"low_C": BOTTLES_C[0], "high_C": BOTTLES_C[1]}, hour.asked
    if asked.bottles_C is None:
        found = [Check(Say("mix_bottles_unknown", limits), "?")]
    else:
        say = Say("mix_bottles", {"bottles_C": asked.bottles_C} | limits)
        found = [Check(say, _stands(hour, Topic.BOTTLES))]
    if asked.cloudy:
        found.append(Check(Say("mix_cloudy"), "no"))
    if asked.crusted:
        found.append(Check(Say("mix_crusted"), "no"))
    return found
