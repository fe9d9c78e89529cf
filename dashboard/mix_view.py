"""Before you mix as a page shows it: text and a ribbon of hours, all ready."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard import mix_words
from dashboard.display import View
from dashboard.mix_hour import Choice, MixHour
from dashboard.words import LABELS
from model.mix_now import Answer
from model.verdict import Kind, Mark

BAR, TALL = 14, 44
"""Width of an hour and height of the ribbon, in the picture's own units."""
HEIGHT = {Answer.MIX_NOW: 44, Answer.MIX_IF: 26, Answer.NOT_YET: 8}
LOOK = {Answer.MIX_NOW: "now", Answer.MIX_IF: "perhaps", Answer.NOT_YET: "no"}
LABEL_EACH = 4


@dataclass(frozen=True)
class Line:
    """One check: its text, and how it stands in a word ("" if it is fine)."""

    text: str
    stands: str
    word: str


@dataclass(frozen=True)
class Bar:
    """One start of the ribbon; label: its hour, or "" where there is no room."""

    x: int
    y: int
    height: int
    look: str
    label: str


@dataclass(frozen=True)
class Row:
    """One start as numbers."""

    at: str
    answer: str
    panel: str
    margin: str
    least: str
    free: str


@dataclass(frozen=True)
class HourView:
    """All of the page's text."""

    kind: Kind
    mark: Mark
    headline: str
    more: str
    latest: str
    best: str
    last_said: str
    checks: tuple[Line, ...]
    bars: tuple[Bar, ...]
    rows: tuple[Row, ...]

    @property
    def contour(self) -> str:
        return self.kind.value.replace(" ", "-")

    @property
    def width(self) -> int:
        return BAR * max(len(self.bars), 1)


def hour_view(hour: MixHour, view: View) -> HourView:
    """The answer as this viewer's text."""
    kind, mark = mix_words.look(hour)
    head = view.sentence(mix_words.headline(hour))
    known, many = hour.now is not None, len(hour.choices) > 1
    more = mix_words.others(hour)
    return HourView(
        kind,
        mark,
        head,
        "" if not more else LABELS["one_more"] if more == 1 else LABELS["more_things"].format(n=more),
        view.sentence(mix_words.latest(hour)) if known else "",
        view.sentence(mix_words.best(hour)) if many else "",
        LABELS["last_said"].format(at=view.clock(hour.at), said=head),
        tuple(_line(check, view) for check in mix_words.checks(hour)),
        tuple(_bar(number, choice, view) for number, choice in enumerate(hour.choices)) if many else (),
        tuple(_row(choice, view) for choice in hour.choices),
    )


def card_row(hour: MixHour, view: View) -> str:
    """ "mix if; latest 21:40": another card in short."""
    if hour.answer is None:
        return LABELS["not known"]
    answer, found = hour.answer.value, hour.latest
    if found is None:
        return LABELS["card_row_unknown"].format(answer=answer)
    if found.closes_ms is None and hour.shut_by is None:
        return LABELS["card_row_open"].format(answer=answer)
    late = [at for at in (found.latest_ms, hour.shut_by) if at is not None]
    if not late or (found.closes_ms is not None and found.latest_ms is None):
        return LABELS["card_row_none"].format(answer=answer)
    return LABELS["card_row"].format(answer=answer, at=view.clock(view.rounded(min(late), "mix_by")))


def _line(check: mix_words.Check, view: View) -> Line:
    word = {"": LABELS["fine"], "if": LABELS["see_to_it"], "no": LABELS["stops"], "?": LABELS["not known"]}
    look = {"?": "unknown", "-": "fact", "if": "perhaps"}.get(check.stands, check.stands)
    return Line(view.sentence(check.say), look, word.get(check.stands, ""))


def _bar(number: int, choice: Choice, view: View) -> Bar:
    height = HEIGHT[choice.answer]
    label = view.clock(choice.start.at_ms)[-5:] if number and number % LABEL_EACH == 1 else ""
    return Bar(number * BAR, TALL - height, height, LOOK[choice.answer], label)


def _row(choice: Choice, view: View) -> Row:
    start, unknown = choice.start, LABELS["unmeasured"]
    return Row(
        view.clock(start.at_ms),
        choice.answer.value,
        view.temperature(start.panel_C),
        unknown if start.margin_K is None else view.difference(start.margin_K),
        unknown if start.least_margin_K is None else view.difference(start.least_margin_K),
        LABELS["longer"]
        if start.tack_free_ms is None
        else view.clock(view.rounded(start.tack_free_ms, "free_from")),
    )
