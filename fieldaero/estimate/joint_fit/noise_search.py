"""The noise parameters: their most likely values, and how uncertain these leave the covariance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from fieldaero.estimate.joint_fit.equations import CELLS, Equations, Layout
from fieldaero.estimate.joint_fit.gauss_newton import Component
from fieldaero.estimate.joint_fit.likelihood import Estimate, SharedPrior, estimate
from fieldaero.estimate.joint_fit.noise import AIR_SD, BRAKE_SD, PARAMETERS
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["active_parameters", "cda_covariance", "noise_uncertainty", "optimised"]

Floats = NDArray[np.float64]


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


def optimised(
    theta: Floats,
    free: NDArray[np.intp],
    segments: Segments,
    nodes: Layout,
    equations: Equations,
    prior: SharedPrior,
    *,
    rounds: int,
) -> Floats:
    """Search the restricted likelihood's maximum over some parameters.

    Parameters
    ----------
    theta
        Where the search begins (logs), shape (parameters,).
    free
        Indices of the parameters that are moved.
    segments, nodes, equations, prior
        What is fitted, at one point of linearisation.
    rounds
        Steps of the search at most.

    Returns
    -------
    The best parameters found (logs), shape (parameters,).
    """

    def value(part: Floats) -> tuple[float, Floats]:
        full = theta.copy()
        full[free] = part
        try:
            found = estimate(full, segments=segments, nodes=nodes, equations=equations, prior=prior, gradient=True)
        except np.linalg.LinAlgError:
            return 1e12, np.zeros(len(free))
        return found.objective, found.gradient[free]

    bounds = [(np.log(PARAMETERS[i].low), np.log(PARAMETERS[i].high)) for i in free]
    best = minimize(
        value, theta[free], jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": rounds, "ftol": 1e-6}
    )
    out = theta.copy()
    out[free] = best.x
    return out


def cda_covariance(found: Estimate) -> tuple[Floats, Floats]:
    """Covariance of the lap drag areas, shape (K, K), and variances of the first shared unknowns."""
    K, p = found.local.shape
    unit = np.zeros((K, p, K))
    unit[np.arange(K), -1, np.arange(K)] = 1.0
    x, _ = found.chain.solve(unit, np.zeros((len(found.shared), K)))
    return x[:, -1, :], np.diagonal(found.chain.border)[:CELLS]


def noise_uncertainty(
    theta: Floats, free: NDArray[np.intp], centre: Component, segments: Segments, nodes: Layout
) -> tuple[Floats, Floats]:
    """Return how uncertain the noise parameters are, and what that does to the drag areas' covariance.

    Parameters
    ----------
    theta
        Noise parameters (logs), shape (parameters,).
    free
        Indices of those that were estimated.
    centre, segments, nodes
        The fit at them.

    Returns
    -------
    Covariance of the logs, shape (parameters, parameters), zero for those not free, and the
    derivative of the drag areas' covariance by each [m4], shape (parameters, K, K).
    """
    step = 0.05
    K = segments.laps
    hessian = np.zeros((len(free), len(free)))
    slopes = np.zeros((len(theta), K, K))
    for a, i in enumerate(free):
        sides = []
        for sign in (1.0, -1.0):
            shifted = theta.copy()
            shifted[i] += sign * step
            sides.append(
                estimate(
                    shifted,
                    segments=segments,
                    nodes=nodes,
                    equations=centre.equations,
                    prior=centre.prior,
                    gradient=True,
                )
            )
        hessian[a] = (sides[0].gradient - sides[1].gradient)[free] / (2.0 * step)
        slopes[i] = (cda_covariance(sides[0])[0] - cda_covariance(sides[1])[0]) / (2.0 * step)
    hessian = (hessian + hessian.T) / 2.0
    values, vectors = np.linalg.eigh(hessian)
    # Where the likelihood is flat or bent the wrong way at a bound, the prior alone says how uncertain it is.
    least = 1.0 / max(p.log_sd for p in PARAMETERS) ** 2
    inverse = vectors @ np.diag(1.0 / np.maximum(values, least)) @ vectors.T
    covariance = np.zeros((len(theta), len(theta)))
    covariance[np.ix_(free, free)] = inverse
    return covariance, slopes
