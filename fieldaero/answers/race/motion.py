"""The equation of motion along a road of pieces, with cells that suit the speed.

With M = m + I/r^2 and x along the road, Newton's law is M v dv/dx = eta P / v - R.  For
y = v^3 it becomes

    dy/dx = 3/M (eta P - v R),    R = k (u^2 + c^2) s + m g (Crr cos + sin) + b0 + b1 v,

which is regular at a standstill and holds the power as a mere constant.  Grade, wind and
density are constant on each stretch.

One mover is marched along the road by the classical Runge-Kutta scheme, in steps over
which the speed changes little; the steps become the cells for all movers.  There the
Hermite-Simpson rule holds (three-point Lobatto collocation, fourth order), and Newton's
method solves all cells of a mover at once: each knows only its two ends, so that the system is
bidiagonal.  Movers on the same cells have the same small error, which drops out of
their difference.

Where the rider brakes, y is the lesser of what the rule gives and the cube of the
highest speed.  The sign s of u turns over within 0.5 m/s, because in a crosswind
that just overtakes the rider the jump of the force would have no solution.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cbrt

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.formatting import percent
from fieldaero.basics.quantities import Floats
from fieldaero.physics.road_power import BEARING_N, BEARING_N_S_M

__all__ = ["Mover", "RoadPieces", "arrival", "march", "steady_speed_m_s"]

Indices = NDArray[np.intp]

FLOOR_M3_S3 = 1e-4  # below 5 cm/s a force is that of 5 cm/s
TOP_M_S = 150.0
SIGN_WITHIN_M_S = 0.5
SETTLED = 1e-10
MOST_STEPS = 25
LONGEST_CELL_M = 200.0
DECAY = 0.35  # of a disturbance of the speed over one cell
CHANGE = 0.15  # of ln y over one cell
FIRST_CELL_M = 1e-3  # from a standstill
SLOWEST_M_S = 1.0  # nobody keeps a bicycle upright for long below it; common practice, no source
SLOWEST_AFTER_M = 5.0


@dataclass(frozen=True, kw_only=True)
class Mover:
    """Rider and bike in motion: ``wheel_power_w`` is eta P, ``inertia_kg`` m + I/r^2; brakes hold the highest speed."""

    wheel_power_w: float
    mass_kg: float
    inertia_kg: float
    cda_m2: float
    crr: float
    gravity_m_s2: float
    highest_speed_m_s: float = float("inf")


@dataclass(frozen=True, kw_only=True)
class RoadPieces:
    """Road in pieces, each of constant grade (rise over run), wind and air density, shape (n,) each."""

    length_m: Floats
    grade: Floats
    wind_along_m_s: Floats
    wind_across_m_s: Floats
    air_density_kg_m3: Floats

    def cut(self, stretch: Indices, length_m: Floats) -> RoadPieces:
        """Cells of the given lengths, each on the stretch of that index."""
        return RoadPieces(
            length_m=length_m,
            grade=self.grade[stretch],
            wind_along_m_s=self.wind_along_m_s[stretch],
            wind_across_m_s=self.wind_across_m_s[stretch],
            air_density_kg_m3=self.air_density_kg_m3[stretch],
        )


class _Rule:
    """Right-hand side of the equation for one mover on given cells."""

    def __init__(self, mover: Mover, cells: RoadPieces) -> None:
        self.k = 0.5 * cells.air_density_kg_m3 * mover.cda_m2
        self.w, self.c2 = cells.wind_along_m_s, cells.wind_across_m_s**2
        weight = mover.mass_kg * mover.gravity_m_s2
        self.fixed = weight * (mover.crr + cells.grade) / np.sqrt(1.0 + cells.grade**2) + BEARING_N
        self.power, self.inertia = mover.wheel_power_w, mover.inertia_kg

    def __call__(self, y: Floats) -> tuple[Floats, Floats]:
        """Slope dy/dx and its derivative by y."""
        v = np.cbrt(np.maximum(y, FLOOR_M3_S3))
        u = v - self.w
        s = np.clip(u / SIGN_WITHIN_M_S, -1.0, 1.0)
        V2 = u * u + self.c2
        R = self.k * V2 * s + self.fixed + BEARING_N_S_M * v
        turning = np.abs(s) < 1.0
        dR = 2.0 * self.k * u * s + BEARING_N_S_M
        if turning.any():
            dR = dR + np.where(turning, self.k * V2 / SIGN_WITHIN_M_S, 0.0)
        return 3.0 / self.inertia * (self.power - v * R), -(R + v * dR) / (self.inertia * v * v)


def _linear(below: Floats, diagonal: Floats, right: Floats) -> Floats:
    """Solve diagonal_i x_i + below_i x_(i-1) = right_i."""
    band = np.zeros((2, len(right)))
    band[0], band[1, :-1] = diagonal, below[1:]
    return np.asarray(solve_banded((1, 0), band, right, overwrite_ab=True, check_finite=False))


def _solve(mover: Mover, cells: RoadPieces, y: Floats) -> Floats | None:
    """Newton's method from a guess at the points, shape (cells + 1,); the first value is given."""
    rule, h = _Rule(mover, cells), cells.length_m
    top = _top(mover)
    y = y.copy()
    for _ in range(MOST_STEPS):
        y0, y1 = y[:-1], y[1:]
        (f0, d0), (f1, d1) = rule(y0), rule(y1)
        fm, dm = rule(0.5 * (y0 + y1) + h / 8.0 * (f0 - f1))
        rest = y1 - y0 - h / 6.0 * (f0 + 4.0 * fm + f1)
        below = -1.0 - h / 6.0 * (d0 + 4.0 * dm * (0.5 + h / 8.0 * d0))
        diagonal = 1.0 - h / 6.0 * (d1 + 4.0 * dm * (0.5 - h / 8.0 * d1))
        # A cell whose free speed is past the highest one ends at that.
        braked = y1 - rest / diagonal >= top
        if braked.any():
            below, diagonal = np.where(braked, 0.0, below), np.where(braked, 1.0, diagonal)
            rest = np.where(braked, y1 - top, rest)
        step = _linear(below, diagonal, -rest)
        new = np.minimum(np.maximum(y1 + step, 0.2 * y1), top)
        moved = float(np.max(np.abs(new - y1) / new))
        y[1:] = new
        if moved < SETTLED:
            return y
    return None


