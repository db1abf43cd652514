"""The probability of an answer, against draws of the t statistic itself."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fieldaero.plan.resolving_power import DF_PER_LAP, ENOUGH, REPORTED, resolvable_m2, resolving_power

FOUR = {"setup_laps": 4, "baseline_laps": 4, "setups": 2}


@pytest.mark.parametrize("difference", [0.0, 0.001, 0.002, 0.004])
def test_it_is_the_share_of_drawn_estimates_whose_interval_leaves_out_zero(difference):
    rng = np.random.default_rng(4)
    draws, df, se = 200_000, 8 * DF_PER_LAP, 0.001
    estimate = difference + se * rng.normal(size=draws)
    reported = REPORTED * se * np.sqrt(rng.chisquare(df, size=draws) / df)
    share = np.mean(estimate - stats.t.ppf(0.975, df) * reported > 0.0)
    power, _ = resolving_power(difference, se_m2=se, **FOUR)
    assert power == pytest.approx(share, abs=0.005)


def test_half_the_interval_is_that_of_the_t_distribution():
    _, half = resolving_power(0.003, se_m2=0.001, **FOUR)
    assert half == pytest.approx(0.001 * REPORTED * stats.t.ppf(0.975, 8 * DF_PER_LAP), rel=1e-4)


def test_more_setups_share_the_certainty():
    # Dunnett 1955, table 2a from memory: two-sided 5 %, 2 treatments against a control, 24 df: 2.35.
    _, half = resolving_power(0.003, se_m2=1.0, setup_laps=4, baseline_laps=4, setups=3)
    assert half / REPORTED == pytest.approx(2.35, abs=0.01)


def test_what_is_resolvable_is_resolved_with_the_probability_called_enough():
    size = resolvable_m2(se_m2=0.0017, **FOUR)
    assert resolving_power(size, se_m2=0.0017, **FOUR)[0] == pytest.approx(ENOUGH, abs=1e-4)


def test_a_huge_difference_is_certain_and_no_number_is_lost():
    assert resolving_power(0.1, se_m2=1e-5, **FOUR)[0] == pytest.approx(1.0)
