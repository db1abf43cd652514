"""The energy balance of a ride, interval by interval between samples.

Solving the power equation for the height gained between two samples gives

    dh = base - CdA * aero - Crr * roll

with ``base`` from the rider's work, the kinetic energy and the bearings.  All of
these are kept per interval, so that every estimator works on the same numbers:
lap closure sums them over a lap, the joint fit over short segments.

A lag between power and speed shows in the balance: power that comes late makes
every change of effort look like a bump in the road.  :func:`power_lag_s` finds the
shift that calms the balance most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import uniform_filter1d

from fieldaero.basics.quantities import Floats
from fieldaero.physics.height_gain import HeightGainTerms, height_gain_terms
from fieldaero.physics.system import System
from fieldaero.physics.wind import wind_along_across
from fieldaero.rides.intervals import LONGEST_SPEED_BRIDGE_S, POWER_OF_END_UP_TO_S, interval_power_w, is_gap
from fieldaero.rides.ride import Ride

__all__ = ["EnergyBalance", "energy_balance", "power_lag_s"]

# Riding changes little in ten seconds, and the mean of both ends still holds in simulated sessions.  A recording with
# longer steps has no gaps for that, but no balance either.
LONGEST_INTERVAL_S = 10.0
LONGEST_POWER_BRIDGE_S = 10.0  # power missing for no longer than this is bridged by interpolation
LAGS_S = np.arange(-3.0, 3.01, 0.25)
LAG_MUST_GAIN = 0.05  # a lag that calms the balance by less than this is not told from none
CALM_OVER = 9  # samples whose mean is taken out before the calm is judged: hills, wind and drag are slower
LEAST_FOR_LAG = 300  # intervals
LEAST_SPEED_FOR_LAG_M_S = 2.0  # slower is starting and stopping; chosen


@dataclass(frozen=True, kw_only=True)
class EnergyBalance(HeightGainTerms):
    """The terms of the height gain per interval between samples, shape (n - 1,), zero where not ``known``.

    Attributes
    ----------
    time_s
        Sample times on the ride's clock, shape (n,).
    air_density_kg_m3, weight_n
        Air density and weight m g.
    heading_deg
        Direction of travel, NaN where unknown: the air is then taken as still.
    known
        False where power or speed is missing or taken for false, or the recording has a gap.
    distrusted
        True where ``known`` is False for power or speed that is recorded and taken for false.
    """

    time_s: Floats
    duration_s: Floats
    air_density_kg_m3: Floats
    weight_n: Floats
    heading_deg: Floats
    known: NDArray[np.bool_]
    distrusted: NDArray[np.bool_]

    @property
    def distance_m(self) -> Floats:
        """Distance ridden, shape (n - 1,)."""
        return self.per_crr_m

    def total(self, values: Floats, start_s: float, end_s: float) -> float:
        """Sum of an interval quantity from one moment to another [s on the ride's clock].

        Cut at the moments themselves: within an interval the quantity grows evenly.
        """
        sums = np.concatenate([[0.0], np.cumsum(values)])
        low, high = np.interp([start_s, end_s], self.time_s, sums)
        return float(high - low)

    def distrusted_s(self, start_s: float, end_s: float) -> float:
        """Time between two moments that is unknown for a false sensor [s]."""
        return self.total(np.where(self.distrusted, self.duration_s, 0.0), start_s, end_s)

    def unknown_s(self, start_s: float, end_s: float) -> float:
        """Time without a balance between two moments [s]."""
        return self.total(np.where(self.known, 0.0, self.duration_s), start_s, end_s)


def energy_balance(
    ride: Ride,
    *,
    system: System,
    air_density_kg_m3: ArrayLike,
    gravity_m_s2: float,
    heading_deg: ArrayLike = np.nan,
    wind_east_m_s: float = 0.0,
    wind_north_m_s: float = 0.0,
    mass_change_kg: ArrayLike = 0.0,
    power_lag_s: float = 0.0,
    false_power: NDArray[np.bool_] | None = None,
    false_speed: NDArray[np.bool_] | None = None,
) -> EnergyBalance:
    """Balance of a ride between its n samples, as n - 1 intervals.

    Given at the samples, shape (n,) or one value, are the air density, the direction of travel (NaN where
    unknown), what is added to the system's mass in the interval that begins there, and whether the recorded power or
    speed is false: unknown then, and not bridged.  The wind is where the air goes, at the rider's height, one
    value for the session.  The recorded power is taken to come ``power_lag_s`` late.

    >>> import pandas as pd
    >>> from fieldaero.rides.ride import COLUMNS, RideSource
    >>> steady = pd.DataFrame({"time_s": [0.0, 1.0, 2.0], "power_w": 200.0, "speed_m_s": 10.0}).reindex(columns=COLUMNS)
    >>> source = RideSource(file="a.csv", format="CSV", sha256="")
    >>> balance = energy_balance(Ride(table=steady, source=source), system=System(mass_kg=80.0),
    ...                          air_density_kg_m3=1.2, gravity_m_s2=9.81)
    >>> balance.per_cda_m_per_m2.round(4).tolist()
    [0.7645, 0.7645]
    """
    t = ride.time_s
    n = len(t)
    dt = np.diff(t)
    no_v, no_P = (np.zeros(n, dtype=bool) if false is None else false for false in (false_speed, false_power))
    v = _bridged(t, np.where(no_v, np.nan, ride.column("speed_m_s")), LONGEST_SPEED_BRIDGE_S)
    P = _bridged(t, np.where(no_P, np.nan, ride.column("power_w")), LONGEST_POWER_BRIDGE_S)
    v, P = np.where(no_v, np.nan, v), np.where(no_P, np.nan, P)
    rho = _at_samples(air_density_kg_m3, n)
    heading = _middle_heading_deg(_at_samples(heading_deg, n))
    power = _interval_power_w(t, P, power_lag_s)
    known = np.isfinite(power) & np.isfinite(v[:-1]) & np.isfinite(v[1:]) & ~is_gap(t) & (dt <= LONGEST_INTERVAL_S)

    along, across = map(
        np.nan_to_num,
        wind_along_across(wind_east_m_s=wind_east_m_s, wind_north_m_s=wind_north_m_s, heading_deg=heading),
    )
    change = _at_samples(mass_change_kg, n)[:-1]

    def masked(values: Floats) -> Floats:
        return np.where(known, values, 0.0)

    start, end, watts = masked(v[:-1]), masked(v[1:]), masked(power)
    density = (rho[:-1] + rho[1:]) / 2.0
    terms = {term.name: np.zeros(n - 1) for term in fields(HeightGainTerms)}
    for extra in np.unique(change):
        i = known & (change == extra)
        found = height_gain_terms(
            power_w=watts[i],
            start_speed_m_s=start[i],
            end_speed_m_s=end[i],
            duration_s=dt[i],
            system=replace(system, mass_kg=system.mass_kg + float(extra)),
            air_density_kg_m3=density[i],
            gravity_m_s2=gravity_m_s2,
            wind_along_m_s=along[i],
            wind_across_m_s=across[i],
        )
        for name, values in terms.items():
            values[i] = getattr(found, name)
    return EnergyBalance(
        **terms,
        time_s=t,
        duration_s=dt,
        air_density_kg_m3=density,
        weight_n=(system.mass_kg + change) * gravity_m_s2,
        heading_deg=heading,
        known=known,
        distrusted=~known & ((no_v | no_P)[:-1] | (no_v | no_P)[1:]),
    )


def power_lag_s(ride: Ride, *, system: System) -> float:
    """Seconds by which the recorded power comes later than the speed it caused, -3 to 3.

    Judged is the scatter of eta P dt - d(kinetic energy) about its own mean over 9
    samples: effort that changes within seconds goes into speed, and what does not
    match is lag.  The kinetic term's own noise does not move with the lag.  0 where no shift calms the balance
    by at least 5 %, where the samples are too few or too far apart, or where the best shift lies at the end of
    what was tried.
    """
    t = ride.time_s
    P = _bridged(t, ride.column("power_w"), LONGEST_POWER_BRIDGE_S)
    v = _bridged(t, ride.column("speed_m_s"), LONGEST_SPEED_BRIDGE_S)
    dt = np.diff(t)
    kinetic = 0.5 * (system.mass_kg + system.rotating_mass_kg) * np.diff(v**2)
    usable = (dt <= POWER_OF_END_UP_TO_S) & np.isfinite(kinetic) & (np.minimum(v[:-1], v[1:]) > LEAST_SPEED_FOR_LAG_M_S)
    edge = int(np.ceil(LAGS_S[-1])) + 1
    usable[:edge] = usable[-edge:] = False

    def scatter(lag: float) -> float:
        left = system.efficiency * _interval_power_w(t, P, lag) * dt - kinetic
        fine = usable & np.isfinite(left)
        if np.count_nonzero(fine) < LEAST_FOR_LAG:
            return float("nan")
        # Not at the seams: the running mean there mixes stretches that do not touch.
        inner = uniform_filter1d(fine.astype(np.float64), CALM_OVER) > 1.0 - 0.5 / CALM_OVER
        away = left - uniform_filter1d(np.where(fine, left, 0.0), CALM_OVER)
        return float(np.mean(away[inner] ** 2)) if inner.any() else float("nan")

    return _lowest(scatter)


def _lowest(scatter: Callable[[float], float]) -> float:
    found = np.array([scatter(float(lag)) for lag in LAGS_S])
    if not np.isfinite(found).all():
        return 0.0
    k = int(np.argmin(found))
    if k in (0, len(found) - 1) or found[k] > (1.0 - LAG_MUST_GAIN) * scatter(0.0):
        return 0.0
    below, lowest, above = found[k - 1 : k + 2]
    bend = below - 2.0 * lowest + above
    step = 0.5 * (below - above) / bend if bend > 0.0 else 0.0
    return float(round(LAGS_S[k] + step * (LAGS_S[1] - LAGS_S[0]), 2))


def _interval_power_w(t: Floats, power: Floats, lag: float) -> Floats:
    """Mean power of each interval, the recorded power taken to come ``lag`` seconds late."""
    shown, dt = interval_power_w(t, power), np.diff(t)
    if lag == 0.0:
        return shown
    # Energy up to a stamp grows evenly before it, so a shift keeps the work of the ride.
    work = np.concatenate([[0.0], np.cumsum(np.nan_to_num(shown) * dt)])
    gone = np.concatenate([[0.0], np.cumsum(np.where(np.isfinite(shown), 0.0, dt))])
    shifted = np.diff(np.interp(t + lag, t, work)) / dt
    missing = np.diff(np.interp(t + lag, t, gone)) > 0.0
    return np.where(missing, np.nan, shifted)


def _bridged(t: Floats, values: Floats, longest_s: float) -> Floats:
    """Values with short holes interpolated."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    index = np.flatnonzero(known)
    before = np.searchsorted(index, np.arange(len(values)), side="right") - 1
    inside = (~known) & (before >= 0) & (before < len(index) - 1)
    after = np.minimum(before + 1, len(index) - 1)
    hole = t[index[after]] - t[index[np.maximum(before, 0)]]
    return np.where(inside & (hole <= longest_s), np.interp(t, t[known], values[known]), values)


def _at_samples(value: ArrayLike, n: int) -> Floats:
    return np.broadcast_to(np.asarray(value, dtype=np.float64), (n,))


def _middle_heading_deg(heading: Floats) -> Floats:
    turn = np.radians(heading)
    east, north = np.sin(turn), np.cos(turn)
    return np.asarray(np.degrees(np.arctan2(east[:-1] + east[1:], north[:-1] + north[1:])) % 360.0)
