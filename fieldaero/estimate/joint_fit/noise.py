"""Covariance of the segment equations within a lap, and its parameters.

Independent causes, each with its own size (and gusts with a time scale; the slow wind's two parameters stand here too):

- gusts too short for the slow wind: their along-track speed has an exponential
  correlation in time, and enters the balance times the segment's sensitivity to
  wind, so that it grows with speed and drag area.  Taken as white, gusts spoil the
  estimate of the slow wind, which then soaks up what the gusts leave over;
- error of speed: enters through the kinetic energy as an error of LEVEL at the
  edges, so a segment's excess is its neighbour's shortfall;
- noise of power: independent per second;
- braking: energy lost that no sensor shows, per second under the brakes;
- noise of a recorded air speed, where there is one;
- a shift of the lap along the road, of :data:`SHIFT_SD_M`: on steep short courses it is
  the largest cause of all, and has one sign all round the lap.  On even roads it is nothing.

Segments without a balance get a huge variance.  Laps are taken as independent of
each other given the slow wind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.equations import Equations
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["PARAMETERS", "NoisePart", "Parameter", "lap_covariance", "prior_penalty", "start_values"]

UNKNOWN_VARIANCE_M2 = 1e4  # a hundred metres, or m/s: next to nothing is learnt from such a row
SHIFT_SD_M = 2.0  # of where satellites see the line crossed; common practice, no source
AIR_SD_OVER_S = 5.0  # the air speed's parameter is the error of a mean over so many seconds
GUST_S_STEP = 1e-3  # of the log, for the slope of the covariance by differences


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """A positive parameter of the noise, on a log scale with a weak normal prior.

    The priors keep the search from running away where the data say nothing; their
    centres are common practice without a source, and a factor of e^(2 sd) either way
    costs no more than two units of log likelihood.
    """

    name: str
    unit: str
    centre: float
    log_sd: float
    low: float
    high: float


PARAMETERS: tuple[Parameter, ...] = (
    Parameter(name="gust_sd_m_s", unit="m/s", centre=0.3, log_sd=1.5, low=0.01, high=3.0),
    Parameter(name="gust_s", unit="s", centre=7.0, log_sd=0.7, low=1.5, high=40.0),
    Parameter(name="slow_wind_sd_m_s", unit="m/s", centre=0.4, log_sd=1.5, low=0.01, high=4.0),
    Parameter(name="slow_wind_s", unit="s", centre=200.0, log_sd=0.7, low=30.0, high=1500.0),
    Parameter(name="level_sd_m", unit="m", centre=0.03, log_sd=1.0, low=0.001, high=0.5),
    Parameter(name="power_sd_m_per_sqrt_s", unit="m/s^0.5", centre=0.005, log_sd=0.7, low=0.0005, high=0.1),
    Parameter(name="brake_sd_m_per_sqrt_s", unit="m/s^0.5", centre=0.4, log_sd=1.5, low=0.02, high=20.0),
    Parameter(name="air_speed_sd_m_s", unit="m/s", centre=0.15, log_sd=1.0, low=0.01, high=2.0),
)
GUST_SD, GUST_S, SLOW_SD, SLOW_S, LEVEL_SD, POWER_SD, BRAKE_SD, AIR_SD = range(len(PARAMETERS))


def start_values() -> Floats:
    """Return the logs of the centres, where the search begins, shape (parameters,)."""
    return np.asarray(np.log([p.centre for p in PARAMETERS]))


def prior_penalty(theta: Floats) -> tuple[float, Floats]:
    """Minus log prior of the log parameters, shape (parameters,), and its gradient of that shape."""
    sd = np.array([p.log_sd for p in PARAMETERS])
    away = (theta - start_values()) / sd
    return 0.5 * float(away @ away), away / sd


@dataclass(frozen=True, kw_only=True)
class NoisePart:
    """One cause of noise: a parameter and the derivative of the covariance by its log, shape (K, n, n)."""

    parameter: int
    derivative: Floats


def _gust_correlation(middle_s: Floats, duration_s: Floats, tau: float) -> Floats:
    """Correlation of segment means of a process with exponential correlation, shape (K, n, n)."""
    x = duration_s / tau
    within = 2.0 * (x - 1.0 + np.exp(-x)) / x**2
    smear = (1.0 - np.exp(-x)) / x
    apart = np.abs(middle_s[:, :, None] - middle_s[:, None, :])
    apart = np.maximum(apart - 0.5 * (duration_s[:, :, None] + duration_s[:, None, :]), 0.0)
    out = np.exp(-apart / tau) * smear[:, :, None] * smear[:, None, :]
    j = np.arange(duration_s.shape[1])
    out[:, j, j] = within
    return np.asarray(out)


def lap_covariance(
    theta: Floats, segments: Segments, equations: Equations, *, derivatives: bool
) -> tuple[Floats, tuple[NoisePart, ...]]:
    """Covariance of each lap's equations, shape (K, r, r), at noise parameters ``theta`` (logs).

    With ``derivatives`` it comes with its parts by each parameter that plays one.
    """
    value = np.exp(theta)
    duration, gain = segments.duration_s, equations.wind_sensitivity
    (K, n), rows = duration.shape, gain.shape[1]
    j = np.arange(n)

    def gusts(tau: float) -> Floats:
        correlation = np.tile(_gust_correlation(segments.middle_s, duration, tau), (1, rows // n, rows // n))
        return np.asarray(value[GUST_SD] ** 2 * correlation * gain[:, :, None] * gain[:, None, :])

    def diagonal(values: Floats, first: int = 0) -> Floats:
        out = np.zeros((K, rows, rows))
        out[:, first + j, first + j] = values
        return out

    gust = gusts(value[GUST_S])
    level = diagonal(np.full((K, n), 2.0))
    level[:, j[:-1], j[1:]] = level[:, j[1:], j[:-1]] = -1.0
    level *= value[LEVEL_SD] ** 2
    power = diagonal(value[POWER_SD] ** 2 * duration)
    brake = diagonal(value[BRAKE_SD] ** 2 * segments.braked_s)
    total = gust + level + power + brake + diagonal(np.where(segments.unknown_s > 0.0, UNKNOWN_VARIANCE_M2, 0.0))
    total[:, :n, :n] += SHIFT_SD_M**2 * np.outer(equations.shift_sensitivity, equations.shift_sensitivity)
    air = None
    if equations.air_speed_known is not None:
        air = diagonal(value[AIR_SD] ** 2 * AIR_SD_OVER_S / duration, first=n)
        total = total + air + diagonal(np.where(equations.air_speed_known, 0.0, UNKNOWN_VARIANCE_M2), first=n)
    if not derivatives:
        return total, ()
    ahead, behind = (gusts(value[GUST_S] * np.exp(sign * GUST_S_STEP)) for sign in (1.0, -1.0))
    parts = [
        NoisePart(parameter=GUST_SD, derivative=2.0 * gust),
        NoisePart(parameter=GUST_S, derivative=(ahead - behind) / (2.0 * GUST_S_STEP)),
        NoisePart(parameter=LEVEL_SD, derivative=2.0 * level),
        NoisePart(parameter=POWER_SD, derivative=2.0 * power),
    ]
    if np.any(segments.braked_s > 0.0):
        parts.append(NoisePart(parameter=BRAKE_SD, derivative=2.0 * brake))
    if air is not None:
        parts.append(NoisePart(parameter=AIR_SD, derivative=2.0 * air))
    return total, tuple(parts)
