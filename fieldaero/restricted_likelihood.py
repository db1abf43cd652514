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

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cholesky, qr, solve_triangular

from fieldaero.ranges import Floats

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
class RestrictedPoint:
    """The restricted likelihood at one theta, with the whitened pieces that inference needs.

    ``root`` is L; ``basis`` and ``triangle`` are Q and R of the whitened design;
    ``residual`` is the whitened residual (1 - Q Q') L^-1 y.  ``objective`` includes the
    priors, ``log_likelihood`` does not; ``expected`` and ``average`` informations include them.
    """

    theta: Floats
    log_likelihood: float
    objective: float
    score: Floats
    expected: Floats
    average: Floats
    root: Floats
    basis: Floats
    triangle: Floats
    coefficients: Floats
    residual: Floats

    def whitened(self, structure: Floats) -> Floats:
        """Return L^-1 G L^-T, symmetric."""
        half = solve_triangular(self.root, structure, lower=True)
        return np.asarray(solve_triangular(self.root, half.T, lower=True))

    def projected(self, columns: Floats) -> Floats:
        """Take the part of whitened columns outside the design, (1 - Q Q') columns."""
        return columns - self.basis @ (self.basis.T @ columns)


def restricted_likelihood(model: RestrictedModel, theta: Floats) -> RestrictedPoint | None:
    """Evaluate the restricted likelihood; None where V is not positive definite or a prior forbids theta.

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
    nu, s2 = model.prior_df, model.prior_scale
    informed = nu > 0.0
    if np.any(theta[informed] <= 0.0):
        return None
    try:
        root = cholesky(model.known_covariance + np.tensordot(theta, model.structures, 1), lower=True)
    except LinAlgError:
        return None
    if not np.all(np.isfinite(root)):
        return None
    n, p = model.design.shape
    whitened = solve_triangular(root, np.column_stack([model.design, model.response]), lower=True)
    basis, triangle = (np.asarray(part, dtype=np.float64) for part in qr(whitened[:, :p], mode="economic"))
    along = basis.T @ whitened[:, p]
    residual = whitened[:, p] - basis @ along
    residual -= basis @ (basis.T @ residual)  # a second pass restores the digits that cancellation took

    point = RestrictedPoint(
        theta=theta,
        log_likelihood=-0.5
        * (
            (n - p) * np.log(2.0 * np.pi)
            + 2.0 * float(np.sum(np.log(np.diag(root))) + np.sum(np.log(np.abs(np.diag(triangle)))))
            + float(residual @ residual)
        ),
        objective=0.0,
        score=np.zeros_like(theta),
        expected=np.zeros((len(theta), len(theta))),
        average=np.zeros((len(theta), len(theta))),
        root=root,
        basis=basis,
        triangle=triangle,
        coefficients=np.asarray(solve_triangular(triangle, along)),
        residual=residual,
    )
    H = [point.whitened(G) for G in model.structures]
    K = [point.projected(point.projected(h).T) for h in H]
    pulled = np.array([point.projected(h @ residual) for h in H]).reshape(len(H), n)
    t, d = np.where(informed, theta, 1.0), np.where(informed, nu, 0.0)
    score = np.array([-0.5 * (np.trace(k) - residual @ q) for k, q in zip(K, pulled, strict=True)])
    return replace(
        point,
        objective=point.log_likelihood - 0.5 * float(np.sum(d * (np.log(t) + s2 / t))),
        score=score.reshape(len(H)) + 0.5 * d * (s2 - t) / t**2,
        expected=0.5 * np.array([[np.sum(a * b) for b in K] for a in K]).reshape(len(H), len(H))
        + np.diag(0.5 * d / t**2),
        average=0.5 * pulled @ pulled.T + np.diag(0.5 * d * s2 / t**3),
    )


def maximise_restricted_likelihood(model: RestrictedModel) -> tuple[RestrictedPoint | None, bool, int]:
    """Find the maximum over theta, with theta_i >= 0 where the model says so.

    Projected scoring: components at zero that the score pushes further down are held
    there, the others take a step with the expected, later the average information, cut
    at zero and halved until the likelihood does not fall.

    Returns
    -------
    point, converged, steps
        point is None where V cannot be made positive definite from any start.
    """
    best: tuple[RestrictedPoint | None, bool, int] = (None, False, 0)
    for start in _starts(model):
        found = _climb(model, start)
        if found[0] is not None and (best[0] is None or found[0].objective > best[0].objective):
            best = found
    return best


def _starts(model: RestrictedModel) -> list[Floats]:
    n, p = model.design.shape
    if model.structures.shape[0] == 0:
        return [np.zeros(0)]
    size = np.sqrt(np.sum(model.structures**2, axis=(1, 2)) / n)
    basis, _ = qr(model.design, mode="economic")
    residual = model.response - basis @ (basis.T @ model.response)
    variance = float(residual @ residual) / max(n - p, 1)
    variance = max(variance, 1e-3 * float(np.mean(np.diag(model.known_covariance))))
    share = np.where(model.nonnegative, variance / max(np.count_nonzero(model.nonnegative), 1), 0.0) / size
    return [np.where(model.prior_df > 0.0, model.prior_scale, part * share) for part in STARTING_SHARES]


def _climb(model: RestrictedModel, start: Floats) -> tuple[RestrictedPoint | None, bool, int]:
    point = restricted_likelihood(model, start)
    if point is None:
        return None, False, 0
    for step_number in range(MOST_STEPS):
        free = ~(model.nonnegative & (point.theta <= 0.0) & (point.score <= 0.0))
        if not np.any(free):
            return point, True, step_number
        information = point.expected if step_number < EXPECTED_STEPS else point.average
        step = np.zeros_like(point.theta)
        step[free] = scaled_inverse(information[np.ix_(free, free)]) @ point.score[free]
        decrement = float(step @ point.score)
        if decrement <= CONVERGED_DECREMENT:
            return point, True, step_number
        following = _best_along(model, point, step, any_change=decrement < NEGLIGIBLE_DECREMENT)
        if following is None:
            # Rounding may hide the last gain; what remains of it is the honest measure.
            return point, decrement < NEGLIGIBLE_DECREMENT, step_number
        moved = np.max(np.abs(following.theta - point.theta) / np.maximum(np.abs(following.theta), 1e-300))
        point = following
        if decrement < NEGLIGIBLE_DECREMENT and moved < 1e-13:
            return point, True, step_number
    return point, False, MOST_STEPS


def _best_along(
    model: RestrictedModel, point: RestrictedPoint, step: Floats, *, any_change: bool
) -> RestrictedPoint | None:
    length = 1.0
    for _ in range(MOST_HALVINGS):
        theta = point.theta + length * step
        theta = np.where(model.nonnegative, np.maximum(theta, 0.0), theta)
        candidate = restricted_likelihood(model, theta)
        if candidate is not None and (any_change or candidate.objective > point.objective):
            return candidate
        length /= 2.0
    return None


def scaled_inverse(information: Floats) -> Floats:
    """Invert an information matrix, by pseudo-inverse of its correlation form where it is singular.

    Scaling first keeps components in units far apart; the pseudo-inverse keeps what the
    data do determine (the sum of two components with the same structure).
    """
    d = np.sqrt(np.maximum(np.diag(information), 0.0))
    d = np.where(d > 0.0, d, 1.0)
    return np.asarray(np.linalg.pinv(information / np.outer(d, d), rcond=COLLINEAR, hermitian=True) / np.outer(d, d))
