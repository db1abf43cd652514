"""What is known before the fit, and the priors that follow from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.noise import SLOW_SD
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["KnownBefore", "SharedPrior", "mean_wind_sd_m_s", "shared_prior"]

MEAN_OVER_SLOW = 2.5  # a mean wind is some 2 to 3 times its slow variation; common practice, no source
# The rest is common practice without a source too.
LEAST_MEAN_SD_M_S = 0.2
BRAKING_LOSS = (0.15, 0.15)  # height lost per metre under the brakes (deceleration over g), mean and sd
AIR_SCALE_SD = 0.05  # of a recorded air speed: where the sensor sits on the bike
CLOSED_HEIGHT_SD_M = 0.01  # the line is as high at the finish as at the start
TWINS_DIFFER_M = 0.15  # level of the two sides of one road, and a metre or two of position on a slope
CELL_HEIGHT_SD_M = 1000.0  # next to nothing to the data, but it keeps a cell that no lap knows determined


@dataclass(frozen=True, kw_only=True)
class KnownBefore:
    """What is known before the fit.

    Attributes
    ----------
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
    height_gain_sd_m: float = CLOSED_HEIGHT_SD_M
    height_precision: Floats | None = None
    height_information: Floats | None = None

    def __post_init__(self) -> None:
        if not (self.crr_sd > 0.0 and self.height_gain_sd_m > 0.0):
            raise ValueError("crr_sd and height_gain_sd_m must be above zero")


@dataclass(frozen=True, kw_only=True)
class SharedPrior:
    """Normal priors of what all laps share.

    Attributes
    ----------
    mean, sd
        Of mean wind east and north (departure from the expected one) [m/s], Crr, scale
        error of the air speed; shape (4,).
    braking_mean_m_per_m, braking_sd_m_per_m
        Of the height lost per metre under the brakes.
    height_precision, height_information
        Of the cells' heights: precision matrix, shape (cells, cells), and precision times mean, shape (cells,).
    """

    mean: Floats
    sd: Floats
    braking_mean_m_per_m: float
    braking_sd_m_per_m: float
    height_precision: Floats
    height_information: Floats


def mean_wind_sd_m_s(known: KnownBefore, theta: Floats) -> float:
    """Return the standard deviation of the mean wind [m/s], given the noise parameters (logs), shape (parameters,)."""
    if known.wind_sd_m_s is not None:
        return known.wind_sd_m_s
    return max(MEAN_OVER_SLOW * float(np.exp(theta[SLOW_SD])), LEAST_MEAN_SD_M_S)


def shared_prior(segments: Segments, known: KnownBefore, *, mean: Floats, sd: float) -> SharedPrior:
    """Return the priors of the shared unknowns, the mean wind about ``mean`` [m/s], shape (2,), with ``sd``."""
    total = np.ones(segments.per_lap)
    precision = np.outer(total, total) / known.height_gain_sd_m**2
    information = total * known.height_gain_m / known.height_gain_sd_m**2
    if known.height_precision is not None and known.height_information is not None:
        precision = precision + known.height_precision
        information = information + known.height_information
    if segments.cells.twins is not None:
        # The heights of twins add up to what their edges' levels differ by, independent from edge to edge.
        T = segments.cells.twins
        level = 2.0 * np.eye(len(T)) - np.eye(len(T), k=1) - np.eye(len(T), k=-1)
        precision = precision + T.T @ np.linalg.solve(TWINS_DIFFER_M**2 * level, T)
    return SharedPrior(
        mean=np.array([mean[0], mean[1], known.crr, 0.0]),
        sd=np.array([sd, sd, known.crr_sd, AIR_SCALE_SD]),
        braking_mean_m_per_m=BRAKING_LOSS[0],
        braking_sd_m_per_m=BRAKING_LOSS[1],
        height_precision=precision + np.eye(len(total)) / CELL_HEIGHT_SD_M**2,
        height_information=information,
    )
