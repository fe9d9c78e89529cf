"""What decide() answers where no simulated night leads to it."""

from __future__ import annotations

from dataclasses import replace

from model.decide import decide
from model.milestones import SAFE_SHARE
from model.passed import state_of
from model.resin_card import Milestone
from model.standing import NEVER, FilmNow, Glassy, Standing, When
from model.verdict import Flag, Kind, Say, State

HOUR_MS = 3_600_000
PASSED = When(HOUR_MS, 2 * HOUR_MS, 3 * HOUR_MS, 1.0)
SANDABLE = Standing(
    at=40 * HOUR_MS,
    panel_C=20.0,
    trend="steady",
    minimum_C=10.0,
    maximum_C=35.0,
    newest={milestone.value: PASSED for milestone in Milestone},
    least={milestone.value: PASSED for milestone in Milestone},
    film=FilmNow(None),
)


def test_a_suspect_mix_is_never_ready_whatever_the_clock_says() -> None:
    assert decide(SANDABLE).state is State.SANDABLE
    found = decide(replace(SANDABLE, suspect_since=12 * HOUR_MS))
    assert found.state is State.NOT_KNOWN
    assert found.kind is Kind.NOT_KNOWN
    assert Flag.SUSPECT_MIX in found.flags
    assert found.headline.key == "suspect_mix"
    assert found.why[0].values == {"passed_at": 12 * HOUR_MS}
    assert found.next is None


def test_what_opens_is_said_from_its_own_share_of_the_range_on() -> None:
    """The recoat window asks for more than sanding does, and shuts by one in twenty."""
    young = {"recoat_from": When(None, None, None, 0.92), "recoat_until": When(None, None, None, 0.0)}
    at = replace(SANDABLE, newest=young, least={})
    assert SAFE_SHARE[Milestone.RECOAT_FROM] == 0.93
    assert decide(at).state is not State.RECOATABLE
    opened = replace(at, newest=young | {"recoat_from": When(HOUR_MS, HOUR_MS, HOUR_MS, 0.93)})
    shuts = When(50 * HOUR_MS, 60 * HOUR_MS, 70 * HOUR_MS, 0.0)
    assert decide(replace(opened, newest=opened.newest | {"recoat_until": shuts})).state is State.RECOATABLE
    shut = When(39 * HOUR_MS, 60 * HOUR_MS, 70 * HOUR_MS, 0.05)
    assert decide(replace(opened, newest=opened.newest | {"recoat_until": shut})).state is State.FIRM


def test_a_film_that_feels_hard_in_its_open_window_is_told_when_that_shuts() -> None:
    """What may still be coated must not be lost for want of a word, though its headline is about sanding."""
    shuts = When(50 * HOUR_MS, 60 * HOUR_MS, 70 * HOUR_MS, 0.0)
    newest = {"recoat_from": When(HOUR_MS, HOUR_MS, HOUR_MS, 1.0), "recoat_until": shuts}
    hard = decide(replace(SANDABLE, newest=newest, least={}, glassy=Glassy(46.0, 20.0, 4.0)))
    assert hard.headline.key == "hard_not_cured"
    assert Say("why_shuts", {"shut_by": 50 * HOUR_MS}) in hard.why
    missed = newest | {"recoat_until": replace(shuts, passed=0.05)}
    late = decide(replace(SANDABLE, newest=missed, least={}, glassy=Glassy(46.0, 20.0, 4.0)))
    assert "why_shuts" not in {why.key for why in late.why}


def test_demoulding_asks_for_proof_beside_the_range_and_full_cure_for_no_less() -> None:
    """95 % of the range is not enough; nor is proof for an invented card, or for a cold, glassy film."""
    firm = replace(SANDABLE, proven=True, soften_C=46.0, least=SANDABLE.least | {"cured": NEVER})
    assert decide(replace(firm, proven=False)).state is State.SANDABLE
    assert decide(replace(firm, cap=Say("why_air_only"))).state is State.SANDABLE
    assert decide(replace(firm, glassy=Glassy(46.0, 20.0, 4.0))).state is State.SANDABLE
    young = firm.least | {"demould": When(None, None, None, 0.94)}
    assert decide(replace(firm, least=young)).state is State.SANDABLE
    assert decide(replace(firm, suspect_since=HOUR_MS)).state is State.NOT_KNOWN
    found = decide(firm)
    assert found.state is state_of(firm) is State.DEMOULDABLE
    assert found.why[0] == Say("why_demouldable_far", {"soften_C": 46.0})
    soon = replace(firm, least=firm.least | {"cured": When(None, 90 * HOUR_MS, None, 0.2)})
    assert decide(soon).why[0].values["full_at"] == 90 * HOUR_MS
    far = replace(firm, least=SANDABLE.least)
    assert decide(far).state is state_of(far) is State.DEMOULDABLE, (
        "what proves demoulding proves no full cure"
    )
    cured = replace(far, proven_cured=True)
    assert decide(cured).state is state_of(cured) is State.FULLY_CURED


def test_a_likely_time_that_has_passed_is_said_as_passed_and_the_slow_end_is_not_called_likely() -> None:
    """Headline and "next" go on waiting for the slow end; the likely time stays the likely one."""
    slow = When(20 * HOUR_MS, 30 * HOUR_MS, 50 * HOUR_MS, 0.7)
    late = decide(replace(SANDABLE, least=SANDABLE.least | {"sand": slow}))
    assert late.headline == Say("firm", {"sand_from": 50 * HOUR_MS})
    assert late.why[0] == Say("why_firm_slow", {"sand_at": 30 * HOUR_MS})
    assert late.next == Say("next_sand_late", {"sand_from": 50 * HOUR_MS})
    soon = decide(replace(SANDABLE, at=25 * HOUR_MS, least=SANDABLE.least | {"sand": slow}))
    assert soon.why[0] == Say("why_firm", {"sand_at": 30 * HOUR_MS})
    assert soon.next == Say("next_sand", {"sand_at": 30 * HOUR_MS})
