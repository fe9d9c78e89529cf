"""From numbers about one panel to what to do: the order of questions a careful builder asks.

Every headline uses the safe end of a range: what opens is said at its late end, what shuts at its early end, so
that the verdict turns when it said it would. Times are UTC ms.
"""

from __future__ import annotations

from dataclasses import replace

from model.chores import URGENT_MS, beside, chore_now, joint, nearer, next_chore, under_ply
from model.film_times import Milestone
from model.passed import (
    UNPROVEN_COLD_H,
    is_open,
    is_shut,
    is_workable,
    no_safe_window,
    past,
    proven,
    state_of,
    thumb_decides,
    washable,
    when,
)
from model.reasons import ahead, cold_why, film_why, glassy_why, sand_next
from model.standing import Glassy, Pot, Standing, Stopped
from model.verdict import Flag, Kind, Mark, Say, State, Value, Verdict

LAST_MS = 30 * 60_000
_GO_ON = {
    "recoatable", "recoatable_last", "wash_recoat", "sandable", "sandable_cold", "sanded", "wash_sand",
    "demouldable", "fully_cured", "clamps_off", "ply_pull",
}  # fmt: skip
"""Headlines under which somebody works on, which a thumb that says otherwise takes back."""
_COATS = {"recoatable", "recoatable_last", "overlap", "sanded"}
"""Headlines under which somebody puts a coat on as it is."""
_MAKE_IT_HEARD = Say("next_probe")


def decide(now: Standing) -> Verdict:
    """What to do with a panel whose temperature is known up to now, why, and what comes next."""
    answer = _answer(now)
    if now.torn and answer.headline.key in _GO_ON:
        return replace(_torn(now, answer.state), flags=_flags(now))
    if now.under_K is not None and answer.headline.key in _COATS:
        answer = _wet(answer, now.under_K)
    why = (Say("why_disagreement"), *answer.why) if now.disagrees else answer.why
    if answer.kind is Kind.NOT_KNOWN or answer.state is State.IN_THE_POT:
        return replace(answer, why=why, flags=_flags(now))
    why, following = (*why, *beside(now)), nearer(answer.next, next_chore(now))
    return replace(answer, why=why, next=following, flags=_flags(now))


def _answer(now: Standing) -> Verdict:
    if now.pot is not None and now.at < now.pot.pour_by:
        return in_the_pot(now.pot, (cold_why(now, now.stopped),) if now.stopped else ())
    if now.panel_C > now.maximum_C:
        why = Say("why_outside_card", {"minimum_C": now.minimum_C, "maximum_C": now.maximum_C})
        return not_known(Say("outside_card_hot", {"panel_C": now.panel_C}), (why,), following=None)
    if now.suspect_since is not None:
        return _suspect_mix(now.suspect_since)
    if now.job.clamped:
        return _cold(now, now.stopped) if now.stopped is not None else joint(now)
    below = now.panel_C < now.minimum_C
    if past(now.least, Milestone.SAND) and not (now.glassy and below):
        return _sandable(now)
    if now.film.level in ("heavy", "wet") and washable(now) and (now.glassy or now.stopped):
        return _wash_in_the_cold(now, now.film.level)
    if now.glassy is not None and (is_shut(now) or now.stopped is None):
        return _hard(now, now.glassy)
    if now.stopped is not None:
        return _cold(now, now.stopped)
    chore = chore_now(now)
    if chore is not None:
        return chore
    if now.job.under_ply and not is_workable(now):
        return under_ply(now)
    if is_shut(now):
        return _firm(now)
    if is_open(now) or thumb_decides(now):
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
        Flag.WINDOW_MISSED: is_shut(now) and now.job.bonds,
        Flag.GAP: now.gap is not None,
        Flag.SUSPECT_MIX: now.suspect_since is not None,
        Flag.OUTSIDE_CARD: not now.minimum_C <= now.panel_C <= now.maximum_C,
    }
    return frozenset(flag for flag, raised in found.items() if raised)


