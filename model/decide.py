"""From numbers about one panel to what to do: the order of questions a careful builder asks.

Every headline uses the safe end of a range: what opens is said at its late end, what shuts at its early end, so
that the verdict turns when it said it would. Times are UTC ms.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from model.milestones import SAFE_SHARE
from model.reasons import ahead, cold_why, film_why, glassy_why, sand_next
from model.resin_card import Milestone
from model.standing import NEVER, Glassy, Pot, Standing, Stopped, When
from model.verdict import Flag, Kind, Mark, Say, State, Value, Verdict

LAST_MS = 30 * 60_000
URGENT_MS = 60 * 60_000
LEAST_WINDOW_MS = 20 * 60_000
"""A window whose safe ends leave less than this is no window: the thumb decides."""
UNPROVEN_COLD_H = 1.0
"""A coat that spent longer than this below its card's minimum, where nothing is claimed, is left to the thumb."""


_GO_ON = {
    "recoatable", "recoatable_last", "wash_recoat", "sandable", "sandable_cold", "sanded", "wash_sand",
    "demouldable", "fully_cured",
}  # fmt: skip
"""Headlines under which somebody works on, which a thumb that says otherwise takes back."""
_MAKE_IT_HEARD = Say("next_probe")


def decide(now: Standing) -> Verdict:
    """What to do with a panel whose temperature is known up to now, why, and what comes next."""
    answer = _answer(now)
    if now.torn and answer.headline.key in _GO_ON:
        return replace(_torn(now, answer.state), flags=_flags(now))
    why = (Say("why_disagreement"), *answer.why) if now.disagrees else answer.why
    return replace(answer, why=why, flags=_flags(now))


def _answer(now: Standing) -> Verdict:
    if now.pot is not None and now.at < now.pot.pour_by:
        return in_the_pot(now.pot, (cold_why(now, now.stopped),) if now.stopped else ())
    if now.panel_C > now.maximum_C:
        why = Say("why_outside_card", {"minimum_C": now.minimum_C, "maximum_C": now.maximum_C})
        return not_known(Say("outside_card_hot", {"panel_C": now.panel_C}), (why,), following=None)
    if now.suspect_since is not None:
        return _suspect_mix(now.suspect_since)
    below = now.panel_C < now.minimum_C
    if _past(now.least, Milestone.SAND) and not (now.glassy and below):
        return _sandable(now)
    if now.film.level in ("heavy", "wet") and _washable(now) and (now.glassy or now.stopped):
        return _wash_in_the_cold(now, now.film.level)
    if now.glassy is not None and (_shut(now) or now.stopped is None):
        return _hard(now, now.glassy)
    if now.stopped is not None:
        return _cold(now, now.stopped)
    if _shut(now):
        return _firm(now)
    if _open(now) or _thumb_decides(now):
        return _in_the_window(now)
    return _young(now)


def not_known(
    headline: Say, why: tuple[Say, ...], flag: Flag | None = None, following: Say | None = _MAKE_IT_HEARD
) -> Verdict:
    """An answer like any other: what is missing, since when, and the way out."""
    flags = frozenset([flag]) if flag else frozenset[Flag]()
    return Verdict(State.NOT_KNOWN, Kind.NOT_KNOWN, Mark.TORN, headline, why, following, flags, 2)


def planned(why: tuple[Say, ...]) -> Verdict:
    """A panel without a coat."""
    return Verdict(State.PLANNED, Kind.WAIT, Mark.RAMP, Say("planned"), why, Say("next_mix"), rank=6)


def in_the_pot(pot: Pot, more: tuple[Say, ...] = ()) -> Verdict:
    """Mixed and not yet on: needs no probe."""
    why = Say("why_in_the_pot", {"mixed_at": pot.mixed_at, "usable_at": pot.usable_at})
    headline = Say("in_the_pot", {"pour_by": pot.pour_by})
    return Verdict(State.IN_THE_POT, Kind.ACT, Mark.CUP, headline, (why, *more), Say("next_pour"), rank=0)


def state_of(now: Standing) -> State:
    """How far it has come, whatever stands in the way of going on."""
    if _proven(now, Milestone.CURED):
        return State.FULLY_CURED
    if _proven(now, Milestone.DEMOULD):
        return State.DEMOULDABLE
    if _past(now.least, Milestone.SAND):
        return State.SANDABLE
    if _shut(now):
        return State.FIRM
    if _open(now):
        return State.RECOATABLE
    work_by = _at(now.newest, "working").early
    return State.WORKABLE if work_by is None or now.at < work_by else State.SETTING


