"""Rider, bike and all that is carried, as one moving system.

The wheels' inertia I [kg m2] acts like an added mass I/r^2 when the speed
changes; r is the rolling radius, circumference / (2 pi).

Defaults
--------
Drivetrain efficiency 0.976 for power measured at crank or pedal, and wheel
inertia 0.14 kg m2 for the pair: Martin, Milliken, Cobb, McFadden and Coggan,
J. Appl. Biomech. 14(3) (1998) 276-291 (values from memory, corroborated by
public transcriptions).  At the hub the chain is already behind the meter: 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

__all__ = ["DRIVETRAIN_EFFICIENCY", "USUAL_MASS_KG", "System"]

PowerAt = Literal["crank", "pedal", "hub"]

DRIVETRAIN_EFFICIENCY: dict[str, float] = {"crank": 0.976, "pedal": 0.976, "hub": 1.0}
"""Share of measured power that reaches the road, by where it is measured (Martin et al. 1998)."""


USUAL_MASS_KG = 84.0
"""Stands in where nobody has said a mass yet, as in a plan; a run sheet has to give it."""


@dataclass(frozen=True, kw_only=True)
class System:
    """Masses, wheels, power meter and tyres of one test.

    Attributes
    ----------
    mass_kg, mass_sd_kg
        Rider, bike and all that is carried, and its standard uncertainty.
    wheel_inertia_kg_m2
        Both wheels together.
    wheel_circumference_m
        Rolled length of one turn of the wheel that measures speed.
    power_at
        Where power is measured: "crank", "pedal" or "hub".
    drivetrain_efficiency
        Bare fraction; None means the default for ``power_at``.
    crr, crr_sd
        Coefficient of rolling resistance and its standard uncertainty.
    power_scale_sd
        Standard uncertainty of the power meter's scale factor, bare fraction.
    wheel_circumference_sd
        Relative standard uncertainty of the circumference, bare fraction.
    """

    mass_kg: float
    mass_sd_kg: float = 0.5
    wheel_inertia_kg_m2: float = 0.14
    wheel_circumference_m: float = 2.105
    power_at: PowerAt = "crank"
    drivetrain_efficiency: float | None = None
    crr: float = 0.0045
    crr_sd: float = 0.0007
    power_scale_sd: float = 0.015
    wheel_circumference_sd: float = 0.003

    @property
    def efficiency(self) -> float:
        """Drivetrain efficiency in use, bare fraction."""
        if self.drivetrain_efficiency is not None:
            return self.drivetrain_efficiency
        return DRIVETRAIN_EFFICIENCY[self.power_at]

    @property
    def wheel_radius_m(self) -> float:
        """Rolling radius [m]."""
        return self.wheel_circumference_m / (2.0 * math.pi)

    @property
    def rotating_mass_kg(self) -> float:
        """Mass equivalent of the wheels' rotation, I/r^2 [kg].

        Examples
        --------
        >>> round(System(mass_kg=90.0, wheel_circumference_m=2 * math.pi * 0.311).rotating_mass_kg, 3)
        1.447
        """
        return self.wheel_inertia_kg_m2 / self.wheel_radius_m**2
