r"""The restricted likelihood of variance components, and its maximum.

For y ~ N(X beta, V) with V = V0 + sum_i theta_i G_i, all matrices known, the
restricted log likelihood (Patterson & Thompson, Biometrika 58 (1971) 545) is

    l(theta) = -1/2 [ (n - p) log 2 pi + log|V| + log|X' V^-1 X| + y' P y ],
    P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1,

with score and expected information

    dl/dtheta_i = -1/2 [ tr(P G_i) - y' P G_i P y ],    I_ij = 1/2 tr(P G_i P G_j).

The average of observed and expected information, 1/2 y' P G_i P G_j P y, needs no
trace and gives fast steps (Gilmour, Thompson & Cullis, Biometrics 51 (1995) 1440).

Everything is computed in whitened coordinates, V = L L', L^-1 X = Q R: then
P = L^-T (1 - Q Q') L^-1, and no normal equations are formed.

A component may carry a prior that acts like an earlier mean square s2 on nu degrees
of freedom, l_prior = -nu/2 [log theta + s2 / theta], with information nu / (2 theta^2).
For V = theta 1 the maximum is then the pooled mean square (RSS + nu s2) / (n - p + nu).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.linalg import LinAlgError, cholesky, eigh, qr, solve
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats

__all__ = [
    "RestrictedModel",
    "RestrictedPoint",
    "maximise_restricted_likelihood",
    "restricted_likelihood",
    "scaled_inverse",
]

MOST_STEPS = 200
MOST_HALVINGS = 40
CONVERGED_DECREMENT = 1e-20  # of twice the log likelihood: ten digits of theta at unit curvature
NEGLIGIBLE_DECREMENT = 1e-9  # below it, rounding of l hides whether a step helps
EXPECTED_STEPS = 3  # far from the maximum the expected information is the safer one
STARTING_SHARES = (1.0, 0.05)  # of the residual variance; two starts, for the rare second maximum
SAME_THETA = 1e-13
COLLINEAR = 1e-10


@dataclass(frozen=True, kw_only=True)
class RestrictedModel:
    """Response (n,), design (n, p) of full rank, and what the covariance is made of.

    ``structures`` has shape (k, n, n); ``nonnegative``, ``prior_df`` and ``prior_scale``
    have shape (k,), with a prior_df of zero for no prior.
    """

    response: Floats
    design: Floats
    known_covariance: Floats
    structures: Floats
    nonnegative: NDArray[np.bool_]
    prior_df: Floats
    prior_scale: Floats


@dataclass(frozen=True, kw_only=True)
class LikelihoodAt:
    """Objective (restricted log likelihood with the priors), score and informations at one theta.

    The objective of a reduced model may lack a constant.
    """

    theta: Floats
    objective: float
    score: Floats
    expected: Floats
    average: Floats


@dataclass(frozen=True, kw_only=True)
class RestrictedPoint(LikelihoodAt):
    """The restricted likelihood at one theta, with the whitened pieces that inference needs.

    ``root`` is L, shape (n, n); ``basis`` and ``triangle`` are Q and R of the whitened design,
    shapes (n, p) and (p, p); ``coefficients`` has shape (p,); ``residual`` is the whitened
    residual (1 - Q Q') L^-1 y, shape (n,).  ``log_likelihood`` is
    without the priors.
    """

    log_likelihood: float
    root: Floats
    basis: Floats
    triangle: Floats
    coefficients: Floats
    residual: Floats


Evaluation = Callable[[Floats], LikelihoodAt | None]


def restricted_likelihood(model: RestrictedModel, theta: Floats) -> RestrictedPoint | None:
    """Evaluate the restricted likelihood at theta, shape (components,).

    None where V is not positive definite or a prior forbids theta.

    Examples
    --------
    For V = theta 1 the maximum is the residual mean square, and one df is information 1 / theta^2 / 2:

    >>> model = RestrictedModel(
    ...     response=np.array([1.0, 3.0, 4.0]), design=np.ones((3, 1)),
    ...     known_covariance=np.zeros((3, 3)), structures=np.eye(3)[None], nonnegative=np.array([True]),
    ...     prior_df=np.zeros(1), prior_scale=np.ones(1))
    >>> mean_square = np.var(model.response, ddof=1)
    >>> point = restricted_likelihood(model, np.array([mean_square]))
    >>> bool(abs(point.score[0]) < 1e-12), float(round(point.expected[0, 0] * mean_square**2, 12))
    (True, 1.0)
    """
    if np.any(theta[model.prior_df > 0.0] <= 0.0):
        return None
    try:
        covariance: Floats = model.known_covariance + np.tensordot(theta, model.structures, 1)
        root = np.asarray(cholesky(covariance), dtype=np.float64)
    except LinAlgError:
        return None
    n, p = model.design.shape
    # numpy's own solvers throughout: at this size the threads of a second BLAS cost more than the triangle saves.
    whitened = solve(root, np.column_stack([model.design, model.response]))
    basis, triangle = qr(whitened[:, :p])
    along = basis.T @ whitened[:, p]
    residual = whitened[:, p] - basis @ along
    residual -= basis @ (basis.T @ residual)  # a second pass restores the digits that cancellation took
    determinants = float(np.sum(np.log(np.diag(root))) + np.sum(np.log(np.abs(np.diag(triangle)))))
    log_likelihood = -0.5 * ((n - p) * np.log(2.0 * np.pi) + 2.0 * determinants + float(residual @ residual))

    k = len(theta)
    H = [whiten(root, G) for G in model.structures]
    K = [outside(basis, outside(basis, h).T) for h in H]
    pulled = np.array([outside(basis, h @ residual) for h in H]).reshape(k, n)
    score = np.array([-0.5 * (np.trace(a) - residual @ q) for a, q in zip(K, pulled, strict=True)]).reshape(k)
    prior = _prior(model, theta)
    return RestrictedPoint(
        theta=theta,
        objective=log_likelihood + prior.objective,
        score=score + prior.score,
        expected=0.5 * np.array([[np.sum(a * b) for b in K] for a in K]).reshape(k, k) + prior.expected,
        average=0.5 * pulled @ pulled.T + prior.average,
        log_likelihood=log_likelihood,
        root=root,
        basis=basis,
        triangle=triangle,
        coefficients=solve(triangle, along),
        residual=residual,
    )


def whiten(root: Floats, structure: Floats) -> Floats:
    """Return L^-1 G L^-T, symmetric."""
    return np.asarray(solve(root, solve(root, structure).T))


def outside(basis: Floats, columns: Floats) -> Floats:
    """Take the part of whitened columns outside the design, (1 - Q Q') columns."""
    return np.asarray(columns - basis @ (basis.T @ columns))


def _prior(model: RestrictedModel, theta: Floats) -> LikelihoodAt:
    informed = model.prior_df > 0.0
    t, nu, s2 = np.where(informed, theta, 1.0), np.where(informed, model.prior_df, 0.0), model.prior_scale
    return LikelihoodAt(
        theta=theta,
        objective=-0.5 * float(np.sum(nu * (np.log(t) + s2 / t))),
        score=0.5 * nu * (s2 - t) / t**2,
        expected=np.diag(0.5 * nu / t**2),
        average=np.diag(0.5 * nu * s2 / t**3),
    )


def _reduced(model: RestrictedModel, start: Floats) -> Evaluation | None:
    """With one component: the same likelihood as a sum over eigenvalues, for the price of one decomposition.

    On K orthogonal to X, K' V K is simultaneously diagonal with variances 1 + (theta - start) lambda.
    """
    K = qr(model.design, mode="complete")[0][:, model.design.shape[1] :]
    G = K.T @ model.structures[0] @ K
    try:
        root = cholesky(K.T @ model.known_covariance @ K + start[0] * G)
    except LinAlgError:
        return None
    lam, U = eigh(whiten(root, G))
    square = (U.T @ solve(root, K.T @ model.response)) ** 2

    def evaluate(theta: Floats) -> LikelihoodAt | None:
        variance = 1.0 + (theta[0] - start[0]) * lam
        if np.any(variance <= 0.0) or (model.prior_df[0] > 0.0 and theta[0] <= 0.0):
            return None
        rate, prior = lam / variance, _prior(model, theta)
        return LikelihoodAt(
            theta=theta,
            objective=-0.5 * float(np.sum(np.log(variance) + square / variance)) + prior.objective,
            score=np.atleast_1d(-0.5 * np.sum(rate * (1.0 - square / variance))) + prior.score,
            expected=np.atleast_2d(0.5 * np.sum(rate**2)) + prior.expected,
            average=np.atleast_2d(0.5 * np.sum(rate**2 * square / variance)) + prior.average,
        )

    return evaluate


def maximise_restricted_likelihood(model: RestrictedModel) -> RestrictedPoint | None:
    """Find the maximum over theta, with theta_i >= 0 where the model says so.

    Projected scoring: components at zero that the score pushes further down are held
    there, the others take a step with the expected, later the average information, cut
    at zero and halved until the likelihood does not fall.

    None where V cannot be made positive definite from any start.
    """
    starts = _starts(model)
    evaluate: Evaluation | None = partial(restricted_likelihood, model)
    if len(starts[0]) == 1 and model.design.shape[0] > model.design.shape[1]:
        evaluate = _reduced(model, starts[0])
    climbs = [_climb(evaluate, model.nonnegative, start) for start in starts] if evaluate is not None else []
    summits = [climb for climb in climbs if climb is not None]
    if not summits:
        return None
    best = max(summits, key=lambda point: point.objective)
    return best if isinstance(best, RestrictedPoint) else restricted_likelihood(model, best.theta)


def _starts(model: RestrictedModel) -> list[Floats]:
    n, p = model.design.shape
    if model.structures.shape[0] == 0:
        return [np.zeros(0)]
    size = np.sqrt(np.sum(model.structures**2, axis=(1, 2)) / n)
    basis, _ = qr(model.design)
    residual = model.response - basis @ (basis.T @ model.response)
    variance = float(residual @ residual) / max(n - p, 1)
    variance = max(variance, 1e-3 * float(np.mean(np.diag(model.known_covariance))))
    share = np.where(model.nonnegative, variance / max(np.count_nonzero(model.nonnegative), 1), 0.0) / size
    return [np.where(model.prior_df > 0.0, model.prior_scale, part * share) for part in STARTING_SHARES]


def _climb(evaluate: Evaluation, nonnegative: NDArray[np.bool_], start: Floats) -> LikelihoodAt | None:
    point = evaluate(start)
    if point is None:
        return None
    for steps in range(MOST_STEPS):
        free = ~(nonnegative & (point.theta <= 0.0) & (point.score <= 0.0))
        if not np.any(free):
            break
        step = np.zeros_like(point.theta)
        step[free] = scaled_inverse(_curvature(point, free, steps)) @ point.score[free]
        decrement = float(step @ point.score)
        if decrement <= CONVERGED_DECREMENT:
            break
        nearly = decrement < NEGLIGIBLE_DECREMENT
        following = _best_along(evaluate, nonnegative, point, step, any_change=nearly)
        if following is None:
            break
        moved = np.max(np.abs(following.theta - point.theta) / np.maximum(np.abs(following.theta), 1e-300))
        point = following
        if nearly and moved < SAME_THETA:
            break
    return point


def _curvature(point: LikelihoodAt, free: NDArray[np.bool_], steps: int) -> Floats:
    """Take the expected information far out, then the observed one where it is positive definite, else the average."""
    among = np.ix_(free, free)
    if steps < EXPECTED_STEPS:
        return point.expected[among]
    observed = 2.0 * point.average[among] - point.expected[among]
    if np.all(np.linalg.eigvalsh(observed) > 0.0):
        return observed
    return point.average[among]


def _best_along(
    evaluate: Evaluation, nonnegative: NDArray[np.bool_], point: LikelihoodAt, step: Floats, *, any_change: bool
) -> LikelihoodAt | None:
    """Halve the step until the objective rises; near the maximum, where rounding hides that, take it whole."""
    length = 1.0
    for _ in range(MOST_HALVINGS):
        theta = point.theta + length * step
        theta = np.where(nonnegative, np.maximum(theta, 0.0), theta)
        candidate = evaluate(theta)
        if candidate is not None and (any_change or candidate.objective > point.objective):
            return candidate
        length /= 2.0
    return None


def scaled_inverse(information: Floats) -> Floats:
    """Invert an information matrix, shape (q, q), by pseudo-inverse of its correlation form where it is singular.

    Scaling first keeps components in units far apart; the pseudo-inverse keeps what the
    data do determine (the sum of two components with the same structure).
    """
    if information.shape == (1, 1):
        return np.asarray(1.0 / information if information[0, 0] > 0.0 else 0.0 * information)
    d = np.sqrt(np.maximum(np.diag(information), 0.0))
    d = np.where(d > 0.0, d, 1.0)
    return np.asarray(np.linalg.pinv(information / np.outer(d, d), rcond=COLLINEAR, hermitian=True) / np.outer(d, d))
