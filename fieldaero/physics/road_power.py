"""Power at a speed, and speed at a power.

The power equation per unit of time; its terms, signs and symbols are those of
:mod:`fieldaero.physics.height_gain`.  Wheel bearings after Martin et al. [1]_.

References
----------
.. [1] Martin, Milliken, Cobb, McFadden, Coggan, "Validation of a mathematical model
   for road cycling power", J. Appl. Biomech. 14(3) (1998) 276-291,
   doi 10.1123/jab.14.3.276.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.quantities import Floats, within
from fieldaero.physics.earth import STANDARD_GRAVITY_M_S2
from fieldaero.physics.system import System

__all__ = ["power_w", "speed_m_s"]

# Wheel bearings [1]_: force b0 + b1 v at the road.
BEARING_N = 0.091
BEARING_N_S_M = 0.0087


def speed_in_range(value: ArrayLike, quantity: str) -> Floats:
    """Speed [m/s], not negative, as float64, inside its range."""
    return within(value, quantity=quantity, low=0.0, high=100.0, hint="give metres per second: 36 km/h is 10")


def wind_in_range(value: ArrayLike, quantity: str) -> Floats:
    """Wind component [m/s] as float64, inside its range."""
    return within(value, quantity=quantity, low=-100.0, high=100.0, hint="give metres per second")


def density_in_range(value: ArrayLike) -> Floats:
    """Air density [kg/m3] as float64, inside its range."""
    return within(value, quantity="air_density_kg_m3", low=0.3, high=2.0, hint="about 1.2 near sea level")


def gravity_in_range(value: ArrayLike) -> Floats:
    """Gravity [m/s2] as float64, inside its range."""
    return within(value, quantity="gravity_m_s2", low=9.7, high=9.9, hint="9.80665 is the standard")


def grade_in_range(value: ArrayLike) -> Floats:
    """Grade as float64, inside its range."""
    return within(value, quantity="grade", low=-1.0, high=1.0, hint="give rise over run: 5 % is 0.05")


def cda_in_range(value: ArrayLike) -> Floats:
    """Drag area [m2] as float64, inside its range."""
    return within(value, quantity="cda_m2", low=0.0, high=5.0, hint="give square metres; a rider has about 0.3")


def crr_in_range(value: ArrayLike) -> Floats:
    """Coefficient of rolling resistance as float64, inside its range."""
    return within(value, quantity="crr", low=0.0, high=0.2, hint="road tyres have about 0.004")


def power_w(
    *,
    speed_m_s: ArrayLike,
    acceleration_m_s2: ArrayLike = 0.0,
    grade: ArrayLike = 0.0,
    cda_m2: ArrayLike,
    crr: ArrayLike,
    system: System,
    air_density_kg_m3: ArrayLike,
    gravity_m_s2: ArrayLike = STANDARD_GRAVITY_M_S2,
    wind_along_m_s: ArrayLike = 0.0,
    wind_across_m_s: ArrayLike = 0.0,
) -> Floats:
    """Power that the meter shows at a speed.

    Parameters
    ----------
    speed_m_s, acceleration_m_s2
        Ground speed [m/s] and its rate of change [m/s2].
    grade
        Rise over run, uphill positive.
    cda_m2, crr
        Body-axis drag area [m2] and coefficient of rolling resistance.
    system
        Masses, wheels and where the meter sits; its own ``crr`` is not used.
    air_density_kg_m3, gravity_m_s2
        At the place.
    wind_along_m_s, wind_across_m_s
        Wind at rider height, a tail wind positive and from the right positive; all
        shapes broadcast.

    Returns
    -------
    Power at the meter [W]; negative where the rider would have to brake.

    Raises
    ------
    OutOfRangeError
        For a quantity outside its range, naming it.

    Notes
    -----
    With grade = tan(theta) and k = 1/2 rho CdA, at every moment
    P = v [1/2 rho CdA V^2 s + m g (Crr cos + sin) + (m + I/r^2) dv/dt + b0 + b1 v] / eta.

    Examples
    --------
    >>> from fieldaero.physics.system import System
    >>> P = power_w(speed_m_s=12.5, cda_m2=0.25, crr=0.004, system=System(mass_kg=80.0), air_density_kg_m3=1.2)
    >>> round(float(P), 1)
    342.9
    """
    v = speed_in_range(speed_m_s, "speed_m_s")
    a = within(acceleration_m_s2, quantity="acceleration_m_s2", low=-50.0, high=50.0, hint="give m/s2")
    slope = _slope_force_n(grade, crr, system, gravity_m_s2)
    k = 0.5 * density_in_range(air_density_kg_m3) * cda_in_range(cda_m2)
    w, c = wind_in_range(wind_along_m_s, "wind_along_m_s"), wind_in_range(wind_across_m_s, "wind_across_m_s")
    inertia = (system.mass_kg + system.rotating_mass_kg) * a
    return np.asarray(_wheel_power_w(v, k, slope + inertia, w, c) / system.efficiency)


def _slope_force_n(grade: ArrayLike, crr: ArrayLike, system: System, gravity_m_s2: ArrayLike) -> Floats:
    G = grade_in_range(grade)
    return system.mass_kg * gravity_in_range(gravity_m_s2) * (crr_in_range(crr) + G) / np.sqrt(1.0 + G**2)


def _wheel_power_w(v: Floats, k: Floats, force: Floats, w: Floats, c: Floats) -> Floats:
    """Power at the road; k = rho CdA / 2, force = what does not depend on speed."""
    u = v - w
    return v * (k * (u**2 + c**2) * np.sign(u) + force + BEARING_N + BEARING_N_S_M * v)


def speed_m_s(
    *,
    power_w: ArrayLike,
    grade: ArrayLike = 0.0,
    cda_m2: ArrayLike,
    crr: ArrayLike,
    system: System,
    air_density_kg_m3: ArrayLike,
    gravity_m_s2: ArrayLike = STANDARD_GRAVITY_M_S2,
    wind_along_m_s: ArrayLike = 0.0,
    wind_across_m_s: ArrayLike = 0.0,
) -> Floats:
    """Steady speed at a power: the inverse of :func:`power_w`.

    Parameters
    ----------
    power_w
        Power at the meter [W], -1e5 to 1e5; 0 is coasting.
    grade, cda_m2, crr, system, air_density_kg_m3, gravity_m_s2, wind_along_m_s, wind_across_m_s
        As for :func:`power_w`; all shapes broadcast.

    Returns
    -------
    Ground speed [m/s], above 0: the highest at which the forces balance, which is the
    stable one.  NaN where there is none below 1000 m/s (coasting on the flat).

    Raises
    ------
    OutOfRangeError
        For a quantity outside its range, naming it.

    Notes
    -----
    Power is a cubic in speed on either side of u = 0.  Both are cut at their extremes
    into stretches that only rise or only fall, and the uppermost stretch that
    reaches the power is bisected to the last bit but a few.  In a crosswind the drag
    jumps where u changes sign; a balance inside the jump is the speed of u = 0.

    Examples
    --------
    >>> from fieldaero.physics.system import System
    >>> v = speed_m_s(power_w=342.9, cda_m2=0.25, crr=0.004, system=System(mass_kg=80.0), air_density_kg_m3=1.2)
    >>> round(float(v), 2)
    12.5
    """
    P = within(power_w, quantity="power_w", low=-1e5, high=1e5, hint="give watts") * system.efficiency
    k = 0.5 * density_in_range(air_density_kg_m3) * cda_in_range(cda_m2)
    slope = _slope_force_n(grade, crr, system, gravity_m_s2)
    w, c = wind_in_range(wind_along_m_s, "wind_along_m_s"), wind_in_range(wind_across_m_s, "wind_across_m_s")
    P, k, slope, w, c = np.broadcast_arrays(P, k, slope, w, c)
    known = np.isfinite(P + k + slope + w + c)

    def surplus(v: Floats) -> Floats:
        return _wheel_power_w(v, k, slope, w, c) - P

    fast = np.full(P.shape, 1000.0)
    overtaken = np.clip(w, 0.0, fast)  # the speed of u = 0; just below it the crosswind still pushes
    turn = [overtaken, np.nextafter(overtaken, 0.0)]
    cuts = np.sort(np.stack([np.zeros(P.shape), *turn, *_extremes(k, slope, w, c), fast]), axis=0)
    short = np.stack([surplus(v) for v in cuts]) <= 0.0
    # The highest cut that falls short of the power begins the stretch that holds the root.
    i = len(cuts) - 1 - np.argmax(short[::-1], axis=0)
    found = known & short.any(axis=0) & ~short[-1]
    low = np.take_along_axis(cuts, np.where(found, i, 0)[None], axis=0)[0]
    high = np.take_along_axis(cuts, np.where(found, i + 1, 1)[None], axis=0)[0]
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = surplus(middle) <= 0.0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(found & (high > 1e-9), high, np.nan)


def _extremes(k: Floats, slope: Floats, w: Floats, c: Floats) -> list[Floats]:
    """Speeds [m/s] where power has an extreme on either side of u = 0; 0 where there is none."""
    cuts: list[Floats] = []
    for sign in (1.0, -1.0):
        q2, q1 = 3.0 * sign * k, 2.0 * BEARING_N_S_M - 4.0 * sign * k * w
        q0 = sign * k * (w**2 + c**2) + slope + BEARING_N
        for side in (1.0, -1.0):
            with np.errstate(divide="ignore", invalid="ignore"):
                # The form that also holds for k = 0, where the quadratic is a straight line.
                v = -2.0 * q0 / (q1 + side * np.sqrt(q1**2 - 4.0 * q2 * q0))
            cuts.append(np.where(np.isfinite(v), np.clip(v, 0.0, 1000.0), 0.0))
    return cuts
