"""Linear mixed models: exact cases, invariants, the edge of what data can say."""

import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.statistics.mixed_model import FirstStageUncertainty, VarianceComponent, fit_linear_mixed


def lap_effect(n, **prior):
    return VarianceComponent(name="lap", structure=np.eye(n), **prior)


def same(groups):
    groups = np.asarray(groups)
    return (groups[:, None] == groups[None, :]).astype(float)


def setups_by_turns(n, k):
    return np.eye(k)[np.arange(n) % k]


def test_two_setups_with_unknown_scatter_are_the_pooled_t_test():
    rng = np.random.default_rng(1)
    a, b = rng.normal(0.25, 0.003, 5), rng.normal(0.24, 0.003, 8)
    fit = fit_linear_mixed(
        np.append(a, b), design=np.repeat(np.eye(2), [5, 8], axis=0), components=[lap_effect(13)], columns=["a", "b"]
    )
    c, expected = fit.contrast([-1, 1]), stats.ttest_ind(b, a)
    assert c.p_value() == pytest.approx(expected.pvalue, rel=1e-9)
    assert c.interval(0.9) == pytest.approx(tuple(expected.confidence_interval(0.9)), rel=1e-9)
    assert c.df == pytest.approx(11.0, rel=1e-9)


def test_known_covariance_alone_is_generalised_least_squares():
    rng = np.random.default_rng(2)
    root = rng.normal(size=(12, 15))
    V, X, y = root @ root.T, rng.normal(size=(12, 3)), rng.normal(size=12)
    fit = fit_linear_mixed(y, design=X, known_covariance=V)
    inverse = np.linalg.inv(V)
    assert fit.covariance == pytest.approx(np.linalg.inv(X.T @ inverse @ X), rel=1e-8)
    assert fit.contrast([1, 0, 0]).df == np.inf
    other = sm.GLS(y, X, sigma=V).fit()
    assert fit.coefficients == pytest.approx(other.params, rel=1e-8)


def test_covariance_up_to_a_scale_agrees_with_statsmodels():
    rng = np.random.default_rng(3)
    root = rng.normal(size=(12, 15))
    V, X, y = root @ root.T, rng.normal(size=(12, 3)), rng.normal(size=12)
    fit = fit_linear_mixed(y, design=X, components=[VarianceComponent(name="scale", structure=V)])
    other = sm.GLS(y, X, sigma=V).fit()
    assert fit.theta[0] == pytest.approx(other.scale, rel=1e-9)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(other.bse, rel=1e-8)
    assert fit.contrast([0, 0, 1]).df == pytest.approx(9.0, rel=1e-9)


def test_random_intercept_and_slope_agree_with_statsmodels():
    rng = np.random.default_rng(4)
    session = np.repeat(np.arange(8), 6)
    hours = np.tile(np.linspace(0, 1, 6), 8) + rng.uniform(0, 0.05, 48)
    y = 1 + 2 * hours + rng.normal(size=8)[session] + rng.normal(size=8)[session] * hours + rng.normal(0, 0.5, 48)
    X, S = np.column_stack([np.ones(48), hours]), same(session)
    fit = fit_linear_mixed(
        y,
        design=X,
        components=[
            VarianceComponent(name="session", structure=S),
            VarianceComponent(name="with drift", structure=S * (hours[:, None] + hours), nonnegative=False),
            VarianceComponent(name="drift", structure=S * np.outer(hours, hours)),
            lap_effect(48),
        ],
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its optimiser's own warnings
        other = sm.MixedLM(y, X, groups=session, exog_re=X).fit(reml=True, method="lbfgs")
    # Its optimiser stops at about four digits; the likelihood here must not be the lower one.
    assert fit.log_likelihood == pytest.approx(other.llf, abs=1e-4)
    assert fit.log_likelihood >= other.llf - 1e-9
    assert fit.theta[[0, 1, 2]] == pytest.approx(other.cov_re[[0, 0, 1], [0, 1, 1]], rel=0.01, abs=0.01)
    assert fit.coefficients == pytest.approx(other.fe_params, rel=1e-4)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(other.bse_fe, rel=1e-3)


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1), st.floats(1e-4, 1e4))
def test_unit_of_the_response_does_not_matter(seed, factor):
    rng = np.random.default_rng(seed)
    X, V0 = setups_by_turns(12, 3), np.diag(rng.uniform(0.2, 2.0, 12))
    y = rng.normal(0.0, 1.5, 12)
    one = fit_linear_mixed(y, design=X, known_covariance=V0, components=[lap_effect(12)])
    two = fit_linear_mixed(factor * y, design=X, known_covariance=factor**2 * V0, components=[lap_effect(12)])
    a, b = one.contrast([-1, 1, 0]), two.contrast([-1, 1, 0])
    assert two.theta[0] == pytest.approx(factor**2 * one.theta[0], rel=1e-6, abs=1e-9 * factor**2)
    assert (b.estimate, b.standard_error) == pytest.approx((factor * a.estimate, factor * a.standard_error), rel=1e-6)
    assert b.df == pytest.approx(a.df, rel=1e-5)


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1))
def test_maximum_is_no_lower_than_on_a_grid(seed):
    rng = np.random.default_rng(seed)
    X, V0 = setups_by_turns(9, 2), np.diag(rng.lognormal(0.0, 1.5, 9))
    y = rng.normal(0.0, np.sqrt(np.diag(V0) + rng.choice([0.0, 1.0])))
    fit = fit_linear_mixed(y, design=X, known_covariance=V0, components=[lap_effect(9)])
    for theta in [0.0, *np.geomspace(1e-3, 1e3, 40)]:
        held = fit_linear_mixed(y, design=X, known_covariance=V0 + theta * np.eye(9))
        assert held.log_likelihood <= fit.log_likelihood + 1e-9


