"""Restricted likelihood of the noise parameters, and the estimate that goes with them.

With R the covariance within laps, Q the precision of the slow wind, P that of the
priors on shared unknowns, A the columns and H = A' R^-1 A + Q + P,

    2 L = log|R| - log|Q| + log|H| + y' R^-1 y + m' P m - r' H^-1 r,   r = A' R^-1 y + P m

which is minus twice the log likelihood of what the drag areas and the road profile
(both without a prior) leave over; D. A. Harville, J. Am. Stat. Assoc. 72 (1977)
320-338.  The gradient by a parameter of R is, with u = R^-1 (y - A x),

    dL = 1/2 sum over (R^-1 - R^-1 A H^-1 A' R^-1 - u u') * dR

and needs only those blocks of H^-1 that belong to one lap.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.block_tridiagonal import Factors, factor
from fieldaero.estimate.joint_fit.equations import CELLS, WindNodes
from fieldaero.estimate.joint_fit.noise import PARAMETERS, SLOW_S, SLOW_SD, NoisePart, lap_covariance, prior_penalty
from fieldaero.estimate.joint_fit.problem import Problem

__all__ = ["Estimate", "estimate"]

SLOPE_STEP = 1e-5  # of a log parameter, for the slow wind's slopes by differences of its own small matrices


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """Estimate for given noise parameters.

    Attributes
    ----------
    objective
        L with the parameters' prior [nats].
    gradient
        By the log parameters, shape (parameters,); that of their prior alone where not asked for.
    local, shared
        Estimates, shapes (K, p) and (b,).
    factors
        The factorised normal matrix.
    weighted_residual
        R^-1 (y - A x), shape (K, r).
    whitened
        A' R^-1 per lap: local, shape (K, p, r), and shared, shape (K, b, r).
    """

    objective: float
    gradient: Floats
    local: Floats
    shared: Floats
    factors: Factors
    weighted_residual: Floats
    whitened: tuple[Floats, Floats]


def estimate(theta: Floats, problem: Problem, *, gradient: bool = False) -> Estimate:
    """Solve for all unknowns at noise parameters ``theta`` (logs), shape (parameters,).

    ``gradient`` asks for the objective's slope by each of them too, which doubles the work.
    Raises numpy.linalg.LinAlgError where the equations do not determine the unknowns.
    """
    equations, nodes, prior = problem.equations, problem.nodes, problem.prior
    K, m = problem.segments.laps, nodes.count
    R, parts = lap_covariance(theta, problem.segments, equations, derivatives=gradient)
    lower = np.linalg.cholesky(R)
    log_R = 2.0 * float(np.sum(np.log(np.diagonal(lower, axis1=1, axis2=2))))
    R_inv: Floats = np.asarray(np.linalg.inv(R), dtype=np.float64)
    A, S, y = equations.local, equations.shared, equations.right
    own = np.swapaxes(A, 1, 2) @ R_inv
    common = np.swapaxes(S, 1, 2) @ R_inv
    blocks = own @ A
    coupling = own @ S
    border = np.sum(common @ S, axis=0)
    right_local = (own @ y[:, :, None])[:, :, 0]
    right_shared = np.sum(common @ y[:, :, None], axis=0)[:, 0]
    yy = float(np.einsum("ki,kij,kj->", y, R_inv, y, optimize=True))

    Q, link, log_Q = _slow_wind_precision(nodes, theta, K)
    for o in (0, m):
        blocks[:, o : o + m, o : o + m] += Q
    weight = 1.0 / prior.sd**2
    border[np.arange(CELLS), np.arange(CELLS)] += weight
    right_shared[:CELLS] += weight * prior.mean
    beyond = CELLS + len(prior.height_information)
    border[CELLS:beyond, CELLS:beyond] += prior.height_precision
    right_shared[CELLS:beyond] += prior.height_information
    places = np.arange(beyond, len(border))
    border[places, places] += 1.0 / prior.braking_sd_m_per_m**2
    right_shared[places] += prior.braking_mean_m_per_m / prior.braking_sd_m_per_m**2

    first, last = np.array([0, m]), np.array([m - 1, 2 * m - 1])
    factors = factor(blocks=blocks, link=link, first=first, last=last, coupling=coupling, border=border)
    x, z = (part[..., 0] for part in factors.solve(right_local[:, :, None], right_shared[:, None]))
    known = float(weight @ prior.mean**2) + len(places) * (prior.braking_mean_m_per_m / prior.braking_sd_m_per_m) ** 2
    quadratic = yy + known - float(np.sum(right_local * x)) - float(right_shared @ z)
    penalty, penalty_slope = prior_penalty(theta)
    objective = 0.5 * (log_R - log_Q + factors.log_determinant + quadratic) + penalty
    residual = y - (A @ x[:, :, None])[:, :, 0] - S @ z
    u = (R_inv @ residual[:, :, None])[:, :, 0]
    found = Estimate(
        objective=objective,
        gradient=penalty_slope,
        local=x,
        shared=z,
        factors=factors,
        weighted_residual=u,
        whitened=(own, common),
    )
    return replace(found, gradient=penalty_slope + _slope(theta, parts, R_inv, found, nodes)) if gradient else found


def _slow_wind_precision(nodes: WindNodes, theta: Floats, K: int) -> tuple[Floats, Floats, float]:
    """Diagonal blocks of one component, shape (K, m, m), the links (K - 1,), and log|Q| of both components."""
    sigma, tau = (float(np.exp(theta[i])) for i in (SLOW_SD, SLOW_S))
    m = nodes.count
    phi = np.exp(-nodes.step_s / tau)
    psi = np.exp(-nodes.gap_s / tau)
    inside, between = 1.0 / (1.0 - phi**2), 1.0 / (1.0 - psi**2)
    Q = np.zeros((K, m, m))
    i = np.arange(m - 1)
    Q[:, i, i] += (phi**2 * inside)[:, None]
    Q[:, i + 1, i + 1] += inside[:, None]
    Q[:, i, i + 1] = Q[:, i + 1, i] = -(phi * inside)[:, None]
    Q[0, 0, 0] += 1.0
    Q[:-1, -1, -1] += psi**2 * between
    Q[1:, 0, 0] += between
    log_Q = (m - 1) * float(np.sum(np.log(inside))) + float(np.sum(np.log(between))) - 2.0 * K * m * np.log(sigma)
    return Q / sigma**2, psi * between / sigma**2, 2.0 * log_Q


def _slope(theta: Floats, parts: tuple[NoisePart, ...], R_inv: Floats, found: Estimate, nodes: WindNodes) -> Floats:
    """Slope of L without the parameters' prior, by each of them."""
    factors, x, u = found.factors, found.local, found.weighted_residual
    own, common = found.whitened
    slope = np.zeros(len(PARAMETERS))
    diagonal, links = factors.selected_inverse()
    own_rows = np.swapaxes(own, 1, 2)
    both = own_rows @ factors.across - np.swapaxes(common, 1, 2)
    M = R_inv - own_rows @ diagonal @ own - (both @ factors.border) @ np.swapaxes(both, 1, 2)
    M -= u[:, :, None] * u[:, None, :]
    for part in parts:
        slope[part.parameter] += 0.5 * float(np.sum(M * part.derivative))
    # Second moments of the slow wind given the data: at the nodes of a lap, and across from one lap to the next.
    m, spread = nodes.count, np.swapaxes(factors.across, 1, 2)
    at_nodes, across = np.zeros((len(x), m, m)), np.zeros(len(x) - 1)
    for i, o in enumerate((0, m)):
        d = slice(o, o + m)
        at_nodes += diagonal[:, d, d] + factors.across[:, d] @ factors.border @ spread[:, :, d]
        at_nodes += x[:, d, None] * x[:, None, d]
        ends, begins = factors.last[i], factors.first[i]
        across += links[:, i, i] + x[:-1, ends] * x[1:, begins]
        across += np.einsum("kb,bc,kc->k", factors.across[:-1, ends], factors.border, factors.across[1:, begins])
    for i in (SLOW_SD, SLOW_S):
        step = SLOPE_STEP * np.eye(len(theta))[i]
        (Q1, link1, log1), (Q0, link0, log0) = (
            _slow_wind_precision(nodes, theta + sign * step, len(x)) for sign in (1.0, -1.0)
        )
        change = float(np.sum((Q1 - Q0) * at_nodes)) - 2.0 * float(np.sum((link1 - link0) * across)) - (log1 - log0)
        slope[i] += 0.5 * change / (2.0 * SLOPE_STEP)
    return slope
