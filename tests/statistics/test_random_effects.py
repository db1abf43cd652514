"""Pooling of sessions: identities, agreement with statsmodels, the edge cases."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.meta_analysis import combine_effects

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.statistics.random_effects import pool_random_effects


def test_equal_standard_errors_are_a_t_interval_of_the_session_results():
    y = np.array([-0.006, -0.001, -0.009, -0.003])
    pooled = pool_random_effects(y, standard_errors=np.full(4, 0.0005))
    assert pooled.effect.estimate == pytest.approx(y.mean())
    assert pooled.effect.standard_error == pytest.approx(y.std(ddof=1) / 2.0, rel=1e-8)
    # REML removes what the standard errors explain.
    assert pooled.between_variance == pytest.approx(y.var(ddof=1) - 0.0005**2, rel=1e-8)


def test_heterogeneity_agrees_with_statsmodels():
    rng = np.random.default_rng(1)
    y, s = rng.normal(0.0, 2.0, 8), rng.uniform(0.5, 2.0, 8)
    pooled, other = pool_random_effects(y, standard_errors=s), combine_effects(y, s**2)
    assert pooled.q == pytest.approx(other.q, rel=1e-9)
    assert pooled.i_squared == pytest.approx(other.i2, rel=1e-9)


def test_mean_and_hartung_knapp_agree_with_statsmodels_at_the_same_scatter():
    # statsmodels has no REML; where every session is equally precise its iterated estimate is the same number.
    y, s = np.array([1.0, 4.0, 2.0, 7.0, 3.0]), np.full(5, 0.7)
    pooled = pool_random_effects(y, standard_errors=s)
    other = combine_effects(y, s**2, method_re="iterated", use_t=True, atol=1e-12)
    assert pooled.between_variance == pytest.approx(other.tau2, rel=1e-6)
    assert pooled.effect.estimate == pytest.approx(other.mean_effect_re, rel=1e-9)
    assert pooled.effect.standard_error == pytest.approx(other.sd_eff_w_re_hksj, rel=1e-6)


def test_sessions_that_agree_by_chance_do_not_narrow_the_interval():
    pooled = pool_random_effects([-0.0050, -0.0051, -0.0049], standard_errors=[0.001, 0.001, 0.001])
    assert pooled.between_variance == 0.0
    assert pooled.effect.standard_error == pytest.approx(0.001 / np.sqrt(3.0))
    assert pooled.effect.df == 2.0


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1), st.integers(3, 12))
def test_prediction_is_wider_than_the_mean(seed, k):
    rng = np.random.default_rng(seed)
    pooled = pool_random_effects(rng.normal(0, 1, k), standard_errors=rng.uniform(0.2, 1.0, k))
    (a, b), (c, d) = pooled.interval(), pooled.prediction_interval()
    assert c <= a <= b <= d
    assert np.sum(pooled.weights) == pytest.approx(1.0)


def test_one_session_is_itself_and_says_so():
    pooled = pool_random_effects([-0.004], standard_errors=[0.001])
    assert (pooled.effect.estimate, pooled.effect.standard_error) == pytest.approx((-0.004, 0.001))
    assert pooled.scatter_unknown
    assert np.isnan([*pooled.interval(), pooled.between_variance, pooled.q_p_value]).all()


def test_result_without_uncertainty_is_refused():
    with pytest.raises(OutOfRangeError, match="standard error"):
        pool_random_effects([1.0, 2.0], standard_errors=[1.0, 0.0])


def test_intervals_hold_as_often_as_they_promise():
    # Five sessions of unequal precision; 600 campaigns, so 95 % +- 2.7 % at three sigma.
    rng = np.random.default_rng(2)
    s, held = np.array([0.5, 0.7, 1.0, 1.4, 2.0]), 0
    for _ in range(600):
        low, high = pool_random_effects(rng.normal(0.0, np.sqrt(s**2 + 1.0)), standard_errors=s).interval()
        held += low <= 0.0 <= high
    assert held / 600 >= 0.923