def shuts_by(verdict: Verdict, at: int) -> int | None:
    """The time after which this verdict must not be read any more; None if neither headline nor why names one."""
    said = (verdict.headline, *verdict.why)
    times = (int(value) for item in said for name, value in item.values.items() if name.endswith("_by"))
    return min((time for time in times if time > at), default=None)


def _flags(now: Standing) -> frozenset[Flag]:
    found = {
        Flag.STOPPED_BY_COLD: now.stopped is not None,
        Flag.HARD_NOT_CURED: now.glassy is not None,
        Flag.WASH_FIRST: now.film.level is not None,
        Flag.WINDOW_MISSED: _shut(now),
        Flag.GAP: now.gap is not None,
        Flag.SUSPECT_MIX: now.suspect_since is not None,
        Flag.OUTSIDE_CARD: not now.minimum_C <= now.panel_C <= now.maximum_C,
    }
    return frozenset(flag for flag, raised in found.items() if raised)


def _torn(now: Standing, state: State) -> Verdict:
    """A hand found what the temperatures do not: no going on before it has felt again."""
    why = (Say("why_torn", {"was": state.value}), *_exposure(now))
    return not_known(Say("disagreement"), why, following=None)


def _suspect_mix(since: int) -> Verdict:
    """No time holds for such a pot, so none is given: neither sanding nor demoulding will come by waiting."""
    return not_known(Say("suspect_mix"), (Say("why_suspect_mix", {"passed_at": since}),), following=None)


def _cold(now: Standing, stopped: Stopped) -> Verdict:
    why = [cold_why(now, stopped)]
    following = Say("next_far", {"do": stopped.do})
    if stopped.warmed_h is not None:
        soon, likely, late = stopped.warmed_h
        warmth: dict[str, Value] = {"warm_C": stopped.warm_C, "do": stopped.do}
        why.append(Say("why_warmed", {**warmth, "warmed_h": likely}))
        following = Say("next_warmed", {**warmth, "warmed_h": likely, "soon_h": soon, "late_h": late})
    shuts = _at(now.newest, "recoat_until").early
    if _open(now) and not _shut(now) and shuts is not None:
        why.append(Say("why_shuts", {"shut_by": shuts}))
    headline = Say("stopped_by_cold", {"move_C": stopped.move_C})
    return Verdict(state_of(now), Kind.CARE, Mark.KNEE, headline, (*why, *_exposure(now)), following, rank=4)


def _wash_in_the_cold(now: Standing, level: str) -> Verdict:
    """Water and blush on a film that can be washed come before the heat: warmth would bake them in."""
    colder = _cold(now, now.stopped) if now.stopped is not None else None
    why = film_why(now.film) + (colder.why[:1] if colder else ())
    following = colder.next if colder else None
    return Verdict(state_of(now), Kind.CARE, Mark.DROP, Say(f"wash_{level}"), why, following, rank=3)


def _hard(now: Standing, glassy: Glassy) -> Verdict:
    why = [glassy_why(now, glassy)]
    if glassy.warmed_h is not None:
        warmed: dict[str, Value] = {"warm_C": glassy.warm_C, "do": "sand", "warmed_h": glassy.warmed_h}
        why.append(Say("why_warmed", warmed))
    following = Say("next_far", {"do": "sand"}) if glassy.warmed_h is None else None
    return Verdict(
        State.FIRM, Kind.CARE, Mark.KNEE, Say("hard_not_cured"), (*why, *_exposure(now)), following, rank=4
    )


def _sandable(now: Standing) -> Verdict:
    if now.film.level is not None:
        # Also when it was sanded unwashed: that has rubbed the blush in.
        following = Say("next_wash_then", {"do": "sand"})
        return Verdict(
            State.SANDABLE, Kind.CARE, Mark.DROP, Say("wash_sand"), film_why(now.film), following, rank=3
        )
    if _proven(now, Milestone.DEMOULD):
        return _demouldable(now)
    more = (now.cap,) if now.cap is not None else ()
    if now.sanded_at is not None:
        why = (Say("why_sanded", {"sanded_at": now.sanded_at}), *more)
        return Verdict(State.SANDABLE, Kind.GO, Mark.LAP, Say("sanded"), why, _demould_next(now), rank=5)
    passed = _at(now.least, "sand").late
    slow = Say("why_sandable", {"passed_at": now.at if passed is None else passed})
    if now.glassy is not None:
        why = (glassy_why(now, now.glassy), slow, *more)
        return Verdict(State.SANDABLE, Kind.CARE, Mark.TEETH, Say("sandable_cold"), why, None, rank=5)
    why = (slow, *more, *film_why(now.film))
    return Verdict(State.SANDABLE, Kind.GO, Mark.TEETH, Say("sandable"), why, _demould_next(now), rank=5)


