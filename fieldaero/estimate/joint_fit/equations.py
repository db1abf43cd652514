"""The session's equations, linear about a wind and drag areas.

Unknown per lap k: the slow wind's departure d(t) from the mean at m nodes in time,
east and north, and the lap's CdA.  Unknown for all laps: the departure of the mean
wind from the expected one, Crr, the scale error of a recorded air speed, the height
gained in each cell of road, and the height lost per metre under the brakes at each
place where anybody braked.  That last loss is of one sign and alike from lap to lap
(a corner), so that taken as noise of mean zero it would pass for drag.

With w0 and CdA0 the point of linearisation, g = CdA0 (-2 B + 2 w0 C) and the wind
w = expected + mean + d,

    base + g.(w0 - expected) = CdA a(w0) + g.(mean + d) + Crr roll + b_j braked + dz + noise

A lap whose line was crossed a metre or two away from where positions say has all its cells as
much too far along the road.  That is noise common to the lap: it goes with the change of
grade from one edge of a cell to the other, taken from the laps' own rises.

For a recorded air speed V = |v h - w| with its scale 1 + e

    V_recorded - V0 + q.(w0 - expected) = q.(mean + d) + e V0 + noise,   q = -(v h - w0) / V0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["Equations", "WindNodes", "linearise", "wind_nodes"]

NODE_S = 40.0  # the slow wind between its nodes is a straight line; 30 to 60 s make no difference to the result
SHORTEST_GAP_S = 1.0  # two nodes at one moment would leave the link between them undefined
LEAST_AIR_SPEED_M_S = 1.0  # below it the direction of the flow is anything; chosen
MEAN_EAST, MEAN_NORTH, CRR, AIR_SCALE, CELLS = 0, 1, 2, 3, 4  # places among the shared; braked places come last


@dataclass(frozen=True, kw_only=True)
class WindNodes:
    """Where the slow wind's nodes lie and how it is read between them.

    Attributes
    ----------
    count
        Nodes per lap m.
    step_s
        Time between the nodes of a lap, shape (K,).
    gap_s
        Time from the last node of a lap to the first of the next, shape (K - 1,).
    weight
        Wind in a segment from the nodes of its lap, shape (K, n, m).
    """

    count: int
    step_s: Floats
    gap_s: Floats
    weight: Floats

    def slow_wind(self, local: Floats) -> Floats:
        """Departure from the mean wind in each segment [m/s], shape (K, n, 2), from the laps' own unknowns."""
        m = self.count
        return np.stack([(self.weight @ local[:, o : o + m, None])[:, :, 0] for o in (0, m)], axis=2)


def wind_nodes(segments: Segments) -> WindNodes:
    """Place the nodes: as many in every lap, evenly in time from its start to its end."""
    lasting = segments.end_s - segments.start_s
    m = max(2, math.ceil(float(np.median(lasting)) / NODE_S) + 1)
    step = lasting / (m - 1)
    at = np.clip((segments.middle_s - segments.start_s[:, None]) / step[:, None], 0.0, m - 1.0)
    below = np.minimum(at.astype(np.intp), m - 2)
    weight = np.zeros((*at.shape, m))
    k, j = np.indices(at.shape)
    weight[k, j, below] = 1.0 - (at - below)
    weight[k, j, below + 1] = at - below
    gap = np.maximum(segments.start_s[1:] - segments.end_s[:-1], SHORTEST_GAP_S)
    return WindNodes(count=m, step_s=step, gap_s=gap, weight=weight)


@dataclass(frozen=True, kw_only=True)
class Equations:
    """Linear equations of K laps with r rows each: n of energy, then n of air speed where it was recorded.

    Attributes
    ----------
    right
        Left-hand sides above, shape (K, r).
    local
        Columns of a lap's own unknowns: nodes east, nodes north, CdA; shape (K, r, 2 m + 1).
    shared
        Columns of the shared unknowns, shape (K, r, 4 + cells + braked places).
    wind_sensitivity
        Change of each row per m/s of wind along the travel, shape (K, r).
    shift_sensitivity
        Change of a lap's energy rows per metre that its cells lie too far along the road [m/m], shape (n,).
    air_speed_known
        Where an air speed was recorded, shape (K, n); None without.
    """

    right: Floats
    local: Floats
    shared: Floats
    wind_sensitivity: Floats
    shift_sensitivity: Floats
    air_speed_known: NDArray[np.bool_] | None


