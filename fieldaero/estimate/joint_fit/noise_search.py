"""The noise parameters: their most likely values, and how uncertain these leave the covariance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.equations import CELLS
from fieldaero.estimate.joint_fit.likelihood import Estimate, estimate
from fieldaero.estimate.joint_fit.noise import AIR_SD, BRAKE_SD, PARAMETERS
from fieldaero.estimate.joint_fit.problem import Problem
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["active_parameters", "cda_covariance", "most_likely_noise", "noise_uncertainty"]

SEARCH_TOLERANCE = 1e-6  # of the objective, relative
NO_SOLUTION = 1e12  # objective where the equations cannot be solved: the search turns back
LOG_STEP = 0.05  # chosen: of a log parameter, for the slopes of gradient and covariance by differences


def active_parameters(segments: Segments) -> NDArray[np.intp]:
    """Return indices of the noise parameters that play a part, shape (free,).

    Without braking and without recorded air speed theirs do not.
    """
    off = set()
    if not np.any(segments.braked_s > 0.0):
        off.add(BRAKE_SD)
    if not segments.has_air_speed:
        off.add(AIR_SD)
    return np.array([i for i in range(len(PARAMETERS)) if i not in off], dtype=np.intp)


def most_likely_noise(theta: Floats, problem: Problem, *, steps: int) -> Floats:
    """Search the restricted likelihood's maximum from ``theta`` (logs), shape (parameters,), in ``steps`` at most."""
    free = active_parameters(problem.segments)

    def value(part: Floats) -> tuple[float, Floats]:
        full = theta.copy()
        full[free] = part
        try:
            found = estimate(full, problem, gradient=True)
        except np.linalg.LinAlgError:
            return NO_SOLUTION, np.zeros(len(free))
        return found.objective, found.gradient[free]

    bounds = [(np.log(PARAMETERS[i].low), np.log(PARAMETERS[i].high)) for i in free]
    best = minimize(
        value,
        theta[free],
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"maxiter": steps, "ftol": SEARCH_TOLERANCE},
    )
    out = theta.copy()
    out[free] = best.x
    return out


def cda_covariance(found: Estimate) -> tuple[Floats, Floats]:
    """Covariance of the lap drag areas, shape (K, K), and variances of the first shared unknowns."""
    K, p = found.local.shape
    unit = np.zeros((K, p, K))
    unit[np.arange(K), -1, np.arange(K)] = 1.0
    x, _ = found.factors.solve(unit, np.zeros((len(found.shared), K)))
    return x[:, -1, :], np.diagonal(found.factors.border)[:CELLS]


def noise_uncertainty(theta: Floats, problem: Problem) -> tuple[Floats, Floats]:
    """Return how uncertain the noise parameters are, and what that does to the drag areas' covariance.

    First the covariance of the logs, shape (parameters, parameters), zero for those that play no part;
    then the derivative of the drag areas' covariance by each [m4], shape (parameters, K, K).
    """
    free, K = active_parameters(problem.segments), problem.segments.laps
    hessian = np.zeros((len(free), len(free)))
    slopes = np.zeros((len(theta), K, K))
    for a, i in enumerate(free):
        step = LOG_STEP * np.eye(len(theta))[i]
        ahead, behind = (estimate(theta + sign * step, problem, gradient=True) for sign in (1.0, -1.0))
        hessian[a] = (ahead.gradient - behind.gradient)[free] / (2.0 * LOG_STEP)
        slopes[i] = (cda_covariance(ahead)[0] - cda_covariance(behind)[0]) / (2.0 * LOG_STEP)
    hessian = (hessian + hessian.T) / 2.0
    values, vectors = np.linalg.eigh(hessian)
    # Where the likelihood is flat or bent the wrong way at a bound, the prior alone says how uncertain it is.
    least = 1.0 / max(p.log_sd for p in PARAMETERS) ** 2
    inverse = vectors @ np.diag(1.0 / np.maximum(values, least)) @ vectors.T
    covariance = np.zeros((len(theta), len(theta)))
    covariance[np.ix_(free, free)] = inverse
    return covariance, slopes