def _torn(now: Standing, state: State) -> Verdict:
    """A hand found what the temperatures do not: no going on before it has felt again."""
    why = (Say("why_torn", {"was": state.value}), *_exposure(now))
    return not_known(Say("disagreement"), why, following=None)


def _wet(answer: Verdict, under_K: float) -> Verdict:
    """However ready a film is, nothing is coated while water lies on it; when its window shuts is told all the same."""
    shuts = answer.headline.values.get("shut_by")
    more = () if shuts is None else (Say("why_shuts", {"shut_by": shuts}),)
    why = (Say("why_wet_now", {"under_K": max(under_K, 0.0)}), *answer.why, *more)
    return replace(answer, kind=Kind.CARE, mark=Mark.DROP, headline=Say("wash_wet"), why=why, rank=3)


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
    headline = Say("stopped_by_cold", {"move_C": stopped.move_C})
    why += _still_open(now)
    return Verdict(state_of(now), Kind.CARE, Mark.KNEE, headline, (*why, *_exposure(now)), following, rank=4)


def _still_open(now: Standing) -> list[Say]:
    """When the window of a film shuts that is told something else first."""
    shuts = when(now.newest, Milestone.RECOAT_UNTIL).early
    told = now.job.bonds and is_open(now) and not is_shut(now) and shuts is not None
    return [Say("why_shuts", {"shut_by": shuts})] if told and shuts is not None else []


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
    headline = Say("ply_hard" if now.job.under_ply else "hard_not_cured")
    why += _still_open(now)
    return Verdict(State.FIRM, Kind.CARE, Mark.KNEE, headline, (*why, *_exposure(now)), following, rank=4)


def _sandable(now: Standing) -> Verdict:
    if now.job.under_ply and not proven(now, Milestone.DEMOULD):
        return under_ply(now) if now.glassy is None else _hard(now, now.glassy)
    if now.film.level is not None:
        # Also when it was sanded unwashed: that has rubbed the blush in.
        following = Say("next_wash_then", {"do": "sand"})
        return Verdict(
            State.SANDABLE, Kind.CARE, Mark.DROP, Say("wash_sand"), film_why(now.film), following, rank=3
        )
    if proven(now, Milestone.DEMOULD):
        return _demouldable(now)
    more = (now.cap,) if now.cap is not None else ()
    if now.sanded_at is not None:
        why = (Say("why_sanded", {"sanded_at": now.sanded_at}), *more)
        return Verdict(State.SANDABLE, Kind.GO, Mark.LAP, Say("sanded"), why, _demould_next(now), rank=5)
    passed = when(now.least, Milestone.SAND).late
    slow = Say("why_sandable", {"passed_at": now.at if passed is None else passed})
    if now.glassy is not None:
        why = (glassy_why(now, now.glassy), slow, *more)
        return Verdict(State.SANDABLE, Kind.CARE, Mark.TEETH, Say("sandable_cold"), why, None, rank=5)
    why = (slow, *more, *film_why(now.film))
    return Verdict(State.SANDABLE, Kind.GO, Mark.TEETH, Say("sandable"), why, _demould_next(now), rank=5)


def _demouldable(now: Standing) -> Verdict:
    full = when(now.least, Milestone.CURED)
    if proven(now, Milestone.CURED):
        why = (Say("why_fully_cured", {"passed_at": now.at if full.late is None else full.late}),)
        return Verdict(State.FULLY_CURED, Kind.GO, Mark.BLOCK, Say("fully_cured"), why, rank=5)
    softens: dict[str, Value] = {"soften_C": now.soften_C if now.soften_C is not None else now.panel_C}
    ready = ahead(full, now.at)
    reason = Say("why_demouldable_far", softens)
    if ready is not None:
        reason = Say("why_demouldable", {**softens, "full_at": ready})
    return Verdict(State.DEMOULDABLE, Kind.GO, Mark.PEEL, Say("demouldable"), (reason,), rank=5)