def _demouldable(now: Standing) -> Verdict:
    full = _at(now.least, "cured")
    if _proven(now, Milestone.CURED):
        why = (Say("why_fully_cured", {"passed_at": now.at if full.late is None else full.late}),)
        return Verdict(State.FULLY_CURED, Kind.GO, Mark.BLOCK, Say("fully_cured"), why, rank=5)
    softens: dict[str, Value] = {"soften_C": now.soften_C if now.soften_C is not None else now.panel_C}
    ready = ahead(full, now.at)
    reason = Say("why_demouldable_far", softens)
    if ready is not None:
        reason = Say("why_demouldable", {**softens, "full_at": ready})
    return Verdict(State.DEMOULDABLE, Kind.GO, Mark.PEEL, Say("demouldable"), (reason,), rank=5)


def _firm(now: Standing) -> Verdict:
    sand = _at(now.least, "sand")
    following = sand_next(sand, now.at)
    if now.film.level is not None:
        headline, why = Say(f"wash_{now.film.level}"), film_why(now.film)
        return Verdict(State.FIRM, Kind.CARE, Mark.DROP, headline, why, following, rank=3)
    if sand.late is None:
        headline = Say("firm_far")
        reason = Say("why_firm_far", {"panel_C": now.panel_C, "trend": now.trend})
    elif now.gap is not None:
        headline = Say("gap", {"ready_from": sand.late, "missing_h": now.missing_h})
        reason = Say("why_gap", {"gap_at": now.gap[0], "gap_end_at": now.gap[1]})
    else:
        headline = Say("firm", {"sand_from": sand.late})
        reason = Say("why_firm", {"sand_at": ahead(sand, now.at) or sand.late})
    why = (reason, *film_why(now.film))
    return Verdict(State.FIRM, Kind.WAIT, Mark.RAMP, headline, why, following, rank=6)


def _in_the_window(now: Standing) -> Verdict:
    """Open, or so near to both ends that only a thumb can tell; exposed films are washed before anything else."""
    following = sand_next(_at(now.least, "sand"), now.at)
    if now.film.level is not None:
        return _exposed(now, now.film.level)
    if _thumb_decides(now):
        return Verdict(
            State.RECOATABLE, Kind.ACT, Mark.LAP, Say("overlap"), _thumb_why(now), following, rank=1
        )
    opens, shuts = _at(now.newest, "recoat_from"), _at(now.newest, "recoat_until")
    if shuts.early is None:
        # A window that outlives the outlook is one of deep cold, which has been answered before this.
        return _young(now)
    if shuts.early - now.at <= LAST_MS:
        last = Say("why_recoatable_last", {"shut_by": shuts.early, "shut_at": shuts.likely or shuts.early})
        return Verdict(
            State.RECOATABLE, Kind.ACT, Mark.LAP, Say("recoatable_last"), (last,), following, rank=1
        )
    opened = now.at if opens.late is None else opens.late
    why = Say("why_recoatable", {"opened_at": opened, "shut_at": shuts.likely or shuts.early})
    rank = 1 if shuts.early - now.at <= URGENT_MS else 4
    headline = Say("recoatable", {"shut_by": shuts.early})
    return Verdict(
        State.RECOATABLE, Kind.ACT, Mark.LAP, headline, (why, *film_why(now.film)), following, rank=rank
    )


def _exposed(now: Standing, level: str) -> Verdict:
    """A tacky film cannot be washed; a tack-free one can, and is coated the same day."""
    if not _washable(now):
        return _wash_later(now, State.RECOATABLE)
    shuts = _at(now.newest, "recoat_until").early
    in_time = shuts is not None and shuts - now.at > LAST_MS and not _thumb_decides(now)
    headline = (
        Say("wash_recoat", {"shut_by": shuts}) if in_time and shuts is not None else Say(f"wash_{level}")
    )
    following = (
        Say("next_wash_then", {"do": "recoat"}) if in_time else sand_next(_at(now.least, "sand"), now.at)
    )
    return Verdict(State.RECOATABLE, Kind.CARE, Mark.DROP, headline, film_why(now.film), following, rank=3)


def _wash_later(now: Standing, state: State) -> Verdict:
    firm = _at(now.newest, "tack_free").late
    if firm is None:
        return _far(now, state, None)
    headline = Say("wash_later", {"firm_from": firm})
    why = (Say("why_wash_later"), *film_why(now.film))
    return Verdict(state, Kind.WAIT, Mark.RAMP, headline, why, None, rank=4)