def test_balanced_rides_give_the_degrees_of_freedom_of_rides():
    # One setup per ride, three rides each: the ride is the unit, 4 df, whatever the laps say.
    rng = np.random.default_rng(6)
    ride = np.repeat(np.arange(6), 5)
    y = rng.normal(0.0, 1.0, 6)[ride] + rng.normal(0.0, 0.3, 30)
    fit = fit_linear_mixed(
        y,
        design=np.eye(2)[ride % 2],
        components=[VarianceComponent(name="ride", structure=same(ride)), lap_effect(30)],
    )
    means = y.reshape(6, 5).mean(axis=1)
    expected = stats.ttest_ind(means[1::2], means[0::2])
    assert fit.contrast([-1, 1]).df == pytest.approx(4.0, rel=1e-6)
    assert fit.contrast([-1, 1]).p_value() == pytest.approx(expected.pvalue, rel=1e-6)


def test_kenward_roger_adds_nothing_to_a_balanced_design_and_something_to_an_unequal_one():
    rng = np.random.default_rng(7)
    X, y = setups_by_turns(10, 2), rng.normal(0.0, 1.0, 10)
    balanced = fit_linear_mixed(y, design=X, known_covariance=np.eye(10) * 0.1, components=[lap_effect(10)])
    assert balanced.covariance_kenward_roger == pytest.approx(balanced.covariance, abs=1e-12)
    V0 = np.diag([0.01, 0.01, 0.01, 4.0, 0.01, 0.01, 4.0, 0.01, 4.0, 0.01])
    unequal = fit_linear_mixed(y, design=X, known_covariance=V0, components=[lap_effect(10)])
    c = np.array([-1, 1])
    assert unequal.contrast(c).standard_error > np.sqrt(c @ unequal.covariance @ c)


def test_prior_counts_as_earlier_laps():
    # An earlier mean square s2 on nu df pools with the residual sum of squares.
    rng = np.random.default_rng(8)
    X, y = setups_by_turns(8, 2), rng.normal(0.0, 1.0, 8)
    fit = fit_linear_mixed(y, design=X, components=[lap_effect(8, prior_df=5.0, prior_scale=2.0)])
    rss = sum(np.sum((y[i::2] - y[i::2].mean()) ** 2) for i in (0, 1))
    assert fit.theta[0] == pytest.approx((rss + 5.0 * 2.0) / (6.0 + 5.0), rel=1e-8)
    assert fit.contrast([-1, 1]).df == pytest.approx(11.0, rel=1e-8)


def test_prior_keeps_scatter_off_zero_where_the_laps_happen_to_agree():
    y, V0 = np.array([1.0, 2.0, 1.0, 2.0]), np.eye(4)
    X = setups_by_turns(4, 2)
    free = fit_linear_mixed(y, design=X, known_covariance=V0, components=[lap_effect(4)])
    held = fit_linear_mixed(y, design=X, known_covariance=V0, components=[lap_effect(4, prior_df=2.0, prior_scale=0.5)])
    assert free.theta[0] == 0.0
    assert 0.0 < held.theta[0] < 0.5


def test_variance_seen_as_zero_is_not_taken_as_known():
    y, X = np.array([1.0, 2.0, 1.0, 2.0]), setups_by_turns(4, 2)
    fit = fit_linear_mixed(y, design=X, known_covariance=np.eye(4), components=[lap_effect(4)])
    assert fit.contrast([-1, 1]).df == pytest.approx(2.0, rel=1e-9)


