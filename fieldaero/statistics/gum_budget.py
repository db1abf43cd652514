r"""Uncertainty budget in the form of the GUM (JCGM 100:2008).

For a result y = f(x_1, ..., x_n) with sensitivities c_i = df/dx_i, standard
uncertainties u_i and correlations r_ij, the law of propagation (equation 16) is

    u_c^2 = sum_i sum_j c_i c_j u_i u_j r_ij.

The variance share of input i is q_i = c_i u_i sum_j r_ij c_j u_j, half of every
covariance term going to either input; shares q_i / u_c^2 sum to one, and one is negative
where an input cancels what others contribute.  Effective degrees of freedom follow
Welch and Satterthwaite (equation G.2b), with q_i in place of (c_i u_i)^2,

    nu_eff = u_c^4 / sum_i (q_i^2 / nu_i),

which is G.2b itself for uncorrelated inputs, and for correlated ones what the variance of
u_c^2 gives when the u_i are estimated independently and the r_ij are known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats
from fieldaero.statistics import student_t

__all__ = ["UncertaintyBudget", "UncertaintyInput", "uncertainty_budget"]

ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True)
class UncertaintyInput:
    """One input quantity: value and standard uncertainty in ``unit``, sensitivity in the result's unit per ``unit``.

    ``df`` is infinite for an uncertainty that is itself taken as known (type B).
    """

    name: str
    value: float
    standard_uncertainty: float
    unit: str = ""
    sensitivity: float = 1.0
    df: float = float("inf")


@dataclass(frozen=True, kw_only=True)
class UncertaintyBudget:
    """The inputs with what each contributes to the combined standard uncertainty of a result.

    ``contributions`` c_i u_i (signed, in the result's unit) and ``shares`` (sum 1) have
    shape (n,); ``df`` is the effective one.
    """

    inputs: tuple[UncertaintyInput, ...]
    contributions: Floats
    shares: Floats
    standard_uncertainty: float
    df: float

    def expanded_uncertainty(self, level: float = 0.95) -> float:
        """Half width of the t interval; the GUM cuts its effective df to whole numbers, this does not."""
        return float(student_t.quantile(0.5 + level / 2.0, self.df)) * self.standard_uncertainty


def uncertainty_budget(
    inputs: Sequence[UncertaintyInput], *, correlation: ArrayLike | None = None
) -> UncertaintyBudget:
    """Combine the uncertainties of the inputs of one result; shares are NaN where nothing is left.

    Parameters
    ----------
    inputs
        The n input quantities, in order.
    correlation
        Shape (n, n), the identity if not given.

    Raises
    ------
    OutOfRangeError
        A negative or missing uncertainty or df (the input named), or a matrix that is no correlation matrix.

    Examples
    --------
    Two equal inputs that cancel in a difference, and one that does not:

    >>> budget = uncertainty_budget(
    ...     [UncertaintyInput(name="mass, first setup", value=84.0, standard_uncertainty=0.5, unit="kg"),
    ...      UncertaintyInput(name="mass, second setup", value=84.0, standard_uncertainty=0.5, unit="kg",
    ...                       sensitivity=-1.0),
    ...      UncertaintyInput(name="scatter", value=0.0, standard_uncertainty=0.1)],
    ...     correlation=[[1, 1, 0], [1, 1, 0], [0, 0, 1]])
    >>> round(budget.standard_uncertainty, 6), float(budget.shares[2])
    (0.1, 1.0)
    """
    n = len(inputs)
    for each in inputs:
        for what, number in (("standard uncertainty", each.standard_uncertainty), ("degrees of freedom", each.df)):
            if not number >= 0.0:
                raise OutOfRangeError(f"the {what} of {each.name} is {number:g}; allowed is zero and above")
    R = np.eye(n) if correlation is None else np.asarray(correlation, dtype=np.float64)
    if R.shape != (n, n):
        raise ValueError(f"correlation has shape {R.shape}; allowed is ({n}, {n})")
    if (
        np.max(np.abs(R - R.T), initial=0.0) > ROUNDING
        or np.max(np.abs(np.diag(R) - 1.0), initial=0.0) > ROUNDING
        or np.min(np.linalg.eigvalsh(R), initial=0.0) < -ROUNDING * n
    ):
        raise OutOfRangeError(
            "the correlation matrix of the inputs is impossible; allowed is a symmetric matrix with ones on the "
            "diagonal and no combination of negative variance: check its signs and that every pair stands twice"
        )
    contribution = np.array([i.sensitivity * i.standard_uncertainty for i in inputs], dtype=np.float64)
    part = contribution * (R @ contribution)
    # Perfect cancellation leaves rounding, which is no uncertainty.
    variance = float(np.sum(part)) if np.sum(part) > ROUNDING**2 * np.sum(contribution**2) else 0.0
    nu = np.array([i.df for i in inputs], dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = float(np.sum(np.where(part == 0.0, 0.0, part**2 / nu)))
        share = part / variance if variance > 0.0 else np.full(n, np.nan)
    return UncertaintyBudget(
        inputs=tuple(inputs),
        contributions=contribution,
        shares=np.asarray(share),
        standard_uncertainty=float(np.sqrt(variance)),
        df=variance**2 / spread if spread > 0.0 else float("inf"),
    )
