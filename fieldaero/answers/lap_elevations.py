"""Virtual elevation of every fitted lap along the course, and how far it strays from the shared road profile.

The energy equation of lap k and cell i leaves the residual r_ki beside the height z_i that
all laps share, so that

    virtual elevation at the end of cell i  =  sum over j <= i of (z_j + r_kj),
    residual to the road profile            =  sum over j <= i of r_kj,

with the lap's own drag area and the fitted Crr and wind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.answers.result import Result
from fieldaero.basics.errors import CannotAnswerError

__all__ = ["LapElevations", "lap_elevations"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class LapElevations:
    """Laps over the course.

    Attributes
    ----------
    position_m
        Along the lap, shape (n + 1,), from 0 to its length.
    road_m
        Road profile above the start line, shape (n + 1,).
    residual_m
        Of each lap to the road profile, shape (K, n + 1).
    ride, lap, setup
        Of each lap: file, number, setup.
    """

    position_m: Floats
    road_m: Floats
    residual_m: Floats
    ride: tuple[str, ...]
    lap: tuple[int, ...]
    setup: tuple[str, ...]

    @property
    def elevation_m(self) -> Floats:
        """Virtual elevation of each lap above the start line, shape (K, n + 1)."""
        return self.road_m + self.residual_m


def lap_elevations(result: Result) -> LapElevations:
    """Return virtual elevation and residual of the fitted laps.

    Raises
    ------
    CannotAnswerError
        For a result that was read from a file, without its fit.
    """
    estimates, session = result.estimates, result.session
    if estimates is None or session is None:
        raise CannotAnswerError("this result comes without its fit; analyse the run sheet again")
    fit = estimates.fit
    return LapElevations(
        position_m=fit.segments.cells.edge_m,
        road_m=_from_zero(fit.cell_height_m[None, :])[0],
        residual_m=_from_zero(fit.residual_m),
        ride=tuple(session.rides[lap.ride].ride.source.file for lap in estimates.laps),
        lap=tuple(lap.lap.number for lap in estimates.laps),
        setup=tuple(lap.setup for lap in estimates.laps),
    )


def _from_zero(steps: Floats) -> Floats:
    return np.asarray(np.pad(np.cumsum(steps, axis=1), ((0, 0), (1, 0))))
