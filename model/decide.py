"""From numbers about one panel to what to do: the order of questions a careful builder asks.

Every headline uses the safe end of a range: what opens is said at its late end, what shuts at its early end, so
that the verdict turns when it said it would. Times are UTC ms.
"""

from __future__ import annotations

from collections.abc import Mapping

from model.standing import NEVER, FilmNow, Glassy, Standing, Stopped, When
from model.verdict import Flag, Kind, Mark, Say, State, Value, Verdict

OPENS = 0.90
"""Share of the range that must have passed before "recoat" or "sand" is said (TRADE: sand is held at 10 %)."""
SHUTS = 0.05
"""Share of the range past the end of the recoat window at which it is called shut (TRADE: held at 5 %)."""
MARGIN_K = 3.0
"""ISO 8502-4's margin over the dew point, as cited by the trade."""
LAST_MS = 30 * 60_000
URGENT_MS = 60 * 60_000
LEAST_WINDOW_MS = 20 * 60_000
"""A window whose safe ends leave less than this is no window: the thumb decides."""


def decide(now: Standing) -> Verdict:
    """What to do with a panel whose temperature is known up to now, why, and what comes next."""
    flags = _flags(now)
    if now.pour_by is not None and now.at < now.pour_by:
        why = Say("why_in_the_pot", {"mixed_at": now.mixed_at, "usable_at": now.pour_by})
        return _verdict(
            State.IN_THE_POT,
            Kind.ACT,
            Mark.CUP,
            Say("in_the_pot", {"pour_by": now.pour_by}),
            (why,),
            None,
            flags,
            0,
        )
    if now.panel_C > now.maximum_C:
        return _outside(now, flags)
    sandable = _at(now.least, "sand").passed >= OPENS
    if sandable:
        return _sandable(now, flags)
    if now.film.level in ("heavy", "wet") and _washable(now) and (now.glassy or now.stopped):
        return _wash_in_the_cold(now, flags, now.film.level)
    if now.glassy is not None and (_shut(now) or now.stopped is None):
        return _hard(now, flags, now.glassy)
    if now.stopped is not None:
        return _cold(now, flags, now.stopped)
    if _shut(now):
        return _firm(now, flags)
    if _overlap(now):
        return _overlapping(now, flags)
    if _at(now.newest, "recoat_from").passed >= OPENS:
        return _recoatable(now, flags)
    return _young(now, flags)


def not_known(headline: Say, why: tuple[Say, ...], flag: Flag | None = None) -> Verdict:
    """An answer like any other: what is missing, since when, and the way out."""
    flags = frozenset([flag]) if flag else frozenset[Flag]()
    return Verdict(State.NOT_KNOWN, Kind.NOT_KNOWN, Mark.TORN, headline, why, Say("next_probe"), flags, 2)


def planned() -> Verdict:
    """A panel without a coat."""
    return Verdict(State.PLANNED, Kind.WAIT, Mark.RAMP, Say("planned"), (), Say("next_mix"), frozenset(), 6)


def state_of(now: Standing) -> State:
    """How far it has come, whatever stands in the way of going on."""
    if _at(now.least, "sand").passed >= OPENS:
        return State.SANDABLE
    if _shut(now):
        return State.FIRM
    if _at(now.newest, "recoat_from").passed >= OPENS:
        return State.RECOATABLE
    work_by = _at(now.newest, "working").early
    return State.WORKABLE if work_by is None or now.at < work_by else State.SETTING


def shuts_by(verdict: Verdict) -> int | None:
    """The time after which a headline must not be read any more; None if it names none."""
    times = [int(value) for name, value in verdict.headline.values.items() if name.endswith("_by")]
    return min(times, default=None)


def _flags(now: Standing) -> frozenset[Flag]:
    found = {
        Flag.STOPPED_BY_COLD: now.stopped is not None,
        Flag.HARD_NOT_CURED: now.glassy is not None,
        Flag.WASH_FIRST: now.film.level is not None,
        Flag.WINDOW_MISSED: _shut(now),
        Flag.GAP: now.gap is not None,
        Flag.OUTSIDE_CARD: not now.minimum_C <= now.panel_C <= now.maximum_C,
    }
    return frozenset(flag for flag, raised in found.items() if raised)


