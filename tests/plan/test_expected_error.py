"""The expected error of a planned session: how it goes with wind, laps and scatter, and what sessions report."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fieldaero.plan.expected_error import ExpectedError, PlannedRide, expected_error
from fieldaero.plan.lap_order import balanced_order
from fieldaero.plan.trial import try_session
from fieldaero.simulator import CourseShape, Sensors

RIDE = PlannedRide(course=CourseShape(length_m=1500.0), power_w=230.0, wind_m_s=1.2)
TWO = ("a", "b")


@cache
def expected(laps: int = 4, names: tuple[str, ...] = TWO, **changes) -> ExpectedError:
    return expected_error(
        replace(RIDE, **changes), order=balanced_order(names, laps_per_setup=laps), difference_m2=0.005
    )


def test_more_wind_means_more_error():
    errors = [expected(wind_m_s=wind).se_m2 for wind in (0.3, 1.2, 3.0)]
    assert errors[0] < 0.6 * errors[1] < 0.6 * 0.6 * errors[2]


@pytest.mark.parametrize(("laps", "names"), [(8, TWO), (2, TWO), (3, ("a", "b", "c"))])
def test_scaled_to_another_number_of_laps_it_is_what_these_laps_give(laps, names):
    direct, four = expected(laps, names), expected(4, names)
    scaled = four.se_for_m2(setup_laps=direct.setup_laps, baseline_laps=direct.baseline_laps)
    assert scaled == pytest.approx(direct.se_m2, rel=0.1)


def test_the_scatter_of_the_rider_adds_its_own_share():
    steady, restless = (expected(lap_scatter_m2=scatter).se_m2 for scatter in (0.0, 0.008))
    assert restless**2 - steady**2 == pytest.approx(0.008**2 * (1 / 4 + 1 / 4), rel=0.05)


def test_a_noisy_meter_adds_to_it_in_calm_air():
    calm = expected(wind_m_s=0.2, lap_scatter_m2=0.0).se_m2
    noisy = expected(wind_m_s=0.2, lap_scatter_m2=0.0, sensors=Sensors(power_noise=0.08, power_noise_w=8.0)).se_m2
    assert noisy > 1.2 * calm


def test_the_time_for_a_lap_is_what_the_power_gives():
    # On the flat without wind 230 W of 0.25 m2 give 10.6 m/s by the steady balance; hills and wind take a little.
    assert expected().lap_s == pytest.approx(1500.0 / 10.6, rel=0.03)


def test_nothing_in_it_is_drawn():
    again = expected_error(RIDE, order=balanced_order(TWO, laps_per_setup=4), difference_m2=0.005)
    assert again == expected()


def test_counts_are_those_of_the_order():
    three = expected(2)
    assert (three.setup_laps, three.baseline_laps) == (2, 3)


def test_simulated_sessions_report_about_the_same_error():
    order = balanced_order(TWO, laps_per_setup=4)
    reported = [
        outcome.se_m2
        for seed in range(4)
        for outcome in try_session(RIDE, order=order, setups={"a": 0.25, "b": 0.245}, seed=seed)
    ]
    assert math.sqrt(np.mean(np.square(reported))) == pytest.approx(expected().se_m2, rel=0.3)
