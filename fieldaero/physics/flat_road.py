"""From drag area to watts at a speed and seconds over a distance, on the flat in still air.

At a given speed the difference in power is linear in the difference of drag area,

    dP = 1/2 rho dCdA v^3 / eta.

At a given power the speed follows from the balance of all forces
(:func:`fieldaero.physics.road_power.speed_m_s`), and the time over a distance L from L / v.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats
from fieldaero.physics.road_power import speed_m_s
from fieldaero.physics.system import System

__all__ = [
    "LARGEST_CDA_M2",
    "FlatRoad",
    "cda_for_seconds_m2",
    "cda_for_watts_m2",
    "seconds_over_distance",
    "watts_at_speed",
]

LARGEST_CDA_M2 = 5.0  # as far as the power equation takes a drag area


@dataclass(frozen=True, kw_only=True)
class FlatRoad:
    """Rider and bike, rolling resistance and air on a flat road."""

    system: System
    crr: float
    air_density_kg_m3: float
    gravity_m_s2: float


def watts_at_speed(delta_cda_m2: ArrayLike, *, road: FlatRoad, speed_km_h: float) -> Floats:
    """Power that a difference of drag area costs at a speed [W]; negative is power saved.

    Parameters
    ----------
    delta_cda_m2
        Difference of drag area, any shape.
    road
        Density and drivetrain efficiency matter here.
    speed_km_h
        Speed over the ground, in still air.

    Examples
    --------
    >>> hub = System(mass_kg=80.0, power_at="hub")
    >>> road = FlatRoad(system=hub, crr=0.004, air_density_kg_m3=1.2, gravity_m_s2=9.81)
    >>> float(watts_at_speed(-0.01, road=road, speed_km_h=36.0))
    -6.0
    """
    v = speed_km_h / 3.6
    return np.asarray(0.5 * road.air_density_kg_m3 * np.asarray(delta_cda_m2) * v**3 / road.system.efficiency)


def cda_for_watts_m2(watts: float, *, road: FlatRoad, speed_km_h: float) -> float:
    """Difference of drag area that makes a difference in power at a speed [m2]."""
    return watts / float(watts_at_speed(1.0, road=road, speed_km_h=speed_km_h))


def seconds_over_distance(
    delta_cda_m2: ArrayLike, *, cda_m2: float, road: FlatRoad, distance_km: float, power_w: float
) -> Floats:
    """Time that a difference of drag area costs over a flat distance at a power [s]; negative is time saved.

    Parameters
    ----------
    delta_cda_m2
        Difference of drag area, any shape.
    cda_m2
        Drag area that it is added to.
    road
        Rider, bike and air.
    distance_km, power_w
        Distance, and power at the meter.

    Raises
    ------
    OutOfRangeError
        Where the resulting drag area is not above zero, or the power does not move the bike.

    Examples
    --------
    >>> road = FlatRoad(system=System(mass_kg=80.0), crr=0.004, air_density_kg_m3=1.2, gravity_m_s2=9.81)
    >>> round(float(seconds_over_distance(-0.01, cda_m2=0.25, road=road, distance_km=40.0, power_w=250.0)), 1)
    -45.7
    """
    delta = np.asarray(delta_cda_m2, dtype=np.float64)
    if np.any(cda_m2 + delta <= 0.0):
        raise OutOfRangeError(f"drag area {cda_m2:g} {float(np.min(delta)):+g} m2 is not above zero")

    def time_s(cda: ArrayLike) -> Floats:
        v = speed_m_s(
            power_w=power_w,
            cda_m2=cda,
            crr=road.crr,
            system=road.system,
            air_density_kg_m3=road.air_density_kg_m3,
            gravity_m_s2=road.gravity_m_s2,
        )
        return np.asarray(1000.0 * distance_km / v)

    return np.asarray(time_s(cda_m2 + delta) - time_s(cda_m2))


def cda_for_seconds_m2(seconds: float, *, cda_m2: float, road: FlatRoad, distance_km: float, power_w: float) -> float:
    """Difference of drag area that makes a difference in time over a distance at a power [m2].

    Raises
    ------
    OutOfRangeError
        Where no drag area makes so large a difference.
    """

    def off(delta: float) -> float:
        made = seconds_over_distance(delta, cda_m2=cda_m2, road=road, distance_km=distance_km, power_w=power_w)
        return float(made) - seconds

    low, high = -0.95 * cda_m2, min(20.0 * cda_m2, LARGEST_CDA_M2 - cda_m2)
    if off(low) > 0.0 or off(high) < 0.0:
        raise OutOfRangeError(
            f"{seconds:g} s over {distance_km:g} km at {power_w:g} W is more than any drag area "
            f"makes from {cda_m2:.3f} m2"
        )
    return float(brentq(off, low, high, xtol=1e-9))
