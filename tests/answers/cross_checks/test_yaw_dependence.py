"""How drag area changes with yaw: found where it was put in, not asked where yaw hardly varied."""

from __future__ import annotations

from functools import cache

import pytest

from fieldaero.answers.cross_checks.yaw_dependence import LEAST_SPREAD_DEG2, yaw_result
from fieldaero.answers.rows import YawResult
from fieldaero.compare.session_comparison import estimate_session
from fieldaero.simulator import Wind
from tests.simulator.sessions import ORDER, session
from tests.whole_sessions import AIR, brought_together, sample_result

WINDY = Wind(speed_m_s=3.0, from_deg=250.0, slow_sd_m_s=0.8, gust_sd_m_s=0.75)
SEEN = AIR | {"wind_speed_m_s": 3.0, "wind_from_deg": 250.0, "wind_height_m": 1.0}


@cache
def found(change_per_deg2: float, *, wind: Wind = WINDY, laps: int = 12) -> YawResult:
    """What twelve laps by perfect sensors in a changing wind say."""
    order = (ORDER * 3)[:laps]
    made = session(seed=21, order=order, wind=wind, cda_per_yaw_deg2=change_per_deg2)
    rides = ({"laps": ("-", *order, "-")},)
    return yaw_result(
        estimate_session(brought_together(made.ride, rides=rides, weather=[SEEN]), hyper_uncertainty=False)
    )


@pytest.mark.parametrize("change_per_deg2", [-0.0005, 0.0, 0.0005])
def test_the_interval_holds_the_change_that_was_put_in(change_per_deg2):
    row = found(change_per_deg2)
    low, high = row.interval95_per_yaw_deg2
    assert low < change_per_deg2 < high
    assert high - low < 0.003


def test_what_is_found_rises_with_what_was_put_in():
    faster, neither, slower = (found(change).change_per_yaw_deg2 for change in (-0.0005, 0.0, 0.0005))
    assert faster < neither - 0.00015
    assert neither + 0.00015 < slower


def test_the_change_at_ten_degrees_is_a_hundred_times_that_per_square_degree():
    row = found(0.0)
    assert row.change_at_10_deg == pytest.approx(100.0 * row.change_per_yaw_deg2)
    assert row.interval95_change_at_10_deg == pytest.approx([100.0 * end for end in row.interval95_per_yaw_deg2])


def test_a_calm_session_is_not_asked():
    row = sample_result().yaw_result
    assert not row.enough_spread
    assert 0.0 < row.yaw_spread_deg2 < LEAST_SPREAD_DEG2
    assert row.change_per_yaw_deg2 is None


def test_too_few_laps_are_not_asked():
    row = found(0.0, laps=3)
    assert row.enough_spread
    assert row.change_per_yaw_deg2 is None
