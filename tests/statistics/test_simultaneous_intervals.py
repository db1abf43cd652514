"""Simultaneous intervals against exact procedures and simulation."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats

from fieldaero.statistics.simultaneous_intervals import (
    equicoordinate_quantile,
    probability_within,
    product_loadings,
    simultaneous_intervals,
)


def correlation_of(contrasts):
    covariance = np.asarray(contrasts, dtype=float) @ np.asarray(contrasts, dtype=float).T
    s = np.sqrt(np.diag(covariance))
    return covariance / np.outer(s, s)


def all_pairs(k):
    return [np.eye(k)[i] - np.eye(k)[j] for i in range(k) for j in range(i)]


def test_one_contrast_is_a_t():
    assert equicoordinate_quantile([[1.0]], df=7, level=0.9) == pytest.approx(stats.t.ppf(0.95, 7), rel=1e-9)


@pytest.mark.parametrize("df", [1, 4, 15, np.inf])
def test_independent_normal_contrasts_multiply(df):
    # Given the scale the contrasts are independent; for known scale that is Sidak's bound.
    q = equicoordinate_quantile(np.eye(3), df=df)
    if np.isinf(df):
        assert (2 * stats.norm.cdf(q) - 1) ** 3 == pytest.approx(0.95, abs=1e-6)
    else:
        scale = stats.chi(df, scale=df**-0.5)
        inside = scale.expect(lambda s: (2 * stats.norm.cdf(q * s) - 1) ** 3)
        assert inside == pytest.approx(0.95, abs=1e-5)


@pytest.mark.parametrize("k", [3, 4])
@pytest.mark.parametrize("df", [2, 5, 30, np.inf])
def test_all_pairs_are_the_studentised_range(k, df):
    # Correlation of rank k - 1 with no product structure: the lattice, against an exact distribution.
    q = equicoordinate_quantile(correlation_of(all_pairs(k)), df=df)
    assert stats.studentized_range.cdf(q * np.sqrt(2.0), k, df) == pytest.approx(0.95, abs=1e-4)


@pytest.mark.parametrize("df", [1, 3, 12, np.inf])
def test_lattice_and_integration_agree(df):
    R = np.full((4, 4), 0.5) + 0.5 * np.eye(4)
    exact = equicoordinate_quantile(R, df=df)
    nearly = R.copy()
    nearly[0, 1] = nearly[1, 0] = 0.5 + 1e-7  # no product any more, same probability to 1e-7
    assert product_loadings(R) is not None
    assert product_loadings(nearly) is None
    assert probability_within(nearly, df)(exact) == pytest.approx(0.95, abs=2e-5)


def test_general_correlation_agrees_with_scipy():
    rng = np.random.default_rng(1)
    R = correlation_of(rng.normal(size=(5, 7)))
    q = equicoordinate_quantile(R, df=8)
    other = stats.multivariate_t.cdf(
        np.full(5, q), shape=R, df=8, lower_limit=np.full(5, -q), maxpts=500_000, random_state=1
    )
    assert other == pytest.approx(0.95, abs=1e-4)


def test_adjusted_p_values_are_those_of_dunnett():
    rng = np.random.default_rng(2)
    control, *others = (rng.normal(mean, 1.0, n) for mean, n in [(0, 6), (1, 4), (0.2, 5), (2, 3)])
    expected = stats.dunnett(*others, control=control, rng=np.random.default_rng(3))
    groups = [control, *others]
    df = sum(map(len, groups)) - 4
    pooled = sum(np.sum((g - g.mean()) ** 2) for g in groups) / df
    covariance = pooled * (1 / len(control) + np.diag([1 / len(g) for g in others]))
    found = simultaneous_intervals([g.mean() - control.mean() for g in others], covariance=covariance, df=df)
    # scipy integrates by chance, to about 1e-3 in p.
    assert found.p_adjusted == pytest.approx(expected.pvalue, abs=1e-3)
    interval = expected.confidence_interval(0.95)
    assert found.low == pytest.approx(interval.low, abs=5e-3)
    assert found.high == pytest.approx(interval.high, abs=5e-3)


@settings(max_examples=20)
@given(st.integers(0, 2**32 - 1), st.integers(2, 3), st.floats(1.0, 50.0))
@example(1, 4, 3.0)
@example(2, 5, 20.0)
def test_between_one_contrast_and_bonferroni(seed, m, df):
    R = correlation_of(np.random.default_rng(seed).normal(size=(m, m + 1)))
    q = equicoordinate_quantile(R, df=df)
    assert stats.t.ppf(0.975, df) - 1e-6 <= q <= stats.t.ppf(1 - 0.025 / m, df) * (1 + 1e-5)


@settings(max_examples=10)
@given(st.integers(0, 2**32 - 1))
def test_sign_of_a_contrast_does_not_matter(seed):
    rng = np.random.default_rng(seed)
    rows = rng.normal(size=(3, 4))
    turned = rows * rng.choice([-1.0, 1.0], size=(3, 1))
    one, two = (equicoordinate_quantile(correlation_of(r), df=9) for r in (rows, turned))
    assert one == pytest.approx(two, rel=1e-4)


def test_interval_leaves_out_zero_just_when_the_adjusted_p_is_small():
    covariance = np.array([[1.0, 0.4, 0.1], [0.4, 1.2, 0.3], [0.1, 0.3, 0.8]])
    for level in (0.8, 0.95):
        base = simultaneous_intervals([1.0, 1.0, 1.0], covariance=covariance, df=[6, 9, 14], level=level)
        edge = base.critical_value * np.sqrt(np.diag(covariance))
        at_edge = simultaneous_intervals(edge, covariance=covariance, df=[6, 9, 14], level=level)
        assert at_edge.low == pytest.approx([0, 0, 0], abs=1e-9)
        assert at_edge.p_adjusted == pytest.approx([1 - level] * 3, abs=1e-5)


def test_each_contrast_keeps_its_own_degrees_of_freedom():
    found = simultaneous_intervals([1.0, 1.0], covariance=np.eye(2), df=[4.0, 40.0])
    alone = 2 * stats.t.sf(found.critical_value, [4.0, 40.0])
    assert found.critical_value[0] > found.critical_value[1]
    assert alone[0] == pytest.approx(alone[1], rel=1e-6)


def test_unequal_degrees_of_freedom_hold_together_as_often_as_promised():
    # Variances partly known: s_i^2 = a_i + (1 - a_i) chi2/nu on one common chi2, so df_i = nu / (1 - a_i)^2.
    rng = np.random.default_rng(4)
    known, nu, m = np.array([0.0, 0.3, 0.6]), 6, 400_000
    R = np.full((3, 3), 0.5) + 0.5 * np.eye(3)
    found = simultaneous_intervals([0.0, 0.0, 0.0], covariance=R, df=nu / (1 - known) ** 2)
    z = rng.multivariate_normal(np.zeros(3), R, size=m)
    s = np.sqrt(known + (1 - known) * rng.chisquare(nu, size=(m, 1)) / nu)
    held = np.mean(np.all(np.abs(z / s) <= found.critical_value, axis=1))
    # Never below the promise (three sigma of the simulation), and not wide by more than 1 %.
    assert 0.949 <= held <= 0.960


def test_contrast_without_scatter_stands_aside():
    covariance = np.array([[1.0, np.nan], [np.nan, np.nan]])
    found = simultaneous_intervals([1.0, 2.0], covariance=covariance, df=[5.0, np.nan])
    assert found.critical_value[0] == pytest.approx(stats.t.ppf(0.975, 5))
    assert np.isnan([found.low[1], found.high[1], found.p_adjusted[1]]).all()


def test_same_digits_every_time():
    R = correlation_of(np.random.default_rng(5).normal(size=(5, 6)))
    assert equicoordinate_quantile(R, df=11) == equicoordinate_quantile(R, df=11)
