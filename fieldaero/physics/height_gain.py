"""The power equation of a rider on the road, solved for the height gained.

Over an interval of duration Dt, length d and speed v

    eta P Dt = 1/2 rho CdA V^2 s d + Crr m g d + m g Dh
               + D[1/2 (m + I/r^2) v^2] + (b0 + b1 v) d

with the air flow along the bike u = v - (wind along the direction of travel,
a tail wind positive), across it c, V = sqrt(u^2 + c^2), s the sign of u, and
yaw = atan2(c, u).  CdA is the body-axis drag area as wind tunnels report it: the
force along the bike over 1/2 rho V^2.  The 1998 paper [1]_ squares u in its
place: CdA_axial = CdA / cos^2(yaw), 3 % more at 10 deg.

Solving for Dh gives the virtual elevation; it is linear in CdA and Crr.  Rolling
resistance is that of a level road; on a slope it is less by the cosine, 0.1 % at 5 %.
Power at a speed and speed at a power are worked out in :mod:`fieldaero.physics.road_power`.

References
----------
.. [1] Martin, Milliken, Cobb, McFadden, Coggan, "Validation of a mathematical model
   for road cycling power", J. Appl. Biomech. 14(3) (1998) 276-291,
   doi 10.1123/jab.14.3.276.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.quantities import Floats, within
from fieldaero.physics.earth import STANDARD_GRAVITY_M_S2
from fieldaero.physics.road_power import (
    BEARING_N,
    BEARING_N_S_M,
    density_in_range,
    gravity_in_range,
    speed_in_range,
    wind_in_range,
)
from fieldaero.physics.system import System

__all__ = ["HeightGainTerms", "height_gain_terms"]


@dataclass(frozen=True, kw_only=True)
class HeightGainTerms:
    """Pieces of the height gain, shape (n,) each: Dh = base_m - CdA per_cda_m_per_m2 - Crr per_crr_m.

    Attributes
    ----------
    work_m, kinetic_m, bearings_m
        Rider's work behind the drivetrain, gain of kinetic energy and loss in the bearings, over m g.
    per_cda_m_per_m2
        Height lost per drag area [m/m2].
    still_air_m_per_m2, wind_first, wind_second
        A, B and C = rho / (2 m g) times the integral of v^3, v^2 and v over time.  While the rider is faster
        than the tail wind, per_cda = A - 2 w B + W^2 C in a wind of w along the travel and W in all.
    per_crr_m
        Height lost per unit of Crr [m]: the distance.
    """

    work_m: Floats
    kinetic_m: Floats
    bearings_m: Floats
    per_cda_m_per_m2: Floats
    still_air_m_per_m2: Floats
    wind_first: Floats
    wind_second: Floats
    per_crr_m: Floats

    @property
    def base_m(self) -> Floats:
        """Height that the rider's work would give without air and tyres, shape (n,)."""
        return self.work_m - self.kinetic_m - self.bearings_m


