"""Legs and chains: identities, agreement with statsmodels and scipy, and the promise of the intervals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from fieldaero.answers.pool.legs import way, welch_satterthwaite
from tests.answers.pool.pooled_days import chain, day, days


def test_alike_sessions_have_no_scatter_and_share_the_load():
    leg = chain(days([-0.004] * 4, [0.001] * 4))
    assert leg.effect.between_variance == 0.0
    assert leg.effect.q == pytest.approx(0.0, abs=1e-12)
    assert leg.mean.estimate == pytest.approx(-0.004)
    assert leg.mean.standard_error == pytest.approx(0.001 / 2.0)
    assert leg.effect.weights == pytest.approx([0.25] * 4)


def test_heterogeneity_is_that_of_statsmodels():
    deltas, ses = np.array([-0.006, -0.001, -0.009, 0.002]), np.array([0.001, 0.0015, 0.002, 0.0008])
    found, other = chain(days(deltas, ses)).effect, combine_effects(deltas, ses**2)
    assert found.q == pytest.approx(other.q, rel=1e-9)
    assert found.i_squared == pytest.approx(other.i2, rel=1e-9)


def test_an_input_that_all_sessions_share_does_not_average_out():
    alone = chain(days([-0.006, -0.005, -0.007], [0.001] * 3))
    shared = chain(days([-0.006, -0.005, -0.007], [0.001] * 3, shared={"power scale": -0.0004}))
    assert shared.shared_se_m2 == pytest.approx(0.0004)
    # Three equal weights: 0.0004^2 in all, a third of which was there already.
    missing = 0.0004**2 * (1.0 - 1.0 / 3.0)
    assert shared.mean.standard_error**2 == pytest.approx(alone.mean.standard_error**2 + missing)
    assert shared.mean.estimate == alone.mean.estimate


def test_a_shared_input_that_pulls_either_way_averages_out():
    pulled = [day(1, -0.006, 0.001, shared={"mass": 0.0004}), day(2, -0.006, 0.001, shared={"mass": -0.0004})]
    found = chain(pulled)
    assert found.shared_se_m2 == pytest.approx(0.0, abs=1e-15)
    assert found.mean.standard_error == pytest.approx(0.001 / np.sqrt(2.0))  # and is never counted as a gain


def test_one_session_is_itself_with_its_inputs_counted_once():
    found = chain([day(1, -0.006, 0.001, shared={"mass": 0.0008})])
    assert (found.mean.estimate, found.mean.standard_error) == pytest.approx((-0.006, 0.001))
    assert np.isnan(found.mean.df)
    assert found.own.interval() == pytest.approx(day(1, -0.006, 0.001).interval95_m2)


def test_legs_add_up_with_their_variances():
    first, second = days([-0.006, -0.004], [0.001, 0.001]), days([0.001, 0.002, 0.0], [0.002] * 3, pair=("wide", "low"))
    a, b, both = chain(first), chain(second), chain(first, second)
    assert both.mean.estimate == pytest.approx(a.mean.estimate + b.mean.estimate)
    assert both.mean.standard_error == pytest.approx(np.hypot(a.mean.standard_error, b.mean.standard_error))
    assert min(a.mean.df, b.mean.df) <= both.mean.df <= a.mean.df + b.mean.df
    assert both.effect is None


def test_a_leg_of_one_session_leaves_the_scatter_unknown():
    found = chain(days([-0.006, -0.004], [0.001, 0.001]), [day(3, 0.001, 0.001, pair=("wide", "low"))])
    assert np.isnan(found.mean.interval()).all()
    assert np.isfinite(found.own.interval()).all()


def test_degrees_of_freedom_are_those_of_welchs_test():
    rng = np.random.default_rng(4)
    x, y = rng.normal(0, 1, 6), rng.normal(0, 3, 9)
    found = welch_satterthwaite([x.var(ddof=1) / 6, y.var(ddof=1) / 9], [5, 8])
    assert found == pytest.approx(stats.ttest_ind(x, y, equal_var=False).df)


def test_fewer_legs_go_before_smaller_variance():
    pairs = {("a", "b"): 9.0, ("b", "z"): 9.0, ("a", "c"): 0.1, ("c", "d"): 0.1, ("z", "d"): 0.1}
    assert way(pairs, start="a", goal="z") == ("a", "b", "z")
    assert way({**pairs, ("a", "d"): 1.0}, start="a", goal="z") == ("a", "d", "z")
    assert way(pairs, start="a", goal="elsewhere") is None


def sessions_of(rng, *, k, scatter, shared, own=0.001, df=6):
    """Sessions of no true mean effect whose own error is estimated from few laps."""
    common = rng.normal()
    effects = rng.normal(0.0, scatter, k) + rng.normal(0.0, own, k) + shared * common
    ses = np.sqrt(own**2 * rng.chisquare(df, k) / df + shared**2)
    return days(effects, ses, df=df, shared={"power scale": shared})


@pytest.mark.parametrize(("k", "scatter"), [(2, 0.0), (3, 0.001), (5, 0.0), (5, 0.002)])
def test_intervals_hold_as_often_as_they_promise(k, scatter):
    # 400 campaigns: 95 % less three standard errors of that is 91.7 %.
    rng = np.random.default_rng(20 + k)
    held = 0
    for _ in range(400):
        low, high = chain(sessions_of(rng, k=k, scatter=scatter, shared=0.0003)).mean.interval()
        held += low <= 0.0 <= high
    assert held / 400 >= 0.917


def test_a_large_shared_error_is_held_because_it_is_counted_as_shared():
    rng = np.random.default_rng(8)
    with_it = without = 0
    for _ in range(300):
        found = chain(sessions_of(rng, k=6, scatter=0.0, shared=0.002))
        low, high = found.mean.interval()
        with_it += low <= 0.0 <= high
        low, high = found.legs[0].effect.interval()
        without += low <= 0.0 <= high
    assert with_it / 300 >= 0.912
    assert without / 300 < 0.85