def _outside(now: Standing, flags: frozenset[Flag]) -> Verdict:
    why = Say("why_outside_card", {"minimum_C": now.minimum_C, "maximum_C": now.maximum_C})
    headline = Say("outside_card_hot", {"panel_C": now.panel_C})
    return _verdict(State.NOT_KNOWN, Kind.NOT_KNOWN, Mark.TORN, headline, (why,), None, flags, 2)


def _cold(now: Standing, flags: frozenset[Flag], stopped: Stopped) -> Verdict:
    if now.since_cold is not None:
        why = [_colder_than_card(now, now.since_cold)]
    else:
        why = [Say("why_stopped_far", {"panel_C": now.panel_C, "do": stopped.do})]
    following = Say("next_far", {"do": stopped.do})
    if stopped.warmed_h is not None:
        soon, likely, late = stopped.warmed_h
        warmth: dict[str, Value] = {"warm_C": stopped.warm_C, "do": stopped.do}
        why.append(Say("why_warmed", {**warmth, "warmed_h": late}))
        following = Say("next_warmed", {**warmth, "warmed_h": likely, "soon_h": soon, "late_h": late})
    headline = Say("stopped_by_cold", {"move_C": stopped.move_C})
    why += _film_why(now.film)
    return _verdict(
        state_of(now),
        Kind.CARE,
        Mark.KNEE,
        headline,
        tuple(why),
        following,
        flags,
        4,
    )


def _colder_than_card(now: Standing, since: int) -> Say:
    return Say("why_stopped_by_cold", {"panel_C": now.panel_C, "minimum_C": now.minimum_C, "since_at": since})


def _wash_in_the_cold(now: Standing, flags: frozenset[Flag], level: str) -> Verdict:
    """Water and blush on a film that can be washed come before the heat: warmth would bake them in."""
    colder = _cold(now, flags, now.stopped) if now.stopped is not None else None
    why = tuple(_film_why(now.film)) + (colder.why[:1] if colder else ())
    following = colder.next if colder else None
    return _verdict(state_of(now), Kind.CARE, Mark.DROP, Say(f"wash_{level}"), why, following, flags, 3)


def _hard(now: Standing, flags: frozenset[Flag], glassy: Glassy) -> Verdict:
    why = [Say("why_hard_not_cured", {"panel_C": now.panel_C, "soften_C": glassy.soften_C})]
    if glassy.warmed_h is not None:
        why.append(Say("why_warmed", {"warm_C": glassy.warm_C, "do": "sand", "warmed_h": glassy.warmed_h}))
    return _verdict(State.FIRM, Kind.CARE, Mark.KNEE, Say("hard_not_cured"), tuple(why), None, flags, 4)


def _sandable(now: Standing, flags: frozenset[Flag]) -> Verdict:
    passed = _at(now.least, "sand").late
    after = _demould_next(now)
    if now.film.level is not None and not now.sanded:
        return _verdict(
            State.SANDABLE, Kind.CARE, Mark.DROP, Say("wash_sand"), tuple(_film_why(now.film)),
            Say("next_wash_then", {"do": "sand"}), flags, 3,
        )  # fmt: skip
    why = [Say("why_sandable", {"passed_at": passed if passed is not None else now.at})]
    if now.glassy is not None:
        why.append(Say("why_hard_not_cured", {"panel_C": now.panel_C, "soften_C": now.glassy.soften_C}))
    why += [now.cap] if now.cap is not None else []
    why += _unmeasured(now.film)
    return _verdict(State.SANDABLE, Kind.GO, Mark.TEETH, Say("sandable"), tuple(why), after, flags, 5)


