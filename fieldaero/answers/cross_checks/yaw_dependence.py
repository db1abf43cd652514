"""How drag area changes with yaw, where one session's yaw varied enough to tell.

    CdA(yaw) = CdA(0) (1 + g yaw^2),   yaw in degrees, one g for all laps

On a course that is ridden again and again the pattern of yaw along the road is lost in the
road's own heights, which nobody knows; what tells g is that the wind changes.  With the yaw
that the joint fit found, every segment's aerodynamic coefficients are multiplied by
1 + g (yaw^2 - mean of yaw^2), which leaves the level of the laps' drag areas as it is, and the laps
are estimated again about the fit's own linearisations, all mean winds together.  The restricted
likelihood of g is a parabola near its top, which gives g and its standard error.

The noise of every segment is held at what it was without g.  Otherwise g would be used to widen the
noise where the wind blows across, which the noise model does not do by itself, and come out too
high.  Some of that is left: in simulated sessions with gusts g came out too high by 0.0002 to 0.0004
per square degree; and changes beyond 0.0005 came out too small by up to a half, because the wind
of the first fit has made up for a part of them.  :data:`MODEL_ERROR_PER_DEG2` allows for it and is
added to the standard error of the likelihood, in squares.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import logsumexp

from fieldaero.answers.cross_checks.yaw_ridden import RiddenYaw, ridden_yaw, segment_yaw_deg
from fieldaero.answers.rows import YawResult
from fieldaero.basics.quantities import Floats
from fieldaero.compare.session_comparison import Estimates
from fieldaero.estimate.joint_fit.fit import JointFit
from fieldaero.estimate.joint_fit.gauss_newton import Component, step_to_estimate
from fieldaero.estimate.joint_fit.likelihood import estimate
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["LEAST_SPREAD_DEG2", "MODEL_ERROR_PER_DEG2", "yaw_result"]


LEAST_SPREAD_DEG2 = 30.0  # below it the interval is wider than any change that bikes and riders show
LEAST_LAPS = 4
MODEL_ERROR_PER_DEG2 = 0.0004  # as tests/validation/yaw_dependence.py finds it
LIKELY = 0.01  # share of the weight below which a mean wind is passed over
STEP = 0.02  # times 1 / spread: about one standard error
STEPS = 2  # of Newton's method
REFITS = 2  # the second about where the first has moved wind and drag areas to
FURTHEST = 0.5  # of the change of drag area over one spread of yaw^2, beyond which there is no top near
COVERAGE_FACTOR = 2.0


def yaw_result(estimates: Estimates) -> YawResult:
    """Estimate how drag area changes with yaw, or say that these laps cannot tell.

    There is no interval where yaw's square varied by less than :data:`LEAST_SPREAD_DEG2` along the road, where there
    are fewer than four laps, or where the likelihood has no top near.
    """
    yaw = ridden_yaw(estimates)
    found = None
    if yaw is not None and yaw.spread_deg2 >= LEAST_SPREAD_DEG2 and len(estimates.laps) >= LEAST_LAPS:
        found = _found(estimates, yaw)
    blank = YawResult(
        enough_spread=yaw is not None and yaw.spread_deg2 >= LEAST_SPREAD_DEG2,
        yaw_rms_deg=None if yaw is None else yaw.rms_deg,
        yaw_spread_deg2=None if yaw is None else yaw.spread_deg2,
        needed_spread_deg2=LEAST_SPREAD_DEG2,
    )
    if found is None or yaw is None:
        return blank
    mean = float(yaw.weights @ yaw.yaw_deg**2)
    g, se = found
    low, high = g - COVERAGE_FACTOR * se, g + COVERAGE_FACTOR * se
    if 1.0 - mean * high <= 0.0:
        return blank  # so wide that the drag area at no yaw is no longer above zero
    # 1 + g (y - mean) is (1 - g mean) (1 + g' y), and g' belongs to the drag area at no yaw.
    at_zero, low, high = (value / (1.0 - mean * value) for value in (g, low, high))
    return replace(
        blank,
        change_per_yaw_deg2=at_zero,
        se_per_yaw_deg2=se / (1.0 - mean * g) ** 2,
        interval95_per_yaw_deg2=(low, high),
        change_at_10_deg=100.0 * at_zero,
        interval95_change_at_10_deg=(100.0 * low, 100.0 * high),
    )


def _found(estimates: Estimates, yaw: RiddenYaw) -> tuple[float, float] | None:
    """Top of the likelihood of g about the mean of yaw^2, and the standard error; None without a top near."""
    fit = estimates.fit
    square = np.nan_to_num(segment_yaw_deg(estimates)) ** 2
    square -= float(yaw.weights @ yaw.yaw_deg**2)
    step, g, se = STEP / yaw.spread_deg2, 0.0, 0.0
    for _ in range(STEPS):
        try:
            low, top, high = (_log_likelihood(g + k * step, square, fit) for k in (-1, 0, 1))
        except np.linalg.LinAlgError:
            return None
        bend = (low - 2.0 * top + high) / step**2
        if not bend < 0.0:
            return None
        g -= (high - low) / (2.0 * step) / bend
        se = (-bend) ** -0.5
        if abs(g) > FURTHEST / yaw.spread_deg2:
            return None
    return g, float(np.hypot(se, MODEL_ERROR_PER_DEG2))


def _log_likelihood(g: float, square: Floats, fit: JointFit) -> float:
    """Restricted log likelihood of g, over the mean winds that the laps hold for likely."""
    scaled = _scaled(fit.segments, 1.0 + g * square)
    best = float(np.max(fit.weights))
    # The weights hold the prior of each mean wind times its likelihood at g = 0.
    logs = [
        float(np.log(weight)) + component.estimate.objective - _objective(component, scaled, fit.theta)
        for component, weight in zip(fit.components, fit.weights, strict=True)
        if weight > LIKELY * best
    ]
    return float(logsumexp(logs))


def _objective(component: Component, scaled: Segments, theta: Floats) -> float:
    noise, value = component.problem.equations.wind_sensitivity, 0.0
    for _ in range(REFITS):
        problem = replace(component.problem, segments=scaled)
        problem = problem.moved_to(cda_m2=component.cda_m2, wind_m_s=component.wind_m_s)
        problem = replace(problem, equations=replace(problem.equations, wind_sensitivity=noise))
        component, _ = step_to_estimate(problem, estimate(theta, problem))
        value = component.estimate.objective
    return value


def _scaled(segments: Segments, factor: Floats) -> Segments:
    return replace(
        segments,
        still_air_m_per_m2=segments.still_air_m_per_m2 * factor,
        wind_first=segments.wind_first * factor[:, :, None],
        wind_second=segments.wind_second * factor,
    )