def height_gain_terms(
    *,
    power_w: ArrayLike,
    start_speed_m_s: ArrayLike,
    end_speed_m_s: ArrayLike,
    duration_s: ArrayLike,
    system: System,
    air_density_kg_m3: ArrayLike,
    gravity_m_s2: ArrayLike = STANDARD_GRAVITY_M_S2,
    wind_along_m_s: ArrayLike = 0.0,
    wind_across_m_s: ArrayLike = 0.0,
) -> HeightGainTerms:
    """Height gained per interval in pieces, linear in CdA and Crr.

    Parameters
    ----------
    power_w
        Mean power at the meter over the interval [W].
    start_speed_m_s, end_speed_m_s, duration_s
        Ground speed at both ends [m/s], 0 to 100, and the time between them [s], 0 to 1e5.
    system, air_density_kg_m3, gravity_m_s2
        As for :func:`fieldaero.physics.road_power.power_w`, mean over the interval.
    wind_along_m_s, wind_across_m_s
        Wind over the interval, a tail wind positive and from the right positive; all
        shapes broadcast.

    Returns
    -------
    The terms of Dh = base - CdA per_cda - Crr per_crr.

    Raises
    ------
    OutOfRangeError
        For a quantity outside its range, naming it.

    Notes
    -----
    Speed is taken as linear in time between the ends, and every integral over the
    interval is exact for it: d = (v0 + v1)/2 Dt, the drag work with V^2 s v (also
    where u changes its sign on the way), the bearings with v^2.

    Examples
    --------
    >>> from fieldaero.physics.system import System
    >>> terms = height_gain_terms(power_w=250.0, start_speed_m_s=10.0, end_speed_m_s=10.0, duration_s=1.0,
    ...                           system=System(mass_kg=80.0), air_density_kg_m3=1.2)
    >>> round(float(terms.base_m), 4), round(float(terms.per_cda_m_per_m2), 4), float(terms.per_crr_m)
    (0.3087, 0.7648, 10.0)
    """
    P = within(power_w, quantity="power_w", low=-1e5, high=1e5, hint="give watts")
    v0, v1 = speed_in_range(start_speed_m_s, "start_speed_m_s"), speed_in_range(end_speed_m_s, "end_speed_m_s")
    dt = within(duration_s, quantity="duration_s", low=0.0, high=1e5, hint="give seconds")
    rho, g = density_in_range(air_density_kg_m3), gravity_in_range(gravity_m_s2)
    w, c = wind_in_range(wind_along_m_s, "wind_along_m_s"), wind_in_range(wind_across_m_s, "wind_across_m_s")

    weight = system.mass_kg * g
    d, k = 0.5 * (v0 + v1) * dt, 0.5 * rho * dt / weight
    mean_square = (v0**2 + v0 * v1 + v1**2) / 3.0
    terms = np.broadcast_arrays(
        system.efficiency * P * dt / weight,
        0.5 * (system.mass_kg + system.rotating_mass_kg) * (v1 - v0) * (v1 + v0) / weight,
        (BEARING_N * d + BEARING_N_S_M * dt * mean_square) / weight,
        k * _mean_drag_power(v0, v1, w, c),
        k * (v0 + v1) * (v0**2 + v1**2) / 4.0,
        k * mean_square,
        k * 0.5 * (v0 + v1),
        d,
    )
    work, kinetic, bearings, per_cda, still_air, wind_first, wind_second, per_crr = map(np.array, terms)
    return HeightGainTerms(
        work_m=work,
        kinetic_m=kinetic,
        bearings_m=bearings,
        per_cda_m_per_m2=per_cda,
        still_air_m_per_m2=still_air,
        wind_first=wind_first,
        wind_second=wind_second,
        per_crr_m=per_crr,
    )


def _mean_drag_power(v0: Floats, v1: Floats, w: Floats, c: Floats) -> Floats:
    """Mean of V^2 s v over an interval with linear speed [m3/s3]."""
    # Simpson's rule is exact for a cubic, and V^2 v is one as long as s is constant.  The sign is
    # taken in the middle, since at an end u may just be 0, where s is not that of the interval.
    u0, u1 = v0 - w, v1 - w
    v, u = 0.5 * (v0 + v1), 0.5 * (u0 + u1)
    simpson = ((u0**2 + c**2) * v0 + 4.0 * (u**2 + c**2) * v + (u1**2 + c**2) * v1) / 6.0 * np.sign(u)
    turns = u0 * u1 < 0.0
    if not np.any(turns):
        return simpson

    def integral(u: Floats) -> Floats:
        # Of V^2 s v from 0 to u, v = u + w.
        return np.sign(u) * (u**4 / 4.0 + w * u**3 / 3.0 + c**2 * u**2 / 2.0 + c**2 * w * u)

    change = np.where(turns, u1 - u0, 1.0)
    return np.where(turns, (integral(u1) - integral(u0)) / change, simpson)
