"""Virtual elevation, and the drag area that closes a lap: the plain estimator.

Over one lap of a closed road the height gained is zero, so the drag area of the
lap is

    CdA = (sum base - Crr sum roll - rise) / sum aero

with the sums of the energy balance from crossing to crossing.  Crr is taken as
given and the wind as still or constant.  Anybody can redo it by hand, which is
what it is for: it stands beside the joint fit on every page as a check.  So does the mean of a
setup's laps, which takes them as independent and the session as steady; where that fails, the
comparison by the joint fit is the one to believe.

The idea of asking an energy balance for a height profile is old in the trade
(common practice, no source); the power equation is that of
:mod:`fieldaero.physics.height_gain`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldaero.estimate.energy_balance import EnergyBalance

__all__ = ["ClosureMean", "LapClosure", "VirtualElevation", "closure_mean", "lap_closure", "virtual_elevation"]

UNKNOWN_TOLERATED_S = 0.5  # a lap with more unknown time than this has no balance


@dataclass(frozen=True, kw_only=True)
class LapClosure:
    """The drag area that closes a lap, NaN where the balance has a hole.

    ``per_crr_m2`` and ``per_m_m2`` are its changes per unit of Crr and per metre of height that the lap truly
    gains; ``unknown_s`` is the time of the lap without a balance.
    """

    cda_m2: float
    per_crr_m2: float
    per_m_m2: float
    unknown_s: float


@dataclass(frozen=True, kw_only=True)
class VirtualElevation:
    """The height profile that the power equation implies, arrays of shape (k,).

    Attributes
    ----------
    time_s
        On the ride's clock: start, the samples in between, end.
    distance_m
        Wheel distance since the start.
    elevation_m
        Virtual elevation above the start; flat over time without a balance.
    """

    time_s: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    elevation_m: NDArray[np.float64]


def lap_closure(
    balance: EnergyBalance, *, start_s: float, end_s: float, crr: float, height_difference_m: float = 0.0
) -> LapClosure:
    """Drag area that makes the virtual elevation of a lap end where the road does.

    Parameters
    ----------
    balance
        Energy balance of the ride.
    start_s, end_s
        Crossings of the start line on the ride's clock.
    crr
        Coefficient of rolling resistance, taken as given.
    height_difference_m
        Height of the finish above the start, 0 on a closed course.

    Returns
    -------
    Drag area and its sensitivities; ``cda_m2`` is NaN where more than half a second of
    the lap has no balance, or no air was moved.

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldaero.estimate.energy_balance import energy_balance
    >>> from fieldaero.rides.ride import COLUMNS, Ride, RideSource
    >>> from fieldaero.physics.road_power import power_w
    >>> from fieldaero.physics.system import System
    >>> system = System(mass_kg=80.0)
    >>> power = float(power_w(speed_m_s=10.0, cda_m2=0.25, crr=0.004, system=system, air_density_kg_m3=1.2))
    >>> steady = pd.DataFrame({"time_s": [0.0, 1.0, 2.0], "power_w": power, "speed_m_s": 10.0})
    >>> source = RideSource(file="a.csv", format="CSV", sha256="")
    >>> balance = energy_balance(Ride(table=steady.reindex(columns=COLUMNS), source=source), system=system,
    ...                          air_density_kg_m3=1.2, gravity_m_s2=9.80665)
    >>> round(lap_closure(balance, start_s=0.0, end_s=2.0, crr=0.004).cda_m2, 6)
    0.25
    """
    unknown = balance.unknown_s(start_s, end_s)
    base, aero, roll = (
        balance.total(values, start_s, end_s)
        for values in (balance.base_m, balance.per_cda_m_per_m2, balance.per_crr_m)
    )
    if unknown > UNKNOWN_TOLERATED_S or aero <= 0.0:
        return LapClosure(cda_m2=np.nan, per_crr_m2=np.nan, per_m_m2=np.nan, unknown_s=unknown)
    return LapClosure(
        cda_m2=(base - crr * roll - height_difference_m) / aero,
        per_crr_m2=-roll / aero,
        per_m_m2=-1.0 / aero,
        unknown_s=unknown,
    )


def virtual_elevation(
    balance: EnergyBalance, *, start_s: float, end_s: float, cda_m2: float, crr: float
) -> VirtualElevation:
    """Virtual elevation between two moments for an assumed drag area and Crr.

    Parameters
    ----------
    balance
        Energy balance of the ride.
    start_s, end_s
        From when to when on the ride's clock.
    cda_m2, crr
        Assumed drag area and coefficient of rolling resistance.

    Returns
    -------
    Times, distances and heights, both ends included.
    """
    inside = balance.time_s[(balance.time_s > start_s) & (balance.time_s < end_s)]
    t = np.concatenate([[start_s], inside, [end_s]])
    gain = balance.base_m - cda_m2 * balance.per_cda_m_per_m2 - crr * balance.per_crr_m

    def since_start(values: NDArray[np.float64]) -> NDArray[np.float64]:
        sums = np.interp(t, balance.time_s, np.concatenate([[0.0], np.cumsum(values)]))
        return np.asarray(sums - sums[0])

    return VirtualElevation(time_s=t, distance_m=since_start(balance.distance_m), elevation_m=since_start(gain))


@dataclass(frozen=True, kw_only=True)
class ClosureMean:
    """Mean drag area of some laps with its standard error [m2], NaN for fewer than two laps."""

    cda_m2: float
    se_m2: float
    laps: int


def closure_mean(cda_m2: ArrayLike) -> ClosureMean:
    """Mean of the laps of one setup, shape (n,); laps without a drag area (NaN) do not count.

    >>> mean = closure_mean([0.250, 0.254, 0.252])
    >>> round(mean.cda_m2, 4), round(mean.se_m2, 5)
    (0.252, 0.00115)
    """
    y = np.asarray(cda_m2, dtype=np.float64)
    known = y[np.isfinite(y)]
    return ClosureMean(
        cda_m2=float(np.mean(known)) if len(known) else np.nan,
        se_m2=float(np.std(known, ddof=1) / np.sqrt(len(known))) if len(known) > 1 else np.nan,
        laps=len(known),
    )
