r"""Random-effects pooling of the results of several sessions.

Session i gives y_i with standard error s_i; true effects scatter between sessions with
variance tau^2 (another day's wind, position, tyres):

    y_i ~ N(mu, s_i^2 + tau^2),    mu = sum w_i y_i / sum w_i,    w_i = 1 / (s_i^2 + tau^2)

tau^2 is the restricted maximum likelihood estimate.  The standard error of mu after
Hartung and Knapp (Stat. Med. 20 (2001) 3875) is

    se^2 = H / sum w_i,    H = sum w_i (y_i - mu)^2 / (k - 1),

with a t distribution on k - 1 df.  Few sessions may agree by chance, which makes H small
and the interval narrower than with no scatter at all; so H counts as at least one here
(the modification of Rover, Knapp & Friede, BMC Med. Res. Methodol. 15 (2015) 99).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from fieldaero.basics.quantities import Floats, within
from fieldaero.statistics import student_t
from fieldaero.statistics.contrast import Contrast
from fieldaero.statistics.mixed_model import VarianceComponent, fit_linear_mixed

__all__ = ["PooledEffect", "pool_random_effects"]


@dataclass(frozen=True, kw_only=True)
class PooledEffect:
    """The pooled effect mu of k sessions, in the unit of the session results.

    ``between_variance`` is tau^2, in the unit squared; ``weights``, shape (k,), sum to one.  ``q`` with ``q_p_value``
    is Cochran's test for any scatter beyond the standard errors, ``i_squared`` = max(0, (Q - (k - 1)) / Q).
    ``scatter_unknown``: one session cannot show scatter between sessions; mu, its
    standard error, and nothing more, are that session's own.
    """

    effect: Contrast
    between_variance: float
    q: float
    q_p_value: float
    i_squared: float
    weights: Floats
    sessions: int
    scatter_unknown: bool

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Interval of the mean effect at the level asked for."""
        return self.effect.interval(level)

    def prediction_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Interval of the true effect in one further session.

        mu -+ t(k - 2) sqrt(tau^2 + se^2) (Higgins, Thompson & Spiegelhalter, J. R. Stat. Soc. A
        172 (2009) 137); NaN for fewer than three sessions.
        """
        df = self.sessions - 2 if self.sessions > 2 else np.nan
        half = float(student_t.quantile(0.5 + level / 2.0, df)) * float(
            np.sqrt(self.between_variance + self.effect.standard_error**2)
        )
        return self.effect.estimate - half, self.effect.estimate + half


def pool_random_effects(estimates: ArrayLike, *, standard_errors: ArrayLike) -> PooledEffect:
    """Pool the results of several sessions.

    Parameters
    ----------
    estimates
        One result per session, shape (k,), one unit.
    standard_errors
        Their standard errors, taken as known, above zero.

    Raises
    ------
    OutOfRangeError
        A standard error of zero or below.

    Examples
    --------
    >>> pooled = pool_random_effects([-0.006, -0.002, -0.009], standard_errors=[0.001, 0.002, 0.0015])
    >>> round(pooled.effect.estimate, 4), round(pooled.between_variance**0.5, 4)
    (-0.0059, 0.0029)
    """
    y, s = np.asarray(estimates, dtype=np.float64), np.asarray(standard_errors, dtype=np.float64)
    within(
        s,
        quantity="standard error of a session",
        low=float(np.nextafter(0.0, 1.0)),
        high=np.inf,
        hint="a result without uncertainty cannot be pooled",
    )
    k, v = len(y), s**2
    fit = fit_linear_mixed(
        y,
        design=np.ones((k, 1)),
        known_covariance=np.diag(v),
        components=[VarianceComponent(name="between sessions", structure=np.eye(k))],
        columns=["pooled effect"],
    )
    tau2 = float(fit.theta[0])
    w = 1.0 / (v + np.nan_to_num(tau2))
    mu, se = float(fit.coefficients[0]), float(np.sqrt(1.0 / np.sum(w)))
    alone = k < 2
    factor = float("nan") if alone else float(np.sum(w * (y - mu) ** 2)) / (k - 1)
    q = float(np.sum((y - np.sum(y / v) / np.sum(1.0 / v)) ** 2 / v))
    return PooledEffect(
        effect=Contrast(
            estimate=mu,
            standard_error=se if alone else se * float(np.sqrt(max(factor, 1.0))),
            df=float("nan") if alone else float(k - 1),
            method="hartung-knapp, factor at least one",
        ),
        between_variance=tau2,
        q=q,
        q_p_value=float("nan") if alone else float(chdtrc(k - 1, q)),
        i_squared=float("nan") if alone else max(0.0, 1.0 - (k - 1) / q) if q > 0.0 else 0.0,
        weights=w / np.sum(w),
        sessions=k,
        scatter_unknown=alone,
    )