def _firm(now: Standing) -> Verdict:
    sand = when(now.least, Milestone.SAND)
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
        reason = Say("why_firm", {"sand_at": sand.likely or sand.late})
        if sand.likely is not None and sand.likely <= now.at:
            reason = Say("why_firm_slow", {"sand_at": sand.likely})
    why = (reason, *film_why(now.film))
    return Verdict(State.FIRM, Kind.WAIT, Mark.RAMP, headline, why, following, rank=6)


def _in_the_window(now: Standing) -> Verdict:
    """Open, or so near to both ends that only a thumb can tell; exposed films are washed before anything else."""
    following = sand_next(when(now.least, Milestone.SAND), now.at)
    if now.film.level is not None:
        return _exposed(now, now.film.level)
    if thumb_decides(now):
        return Verdict(
            State.RECOATABLE, Kind.ACT, Mark.LAP, Say("overlap"), _thumb_why(now), following, rank=1
        )
    opens, shuts = when(now.newest, Milestone.RECOAT_FROM), when(now.newest, Milestone.RECOAT_UNTIL)
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
    if not washable(now):
        return _wash_later(now, State.RECOATABLE)
    shuts = when(now.newest, Milestone.RECOAT_UNTIL).early
    in_time = shuts is not None and shuts - now.at > LAST_MS and not thumb_decides(now)
    headline = (
        Say("wash_recoat", {"shut_by": shuts}) if in_time and shuts is not None else Say(f"wash_{level}")
    )
    following = (
        Say("next_wash_then", {"do": "recoat"})
        if in_time
        else sand_next(when(now.least, Milestone.SAND), now.at)
    )
    return Verdict(State.RECOATABLE, Kind.CARE, Mark.DROP, headline, film_why(now.film), following, rank=3)


def _wash_later(now: Standing, state: State) -> Verdict:
    firm = when(now.newest, Milestone.TACK_FREE).late
    if firm is None:
        return _far(now, state, None)
    headline = Say("wash_later", {"firm_from": firm})
    why = (Say("why_wash_later"), *film_why(now.film))
    return Verdict(state, Kind.WAIT, Mark.RAMP, headline, why, None, rank=4)


def _young(now: Standing) -> Verdict:
    working, opens = when(now.newest, Milestone.WORKING), when(now.newest, Milestone.RECOAT_FROM)
    following = Say("next_open", {"open_at": opens.likely}) if opens.likely is not None else None
    if working.early is None:
        return _far(now, State.WORKABLE, following)
    if now.at < working.early:
        values: dict[str, Value] = {"panel_C": now.panel_C, "workable_at": working.likely or working.early}
        headline, reason = Say("workable", {"work_by": working.early}), Say("why_workable", values)
        return Verdict(State.WORKABLE, Kind.ACT, Mark.CUP, headline, (reason,), following, rank=1)
    if now.film.level is not None:
        return _wash_later(now, State.SETTING)
    thumb = no_safe_window(now) or now.cold_h > UNPROVEN_COLD_H
    begins = opens.likely if thumb else opens.late
    if begins is None:
        return _far(now, State.SETTING, Say("next_far", {"do": "recoat"}))
    headline = Say("setting_thumb" if thumb else "setting", {"open_from": begins})
    reason = Say(
        "why_setting",
        {"open_at": opens.likely or begins, "panel_C": now.panel_C, "trend": now.trend},
    )
    shuts = when(now.newest, Milestone.RECOAT_UNTIL).likely
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
    opens, shuts = when(now.newest, Milestone.RECOAT_FROM), when(now.newest, Milestone.RECOAT_UNTIL)
    late = now.at if opens.late is None else opens.late
    return (Say("why_overlap", {"open_from": late, "shut_by": shuts.early or now.at}), *film_why(now.film))


def _exposure(now: Standing) -> tuple[Say, ...]:
    return film_why(now.film) if now.film.level is not None else ()


def _demould_next(now: Standing) -> Say | None:
    demould = when(now.least, Milestone.DEMOULD).likely
    if now.cap is not None or now.glassy is not None or demould is None or demould <= now.at:
        return None
    return Say("next_demould", {"demould_at": demould})