def _firm(now: Standing, flags: frozenset[Flag]) -> Verdict:
    sand = _at(now.least, "sand")
    if now.film.level is not None:
        return _verdict(
            State.FIRM, Kind.CARE, Mark.DROP, Say(f"wash_{now.film.level}"), tuple(_film_why(now.film)),
            _sand_next(sand), flags, 3,
        )  # fmt: skip
    if now.gap is not None and sand.late is not None:
        headline = Say("gap", {"ready_from": sand.late, "missing_h": now.missing_h})
        why = (Say("why_gap", {"gap_at": now.gap[0], "gap_end_at": now.gap[1]}),)
    elif sand.late is not None:
        headline = Say("firm", {"sand_from": sand.late})
        why = (Say("why_firm", {"sand_at": sand.likely if sand.likely is not None else sand.late}),)
    else:
        headline = Say("firm_far")
        why = (Say("why_firm_far", {"panel_C": now.panel_C, "trend": now.trend}),)
    return _verdict(
        State.FIRM, Kind.WAIT, Mark.RAMP, headline, (*why, *_unmeasured(now.film)), _sand_next(sand), flags, 6
    )


def _recoatable(now: Standing, flags: frozenset[Flag]) -> Verdict:
    opens, shuts = _at(now.newest, "recoat_from"), _at(now.newest, "recoat_until")
    tack_free = _at(now.newest, "tack_free")
    if now.film.level is not None:
        return _exposed_while_open(now, flags, shuts, tack_free)
    if shuts.early is None:
        # The window stays open beyond the outlook only in deep cold, which decide() has answered before this.
        return _young(now, flags)
    following = _sand_next(_at(now.least, "sand"))
    rank = 1 if shuts.early - now.at <= URGENT_MS else 4
    if shuts.early - now.at <= LAST_MS:
        why = Say("why_recoatable_last", {"shut_by": shuts.early, "shut_at": shuts.likely or shuts.early})
        return _verdict(
            State.RECOATABLE, Kind.ACT, Mark.LAP, Say("recoatable_last"), (why,), following, flags, 1
        )
    why = Say(
        "why_recoatable",
        {
            "opened_at": opens.late if opens.late is not None else now.at,
            "shut_at": shuts.likely or shuts.early,
        },
    )
    headline = Say("recoatable", {"shut_by": shuts.early})
    return _verdict(
        State.RECOATABLE, Kind.ACT, Mark.LAP, headline, (why, *_unmeasured(now.film)), following, flags, rank
    )


def _exposed_while_open(now: Standing, flags: frozenset[Flag], shuts: When, tack_free: When) -> Verdict:
    """A tacky film cannot be washed; a tack-free one can, and is coated the same day."""
    why = tuple(_film_why(now.film))
    if tack_free.passed < OPENS:
        if tack_free.late is None:
            return _young(now, flags)
        headline = Say("wash_later", {"firm_from": tack_free.late})
        return _verdict(
            State.RECOATABLE, Kind.WAIT, Mark.RAMP, headline, (Say("why_wash_later"), *why), None, flags, 4
        )
    headline = Say("wash_recoat", {"shut_by": shuts.early}) if shuts.early is not None else Say("wash_some")
    return _verdict(
        State.RECOATABLE,
        Kind.CARE,
        Mark.DROP,
        headline,
        why,
        Say("next_wash_then", {"do": "recoat"}),
        flags,
        3,
    )


def _overlapping(now: Standing, flags: frozenset[Flag]) -> Verdict:
    opens, shuts = _at(now.newest, "recoat_from"), _at(now.newest, "recoat_until")
    late = opens.late if opens.late is not None else now.at
    why = Say("why_overlap", {"open_from": late, "shut_by": shuts.early or now.at})
    return _verdict(
        State.RECOATABLE, Kind.ACT, Mark.LAP, Say("overlap"), (why, *_film_why(now.film)),
        _sand_next(_at(now.least, "sand")), flags, 1,
    )  # fmt: skip