def test_one_lap_per_setup_still_has_the_known_covariance():
    fit = fit_linear_mixed([1.0, 2.0], design=np.eye(2), known_covariance=np.eye(2) * 0.5, components=[lap_effect(2)])
    c = fit.contrast([-1, 1])
    assert np.isnan(fit.theta[0])
    assert (c.standard_error, c.df) == pytest.approx((1.0, np.inf))


def test_one_lap_per_setup_with_a_prior_rests_on_the_prior():
    fit = fit_linear_mixed([1.0, 2.0], design=np.eye(2), components=[lap_effect(2, prior_df=4.0, prior_scale=0.5)])
    c = fit.contrast([-1, 1])
    assert (fit.theta[0], c.standard_error, c.df) == pytest.approx((0.5, 1.0, 4.0))


def test_effect_hidden_by_the_design_is_not_estimated():
    ride = np.repeat([0, 1], 4)
    components = [VarianceComponent(name="ride", structure=same(ride)), lap_effect(8)]
    rng = np.random.default_rng(9)
    fit = fit_linear_mixed(rng.normal(size=8), design=np.eye(2)[ride], components=components)
    assert np.isfinite(fit.theta).tolist() == [False, True]


def test_columns_that_depend_on_each_other_are_named():
    X = np.column_stack([np.ones(6), [1, 1, 1, 0, 0, 0], [0, 0, 0, 1, 1, 1], np.arange(6)])
    with pytest.raises(CannotAnswerError, match="follows from") as error:
        fit_linear_mixed(np.zeros(6), design=X, known_covariance=np.eye(6), columns=["mean", "old", "new", "hour"])
    assert all(name in str(error.value) for name in ("mean", "old", "new"))
    assert "hour" not in str(error.value)


def test_setup_without_a_lap_is_named():
    with pytest.raises(CannotAnswerError, match="'new'"):
        fit_linear_mixed([1.0, 2.0], design=[[1, 0], [1, 0]], known_covariance=np.eye(2), columns=["old", "new"])


def test_covariance_without_scatter_of_its_own_is_refused():
    ride = VarianceComponent(name="ride", structure=same([0, 0, 1, 1]))
    with pytest.raises(CannotAnswerError, match="positive definite"):
        fit_linear_mixed([1.0, 2.0, 3.0, 5.0], design=np.ones((4, 1)), components=[ride])


def test_uncertain_known_covariance_limits_the_degrees_of_freedom():
    # V0 = phi 1 with phi from nu = 7 df, var(phi) = 2 phi^2 / nu: the contrast has those 7 df.
    phi, nu, y = 0.8, 7.0, np.array([1.0, 2.0, 1.5, 2.7, 0.9, 2.2])
    stage = FirstStageUncertainty(derivatives=[np.eye(6)], covariance=[[2.0 * phi**2 / nu]])
    fit = fit_linear_mixed(y, design=setups_by_turns(6, 2), known_covariance=phi * np.eye(6), first_stage=stage)
    assert fit.contrast([-1, 1]).df == pytest.approx(nu, rel=1e-9)


def test_what_the_laps_show_makes_up_for_an_uncertain_known_covariance():
    # With a lap effect of the same structure only the sum counts, and the laps determine that: n - p df.
    phi, y = 0.1, np.array([1.0, 4.0, 1.8, 2.0, 0.2, 2.9])
    stage = FirstStageUncertainty(derivatives=[np.eye(6)], covariance=[[0.05]])
    fit = fit_linear_mixed(
        y,
        design=setups_by_turns(6, 2),
        known_covariance=phi * np.eye(6),
        components=[lap_effect(6)],
        first_stage=stage,
    )
    assert fit.theta[0] > 0.0
    assert fit.contrast([-1, 1]).df == pytest.approx(4.0, rel=1e-9)


def test_intervals_hold_as_often_as_they_promise():
    # Unequal known variances and a lap effect, 5 + 5 laps; 1000 campaigns, so 95 % +- 2 % at three sigma.
    rng = np.random.default_rng(10)
    X, V0 = setups_by_turns(10, 2), np.diag(np.tile([0.2, 0.2, 1.5, 0.6, 0.6], 2))
    held = 0
    for _ in range(1000):
        y = rng.normal(0.0, np.sqrt(np.diag(V0) + 0.7))
        fit = fit_linear_mixed(y, design=X, known_covariance=V0, components=[lap_effect(10)])
        low, high = fit.contrast([-1, 1]).interval()
        held += low <= 0.0 <= high
    assert held / 1000 >= 0.93
