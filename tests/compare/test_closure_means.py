"""The mean of plain drag areas and its error, against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fieldaero.compare.closure_means import closure_mean


def test_difference_and_error_of_two_means_are_those_of_welchs_test():
    rng = np.random.default_rng(1)
    a, b = 0.25 + 0.002 * rng.normal(size=4), 0.252 + 0.006 * rng.normal(size=9)
    one, other = closure_mean(a), closure_mean([*b, np.nan])
    welch = stats.ttest_ind(a, b, equal_var=False)
    assert (one.cda_m2 - other.cda_m2) / np.hypot(one.se_m2, other.se_m2) == pytest.approx(welch.statistic, rel=1e-9)


def test_a_lap_without_a_drag_area_does_not_count():
    mean = closure_mean([0.250, np.nan, 0.254, 0.252])
    assert (mean.laps, mean.cda_m2) == (3, pytest.approx(0.252))


def test_a_single_lap_has_a_mean_and_no_error():
    mean = closure_mean([0.25])
    assert mean.cda_m2 == 0.25
    assert np.isnan(mean.se_m2)


@pytest.mark.parametrize("nothing", [[], [np.nan, np.nan]])
def test_a_setup_without_laps_has_nothing(nothing):
    mean = closure_mean(nothing)
    assert mean.laps == 0
    assert np.isnan([mean.cda_m2, mean.se_m2]).all()
