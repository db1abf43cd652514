r"""Linear mixed model with a known part of the covariance, and honest degrees of freedom.

    y ~ N(X beta, V),    V = V0 + sum_i theta_i G_i

V0 is known (the covariance of lap drag areas that the joint fit gives), the G_i are
known symmetric structures (the unit matrix for a lap effect, blocks of ones for a ride
effect, t t' for a random slope), and theta is estimated by restricted maximum likelihood.
With no component it is generalised least squares with known covariance, with one
component and V0 = 0 generalised least squares up to an unknown scale.

For a contrast c' beta with plain variance f = c' Phi c, Phi = (X' V^-1 X)^-1,

    df = 2 f^2 / (g' W g),    g_i = df/dtheta_i = c' Phi X' V^-1 G_i V^-1 X Phi c,

W being the covariance of the variance parameters (Satterthwaite; Kuznetsova, Brockhoff &
Christensen, J. Stat. Softw. 82(13) (2017)).  The adjustment of
Kenward & Roger (Biometrics 53 (1997) 983) for linear V,

    Phi_A = Phi + 2 Phi X' V^-1 [ sum_ij W_ij G_i P G_j ] V^-1 X Phi,

adds what the estimated weights cost; for one-dimensional contrasts its df is the same
2 f^2 / (g' W g), and its scale factor is one.

W is the inverse expected information.  A component estimated as zero keeps its place
in W: a variance that might be there but was not seen is not known to be absent.  Where
V0 depends on hyper-parameters phi of a first stage with covariance S, theta follows
phi by D = -I_tt^-1 I_tp, and W is the joint covariance of (theta, phi),
[[I_tt^-1 + D S D', D S], [S D', S]].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import qr

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.basics.quantities import Floats
from fieldaero.statistics.contrast import Contrast
from fieldaero.statistics.restricted_likelihood import (
    RestrictedModel,
    RestrictedPoint,
    maximise_restricted_likelihood,
    outside,
    scaled_inverse,
    whiten,
)

__all__ = ["FirstStageUncertainty", "LinearMixedFit", "VarianceComponent", "fit_linear_mixed"]

COLLINEAR = 1e-10  # of a column's length that lies outside the other columns
UNSEEN = 1e-8  # of a structure's size that lies outside the design


@dataclass(frozen=True, kw_only=True)
class VarianceComponent:
    """One theta_i G_i of the covariance.

    ``structure``, shape (n, n), is symmetric.  ``prior_df`` and ``prior_scale`` act like an earlier mean square
    ``prior_scale`` (a variance, in the unit of theta) on ``prior_df`` degrees of freedom, so that a few laps do not
    estimate a variance as exactly zero.  Covariances (between intercept and slope) are
    not ``nonnegative``; V as a whole is kept positive definite.
    """

    name: str
    structure: ArrayLike
    nonnegative: bool = True
    prior_df: float = 0.0
    prior_scale: float = 1.0


@dataclass(frozen=True, kw_only=True)
class FirstStageUncertainty:
    """How V0 depends on hyper-parameters estimated before: derivatives and covariance, shapes (q, n, n) and (q, q)."""

    derivatives: Sequence[ArrayLike] | Floats
    covariance: ArrayLike


@dataclass(frozen=True, kw_only=True)
class LinearMixedFit:
    """Estimates of a linear mixed model with p coefficients and k variances theta.

    ``theta``, shape (k,), is NaN where the design takes up all that a component could show and it has no prior; the
    covariances, shape (p, p), then leave that component out.  ``covariance_derivatives``, shape (k + q, p, p), are
    those of the plain covariance by theta and the q hyper-parameters of a first stage, and ``parameter_covariance`` is
    the covariance of these, without a theta that is NaN.  ``log_likelihood`` is the restricted one, without the priors.
    """

    columns: tuple[str, ...]
    coefficients: Floats
    covariance: Floats
    covariance_kenward_roger: Floats
    theta: Floats
    log_likelihood: float
    covariance_derivatives: Floats
    parameter_covariance: Floats

    def contrast(self, weights: ArrayLike) -> Contrast:
        """Return the combination c' beta for weights c, shape (p,), with the adjusted standard error."""
        c = np.asarray(weights, dtype=np.float64)
        if c.shape != self.coefficients.shape:
            raise ValueError(f"weights have shape {c.shape}; allowed is {self.coefficients.shape}: {self.columns}")
        f = float(c @ self.covariance @ c)
        g = np.einsum("i,qij,j->q", c, self.covariance_derivatives, c)
        spread = float(g @ self.parameter_covariance @ g)
        return Contrast(
            estimate=float(c @ self.coefficients),
            standard_error=float(np.sqrt(c @ self.covariance_kenward_roger @ c)),
            df=2.0 * f**2 / spread if spread > 0.0 else float("inf"),
            method="kenward-roger",
        )