def _young(now: Standing) -> Verdict:
    working, opens = _at(now.newest, "working"), _at(now.newest, "recoat_from")
    following = Say("next_open", {"open_at": opens.likely}) if opens.likely is not None else None
    if working.early is None:
        return _far(now, State.WORKABLE, following)
    if now.at < working.early:
        values: dict[str, Value] = {"panel_C": now.panel_C, "workable_at": working.likely or working.early}
        headline, reason = Say("workable", {"work_by": working.early}), Say("why_workable", values)
        return Verdict(State.WORKABLE, Kind.ACT, Mark.CUP, headline, (reason,), following, rank=1)
    if now.film.level is not None:
        return _wash_later(now, State.SETTING)
    thumb = _no_safe_window(now) or now.cold_h > UNPROVEN_COLD_H
    begins = opens.likely if thumb else opens.late
    if begins is None:
        return _far(now, State.SETTING, Say("next_far", {"do": "recoat"}))
    headline = Say("setting_thumb" if thumb else "setting", {"open_from": begins})
    reason = Say(
        "why_setting",
        {"open_at": opens.likely or begins, "panel_C": now.panel_C, "trend": now.trend},
    )
    shuts = _at(now.newest, "recoat_until").likely
    following = Say("next_shut", {"shut_at": shuts}) if shuts is not None else None
    why = (reason, *film_why(now.film))
    return Verdict(State.SETTING, Kind.WAIT, Mark.RAMP, headline, why, following, rank=6)


def _far(now: Standing, state: State, following: Say | None) -> Verdict:
    why = Say("why_setting_far", {"panel_C": now.panel_C, "trend": now.trend})
    return Verdict(state, Kind.WAIT, Mark.RAMP, Say("setting_far"), (why,), following, rank=6)


def _thumb_why(now: Standing) -> tuple[Say, ...]:
    if now.cold_h > UNPROVEN_COLD_H:
        cold = Say("why_cold_unproven", {"cold_h": now.cold_h, "minimum_C": now.minimum_C})
        return (cold, *film_why(now.film))
    opens, shuts = _at(now.newest, "recoat_from"), _at(now.newest, "recoat_until")
    late = now.at if opens.late is None else opens.late
    return (Say("why_overlap", {"open_from": late, "shut_by": shuts.early or now.at}), *film_why(now.film))


def _exposure(now: Standing) -> tuple[Say, ...]:
    return film_why(now.film) if now.film.level is not None else ()


def _washable(now: Standing) -> bool:
    """A tacky film cannot be washed."""
    return _shut(now) or _past(now.newest, Milestone.TACK_FREE)


def _open(now: Standing) -> bool:
    return _past(now.newest, Milestone.RECOAT_FROM)


def _shut(now: Standing) -> bool:
    """The window counts as shut at its early end, or, where that leaves no window, at its middle."""
    if _no_safe_window(now):
        return _at(now.newest, "recoat_until").passed >= 0.5
    return _past(now.newest, Milestone.RECOAT_UNTIL)


def _thumb_decides(now: Standing) -> bool:
    """No clock can say when to recoat: the ends overlap, or too much of the time lies where the card claims nothing."""
    likely_open = _at(now.newest, "recoat_from").passed >= 0.5
    return likely_open and (_no_safe_window(now) or now.cold_h > UNPROVEN_COLD_H)


def _no_safe_window(now: Standing) -> bool:
    opens, shuts = _at(now.newest, "recoat_from"), _at(now.newest, "recoat_until")
    if shuts.early is None:
        return False
    return opens.late is None or opens.late + LEAST_WINDOW_MS > shuts.early


def _demould_next(now: Standing) -> Say | None:
    demould = _at(now.least, "demould").likely
    if now.cap is not None or now.glassy is not None or demould is None or demould <= now.at:
        return None
    return Say("next_demould", {"demould_at": demould})


def _proven(now: Standing, milestone: Milestone) -> bool:
    """Past it with all that demoulding asks for; what an invented card or a cold, glassy film says is no proof."""
    allowed = now.proven and now.cap is None and now.glassy is None
    return allowed and _past(now.least, Milestone.DEMOULD) and _past(now.least, milestone)


def _past(passings: Mapping[str, When], milestone: Milestone) -> bool:
    """Seen from the safe side."""
    return _at(passings, milestone.value).passed >= SAFE_SHARE[milestone]


def _at(passings: Mapping[str, When], name: str) -> When:
    return passings.get(name, NEVER)