def _top(mover: Mover) -> float:
    return float(min(mover.highest_speed_m_s, TOP_M_S) ** 3)


def steady_speed_m_s(mover: Mover, pieces: RoadPieces) -> float:
    """Return the speed at which the forces balance on the first stretch, no more than the highest one."""
    rule = _Rule(mover, pieces.cut(np.zeros(1, dtype=np.intp), pieces.length_m[:1]))
    k, w, c2, fixed = (float(part[0]) for part in (rule.k, rule.w, rule.c2, rule.fixed))
    low, high = 0.01, cbrt(_top(mover))
    for _ in range(60):
        v = 0.5 * (low + high)
        u = v - w
        s = min(max(u / SIGN_WITHIN_M_S, -1.0), 1.0)
        gains = rule.power > v * (k * (u * u + c2) * s + fixed + BEARING_N_S_M * v)
        low, high = (v, high) if gains else (low, v)
    return high


def march(mover: Mover, pieces: RoadPieces, *, start_m_s: float) -> tuple[Indices, Floats, Floats]:
    """Ride the pieces step by step.

    Returns per step the index of its stretch and its length [m], and the speed at all ends [m/s], shape (steps + 1,).
    Raises OutOfRangeError where the speed falls below 1 m/s, as :func:`arrival` does.
    """
    power, inertia, top = mover.wheel_power_w, mover.inertia_kg, _top(mover)
    rule = _Rule(mover, pieces)
    forces = np.stack([rule.k, rule.w, rule.c2, rule.fixed], axis=1).tolist()
    scale = 3.0 / inertia
    k = w = c2 = fixed = 0.0
    y, gone = start_m_s**3, 0.0
    index: list[int] = []
    steps: list[float] = []
    ends = [y]

    def slope(y: float) -> float:
        v = cbrt(y if y > FLOOR_M3_S3 else FLOOR_M3_S3)
        u = v - w
        s = u / SIGN_WITHIN_M_S
        s = 1.0 if s > 1.0 else -1.0 if s < -1.0 else s
        return scale * (power - v * (k * (u * u + c2) * s + fixed + BEARING_N_S_M * v))

    for i, left in enumerate(pieces.length_m.tolist()):
        k, w, c2, fixed = forces[i]
        while left > 0.0:
            f = slope(y)
            v = cbrt(y if y > FLOOR_M3_S3 else FLOOR_M3_S3)
            u = abs(v - w)
            stiff = k * (2.0 * u + ((u * u + c2) / SIGN_WITHIN_M_S if u < 2.0 * SIGN_WITHIN_M_S else 0.0))
            decay = (abs(power / v - f / scale / v) + v * (stiff + BEARING_N_S_M)) / (inertia * v * v)
            h = min(LONGEST_CELL_M, max(FIRST_CELL_M, min(DECAY / decay, CHANGE * y / (abs(f) + 1e-9))))
            h = left if h >= left else min(h, 0.5 * left)
            a = slope(y + 0.5 * h * f)
            b = slope(y + 0.5 * h * a)
            y += h / 6.0 * (f + 2.0 * (a + b) + slope(y + h * b))
            y, gone, left = min(max(y, FLOOR_M3_S3), top), gone + h, left - h
            if y < SLOWEST_M_S**3 and gone > SLOWEST_AFTER_M:
                raise too_slow(gone, float(pieces.grade[i]))
            index.append(i)
            steps.append(h)
            ends.append(y)
    return np.array(index, dtype=np.intp), np.array(steps), np.cbrt(ends)


