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

and for a recorded air speed V = |v h - w| with its scale 1 + e

    V_recorded - V0 + q.(w0 - expected) = q.(mean + d) + e V0 + noise,   q = -(v h - w0) / V0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["Equations", "Layout", "layout", "linearise"]

Floats = NDArray[np.float64]

NODE_S = 40.0  # the slow wind between its nodes is a straight line; 30 to 60 s make no difference to the result
MEAN_EAST, MEAN_NORTH, CRR, AIR_SCALE, CELLS = 0, 1, 2, 3, 4  # places in the border; braked places come last


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where the slow wind's nodes lie and how it is read between them.

    Attributes
    ----------
    nodes
        Nodes per lap m.
    step_s
        Time between the nodes of a lap, shape (K,).
    gap_s
        Time from the last node of a lap to the first of the next, shape (K - 1,).
    weight
        Wind in a segment from the nodes of its lap, shape (K, n, m).
    """

    nodes: int
    step_s: Floats
    gap_s: Floats
    weight: Floats


def layout(segments: Segments) -> Layout:
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
    # Two nodes at one moment would leave the link between them undefined.
    gap = np.maximum(segments.start_s[1:] - segments.end_s[:-1], 1.0)
    return Layout(nodes=m, step_s=step, gap_s=gap, weight=weight)


@dataclass(frozen=True, kw_only=True)
class Equations:
    """Linear equations of K laps with r rows each.

    Attributes
    ----------
    right
        Left-hand sides above, shape (K, r).
    local
        Columns of a lap's own unknowns: nodes east, nodes north, CdA; shape (K, r, 2 m + 1).
    shared
        Columns of the shared unknowns, shape (K, r, 4 + cells + braked places).
    wind_sensitivity, air_speed_sensitivity
        Change of either equation per m/s of wind along the travel, shape (K, n); None without air speed.
    shift_sensitivity
        Change of a lap's equations per metre that its cells lie too far along the road [m/m], shape (n,).
    air_speed_known
        Where an air speed was recorded, shape (K, n); None without.
    """

    right: Floats
    local: Floats
    shared: Floats
    wind_sensitivity: Floats
    air_speed_sensitivity: Floats | None
    air_speed_known: NDArray[np.bool_] | None
    shift_sensitivity: Floats


def linearise(segments: Segments, nodes: Layout, *, cda_m2: Floats, wind_m_s: Floats) -> Equations:
    """Write the equations about drag areas, shape (K,), and winds, shape (K, n, 2)."""
    B, C = segments.wind_first, segments.wind_second
    w0, expected = wind_m_s, segments.expected_wind_m_s
    a = segments.still_air_m_per_m2 - 2.0 * np.sum(w0 * B, axis=2) + np.sum(w0**2, axis=2) * C
    g = cda_m2[:, None, None] * (-2.0 * B + 2.0 * w0 * C[:, :, None])
    along = np.sum(g * segments.heading, axis=2)
    K, n = a.shape
    cells = n
    braked = np.flatnonzero(np.any(segments.braked_s > 0.0, axis=0))
    width = CELLS + cells + len(braked)
    local = np.concatenate([g[:, :, :1] * nodes.weight, g[:, :, 1:] * nodes.weight, a[:, :, None]], axis=2)
    shared = np.zeros((K, n, width))
    shared[:, :, [MEAN_EAST, MEAN_NORTH]] = g
    shared[:, :, CRR] = segments.roll_m
    shared[:, np.arange(n), CELLS + np.arange(n)] = 1.0
    shared[:, braked, CELLS + cells + np.arange(len(braked))] = segments.braked_m[:, braked]
    right = segments.base_m + np.sum(g * (w0 - expected), axis=2)
    shifted = _shift_sensitivity(segments.base_m - cda_m2[:, None] * a, segments)
    if not segments.has_air_speed:
        return Equations(
            right=right,
            local=local,
            shared=shared,
            wind_sensitivity=along,
            air_speed_sensitivity=None,
            air_speed_known=None,
            shift_sensitivity=shifted,
        )
    known = np.isfinite(segments.air_speed_m_s)
    flow = segments.speed_m_s[:, :, None] * segments.heading - w0
    V0 = np.maximum(np.linalg.norm(flow, axis=2), 1.0)
    q = np.where(known[:, :, None], -flow / V0[:, :, None], 0.0)
    right_air = np.where(known, np.nan_to_num(segments.air_speed_m_s) - V0, 0.0) + np.sum(q * (w0 - expected), axis=2)
    local_air = np.concatenate([q[:, :, :1] * nodes.weight, q[:, :, 1:] * nodes.weight, np.zeros((K, n, 1))], axis=2)
    shared_air = np.zeros((K, n, width))
    shared_air[:, :, [MEAN_EAST, MEAN_NORTH]] = q
    shared_air[:, :, AIR_SCALE] = np.where(known, V0, 0.0)
    return Equations(
        right=np.concatenate([right, right_air], axis=1),
        local=np.concatenate([local, local_air], axis=1),
        shared=np.concatenate([shared, shared_air], axis=1),
        wind_sensitivity=along,
        air_speed_sensitivity=np.sum(q * segments.heading, axis=2),
        air_speed_known=known,
        shift_sensitivity=shifted,
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
