"""What glass, resin and a laminate of both conduct and hold: mixture rules from the fibre weight fraction.

Glass 2560 kg/m3 and resin 1200 kg/m3 give the thickness of ISO 12215-5; the other numbers are handbook values
from memory and good to a tenth.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Material:
    """conductivity W/m/K (of a laminate: through its thickness), density kg/m3, heat_capacity J/kg/K."""

    conductivity: float
    density: float
    heat_capacity: float

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not value > 0.0:
                raise ValueError(f"{name} must be above 0; got {value:g}")

    @property
    def diffusivity(self) -> float:
        """m2/s."""
        return self.conductivity / (self.density * self.heat_capacity)


E_GLASS = Material(1.0, 2560.0, 800.0)
LIQUID_RESIN = Material(0.2, 1150.0, 1800.0)
"""Until it has cured: what a laminate holds while it heats itself."""
CURED_RESIN = Material(0.2, 1150.0, 1200.0)
PLYWOOD = Material(0.13, 500.0, 1600.0)
FOAM = Material(0.035, 60.0, 1300.0)
CONCRETE = Material(1.6, 2300.0, 900.0)
STEEL = Material(50.0, 7850.0, 470.0)


def fibre_volume_fraction(
    fibre_fraction: float, fibre: Material = E_GLASS, resin: Material = CURED_RESIN
) -> float:
    """Share of fibre by volume, from its share by weight (0 to 1), no voids."""
    fraction(fibre_fraction)
    volume = fibre_fraction / fibre.density
    return volume / (volume + (1.0 - fibre_fraction) / resin.density)


def laminate(fibre_fraction: float, fibre: Material = E_GLASS, resin: Material = CURED_RESIN) -> Material:
    """A laminate of so much fibre by weight (0 to 1), no voids.

    Volumes and heat capacities add. Conduction across parallel round fibres: Rayleigh's form of 1892 to first
    order (the lower Hashin-Shtrikman bound in two dimensions; attributions from memory).
    """
    share = fibre_volume_fraction(fibre_fraction, fibre, resin)
    kf, kr = fibre.conductivity, resin.conductivity
    across = kr * (kf * (1.0 + share) + kr * (1.0 - share)) / (kf * (1.0 - share) + kr * (1.0 + share))
    return Material(
        across,
        1.0 / (fibre_fraction / fibre.density + (1.0 - fibre_fraction) / resin.density),
        fibre_fraction * fibre.heat_capacity + (1.0 - fibre_fraction) * resin.heat_capacity,
    )


def fraction(fibre_fraction: float) -> None:
    """Raises ValueError unless 0 <= fibre_fraction <= 1."""
    if not 0.0 <= fibre_fraction <= 1.0:
        raise ValueError(
            f"a fibre weight fraction lies between 0 and 1 (0.5 is half glass); got {fibre_fraction:g}"
        )