def too_slow(distance_m: float, grade: float) -> OutOfRangeError:
    """Error for a course that the power does not carry the rider over."""
    return OutOfRangeError(
        f"the course cannot be ridden at this power: {distance_m / 1000.0:.2f} km from the start, on a grade of "
        f"{percent(grade, places=1)}, the speed falls below {SLOWEST_M_S:g} m/s, too slow to keep a bicycle upright; "
        "give more power, less head wind or an easier course"
    )


def arrival(mover: Mover, cells: RoadPieces, *, start_m_s: float, guess_m_s: Floats) -> tuple[Floats, Floats]:
    """Return time since the start and speed at the ends of all cells, each of shape (cells + 1,).

    The cells are those of :func:`march`, and ``guess_m_s`` the speeds of a similar mover to begin from.

    Notes
    -----
    Time over a cell by Simpson's rule for 1 / v; in the first cell from a standstill,
    where y grows in proportion to x, it is 3 h / 2 v, and from v0 to v1 it would be
    3/2 h (v0 + v1) / (v0^2 + v0 v1 + v1^2).
    """
    y = np.asarray(guess_m_s**3)
    y[0] = start_m_s**3
    settled = _solve(mover, cells, y)
    if settled is not None:
        return _clock(mover, cells, settled), np.cbrt(settled)
    # A mover too unlike the one that gave the guess rides by itself.
    index, length, speed = march(mover, cells, start_m_s=start_m_s)
    own = cells.cut(index, length)
    at, own_at = (np.concatenate([[0.0], np.cumsum(c.length_m)]) for c in (cells, own))
    return np.interp(at, own_at, _clock(mover, own, speed**3)), np.interp(at, own_at, speed)


def _clock(mover: Mover, cells: RoadPieces, y: Floats) -> Floats:
    rule, h, v = _Rule(mover, cells), cells.length_m, np.cbrt(y)
    slow = np.flatnonzero((v[1:] < SLOWEST_M_S) & (np.cumsum(h) > SLOWEST_AFTER_M))
    if len(slow):
        i = int(slow[0])
        raise too_slow(float(np.sum(h[: i + 1])), float(cells.grade[i]))
    top = _top(mover)
    (f0, _), (f1, _) = rule(y[:-1]), rule(y[1:])
    middle = np.cbrt(np.clip(0.5 * (y[:-1] + y[1:]) + h / 8.0 * (f0 - f1), FLOOR_M3_S3, top))
    v0, v1 = np.maximum(v[:-1], np.cbrt(FLOOR_M3_S3)), v[1:]
    step = h / 6.0 * (1.0 / v0 + 4.0 / middle + 1.0 / v1)
    if v[0] == 0.0:
        step[0] = 1.5 * h[0] / v1[0]
    # Where the brakes come on inside a cell: y grows evenly up to there, and stays.
    met = np.flatnonzero((y[1:] >= top) & (y[:-1] < top))
    grown = np.minimum((top - y[met]) / np.maximum(0.5 * (f0[met] + f1[met]), 1e-9), h[met])
    rising = 1.5 * grown * (v0[met] + v1[met]) / (v0[met] ** 2 + v0[met] * v1[met] + v1[met] ** 2)
    step[met] = rising + (h[met] - grown) / v1[met]
    return np.concatenate([[0.0], np.cumsum(step)])