def _young(now: Standing, flags: frozenset[Flag]) -> Verdict:
    working, opens = _at(now.newest, "working"), _at(now.newest, "recoat_from")
    if working.early is None or now.at < working.early:
        following = Say("next_open", {"open_at": opens.likely}) if opens.likely is not None else None
        if working.early is None:
            return _far(now, flags, State.WORKABLE, following)
        why = Say(
            "why_workable",
            {
                "panel_C": now.panel_C,
                "workable_at": working.likely if working.likely is not None else working.early,
            },
        )
        headline = Say("workable", {"work_by": working.early})
        return _verdict(State.WORKABLE, Kind.ACT, Mark.CUP, headline, (why,), following, flags, 1)
    if opens.late is None:
        return _far(now, flags, State.SETTING, Say("next_far", {"do": "recoat"}))
    why = Say(
        "why_setting",
        {
            "open_at": opens.likely if opens.likely is not None else opens.late,
            "panel_C": now.panel_C,
            "trend": now.trend,
        },
    )
    shuts = _at(now.newest, "recoat_until")
    following = Say("next_shut", {"shut_at": shuts.likely}) if shuts.likely is not None else None
    headline = Say("setting", {"open_from": opens.late})
    return _verdict(
        State.SETTING, Kind.WAIT, Mark.RAMP, headline, (why, *_film_why(now.film)), following, flags, 6
    )


def _far(now: Standing, flags: frozenset[Flag], state: State, following: Say | None) -> Verdict:
    why = Say("why_setting_far", {"panel_C": now.panel_C, "trend": now.trend})
    return _verdict(state, Kind.WAIT, Mark.RAMP, Say("setting_far"), (why,), following, flags, 6)


def _washable(now: Standing) -> bool:
    """A tacky film cannot be washed."""
    return _shut(now) or _at(now.newest, "tack_free").passed >= OPENS


def _shut(now: Standing) -> bool:
    """The window counts as shut at its early end, or, where that leaves no window, at its middle."""
    until = _at(now.newest, "recoat_until")
    return until.passed >= (0.5 if _no_safe_window(now) else SHUTS)


def _overlap(now: Standing) -> bool:
    """The late opening lies past the early closing: no clock can say when to recoat, a thumb can."""
    return _no_safe_window(now) and _at(now.newest, "recoat_from").passed >= 0.5


def _no_safe_window(now: Standing) -> bool:
    opens, shuts = _at(now.newest, "recoat_from"), _at(now.newest, "recoat_until")
    if shuts.early is None:
        return False
    return opens.late is None or opens.late + LEAST_WINDOW_MS > shuts.early


def _film_why(film: FilmNow) -> list[Say]:
    if film.level == "wet" and film.wet_at is not None and film.dry_at is not None:
        return [
            Say(
                "why_wash_wet",
                {"under_K": max(film.under_K, 0.0), "wet_at": film.wet_at, "dry_at": film.dry_at},
            )
        ]
    if film.level is None:
        return []
    if film.missing_h > film.exposed_h / 2:
        return [Say("why_wash_gap", {"missing_h": film.missing_h})]
    if film.margin_h >= 0.5:
        return [Say("why_wash_margin", {"margin_K": MARGIN_K, "exposed_h": film.margin_h})]
    return [Say("why_wash_some", {"exposed_h": film.exposed_h})]


def _unmeasured(film: FilmNow) -> list[Say]:
    return [] if film.measured else [Say("why_film_not_measured")]


def _sand_next(sand: When) -> Say:
    return (
        Say("next_sand", {"sand_at": sand.likely})
        if sand.likely is not None
        else Say("next_far", {"do": "sand"})
    )


def _demould_next(now: Standing) -> Say | None:
    demould = _at(now.least, "demould")
    if now.cap is not None or demould.likely is None or demould.likely <= now.at:
        return None
    return Say("next_demould", {"demould_at": demould.likely})


def _at(passings: Mapping[str, When], name: str) -> When:
    return passings.get(name, NEVER)


def _verdict(
    state: State, kind: Kind, mark: Mark, headline: Say, why: tuple[Say, ...], following: Say | None,
    flags: frozenset[Flag], rank: int,
) -> Verdict:  # fmt: skip
    return Verdict(state, kind, mark, headline, why, following, flags, rank)
