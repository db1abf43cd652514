"""The yaw that was ridden: whose laps, and with what weight."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fieldaero.answers.cross_checks.yaw_ridden import RiddenYaw, ridden_yaw


def estimates(*, heading, wind, setups, speed=10.0, duration=5.0, unknown=0.0):
    """Laps of some segments: what the yaw is read from, and nothing else."""
    heading, wind = np.array(heading, dtype=float), np.array(wind, dtype=float)
    shape = heading.shape[:2]
    segments = SimpleNamespace(
        heading=heading,
        speed_m_s=np.broadcast_to(speed, shape),
        duration_s=np.broadcast_to(duration, shape),
        unknown_s=np.broadcast_to(unknown, shape),
    )
    return SimpleNamespace(
        fit=SimpleNamespace(segments=segments, wind_m_s=wind),
        laps=[SimpleNamespace(setup=s) for s in setups],
        headings_known=True,
    )


NORTH, NOWHERE = (0.0, 1.0), (0.0, 0.0)


def test_yaw_and_weight_by_hand():
    # North at 10 m/s: into a head wind of 2 m/s V is 12; with 5 m/s across V^2 is 125, and yaw atan(5 / 10).
    found = ridden_yaw(estimates(heading=[[NORTH, NORTH]], wind=[[(0.0, -2.0), (-5.0, 0.0)]], setups=["bare"]))
    assert np.abs(found.yaw_deg) == pytest.approx([0.0, np.degrees(np.arctan2(5.0, 10.0))])
    assert found.weights == pytest.approx(np.array([144.0, 125.0]) / 269.0)
    assert found.time_s.tolist() == [5.0, 5.0]


def test_air_that_comes_from_the_right_is_positive_yaw():
    # Riding north, air that goes west comes from the east, which is on the right.
    found = ridden_yaw(estimates(heading=[[NORTH]], wind=[[(-5.0, 0.0)]], setups=["bare"]))
    assert found.yaw_deg[0] > 0.0


def test_weight_grows_with_the_way():
    found = ridden_yaw(
        estimates(heading=[[NORTH, NORTH]], wind=[[(0, 0), (0, 0)]], setups=["bare"], duration=[[5.0, 10.0]])
    )
    assert found.weights == pytest.approx([1 / 3, 2 / 3])


def test_only_the_laps_of_the_setup_count():
    both = estimates(heading=[[NORTH], [NORTH]], wind=[[(0, 0)], [(5, 0)]], setups=["bare", "faired"])
    assert ridden_yaw(both, setup="bare").yaw_deg.tolist() == [0.0]
    assert len(ridden_yaw(both).yaw_deg) == 2
    assert ridden_yaw(both, setup="neither") is None


def test_without_heading_or_balance_there_is_no_yaw():
    assert ridden_yaw(estimates(heading=[[NOWHERE]], wind=[[(5, 0)]], setups=["bare"])) is None
    assert ridden_yaw(estimates(heading=[[NORTH]], wind=[[(5, 0)]], setups=["bare"], unknown=2.0)) is None


def test_spread_by_hand():
    # Squares 0, 100 and 100 with weights 1/2, 1/4, 1/4: mean 50, standard deviation 50.
    yaw = RiddenYaw(yaw_deg=np.array([0.0, 10.0, -10.0]), weights=np.array([0.5, 0.25, 0.25]), time_s=np.ones(3))
    assert yaw.rms_deg == pytest.approx(np.sqrt(50.0))
    assert yaw.spread_deg2 == pytest.approx(50.0)
