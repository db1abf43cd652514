"""The plain comparison, against Welch's test as scipy has it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fieldaero.compare.closure_means import setup_difference, setup_mean

AREAS = st.floats(min_value=0.15, max_value=0.60)


def random_laps(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Two setups of some laps each, of unlike scatter."""
    rng = np.random.default_rng(seed)
    few, many = rng.integers(2, 6), rng.integers(3, 13)
    return 0.25 + 0.002 * rng.normal(size=few), 0.252 + 0.006 * rng.normal(size=many)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("level", [0.80, 0.95, 0.99])
def test_the_difference_is_welchs(seed, level):
    a, b = random_laps(seed)
    ours = setup_difference(cda_m2=a, versus_cda_m2=b)
    welch = stats.ttest_ind(a, b, equal_var=False)
    assert ours.p_value == pytest.approx(welch.pvalue, rel=1e-9)
    assert ours.df == pytest.approx(welch.df, rel=1e-9)
    assert ours.delta_cda_m2 / ours.se_m2 == pytest.approx(welch.statistic, rel=1e-9)
    assert ours.interval(level=level) == pytest.approx(tuple(welch.confidence_interval(level)), rel=1e-9)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("level", [0.80, 0.95, 0.99])
def test_the_interval_of_a_mean_is_students(seed, level):
    laps = random_laps(seed)[1]
    student = stats.ttest_1samp(laps, 0.0).confidence_interval(level)
    assert setup_mean(laps).interval(level=level) == pytest.approx(tuple(student), rel=1e-9)


def test_a_lap_without_a_drag_area_is_counted_and_dropped():
    a, b = [0.250, np.nan, 0.254, 0.252], [0.262, 0.260, np.nan, np.nan, 0.265]
    welch = stats.ttest_ind(a, b, equal_var=False, nan_policy="omit")
    assert setup_difference(cda_m2=a, versus_cda_m2=b).p_value == pytest.approx(welch.pvalue, rel=1e-9)
    assert (setup_mean(a).laps, setup_mean(a).dropped) == (3, 1)
    assert (setup_mean(b).laps, setup_mean(b).dropped) == (3, 2)


def test_a_single_lap_has_a_mean_and_no_error():
    mean = setup_mean([0.25])
    assert mean.cda_m2 == 0.25
    assert np.isnan([mean.se_m2, *mean.interval()]).all()


@pytest.mark.parametrize(("a", "b"), [([0.25], [0.26, 0.27]), ([0.25, 0.26], [0.27]), ([0.25], [0.26])])
def test_against_a_single_lap_there_is_a_difference_and_no_error(a, b):
    difference = setup_difference(cda_m2=a, versus_cda_m2=b)
    assert difference.delta_cda_m2 == pytest.approx(np.mean(a) - np.mean(b), abs=1e-15)
    assert np.isnan([difference.se_m2, difference.df, difference.p_value, *difference.interval()]).all()


@pytest.mark.parametrize("nothing", [[], [np.nan, np.nan]])
def test_a_setup_without_laps_has_nothing(nothing):
    mean, difference = setup_mean(nothing), setup_difference(cda_m2=nothing, versus_cda_m2=[0.25, 0.26])
    assert mean.laps == 0
    assert mean.dropped == len(nothing)
    assert np.isnan([mean.cda_m2, mean.se_m2, *mean.interval()]).all()
    assert np.isnan([difference.delta_cda_m2, difference.se_m2, difference.p_value]).all()


def test_laps_that_are_all_alike_leave_no_doubt():
    # 0.25 and 0.5 are exact in binary, so that the laps scatter by nothing at all.
    apart = setup_difference(cda_m2=[0.25, 0.25], versus_cda_m2=[0.5, 0.5, 0.5])
    assert (apart.delta_cda_m2, apart.se_m2, apart.p_value) == (-0.25, 0.0, 0.0)
    assert apart.interval() == (-0.25, -0.25)
    assert setup_difference(cda_m2=[0.25, 0.25], versus_cda_m2=[0.25, 0.25]).p_value == 1.0


@given(st.lists(AREAS, min_size=2, max_size=8, unique=True), st.lists(AREAS, min_size=2, max_size=8, unique=True))
def test_either_setup_may_come_first(a, b):
    one, other = setup_difference(cda_m2=a, versus_cda_m2=b), setup_difference(cda_m2=b, versus_cda_m2=a)
    assert one.delta_cda_m2 == -other.delta_cda_m2
    assert one.p_value == pytest.approx(other.p_value, rel=1e-12)
    low, high = one.interval()
    assert other.interval() == pytest.approx((-high, -low), rel=1e-9, abs=1e-15)


@given(st.lists(AREAS, min_size=2, max_size=8, unique=True), st.lists(AREAS, min_size=2, max_size=8, unique=True))
def test_the_interval_holds_zero_just_where_the_p_value_is_above_its_complement(a, b):
    difference = setup_difference(cda_m2=a, versus_cda_m2=b)
    low, high = difference.interval(level=0.95)
    if abs(difference.p_value - 0.05) > 1e-6:
        assert (low <= 0.0 <= high) == (difference.p_value > 0.05)


def test_a_higher_level_gives_a_wider_interval():
    a, b = random_laps(1)
    widths = [np.ptp(setup_difference(cda_m2=a, versus_cda_m2=b).interval(level=x)) for x in (0.5, 0.9, 0.95, 0.99)]
    assert np.all(np.diff(widths) > 0.0)
