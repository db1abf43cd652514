"""Braking: speed lost faster than drag, rolling and the hill can take it.

Between samples the brakes' force is at least

    F = eta P / v - m' dv/dt - 1/2 rho (k CdA) v^2 - Crr' m g - m g G

with everything that slows a coasting rider taken generously: the drag area of the
whole ride times k (sitting up, a gust), a high Crr', and for G the steepest grade
recorded nearby (without altitude, what most laps needed there) plus a margin.  Where
F / m stays above a threshold while the rider does not pedal, the brakes were on.
Braking so light that it looks like coasting into a gust, and holding back on a
descent at constant speed, go unseen; so does braking that lasts less than the step
between two samples at which the rider pedals.

The drag area of the ride is a crude one, the median over laps of what closes the
energy balance at a common Crr; it only has to be right to some 30 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats
from fieldaero.basics.runs import runs_where
from fieldaero.laps.course import GRID_M, Course, lap_position_m
from fieldaero.laps.lap import Lap
from fieldaero.laps.track import RIDING_M_S, Track
from fieldaero.physics.earth import STANDARD_GRAVITY_M_S2
from fieldaero.physics.moist_air import USUAL_AIR_DENSITY_KG_M3
from fieldaero.physics.system import USUAL_MASS_KG, System
from fieldaero.rides.intervals import interval_power_w, is_gap
from fieldaero.rides.ride import Ride

__all__ = ["Braking", "find_braking"]

# Common practice, no source: bounds for a crude balance, tuned on simulated rides.
COMMON_CRR, HIGH_CRR = 0.005, 0.008
COMMON_CDA_M2, LEAST_CDA_M2, MOST_CDA_M2 = 0.30, 0.18, 0.50
DRAG_GENEROSITY = 1.5
GRADE_MARGIN = 0.01
UNKNOWN_GRADE = 0.06
GRADE_BASE_M = 30.0  # for one lap: recorded altitude has steps of 0.2 m and lags by seconds
STEEPEST_WITHIN_M = 40.0
CELL_M = 20.0
LEAST_LAPS = 3
BEYOND_COASTING_M_S2 = 0.25
DIFFERENCE_S = 1.0  # speed is differentiated over at least this: wheel speed scatters by some 0.05 m/s
PEDALLING = 0.4  # share of the median power from which a rider counts as pedalling
LEAST_SPEED_LOST_M_S = 0.7
LEAST_ENERGY_J = 200.0


@dataclass(frozen=True, kw_only=True)
class Braking:
    """One use of the brakes, on the ride's clock [s].

    ``energy_lost_j`` is what drag, rolling and hill do not explain at their likely values.
    """

    start_s: float
    end_s: float
    start_speed_m_s: float
    end_speed_m_s: float
    energy_lost_j: float


def find_braking(
    ride: Ride,
    laps: Sequence[Lap],
    course: Course,
    *,
    track: Track,
    system: System | None = None,
    air_density_kg_m3: float = USUAL_AIR_DENSITY_KG_M3,
) -> tuple[Braking, ...]:
    """Return every use of the brakes in the ride, in order; without a system one of usual mass."""
    system = system or System(mass_kg=USUAL_MASS_KG)
    t, v = ride.time_s, ride.column("speed_m_s")
    power = np.nan_to_num(ride.column("power_w"))
    dt = np.diff(t)
    speed = (v[:-1] + v[1:]) / 2.0
    distance = speed * dt
    middle = (t[:-1] + t[1:]) / 2.0
    slowing = -(np.interp(middle + DIFFERENCE_S / 2.0, t, v) - np.interp(middle - DIFFERENCE_S / 2.0, t, v)) / (
        np.minimum(middle + DIFFERENCE_S / 2.0, t[-1]) - np.maximum(middle - DIFFERENCE_S / 2.0, t[0])
    )
    pedalled = power[1:]  # not the mean of both ends, in which a short freewheeling would drown
    calm = power[(power > 0.0) & (v > 1.0)]
    pedalling = PEDALLING * float(np.median(calm)) if len(calm) else np.inf
    # Power and speed may be a second apart: the least of three decides.
    least = np.minimum(np.minimum(np.append(pedalled[1:], np.inf), pedalled), np.insert(pedalled[:-1], 0, np.inf))
    coasting = (least < pedalling) & ~is_gap(t)

    cda = _crude_cda_m2(ride, laps, system, air_density_kg_m3)
    m = system.mass_kg
    weight = m * STANDARD_GRAVITY_M_S2
    push = system.efficiency * pedalled / np.maximum(speed, 1.0) + (m + system.rotating_mass_kg) * slowing
    dynamic = 0.5 * air_density_kg_m3 * speed**2
    on_the_flat = push - cda * dynamic - weight * COMMON_CRR
    # Not the mean of both ends, which lies opposite the start line where a lap ends.
    p = course.wrapped_m(lap_position_m(track, laps, course)[:-1] + np.nan_to_num(distance) / 2.0)
    if np.count_nonzero(np.isfinite(ride.column("altitude_m"))) > 1:
        grade, steepest = _recorded_grade(track.distance_m, ride.column("altitude_m"), course, p)
    else:
        needed = np.where(speed >= RIDING_M_S, on_the_flat / weight, np.nan)
        grade, steepest = _shared_grade(needed, p, course)
    likely = on_the_flat - weight * grade
    at_least = push - DRAG_GENEROSITY * cda * dynamic - weight * (HIGH_CRR + steepest + GRADE_MARGIN)
    # Speed from satellites scatters several times as much as a wheel's.
    threshold = BEYOND_COASTING_M_S2 * (2.0 if ride.speed_from == "position" else 1.0)
    on = np.nan_to_num(at_least, nan=-1.0) > threshold * m

    found: list[Braking] = []
    for first, last in runs_where(_bridged(on & coasting & (slowing > 0.0), middle), middle):
        while first > 0 and coasting[first - 1] and v[first - 1] > v[first]:
            first -= 1
        while last < len(dt) - 1 and coasting[last + 1] and v[last + 2] < v[last + 1]:
            last += 1
        if found and t[first] <= found[-1].end_s:
            continue
        lost = float(np.nansum(np.maximum(likely * distance, 0.0)[first : last + 1]))
        if v[first] - v[last + 1] >= LEAST_SPEED_LOST_M_S and lost >= LEAST_ENERGY_J:
            found.append(
                Braking(
                    start_s=float(t[first]),
                    end_s=float(t[last + 1]),
                    start_speed_m_s=float(v[first]),
                    end_speed_m_s=float(v[last + 1]),
                    energy_lost_j=lost,
                )
            )
    return tuple(found)


def _bridged(on: NDArray[np.bool_], middle: Floats) -> NDArray[np.bool_]:
    """Close breaks of up to 2 s: one use of the brakes, modulated."""
    joined = on.copy()
    for first, last in runs_where(~on, middle):
        if first > 0 and last < len(on) - 1 and middle[last + 1] - middle[first - 1] <= 3.0:
            joined[first : last + 1] = True
    return joined


Grade = Callable[[Floats], Floats]


def _steepest(grade: Grade, place: Floats) -> Floats:
    around = [grade(place + off) for off in np.linspace(-STEEPEST_WITHIN_M, STEEPEST_WITHIN_M, 5)]
    return np.asarray(np.max(around, axis=0))


def _recorded_grade(d: Floats, altitude: Floats, course: Course, p: Floats) -> tuple[Floats, Floats]:
    """Likely and steepest grade per interval from recorded altitude: the laps' median, or else the ride's own."""
    known = np.isfinite(altitude)
    place = (d[:-1] + d[1:]) / 2.0

    def own(at: Floats) -> Floats:
        x = d[known]
        # At the ends of the ride the base becomes one-sided.
        low, high = np.maximum(at - GRADE_BASE_M, x[0]), np.minimum(at + GRADE_BASE_M, x[-1])
        rise = np.interp(high, x, altitude[known]) - np.interp(low, x, altitude[known])
        return np.asarray(rise / np.maximum(high - low, GRADE_BASE_M))

    # The median of many laps is so much better that a shorter base serves, and short ramps are seen.
    base = max(GRADE_BASE_M / math.sqrt(max(len(course.lap_numbers), 1)), GRID_M)

    def shared(at: Floats) -> Floats:
        return np.asarray((course.altitude_m_at(at + base) - course.altitude_m_at(at - base)) / (2.0 * base))

    return np.where(np.isfinite(p), shared(p), own(place)), np.fmax(_steepest(shared, p), _steepest(own, place))


def _shared_grade(needed: Floats, p: Floats, course: Course) -> tuple[Floats, Floats]:
    """Likely and steepest grade without altitude: what most laps needed at that place.

    Braking at one place on most laps looks like a hill there and goes unseen.
    """
    known = np.isfinite(p) & np.isfinite(needed)
    if len(course.lap_numbers) < LEAST_LAPS or not known.any():
        return np.zeros(len(p)), np.full(len(p), UNKNOWN_GRADE)
    cells = max(1, round(course.length_m / CELL_M))
    cell = np.minimum((p[known] / course.length_m * cells).astype(np.intp), cells - 1)
    middle = pd.Series(needed[known]).groupby(cell).median().reindex(range(cells)).interpolate(limit_direction="both")
    centre = (np.arange(cells) + 0.5) * course.length_m / cells

    def shared(at: Floats) -> Floats:
        return np.asarray(np.interp(course.wrapped_m(at), centre, middle.to_numpy()))

    placed = np.isfinite(p)
    return np.where(placed, shared(p), 0.0), np.where(placed, _steepest(shared, p), UNKNOWN_GRADE)


def _crude_cda_m2(ride: Ride, laps: Sequence[Lap], system: System, air_density_kg_m3: float) -> float:
    """Median over laps of the drag area that closes the energy balance, kept within what riders have."""
    t, v, power = ride.time_s, ride.column("speed_m_s"), ride.column("power_w")
    altitude = ride.column("altitude_m")
    inert = system.mass_kg + system.rotating_mass_kg
    found = []
    for lap in laps:
        i = np.flatnonzero((t >= lap.start_s) & (t <= lap.end_s) & np.isfinite(v) & np.isfinite(power))
        if len(i) < 30:
            continue
        dt = np.diff(t[i])
        steady = ~is_gap(t[i])
        speed = (v[i][:-1] + v[i][1:]) / 2.0
        rise = float(np.nan_to_num(altitude[i[-1]] - altitude[i[0]]))
        work = system.efficiency * float(np.sum((interval_power_w(t[i], power[i]) * dt)[steady]))
        work -= inert * float(v[i[-1]] ** 2 - v[i[0]] ** 2) / 2.0
        work -= system.mass_kg * STANDARD_GRAVITY_M_S2 * (COMMON_CRR * float(np.sum((speed * dt)[steady])) + rise)
        swept = 0.5 * air_density_kg_m3 * float(np.sum((speed**3 * dt)[steady]))
        if swept > 0.0:
            found.append(work / swept)
    return float(np.clip(np.median(found), LEAST_CDA_M2, MOST_CDA_M2)) if found else COMMON_CDA_M2
