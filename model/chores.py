"""What some kinds of coat ask for beside recoating and sanding: trim, carve, pull the tape, take off ply or clamps.

A knife and a rasp have windows of about an hour. No range of a cure is so narrow, and trying early costs nothing
while coming late costs a grinder: so they are called from the early end of opening, until the early end of shutting
as a deadline, and then as long as the window may still be open.
"""

from __future__ import annotations

from model.film_times import Milestone
from model.passed import is_open, is_shut, is_workable, past, state_of, when
from model.reasons import ahead, film_why, glassy_why
from model.standing import Standing, When
from model.verdict import Kind, Mark, Say, Value, Verdict

URGENT_MS = 60 * 60_000


def chore_now(now: Standing) -> Verdict | None:
    """The chore whose time has come; None if there is none, or if a coat that is to follow hides it."""
    job = now.job
    if is_workable(now) or job.coat_to_come:
        return None
    if job.flange:
        found = _tried(now, "trim", Milestone.TRIM_FROM, Milestone.TRIM_UNTIL)
        if found is not None:
            return found
    if job.taped:
        found = _tried(now, "tape", Milestone.TACK_FREE, Milestone.TAPE_UNTIL)
        if found is not None and past(now.newest, Milestone.TACK_FREE):
            return found
    if job.carves and now.film.level is None:
        return _tried(now, "carve", Milestone.CARVE_FROM, Milestone.CARVE_UNTIL)
    return None


def _tried(now: Standing, key: str, opens: Milestone, shuts: Milestone) -> Verdict | None:
    """Between the early end of opening and the late end of shutting; a deadline only while its early end is ahead."""
    first, last = when(now.newest, opens), when(now.newest, shuts)
    if first.early is None or now.at < first.early or last.early is None:
        return None
    if last.late is not None and now.at >= last.late:
        return None
    likely = last.likely or last.early
    mark = Mark.PEEL if key == "tape" else Mark.BLADE
    why = [Say(f"why_{key}", {"shut_at": likely}), *film_why(now.film)]
    recoat_by = when(now.newest, Milestone.RECOAT_UNTIL).early
    if now.job.bonds and is_open(now) and not is_shut(now) and recoat_by is not None:
        why.append(Say("why_shuts", {"shut_by": recoat_by}))
    if past(now.newest, shuts):
        return Verdict(state_of(now), Kind.ACT, mark, Say(f"{key}_last"), tuple(why), rank=1)
    rank = 1 if last.early - now.at <= URGENT_MS else 4
    headline = Say(key, {"done_by": last.early})
    return Verdict(state_of(now), Kind.ACT, mark, headline, tuple(why), rank=rank)


def joint(now: Standing) -> Verdict:
    """A glue line in its clamps: nothing is said of its film, which nobody sees."""
    working, off = when(now.newest, Milestone.WORKING), when(now.newest, Milestone.CLAMPS_OFF)
    if is_workable(now) and working.early is not None:
        values: dict[str, Value] = {"panel_C": now.panel_C, "workable_at": working.likely or working.early}
        headline = Say("joint_workable", {"work_by": working.early})
        return Verdict(state_of(now), Kind.ACT, Mark.CUP, headline, (Say("why_workable", values),), rank=1)
    if not past(now.newest, Milestone.CLAMPS_OFF):
        return chore_now(now) or _clamped(now, off)
    passed = Say("why_sandable", {"passed_at": now.at if off.late is None else off.late})
    if now.glassy is not None:
        why = (glassy_why(now, now.glassy), passed)
        return Verdict(state_of(now), Kind.CARE, Mark.KNEE, Say("clamps_hard"), why, rank=4)
    if now.cap is not None:
        return Verdict(state_of(now), Kind.WAIT, Mark.RAMP, Say("clamps_unproven"), (now.cap, passed), rank=5)
    return Verdict(state_of(now), Kind.GO, Mark.PEEL, Say("clamps_off"), (passed,), rank=5)


