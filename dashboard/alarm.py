"""One occurrence of an alarm, as watch keeps it."""

from __future__ import annotations

from dataclasses import dataclass

from model.verdict import Say


@dataclass(frozen=True)
class Alarm:
    """One occurrence. kind: a key of alarm_kinds.KINDS. Seen: when a person said so, and who.

    panels   names of the panels it is about
    urgent   False: it can wait for the morning, whoever asked to be woken for its kind
    """

    id: str
    kind: str
    panel: str | None
    probe: str | None
    raised_at: int
    returned_at: int | None
    say: Say
    seen_at: int | None = None
    seen_by: str | None = None
    panels: tuple[str, ...] = ()
    urgent: bool = True

    @property
    def of(self) -> str:
        """The panel, probe or site that it is about; "" if it is about none of them."""
        return self.panel or self.probe or str(self.say.values.get("site", ""))
