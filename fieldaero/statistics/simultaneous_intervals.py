r"""Simultaneous intervals: several setups against one baseline, all right together.

With statistics T_i = Z_i / s, Z normal with a correlation matrix and s^2 a mean square
on df degrees of freedom, the equicoordinate bound q solves P(max |T_i| <= q) = level.
For independent laps of equal variance that is Dunnett's procedure (J. Am. Stat. Assoc.
50 (1955) 1096); for a general correlation it is the "single step" procedure.

The probability is computed without chance:

- where the correlation is a product, r_ij = b_i b_j (any two contrasts; laps with
  independent errors against one baseline), given one normal variable u the contrasts are
  independent, and what is left are integrals over u and over s;
- otherwise by separation of variables (Genz, J. Comput. Graph. Stat. 1 (1992) 141), with
  Gauss rules up to a correlation of rank four and a fixed lattice beyond.  Up to rank
  four the probability is right to better than 1e-4, for any correlation; beyond, to
  about 1e-4, and to 1e-3 where contrasts nearly follow from each other.

Degrees of freedom that differ between contrasts are met by a scaled rule: each contrast
keeps its own t distribution for its own error rate, and the dependence between contrasts
is that of the common-scale t with the largest df, the weakest of those present.  With
equal df it is Dunnett's procedure itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import gammaincinv, ndtr, ndtri

from fieldaero.basics.quantities import Floats
from fieldaero.statistics import student_t

__all__ = ["SimultaneousIntervals", "equicoordinate_quantile", "probability_within", "simultaneous_intervals"]

SCALE_NODES = 160
SCALE_TAIL = 1e-9  # probability left out at either end of the scale's distribution
NORMAL_NODES = 341
NORMAL_END = 8.5
MOST_LOADING = 0.998  # beyond it the integrand has steps narrower than the nodes' spacing
PRODUCT_TOLERANCE = 1e-9
BOX_DEGREE = 48
GAUSS_NODES = (200, 64, 28)  # per coordinate, in one, two and three dimensions
LATTICE_POWER = 15  # 2^15 points
DETERMINED = 1e-7


@dataclass(frozen=True, kw_only=True)
class SimultaneousIntervals:
    """Intervals of m contrasts that hold together, each field of shape (m,).

    ``critical_value`` is the multiple of the standard error, ``p_adjusted`` the p value for the family.
    """

    critical_value: Floats
    low: Floats
    high: Floats
    p_adjusted: Floats


def simultaneous_intervals(
    estimate: ArrayLike, *, covariance: ArrayLike, df: ArrayLike, level: float = 0.95
) -> SimultaneousIntervals:
    """Return simultaneous two-sided intervals and adjusted p values of several contrasts.

    Parameters
    ----------
    estimate, covariance
        Contrasts, shape (m,), and their covariance, shape (m, m).
    df
        Degrees of freedom, one for all or one each; infinite where the covariance is known.
    level
        Probability with which all intervals hold together.

    Notes
    -----
    A contrast with a NaN (or zero) variance or df gets NaN and does not count in the family.

    Examples
    --------
    >>> covariance = [[2.0, 1.0], [1.0, 2.0]]
    >>> both = simultaneous_intervals([3.0, 5.0], covariance=covariance, df=30)
    >>> both.critical_value.round(2).tolist()
    [2.32, 2.32]
    """
    x = np.atleast_1d(np.asarray(estimate, dtype=np.float64))
    C = np.atleast_2d(np.asarray(covariance, dtype=np.float64))
    if C.shape != (len(x), len(x)):
        raise ValueError(f"covariance has shape {C.shape}; allowed is ({len(x)}, {len(x)})")
    nu = np.broadcast_to(np.asarray(df, dtype=np.float64), x.shape)
    variance = np.diag(C)
    se = np.sqrt(np.where(variance >= 0.0, variance, np.nan))
    known = np.isfinite(x) & (se > 0.0) & (nu > 0.0)
    critical, adjusted = np.full((2, len(x)), np.nan)
    if np.any(known):
        s = se[known]
        common = float(np.max(nu[known]))
        probability = probability_within(C[np.ix_(known, known)] / np.outer(s, s), common)
        alone = student_t.above(_bound(probability, common, len(s), level), common)
        critical[known] = -student_t.quantile(alone, nu[known])
        p = 2.0 * student_t.above(np.abs(x[known]) / s, nu[known])
        # The bound at which the common t gives the contrast's own two-sided p value.
        adjusted[known] = [
            np.clip(1.0 - probability(float(-student_t.quantile(own / 2.0, common))), own, 1.0) for own in p
        ]
    return SimultaneousIntervals(
        critical_value=critical, low=x - critical * se, high=x + critical * se, p_adjusted=adjusted
    )


def equicoordinate_quantile(correlation: ArrayLike, *, df: float, level: float = 0.95) -> float:
    """Return q with P(max |T_i| <= q) = level, for statistics with a correlation, shape (m, m), and one common df.

    Infinite df are for normal statistics.

    Examples
    --------
    Three setups against a baseline, all with the same number of laps, 10 df:

    >>> round(equicoordinate_quantile([[1, 0.5, 0.5], [0.5, 1, 0.5], [0.5, 0.5, 1]], df=10), 2)
    2.76
    """
    R = np.atleast_2d(np.asarray(correlation, dtype=np.float64))
    return _bound(probability_within(R, df), df, len(R), level)


def probability_within(R: Floats, df: float) -> Callable[[float], float]:
    """Return P(max |T_i| <= q) as a function of q, for a correlation matrix R, shape (m, m), and one common df.

    It is the normal box averaged over the scale.  One statistic alone is a t:

    >>> round(probability_within(np.eye(1), 10.0)(2.228139), 6)
    0.95
    """
    if len(R) == 1:
        return lambda q: float(1.0 - 2.0 * student_t.above(max(q, 0.0), df))
    loading = product_loadings(R)
    if loading is None or np.max(np.abs(loading)) > MOST_LOADING:
        box = _general_box(R)
    else:
        box = partial(_product_box, loading)
    # The box is smooth in its half width, so a polynomial stands for it at every scale.
    smooth = Chebyshev.interpolate(box, BOX_DEGREE, domain=[0.0, NORMAL_END])
    scale, weight = _scale_nodes(df)

    def probability(q: float) -> float:
        half_width = q * scale
        inside = np.where(half_width < NORMAL_END, smooth(np.minimum(half_width, NORMAL_END)), 1.0)
        return float(weight @ np.clip(inside, 0.0, 1.0))

    return probability


def _bound(probability: Callable[[float], float], df: float, m: int, level: float) -> float:
    # Bonferroni's bound lies above, the single t below.
    low = float(-student_t.quantile((1.0 - level) / 2.0, df))
    high = float(-student_t.quantile((1.0 - level) / (2.0 * m), df))
    if m == 1 or probability(low) >= level:
        return low
    return float(brentq(lambda q: probability(q) - level, low, high * (1.0 + 1e-6), xtol=1e-7 * low))


def product_loadings(R: Floats) -> Floats | None:
    """Return b with r_ij = b_i b_j for all i != j and |b_i| <= 1, or None where there is none.

    Examples
    --------
    >>> product_loadings(np.array([[1, 0.5, 0.5], [0.5, 1, 0.5], [0.5, 0.5, 1]])).round(4).tolist()
    [0.7071, 0.7071, 0.7071]
    """
    m = len(R)
    off = np.array(R)
    np.fill_diagonal(off, 0.0)
    i, j = np.unravel_index(int(np.argmax(np.abs(off))), off.shape)
    strongest = off[i, j]
    if strongest == 0.0:
        return np.zeros(m)
    square = abs(strongest)
    if m > 2:
        # A third contrast tells how the strongest correlation splits between its two.
        others = np.setdiff1d(np.arange(m), [i, j])
        third = others[int(np.argmax(np.minimum(np.abs(off[i, others]), np.abs(off[j, others]))))]
        if off[j, third] != 0.0 and off[i, third] != 0.0:
            square = strongest * off[i, third] / off[j, third]
    if not 0.0 < square <= 1.0 + PRODUCT_TOLERANCE:
        return None
    b = off[i] / np.sqrt(square)
    b[i] = np.sqrt(square)
    product = np.outer(b, b)
    np.fill_diagonal(product, 0.0)
    if np.any(np.abs(b) > 1.0 + PRODUCT_TOLERANCE) or np.max(np.abs(product - off)) > PRODUCT_TOLERANCE:
        return None
    return np.asarray(np.clip(b, -1.0, 1.0))


def _scale_nodes(df: float) -> tuple[Floats, Floats]:
    """Nodes and weights of s = sqrt(chi2 / df): the trapezium rule in log s, whose tails vanish at both ends."""
    if not np.isfinite(df):
        return np.ones(1), np.ones(1)
    ends = 0.5 * np.log(np.maximum(2.0 * gammaincinv(df / 2.0, [SCALE_TAIL, 1.0 - SCALE_TAIL]), 1e-300) / df)
    x = np.linspace(ends[0], ends[1], SCALE_NODES)
    log_density = df * x - 0.5 * df * np.exp(2.0 * x)
    weight = np.exp(log_density - np.max(log_density))
    return np.exp(x), weight / np.sum(weight)


def _product_box(loading: Floats, half_width: Floats) -> Floats:
    """P(|Z_i| <= h for all i) for every h, Z_i = b_i u + sqrt(1 - b_i^2) e_i."""
    u = np.linspace(-NORMAL_END, NORMAL_END, NORMAL_NODES)
    weight = np.exp(-0.5 * u**2)
    inside = np.tile(weight / np.sum(weight), (len(half_width), 1))
    values, counts = np.unique(np.abs(loading), return_counts=True)
    for b, count in zip(values, counts, strict=True):
        # A box is the same for -Z_i as for Z_i, so the sign of b does not matter.
        spread = np.sqrt(1.0 - b**2)
        h = half_width[:, None]
        inside = inside * (ndtr((h - b * u) / spread) - ndtr((-h - b * u) / spread)) ** count
    return np.asarray(np.sum(inside, axis=1))


def _general_box(R: Floats) -> Callable[[Floats], Floats]:
    """P(|Z_i| <= h for all i) by separation of variables: every coordinate inside its bounds, given those before.

    Contrasts that follow from others (all pairs of setups) narrow the bounds of the last
    coordinate they depend on, so the integrand has no jumps.
    """
    L = _root(R)
    rank = L.shape[1]
    last = rank - 1 - np.argmax(np.abs(L[:, ::-1]) > DETERMINED, axis=1)
    points, weight = _unit_cube(rank - 1)

    def at(h: float) -> float:
        inside, drawn = np.ones(len(weight)), np.zeros((rank, len(weight)))
        for c in range(rank):
            rows = L[last == c]
            centre, slope = -(rows[:, :c] @ drawn[:c]) / rows[:, c, None], h / np.abs(rows[:, c, None])
            low = ndtr(np.max(centre - slope, axis=0))
            width = np.maximum(ndtr(np.min(centre + slope, axis=0)) - low, 0.0)
            inside = inside * width
            if c < rank - 1:
                drawn[c] = ndtri(np.clip(low + points[c] * width, 1e-300, 1.0 - 1e-16))
        return float(weight @ inside)

    return lambda half_width: np.array([at(float(h)) for h in half_width])


def _unit_cube(dimensions: int) -> tuple[Floats, Floats]:
    """Points (dimensions, n) and weights (n,): a product of Gauss rules up to three dimensions, then a lattice."""
    if dimensions > len(GAUSS_NODES):
        from scipy.stats.qmc import Sobol  # takes a third of a second, and few comparisons need it

        points = np.asarray(Sobol(dimensions, scramble=False).random_base2(LATTICE_POWER)).T
        return points + 0.5 ** (LATTICE_POWER + 1), np.full(points.shape[1], 0.5**LATTICE_POWER)
    if dimensions == 0:
        return np.zeros((0, 1)), np.ones(1)
    x, w = np.polynomial.legendre.leggauss(GAUSS_NODES[dimensions - 1])
    points = np.array(np.meshgrid(*[(x + 1.0) / 2.0] * dimensions)).reshape(dimensions, -1)
    weights = np.prod(np.array(np.meshgrid(*[w / 2.0] * dimensions)).reshape(dimensions, -1), axis=0)
    return points, np.asarray(weights)


def _root(R: Floats) -> Floats:
    """Return L (m, rank) with R = L L', the pivots taken by size."""
    rest = np.array(R)
    columns: list[Floats] = []
    for _ in range(len(R)):
        pivot = int(np.argmax(np.diag(rest)))
        if rest[pivot, pivot] < DETERMINED:
            break
        column = rest[:, pivot] / np.sqrt(rest[pivot, pivot])
        columns.append(column)
        rest = rest - np.outer(column, column)
    return np.array(columns).T