def _clamped(now: Standing, off: When) -> Verdict:
    if off.late is None or off.late <= now.at:
        why = Say("why_setting_far", {"panel_C": now.panel_C, "trend": now.trend})
        return Verdict(state_of(now), Kind.WAIT, Mark.RAMP, Say("clamps_far"), (why,), rank=6)
    why = Say("why_clamps", {"clamps_at": ahead(off, now.at) or off.late})
    headline = Say("clamps_wait", {"clamps_from": off.late})
    return Verdict(state_of(now), Kind.WAIT, Mark.RAMP, headline, (why,), rank=6)


def under_ply(now: Standing) -> Verdict:
    """A coat with peel ply on it that has set: nothing is coated, washed or sanded before that is off."""
    off = when(now.newest, Milestone.PEEL_PLY_OFF)
    if past(now.newest, Milestone.PEEL_PLY_OFF) and now.glassy is None:
        why = Say("why_ply_pull", {"passed_at": now.at if off.late is None else off.late})
        return Verdict(state_of(now), Kind.GO, Mark.PEEL, Say("ply_pull"), (why,), rank=5)
    if off.late is None or off.late <= now.at:
        why = Say("why_setting_far", {"panel_C": now.panel_C, "trend": now.trend})
        return Verdict(state_of(now), Kind.WAIT, Mark.RAMP, Say("ply_far"), (why,), rank=6)
    why = Say("why_ply", {"ply_at": ahead(off, now.at) or off.late})
    return Verdict(
        state_of(now), Kind.WAIT, Mark.RAMP, Say("ply_wait", {"ply_from": off.late}), (why,), rank=6
    )


def beside(now: Standing) -> tuple[Say, ...]:
    """What is to be known of the kind of coat, whatever the headline."""
    job, said = now.job, []
    opens = when(now.newest, Milestone.RECOAT_FROM).likely
    if job.warmer_K and not past(now.least, Milestone.SAND):
        said.append(Say("why_fillet", {"warmer_K": job.warmer_K}))
        if job.vertical and opens is not None and opens > now.at:
            said.append(Say("why_sags", {"open_at": opens}))
    trim = when(now.newest, Milestone.TRIM_UNTIL).early
    if (
        job.flange
        and job.coat_to_come
        and trim is not None
        and trim > now.at
        and _begun(now, Milestone.TRIM_FROM)
    ):
        said.append(Say("why_trim_too", {"trim_by": trim}))
    late = when(now.newest, Milestone.TAPE_UNTIL).late
    if job.taped and not job.coat_to_come and late is not None and now.at >= late:
        said.append(Say("why_tape_on"))
    if job.ply_off_at is not None and now.sanded_at is None:
        said.append(Say("why_ply_off", {"off_at": job.ply_off_at}))
    return tuple(said)


def _begun(now: Standing, opens: Milestone) -> bool:
    early = when(now.newest, opens).early
    return early is not None and now.at >= early


def next_chore(now: Standing) -> Say | None:
    """The nearest chore that is likely still to come."""
    job = now.job
    asked = (
        (job.flange and not _begun(now, Milestone.TRIM_FROM), Milestone.TRIM_FROM, "trim_at"),
        (job.taped and not job.coat_to_come, Milestone.TACK_FREE, "tape_at"),
        (job.carves and not _begun(now, Milestone.CARVE_FROM), Milestone.CARVE_FROM, "carve_at"),
        (job.clamped, Milestone.CLAMPS_OFF, "clamps_at"),
        (job.under_ply, Milestone.PEEL_PLY_OFF, "ply_at"),
    )
    found = []
    for due, milestone, name in asked:
        likely = when(now.newest, milestone).likely if due else None
        if likely is not None and likely > now.at:
            found.append((likely, name))
    if not found:
        return None
    likely, name = min(found)
    return Say(f"next_{name.removesuffix('_at')}", {name: likely})


def nearer(one: Say | None, other: Say | None) -> Say | None:
    """Of two things that come next, the one that is likely sooner; where the first names no time, the first."""
    if one is None or other is None:
        return one or other
    return other if _likely(other) < _likely(one) else one


def _likely(said: Say) -> int:
    return min((int(value) for name, value in said.values.items() if name.endswith("_at")), default=0)