def linearise(segments: Segments, nodes: WindNodes, *, cda_m2: Floats, wind_m_s: Floats) -> Equations:
    """Write the equations about drag areas, shape (K,), and winds, shape (K, n, 2)."""
    B, C = segments.wind_first, segments.wind_second
    w0, h = wind_m_s, segments.heading
    away = w0 - segments.expected_wind_m_s
    a = segments.still_air_m_per_m2 - 2.0 * np.sum(w0 * B, axis=2) + np.sum(w0**2, axis=2) * C
    g = cda_m2[:, None, None] * (-2.0 * B + 2.0 * w0 * C[:, :, None])
    K, n = a.shape
    braked = segments.braked_cells
    right = segments.base_m + np.sum(g * away, axis=2)
    local = np.concatenate([g[:, :, :1] * nodes.weight, g[:, :, 1:] * nodes.weight, a[:, :, None]], axis=2)
    shared = np.zeros((K, n, CELLS + n + len(braked)))
    shared[:, :, [MEAN_EAST, MEAN_NORTH]] = g
    shared[:, :, CRR] = segments.roll_m
    shared[:, np.arange(n), CELLS + np.arange(n)] = 1.0
    shared[:, braked, CELLS + n + np.arange(len(braked))] = segments.braked_m[:, braked]
    along = np.sum(g * h, axis=2)
    shifted = _shift_sensitivity(segments.base_m - cda_m2[:, None] * a, segments)
    known = None
    if segments.has_air_speed:
        known = np.isfinite(segments.air_speed_m_s)
        flow = segments.speed_m_s[:, :, None] * h - w0
        V0 = np.maximum(np.linalg.norm(flow, axis=2), LEAST_AIR_SPEED_M_S)
        q = np.where(known[:, :, None], -flow / V0[:, :, None], 0.0)
        excess = np.where(known, np.nan_to_num(segments.air_speed_m_s) - V0, 0.0)
        own = np.concatenate([q[:, :, :1] * nodes.weight, q[:, :, 1:] * nodes.weight, np.zeros((K, n, 1))], axis=2)
        common = np.zeros_like(shared)
        common[:, :, [MEAN_EAST, MEAN_NORTH]] = q
        common[:, :, AIR_SCALE] = np.where(known, V0, 0.0)
        right = np.concatenate([right, excess + np.sum(q * away, axis=2)], axis=1)
        local = np.concatenate([local, own], axis=1)
        shared = np.concatenate([shared, common], axis=1)
        along = np.concatenate([along, np.sum(q * h, axis=2)], axis=1)
    return Equations(
        right=right,
        local=local,
        shared=shared,
        wind_sensitivity=along,
        shift_sensitivity=shifted,
        air_speed_known=known,
    )


def _shift_sensitivity(rise_m: Floats, segments: Segments) -> Floats:
    """Grade at the far edge of each cell less that at its near edge, from rises of shape (K, n).

    The rises may hold anything that goes with the way, as the rolling loss does.  The median over
    laps serves: one lap that is far off must not draw the others' road.
    """
    known = segments.unknown_s <= 0.0
    counts = known.any(axis=0)
    rise, way = (
        np.where(counts, np.nanmedian(np.where(known | ~counts, part, np.nan), axis=0), 0.0)
        for part in (rise_m, segments.roll_m)
    )
    both = way + np.roll(way, 1)
    near = np.where(both > 0.0, (rise + np.roll(rise, 1)) / np.where(both > 0.0, both, 1.0), 0.0)
    return np.asarray(np.roll(near, -1) - near)
