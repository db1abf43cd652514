"""What is known before the fit, and the priors that follow from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.estimate.joint_fit.likelihood import SharedPrior
from fieldaero.estimate.joint_fit.noise import SLOW_SD
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["FitSettings", "mean_wind_sd_m_s", "shared_prior"]

Floats = NDArray[np.float64]

MEAN_OVER_SLOW = 2.5  # a mean wind is some 2 to 3 times its slow variation; common practice, no source
# The rest is common practice without a source too.
LEAST_MEAN_SD_M_S = 0.2
BRAKING_LOSS = (0.15, 0.15)  # height lost per metre under the brakes (deceleration over g), mean and sd
AIR_SCALE_SD = 0.05  # of a recorded air speed: where the sensor sits on the bike
CLOSED_WITHIN_M = 0.01
TWINS_DIFFER_M = 0.15  # level of the two sides of one road, and a metre or two of position on a slope


@dataclass(frozen=True, kw_only=True)
class FitSettings:
    """What is known before the fit.

    Attributes
    ----------
    crr, crr_sd
        Coefficient of rolling resistance.
    wind_sd_m_s
        Standard deviation of either component of the mean wind about the expected one;
        None where no wind was observed, and it then follows from how much the wind varies.
    height_gain_m, height_gain_sd_m
        Height of the finish above the start; 0 on a closed course, an infinite sd where unknown.
    height_precision, height_information
        What an altimeter says of the n cells' gains in height, or None: inverse covariance [1/m2],
        shape (n, n), and that times the gains [1/m], shape (n,).
    """

    crr: float
    crr_sd: float
    wind_sd_m_s: float | None = None
    height_gain_m: float = 0.0
    height_gain_sd_m: float = CLOSED_WITHIN_M
    height_precision: Floats | None = None
    height_information: Floats | None = None

    def __post_init__(self) -> None:
        if not (self.crr_sd > 0.0 and self.height_gain_sd_m > 0.0):
            raise ValueError("crr_sd and height_gain_sd_m must be above zero")


def mean_wind_sd_m_s(settings: FitSettings, theta: Floats) -> float:
    """Return the standard deviation of the mean wind [m/s], given the noise parameters (logs), shape (parameters,)."""
    if settings.wind_sd_m_s is not None:
        return settings.wind_sd_m_s
    return max(MEAN_OVER_SLOW * float(np.exp(theta[SLOW_SD])), LEAST_MEAN_SD_M_S)


def shared_prior(segments: Segments, settings: FitSettings, *, mean: Floats, sd: float) -> SharedPrior:
    """Return the priors of the shared unknowns, the mean wind about ``mean`` [m/s], shape (2,), with ``sd``."""
    total = np.ones(segments.per_lap)
    precision = np.outer(total, total) / settings.height_gain_sd_m**2
    information = total * settings.height_gain_m / settings.height_gain_sd_m**2
    if settings.height_precision is not None and settings.height_information is not None:
        precision = precision + settings.height_precision
        information = information + settings.height_information
    if segments.cells.twins is not None:
        # The heights of twins add up to what their edges' levels differ by, independent from edge to edge.
        T = segments.cells.twins
        level = 2.0 * np.eye(len(T)) - np.eye(len(T), k=1) - np.eye(len(T), k=-1)
        precision = precision + T.T @ np.linalg.solve(TWINS_DIFFER_M**2 * level, T)
    # An absolute height of 1 km per cell: nothing to the data, and H stays definite where a cell is unseen.
    precision = precision + np.eye(len(total)) * 1e-6
    return SharedPrior(
        mean=np.array([mean[0], mean[1], settings.crr, 0.0]),
        sd=np.array([sd, sd, settings.crr_sd, AIR_SCALE_SD]),
        braking_mean=BRAKING_LOSS[0],
        braking_sd=BRAKING_LOSS[1],
        precision=precision,
        information=information,
    )
