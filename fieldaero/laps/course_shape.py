"""The shape of a course, from what its laps saw: medians over laps, and how the road folds.

Medians, because one lap on the other side of the road, or one minute of bad
reception, must move nothing.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from fieldaero.basics.quantities import Floats
from fieldaero.laps.track import Track
from fieldaero.rides.ride import Ride

__all__ = ["folding_position_m", "median_altitude_m", "median_heading_deg", "median_over_laps"]

RETRACED_WITHIN_M = 15.0  # both sides of one road
RETRACED = 0.9  # share of the lap; the rest is room for turning
OPPOSITE_COS = math.cos(math.radians(150.0))
TURNS_TRIED = 800
FOLD_STEP_M = 2.0
FOLD_SOUGHT_M = 10.0


def median_over_laps(rows: Floats) -> Floats:
    """Median over laps, shape (n,) from (laps, n), in the same unit; NaN where no lap knows.

    Examples
    --------
    >>> median_over_laps(np.array([[1.0, np.nan], [3.0, np.nan], [8.0, np.nan]])).tolist()
    [3.0, nan]
    """
    known = np.isfinite(rows).any(axis=0)
    middle = np.full(rows.shape[1], np.nan)
    middle[known] = np.nanmedian(rows[:, known], axis=0)
    return middle


def median_heading_deg(heading_deg: Floats) -> Floats:
    """Median heading over laps [deg, 0 to 360], shape (n,) from (laps, n), taken about their mean: north is no seam."""
    unit = np.exp(1j * np.radians(heading_deg))
    mean = np.nansum(unit, axis=0)
    mean[mean == 0.0] = np.nan
    away = np.degrees(np.angle(unit * np.conj(mean)))
    return np.asarray((np.degrees(np.angle(mean)) + median_over_laps(away)) % 360.0)


def median_altitude_m(ride: Ride, track: Track, wheel_m: list[Floats]) -> Floats:
    """Median recorded altitude over laps [m], shape (n,), freed of each lap's own offset; NaN for a ride without any.

    ``wheel_m`` are the wheel distances of the n places of the course in each lap, shape (n,) each.
    """
    altitude = ride.column("altitude_m")
    known = np.isfinite(altitude)
    if np.count_nonzero(known) < 2:
        return np.full(wheel_m[0].shape, np.nan)
    rows = np.array([np.interp(d, track.distance_m[known], altitude[known]) for d in wheel_m])
    offset = np.median(rows, axis=1)
    return np.asarray(np.median(rows - offset[:, None], axis=0) + np.median(offset))


def folding_position_m(
    *,
    position_m: Floats,
    east_m: Floats,
    north_m: Floats,
    heading_deg: Floats,
) -> float | None:
    """Find the turn of a road that is ridden there and back.

    A closed course is given along the lap, shape (n,) each, positions rising from 0 to its length. The turn is the
    position in the first half lap about which the course folds onto itself; None if about none.
    """
    if not np.all(np.isfinite(east_m)):
        return None
    length = float(position_m[-1])
    line = east_m + 1j * north_m
    tried = min(TURNS_TRIED, round(length / FOLD_STEP_M))
    x = np.linspace(0.0, length, tried, endpoint=False)
    unit = np.exp(1j * np.radians(heading_deg))

    def at(p: Floats, values: NDArray[np.complex128]) -> NDArray[np.complex128]:
        return np.asarray(np.interp(p % length, position_m, values))

    place, way = at(x, line), at(x, unit)

    def fold(half_steps: int) -> tuple[float, float]:
        # About a whole number of half steps the mirror of each point is another of them.
        mirror = (half_steps - np.arange(tried)) % tried
        apart = np.abs(place - place[mirror])
        opposite = np.real(way * np.conj(way[mirror])) <= OPPOSITE_COS * np.abs(way) * np.abs(way[mirror])
        return float(np.mean((apart <= RETRACED_WITHIN_M) & opposite)), -float(apart.mean())

    def apart_m2(turn: float) -> float:
        # Squares: the distance across the road then adds a constant, and the best turn has no plateau or kink.
        apart = np.abs(place - at(2.0 * turn - x, line))
        return float(np.mean(np.minimum(apart, RETRACED_WITHIN_M) ** 2))

    best = max(range(tried), key=fold)
    if fold(best)[0] < RETRACED:
        return None
    coarse = 0.5 * best * length / tried
    near = (coarse - FOLD_SOUGHT_M, coarse + FOLD_SOUGHT_M)
    turn = float(minimize_scalar(apart_m2, bounds=near, method="bounded", options={"xatol": 0.01}).x)
    return turn % (length / 2.0)