def fit_linear_mixed(
    response: ArrayLike,
    *,
    design: ArrayLike,
    components: Sequence[VarianceComponent] = (),
    known_covariance: ArrayLike | None = None,
    first_stage: FirstStageUncertainty | None = None,
    columns: Sequence[str] | None = None,
) -> LinearMixedFit:
    """Fit y ~ N(X beta, V0 + sum theta_i G_i) by restricted maximum likelihood.

    Parameters
    ----------
    response, design
        y, shape (n,), and X, shape (n, p), of full column rank.
    components
        The theta_i G_i; none for generalised least squares.
    known_covariance, first_stage
        V0, shape (n, n), zero if not given, and its own uncertainty where it was estimated before.
    columns
        Names of the columns of X, for the errors.

    Raises
    ------
    CannotAnswerError
        Columns of X that depend on each other (named), or a covariance that is not positive definite.

    Examples
    --------
    Two setups of two laps each, nothing known beforehand: the t test on pooled variance.

    >>> fit = fit_linear_mixed(
    ...     [1.0, 3.0, 7.0, 9.0], design=[[1, 0], [1, 0], [0, 1], [0, 1]],
    ...     components=[VarianceComponent(name="lap", structure=np.eye(4))])
    >>> c = fit.contrast([-1, 1])
    >>> round(c.estimate, 6), round(c.standard_error, 6), round(c.df, 6)
    (6.0, 1.414214, 2.0)
    """
    y, X = np.asarray(response, dtype=np.float64), np.asarray(design, dtype=np.float64)
    names = tuple(columns) if columns is not None else tuple(f"column {j + 1}" for j in range(X.shape[1]))
    n = len(y)
    V0 = np.sum(_symmetric([] if known_covariance is None else [known_covariance], n, "known_covariance"), axis=0)
    G = _symmetric([c.structure for c in components], n, "a component's structure")
    changes, changes_covariance = np.zeros((0, n, n)), np.zeros((0, 0))
    if first_stage is not None:
        changes = _symmetric(first_stage.derivatives, n, "a derivative of known_covariance")
        changes_covariance = np.asarray(first_stage.covariance, dtype=np.float64).reshape(len(changes), len(changes))
    length = _column_lengths(X, names)

    prior_df = np.array([c.prior_df for c in components], dtype=np.float64)
    basis, _ = np.linalg.qr(X / length)
    off_design = np.eye(n) - basis @ basis.T
    shown = [np.linalg.norm(off_design @ g @ off_design) > UNSEEN * np.linalg.norm(g) for g in G]
    estimated = np.array(shown, dtype=bool) | (prior_df > 0.0)
    point = maximise_restricted_likelihood(
        RestrictedModel(
            response=y,
            design=X / length,
            known_covariance=V0,
            structures=G[estimated],
            nonnegative=np.array([c.nonnegative for c in components], dtype=bool)[estimated],
            prior_df=prior_df[estimated],
            prior_scale=np.array([c.prior_scale for c in components], dtype=np.float64)[estimated],
        )
    )
    if point is None:
        raise CannotAnswerError(
            f"the covariance of the {n} values is not positive definite with the components "
            f"{[c.name for c in components]} and the known covariance given; every value needs a scatter of its own: "
            "add a component with the unit matrix, or a known variance"
        )
    plain, adjustment, derivatives, parameters = _inference(point, G[estimated], changes, changes_covariance)
    scale = np.outer(length, length)
    theta = np.full(len(components), np.nan)
    theta[estimated] = point.theta
    return LinearMixedFit(
        columns=names,
        coefficients=point.coefficients / length,
        covariance=plain / scale,
        covariance_kenward_roger=(plain + adjustment) / scale,
        theta=theta,
        log_likelihood=point.log_likelihood - float(np.sum(np.log(length))),
        covariance_derivatives=derivatives / scale,
        parameter_covariance=parameters,
    )


