"""The laps of a session cut into short pieces of road, the same pieces in every lap.

A cell is a stretch of road of about 5 s riding.  Every lap is cut at the same cell
edges, so that the height a cell gains is one unknown that all laps share and the
shape of the road inside a cell does not matter.  On a road ridden there and back
the edges lie symmetric about the turns, so that each cell has its twin in the other
direction.  The twin gains the opposite height, but for the two sides of the road and
a metre or two of position.

Per lap and segment the energy balance gives one equation,

    base = CdA (A - 2 w.B + |w|^2 C) + Crr roll + dz + noise

with k = rho / (2 m g), h the unit vector of travel and, over the segment,
A = int k v^3 dt, B = int k v^2 h dt, C = int k v dt.  For a wind w that is constant
over the segment the bracket is exactly k int V^2 v dt, V the resultant air speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats

__all__ = ["RoadCells", "Segments", "road_cells"]

SHORTEST_CELL = 1e-6  # of a lap's length: edges closer than this are one
MOST_HAVE_AIR_SPEED = 0.5  # share of segments beyond which a recorded air speed takes part; chosen


@dataclass(frozen=True, kw_only=True)
class RoadCells:
    """How a lap is cut.

    Attributes
    ----------
    edge_m
        Positions along the lap where cells begin and end, shape (n + 1,), 0 to the length.
    twins
        For a road ridden there and back: one row per stretch of road, 1 for each cell that
        lies on it in either direction, shape (stretches, n).  None for any other course.
    """

    edge_m: Floats
    twins: Floats | None

    @property
    def count(self) -> int:
        """Number of cells n."""
        return len(self.edge_m) - 1

    @property
    def middle_m(self) -> Floats:
        """Positions of the middles of the cells, shape (n,)."""
        return (self.edge_m[:-1] + self.edge_m[1:]) / 2.0


def road_cells(*, length_m: float, segments: int, turn_position_m: float | None = None) -> RoadCells:
    """Cut a lap into about so many cells of equal length, symmetric about the first turn of a road there and back.

    >>> cells = road_cells(length_m=400.0, segments=4, turn_position_m=100.0)
    >>> cells.edge_m.tolist(), cells.twins.tolist()
    ([0.0, 100.0, 200.0, 300.0, 400.0], [[1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0]])
    """
    n = max(1, segments)
    if turn_position_m is None:
        return RoadCells(edge_m=np.linspace(0.0, length_m, n + 1), twins=None)
    n = max(2, n + n % 2)
    h = length_m / n
    # Edges symmetric about the turn, and the start line wherever it lies between two of them.
    inner = np.sort((turn_position_m + h * np.arange(n)) % length_m)
    edge = np.concatenate([[0.0], inner[(inner > SHORTEST_CELL * length_m)], [length_m]])
    edge = edge[np.concatenate([np.diff(edge) > SHORTEST_CELL * length_m, [True]])]
    middle = (edge[:-1] + edge[1:]) / 2.0
    beyond = (middle - turn_position_m) % length_m
    stretch = np.minimum((np.minimum(beyond, length_m - beyond) / h).astype(np.intp), n // 2 - 1)
    twins = np.zeros((n // 2, len(middle)))
    twins[stretch, np.arange(len(middle))] = 1.0
    return RoadCells(edge_m=edge, twins=twins)


@dataclass(frozen=True, kw_only=True)
class Segments:
    """What the joint fit knows of K laps cut into n segments each; shape (K, n) unless said otherwise.

    Attributes
    ----------
    still_air_m_per_m2, wind_first, wind_second
        A; B [s/m * m/m2], shape (K, n, 2), east and north; C [s2/m2 * m/m2].
    roll_m
        Rolling distance.
    work_m, kinetic_m
        Rider's work less bearings, and gain of kinetic energy, over m g; ``base_m`` is their difference.
    middle_s
        Middle on the session's clock.
    heading
        Unit vector of travel east, north, shape (K, n, 2), zero where unknown.
    braked_s, braked_m, unknown_s
        Time and way under the brakes, and time without a balance.
    start_s, end_s
        Of the laps on the session's clock, shape (K,).
    air_speed_m_s
        Mean recorded air speed, NaN where there is none.
    expected_wind_m_s
        Wind expected from the weather at rider height, where the air goes, shape (K, n, 2);
        0 where none was observed.
    """

    cells: RoadCells
    base_m: Floats
    still_air_m_per_m2: Floats
    roll_m: Floats
    wind_first: Floats
    wind_second: Floats
    work_m: Floats
    kinetic_m: Floats
    duration_s: Floats
    middle_s: Floats
    speed_m_s: Floats
    heading: Floats
    braked_s: Floats
    braked_m: Floats
    unknown_s: Floats
    start_s: Floats
    end_s: Floats
    air_speed_m_s: Floats
    expected_wind_m_s: Floats

    @property
    def laps(self) -> int:
        """Number of laps K."""
        return int(self.base_m.shape[0])

    @property
    def per_lap(self) -> int:
        """Number of segments n of a lap."""
        return int(self.base_m.shape[1])

    @property
    def has_air_speed(self) -> bool:
        """Whether most segments have an air speed."""
        return bool(np.mean(np.isfinite(self.air_speed_m_s)) > MOST_HAVE_AIR_SPEED)

    @property
    def braked_cells(self) -> NDArray[np.intp]:
        """Cells where anybody braked."""
        return np.flatnonzero(np.any(self.braked_s > 0.0, axis=0))
