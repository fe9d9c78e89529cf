"""What suspicions of probes mean here: which readings are left out, and what people have already seen to.

A suspicion ends when the readings speak against it (collect says so), or when a person says that it was mended or
was right as it was. It counts again if newer readings, all taken after that was said, speak for it. Times UTC ms.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from collector.reading import Quantity, Suspicion
from dashboard.devices import PutRight
from model.verdict import Say, Value

END = 2**62
Span = tuple[int, int]
"""From (in) to (out), UTC ms."""

GRAVEST = ("sends_degF", "sends_degC", "swapped", "tape_off", "sunlit", "unsure")
"""Kinds that make a temperature not the panel's, the clearest first."""
BESIDE = ("sends_degF", "sends_degC", "swapped")
"""Those that spoil an air probe too. Sun on it spoils only its temperature, not the dew point: that stays in use."""
NOTICES = ("drift", "slow")
"""Kinds that only advise."""
LEANS = ("unsure", "unsure_humidity")
"""Kinds that make an answer "not known" and ring nothing: the readings only lean against the probe. A lean that
somebody answered comes back by newer readings only, as all do."""
QUIET = NOTICES + LEANS


def matters(
    suspicions: Iterable[Suspicion], probe: str, quantity: Quantity, beside: bool = False
) -> list[Suspicion]:
    """Those of a probe that spoil this quantity, ended ones too; the gravest first."""
    kinds: tuple[str, ...] = ()
    if quantity is Quantity.TEMPERATURE:
        kinds = BESIDE if beside else GRAVEST
    elif quantity is Quantity.RELATIVE_HUMIDITY:
        kinds = ("wet_end", "swapped", "unsure_humidity")
    mine = [item for item in suspicions if item.probe == probe and item.kind in kinds]
    return sorted(mine, key=lambda item: (kinds.index(item.kind), item.since))


def spans(suspicions: Iterable[Suspicion], said: Sequence[PutRight]) -> list[Span]:
    """When readings are in doubt."""
    found = []
    for item in suspicions:
        end = item.until if item.until is not None else END
        answer = _answer(item, said)
        if answer is None:
            found.append((item.since, end))
            continue
        if answer.fixed:
            found.append((item.since, min(answer.at, end)))
        if item.shown_from > answer.at:
            found.append((item.shown_from, end))
    return found


def standing(suspicions: Iterable[Suspicion], said: Sequence[PutRight]) -> Suspicion | None:
    """The first that nobody has seen to and that has not ended."""
    return next((item for item in suspicions if _stands(item, said)), None)


def unanswered(suspicions: Iterable[Suspicion], probe: str, said: Sequence[PutRight]) -> list[Suspicion]:
    """All of a probe that stand and that nobody has seen to; notices last. What rings says more than a lean."""
    mine = [item for item in suspicions if item.probe == probe and _stands(item, said)]
    if any(item.kind not in QUIET for item in mine):
        mine = [item for item in mine if item.kind not in LEANS]
    return sorted(mine, key=lambda item: (item.kind in NOTICES, item.since, item.kind))


def words(item: Suspicion, prefix: str) -> Say:
    """The sentence of that sort about it: "why_doubt", "doubt" or "alarm"; takes its numbers and its probe."""
    values: dict[str, Value] = {**item.numbers, "probe": item.probe, "since_at": item.since}
    return Say(f"{prefix}_{item.kind}", values)


def _stands(item: Suspicion, said: Sequence[PutRight]) -> bool:
    answer = _answer(item, said)
    return item.until is None and (answer is None or item.shown_from > answer.at)


def _answer(item: Suspicion, said: Sequence[PutRight]) -> PutRight | None:
    """The newest that was said since it began."""
    return next((answer for answer in reversed(said) if answer.at >= item.since), None)