def _symmetric(matrices: Sequence[ArrayLike] | Floats, n: int, what: str) -> Floats:
    """Return the matrices made exactly symmetric, shape (matrices, n, n)."""
    found = [np.asarray(m, dtype=np.float64) for m in matrices]
    for m in found:
        if m.shape != (n, n):
            raise ValueError(f"{what} has shape {m.shape}; allowed is ({n}, {n})")
    stacked = np.array(found).reshape(-1, n, n)
    return np.asarray((stacked + stacked.transpose(0, 2, 1)) / 2.0)


def _column_lengths(X: Floats, names: tuple[str, ...]) -> Floats:
    """Length of every column; an error names the columns that the others already contain."""
    n, p = X.shape
    if p == 0 or n < p:
        raise CannotAnswerError(
            f"{n} usable values for {p} coefficients ({', '.join(names)}); at least as many values are needed, "
            "and one coefficient: use more laps or fewer setups"
        )
    length = np.sqrt(np.sum(X**2, axis=0))
    if not np.all(length > 0.0):
        empty = ", ".join(repr(names[j]) for j in np.flatnonzero(~(length > 0.0)))
        raise CannotAnswerError(f"the design has nothing in {empty}: no usable value belongs to it; leave it out")
    _, triangle, order = qr(X / length, mode="economic", pivoting=True)
    diagonal = np.abs(np.diag(triangle))
    rank = int(np.count_nonzero(diagonal > COLLINEAR))
    if rank < p:
        weights = np.linalg.solve(triangle[:rank, :rank], triangle[:rank, rank])
        partners = [names[order[j]] for j in range(rank) if abs(weights[j]) > 1e-6]
        raise CannotAnswerError(
            f"the column {names[order[rank]]!r} of the design follows from {', '.join(map(repr, partners))}: "
            "their effects cannot be told apart in these data; leave one out, or ride the setups in mixed order"
        )
    return np.asarray(length)


def _inference(
    point: RestrictedPoint, G: Floats, changes: Floats, changes_covariance: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Plain covariance, its Kenward-Roger adjustment, its derivatives, and the covariance of what they are by."""
    k, p = len(G), point.basis.shape[1]
    half = np.linalg.inv(point.triangle)  # R^-1
    H = [whiten(point.root, g) for g in [*G, *changes]]
    loads = [h @ point.basis @ half.T for h in H]  # L^-1 G V^-1 X Phi
    derivatives = np.array([half @ point.basis.T @ load for load in loads]).reshape(len(H), p, p)
    inner = scaled_inverse(point.expected)
    if len(changes):
        K = [outside(point.basis, outside(point.basis, h).T) for h in H]
        cross = 0.5 * np.array([[np.sum(a * b) for b in K[k:]] for a in K[:k]]).reshape(k, len(changes))
        D = -inner @ cross
        carried = D @ changes_covariance
        inner = np.block([[inner + carried @ D.T, carried], [carried.T, changes_covariance]])
    free = [outside(point.basis, load) for load in loads]
    adjustment = np.zeros((p, p))
    for i, a in enumerate(free):
        for j, b in enumerate(free):
            adjustment += 2.0 * inner[i, j] * (a.T @ b)
    return half @ half.T, adjustment, derivatives, np.asarray(inner)
