"""One line of what growing.py and whole_house.py print."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One line of the table; `limit` is what was asked: at most, or at least if `more` is better."""

    name: str
    value: float
    unit: str
    limit: float | None = None
    more: bool = False

    def __str__(self) -> str:
        line = f"{self.name:<62}{self.value:>12.4g} {self.unit:<6}"
        if self.limit is None:
            return line
        met = self.value >= self.limit if self.more else self.value <= self.limit
        word = "at least" if self.more else "at most"
        ratio = f"{self.value / self.limit:.3g} of it" if self.limit else ""
        return f"{line}{word} {self.limit:<8g}{ratio:<14}{'' if met else 'NOT MET'}"
