r"""Linear mixed model with a known part of the covariance, and honest degrees of freedom.

    y ~ N(X beta, V),    V = V0 + sum_i theta_i G_i

V0 is known (the covariance of lap drag areas that the joint fit gives), the G_i are
known symmetric structures (the unit matrix for a lap effect, blocks of ones for a ride
effect, t t' for a random slope), and theta is estimated by restricted maximum likelihood.
With no component it is generalised least squares with known covariance, with one
component and V0 = 0 generalised least squares up to an unknown scale.

For a contrast c' beta with plain variance f = c' Phi c, Phi = (X' V^-1 X)^-1,

    df = 2 f^2 / (g' W g),    g_i = df/dtheta_i = c' Phi X' V^-1 G_i V^-1 X Phi c,

W being the covariance of the variance parameters (Satterthwaite).  The adjustment of
Kenward & Roger (Biometrics 53 (1997) 983) for linear V,

    Phi_A = Phi + 2 Phi X' V^-1 [ sum_ij W_ij G_i P G_j ] V^-1 X Phi,

adds what the estimated weights cost; for one-dimensional contrasts its df is the same
2 f^2 / (g' W g), and its scale factor is one.

W is the inverse expected information.  A component estimated as zero keeps its place
in W: a variance that might be there but was not seen is not known to be absent.  Where
V0 depends on hyper-parameters phi of an earlier stage with covariance S, theta follows
phi by D = -I_tt^-1 I_tp, and W is the joint covariance of (theta, phi),
[[I_tt^-1 + D S D', D S], [S D', S]].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
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

__all__ = ["EarlierStage", "LinearMixedFit", "Method", "VarianceComponent", "fit_linear_mixed"]

Method = Literal["kenward-roger", "satterthwaite"]

COLLINEAR = 1e-10  # of a column's length that lies outside the other columns
UNSEEN = 1e-8  # of a structure's size that lies outside the design
NO_RESIDUAL = 1e-13  # of the response's length


@dataclass(frozen=True, kw_only=True)
class VarianceComponent:
    """One theta_i G_i of the covariance.

    ``structure``, shape (n, n), is symmetric.  ``fixed`` takes theta as known.  ``prior_df`` and
    ``prior_scale`` act like an earlier mean square ``prior_scale`` (a variance, in the
    unit of theta) on ``prior_df`` degrees of freedom, so that a few laps do not
    estimate a variance as exactly zero.  Covariances (between intercept and slope) are
    not ``nonnegative``; V as a whole is kept positive definite.
    """

    name: str
    structure: ArrayLike
    nonnegative: bool = True
    fixed: float | None = None
    prior_df: float = 0.0
    prior_scale: float = 1.0


@dataclass(frozen=True, kw_only=True)
class EarlierStage:
    """How V0 depends on hyper-parameters estimated before: derivatives and covariance, shapes (q, n, n) and (q, q)."""

    derivatives: Sequence[ArrayLike] | Floats
    covariance: ArrayLike


@dataclass(frozen=True, kw_only=True)
class LinearMixedFit:
    """Estimates of a linear mixed model.

    ``theta`` (k,) is NaN where a component is not ``identified`` (the design takes up all
    it could show) and has no prior; ``scatter_unknown`` says that this happened: the
    standard errors then leave that component out.  ``zero_residual``: the design fits
    the data exactly and V0 is zero, so no scatter is left to judge by.
    ``log_likelihood`` is the restricted one, without the priors.
    """

    columns: tuple[str, ...]
    coefficients: Floats
    covariance: Floats
    covariance_kenward_roger: Floats
    components: tuple[str, ...]
    theta: Floats
    theta_covariance: Floats
    at_bound: NDArray[np.bool_]
    identified: NDArray[np.bool_]
    log_likelihood: float
    used: int
    dropped: int
    scatter_unknown: bool
    zero_residual: bool
    converged: bool
    covariance_derivatives: Floats
    parameter_covariance: Floats

    def contrast(self, weights: ArrayLike, *, method: Method = "kenward-roger") -> Contrast:
        """Return the combination c' beta with its standard error and degrees of freedom.

        Parameters
        ----------
        weights
            c, shape (p,), one weight per coefficient.
        method
            "kenward-roger": standard error from the adjusted covariance; "satterthwaite":
            from the plain one.  The degrees of freedom are the same.
        """
        estimates, covariance, df = self.contrasts(np.atleast_2d(np.asarray(weights, dtype=np.float64)), method=method)
        return Contrast(
            estimate=float(estimates[0]),
            standard_error=float(np.sqrt(covariance[0, 0])),
            df=float(df[0]),
            method=method,
        )

    def contrasts(self, weights: ArrayLike, *, method: Method = "kenward-roger") -> tuple[Floats, Floats, Floats]:
        """Return several combinations at once: estimates (m,), covariance (m, m), df (m,); weights (m, p)."""
        C = np.asarray(weights, dtype=np.float64)
        if C.ndim != 2 or C.shape[1] != len(self.coefficients):
            raise ValueError(f"weights have shape {C.shape}; allowed is (m, {len(self.coefficients)}): {self.columns}")
        chosen = self.covariance_kenward_roger if method == "kenward-roger" else self.covariance
        f = np.einsum("mi,ij,mj->m", C, self.covariance, C)
        g = np.einsum("mi,qij,mj->mq", C, self.covariance_derivatives, C)
        spread = np.einsum("mq,qr,mr->m", g, self.parameter_covariance, g)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = np.where(f > 0.0, 2.0 * f**2 / spread, np.nan)
        return C @ self.coefficients, C @ chosen @ C.T, np.asarray(df)

    def to_frame(self, level: float = 0.95) -> pd.DataFrame:
        """One row per coefficient: column, estimate, standard_error, df, low, high, p_value."""
        rows = []
        for name, weights in zip(self.columns, np.eye(len(self.columns)), strict=True):
            c = self.contrast(weights)
            low, high = c.interval(level)
            rows.append((name, c.estimate, c.standard_error, c.df, low, high, c.p_value()))
        return pd.DataFrame(rows, columns=["column", "estimate", "standard_error", "df", "low", "high", "p_value"])


def fit_linear_mixed(
    response: ArrayLike,
    *,
    design: ArrayLike,
    components: Sequence[VarianceComponent] = (),
    known_covariance: ArrayLike | None = None,
    earlier_stage: EarlierStage | None = None,
    columns: Sequence[str] | None = None,
) -> LinearMixedFit:
    """Fit y ~ N(X beta, V0 + sum theta_i G_i) by restricted maximum likelihood.

    Parameters
    ----------
    response
        y, shape (n,).  Rows with a NaN in y or X are dropped and counted.
    design
        X, shape (n, p), of full column rank.
    components
        The theta_i G_i; none for generalised least squares.
    known_covariance
        V0, shape (n, n), zero if not given; the square of y's unit.
    earlier_stage
        Uncertainty of V0 itself, where it was estimated before.
    columns
        Names of the columns of X, for the errors and the tables.

    Raises
    ------
    CannotAnswerError
        Columns of X that depend on each other (named), or a covariance that is not positive definite.
    ValueError
        Arrays that do not fit together.

    Notes
    -----
    Reference: Kenward & Roger, Biometrics 53 (1997) 983-997; Satterthwaite df as in
    Kuznetsova, Brockhoff & Christensen, J. Stat. Softw. 82(13) (2017).

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
    if y.ndim != 1 or X.ndim != 2 or X.shape[0] != len(y):
        raise ValueError(f"response has shape {y.shape} and design {X.shape}; allowed is (n,) and (n, p)")
    names = tuple(columns) if columns is not None else tuple(f"column {j + 1}" for j in range(X.shape[1]))
    if len(names) != X.shape[1]:
        raise ValueError(f"{len(names)} column names for a design of {X.shape[1]} columns")
    keep = np.isfinite(y) & np.all(np.isfinite(X), axis=1)
    V0 = np.sum(_kept([] if known_covariance is None else [known_covariance], keep, "known_covariance"), axis=0)
    G = _kept([c.structure for c in components], keep, "a component's structure")
    changes, changes_covariance = np.zeros((0, *V0.shape)), np.zeros((0, 0))
    if earlier_stage is not None:
        changes = _kept(earlier_stage.derivatives, keep, "a derivative of known_covariance")
        changes_covariance = np.asarray(earlier_stage.covariance, dtype=np.float64).reshape(len(changes), len(changes))
    y, X = y[keep], X[keep]
    length = _column_lengths(X, names)

    fixed = np.array([np.nan if c.fixed is None else c.fixed for c in components], dtype=np.float64)
    prior_df = np.array([c.prior_df for c in components], dtype=np.float64)
    nonnegative = np.array([c.nonnegative for c in components], dtype=bool)
    basis, _ = np.linalg.qr(X / length)
    off_design = np.eye(len(y)) - basis @ basis.T
    shown = [np.linalg.norm(off_design @ g @ off_design) > UNSEEN * np.linalg.norm(g) for g in G]
    identified = np.array(shown, dtype=bool) & np.isnan(fixed)
    estimated = np.isnan(fixed) & (identified | (prior_df > 0.0))
    unknown = np.isnan(fixed) & ~estimated
    base = V0 + np.tensordot(np.nan_to_num(fixed), G, 1)

    unweighted = not np.any(base) and not np.any(prior_df[estimated] > 0.0)
    residual_left = np.linalg.norm(off_design @ y) > NO_RESIDUAL * np.linalg.norm(y)
    nothing_to_judge_by = unweighted and not (np.any(estimated) and residual_left)
    if nothing_to_judge_by:
        # Coefficients are those of ordinary least squares; their scatter is zero or unknown.
        base, fitted = np.eye(len(y)), np.zeros_like(estimated)
    else:
        fitted = estimated
    point, converged, _ = maximise_restricted_likelihood(
        RestrictedModel(
            response=y,
            design=X / length,
            known_covariance=base,
            structures=G[fitted],
            nonnegative=nonnegative[fitted],
            prior_df=prior_df[fitted],
            prior_scale=np.array([c.prior_scale for c in components], dtype=np.float64)[fitted],
        )
    )
    if point is None:
        raise CannotAnswerError(
            f"the covariance of the {len(y)} values is not positive definite with the components "
            f"{[c.name for c in components]} and the known covariance given; every value needs a scatter of its own: "
            "add a component with the unit matrix, or a known variance"
        )
    plain, adjustment, derivatives, parameters = _inference(point, G[fitted], changes, changes_covariance)
    scale = np.outer(length, length)
    if nothing_to_judge_by:
        scale = np.full_like(scale, np.inf if np.any(estimated) else np.nan)

    theta = np.where(unknown, np.nan, np.nan_to_num(fixed))
    theta[fitted] = point.theta
    theta_covariance = np.zeros((len(theta), len(theta)))
    theta_covariance[np.ix_(fitted, fitted)] = parameters[: len(point.theta), : len(point.theta)]
    theta_covariance[unknown, :] = theta_covariance[:, unknown] = np.nan
    return LinearMixedFit(
        columns=names,
        coefficients=point.coefficients / length,
        covariance=plain / scale,
        covariance_kenward_roger=(plain + adjustment) / scale,
        components=tuple(c.name for c in components),
        theta=theta,
        theta_covariance=theta_covariance,
        at_bound=estimated & nonnegative & (theta == 0.0),
        identified=identified,
        log_likelihood=float("nan") if nothing_to_judge_by else point.log_likelihood - float(np.sum(np.log(length))),
        used=len(y),
        dropped=int(np.count_nonzero(~keep)),
        scatter_unknown=bool(np.any(unknown)),
        zero_residual=bool(unweighted and np.any(estimated) and not residual_left),
        converged=converged,
        covariance_derivatives=derivatives / scale,
        parameter_covariance=parameters,
    )


def _kept(matrices: Sequence[ArrayLike] | Floats, keep: NDArray[np.bool_], what: str) -> Floats:
    """Rows and columns that are kept, of every matrix, made exactly symmetric."""
    n = len(keep)
    found = [np.asarray(m, dtype=np.float64) for m in matrices]
    for m in found:
        if m.shape != (n, n):
            raise ValueError(f"{what} has shape {m.shape}; allowed is ({n}, {n})")
    kept = np.array(found).reshape(-1, n, n)[:, keep][:, :, keep]
    return np.asarray((kept + kept.transpose(0, 2, 1)) / 2.0)


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
