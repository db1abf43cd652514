"""The t distribution against scipy.stats, and against the handbook's table."""

import numpy as np
import pytest
from scipy import stats

from fieldaero.statistics import student_t

DF = [0.7, 1.0, 2.5, 4.0, 17.3, 250.0, np.inf]


@pytest.mark.parametrize("df", DF)
@pytest.mark.parametrize("p", [1e-9, 0.01, 0.3, 0.5, 0.9, 0.975, 1.0 - 1e-6])
def test_the_quantile_is_scipys(df, p):
    assert float(student_t.quantile(p, df)) == pytest.approx(float(stats.t.ppf(p, df)), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("df", DF)
@pytest.mark.parametrize("value", [-30.0, -1.0, 0.0, 0.4, 2.776, 12.0])
def test_both_tails_are_scipys_however_far_out(df, value):
    assert float(student_t.above(value, df)) == pytest.approx(float(stats.t.sf(value, df)), rel=1e-9)
    assert float(student_t.below(value, df)) == pytest.approx(float(stats.t.cdf(value, df)), rel=1e-9)


@pytest.mark.parametrize(("df", "value"), [(1, 12.71), (5, 2.57), (10, 2.23), (50, 2.01), (np.inf, 1.960)])
def test_the_coverage_factors_of_the_gum(df, value):
    # JCGM 100:2008 (GUM), table G.2, column 95.00 %; typed from memory.
    assert float(student_t.quantile(0.975, df)) == pytest.approx(value, abs=0.005)


@pytest.mark.parametrize("df", [np.nan, 0.0, -1.0])
def test_no_degrees_of_freedom_give_no_number(df):
    assert np.isnan(student_t.quantile(0.975, df))
    assert np.isnan(student_t.above(1.0, df))


def test_shapes_broadcast():
    assert student_t.quantile([[0.9], [0.975]], [3.0, 4.0, 5.0]).shape == (2, 3)
