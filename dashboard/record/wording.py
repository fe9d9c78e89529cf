"""A record's numbers as text: whole dates, the zone said once, the offset only where it changes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from dashboard.display import TIE, View
from dashboard.record.used import Used
from dashboard.words import RECORD


@dataclass(frozen=True)
class Wording:
    """For one record; `changes`: its time has a change of clocks in it."""

    view: View
    changes: bool

    @classmethod
    def of(cls, used: Used, view: View) -> Wording:
        start, end = (_local(at, view).utcoffset() for at in (used.since, used.at))
        return cls(view, start != end)

    def at(self, at: int | None) -> str:
        """ "2026-11-25 18:00", with "+01:00" where that is not the same all through."""
        if at is None:
            return RECORD["not_said"]
        local = _local(at, self.view)
        text = f"{local:%Y-%m-%d}{TIE}{local:%H:%M}"
        return f"{text}{TIE}{local:%z}" if self.changes else text

    def span(self, begin: int, end: int) -> str:
        return self.view.hours((end - begin) / 3_600_000)

    def temperature(self, celsius: float | None) -> str:
        return RECORD["margin_unknown"] if celsius is None else self.view.temperature(celsius)

    def difference(self, kelvin: float | None) -> str:
        return RECORD["margin_unknown"] if kelvin is None else self.view.difference(kelvin)

    def between(self, low: str, high: str) -> str:
        return RECORD["to_of"].format(low=low, high=high)


def number(value: float, digits: int = 2) -> str:
    """With a true minus."""
    return f"{value:.{digits}f}".replace("-", "−")


def percent(share: float) -> str:
    """A share of 0 to 1 in per cent, to a tenth."""
    return f"{100.0 * share:.1f}"


def _local(at: int, view: View) -> datetime:
    return datetime.fromtimestamp(at / 1000, UTC).astimezone(view.zone)
