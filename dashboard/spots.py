"""Where somebody may want to mix: at a registered panel, or beside a probe where nothing is registered yet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from collector.reading import ProbeFacts
from dashboard.panel import Panel


@dataclass(frozen=True)
class Spot:
    """id: "panel:lid-4" or "probe:S1"; panel: the registered one, or one made up of the probes there."""

    id: str
    name: str
    panel: Panel

    @property
    def is_panel(self) -> bool:
        return self.id.startswith("panel:")


def spots(panels: Mapping[str, Panel], probes: Iterable[ProbeFacts]) -> list[Spot]:
    """Open panels in the order of their registration, then every probe: those on a surface first."""
    listed = sorted(probes, key=lambda probe: (probe.zone, probe.place == "air", probe.id))
    air = {probe.zone: probe.id for probe in reversed(listed) if probe.place == "air"}
    open_panels = [
        Spot(f"panel:{panel.id}", panel.name, panel) for panel in panels.values() if not panel.closed
    ]
    return open_panels + [_beside(probe, air.get(probe.zone)) for probe in listed]


def _beside(probe: ProbeFacts, air_probe: str | None) -> Spot:
    id_, name = f"probe:{probe.id}", f"{probe.zone}, {probe.id}"
    surface = probe.id if probe.place == "surface" else None
    panel = Panel(id_, name, probe.zone, surface, air_probe if surface else probe.id, "wood")
    return Spot(id_, name, panel)
