"""The ride itself: its energy books balance, and the rider behaves."""

from __future__ import annotations

import numpy as np
import pytest

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.physics.height_gain import height_gain_terms
from fieldaero.physics.road_power import speed_m_s
from fieldaero.physics.system import System
from fieldaero.simulator import CourseShape, SimulatedSession, simulate_session
from tests.simulator.sessions import LEVEL, LOOP, ONE_WAY, OUT_AND_BACK, scenario, session

SYSTEM = System(mass_kg=84.0)


def unexplained_m(made: SimulatedSession, *, drift_m2_per_h: float = 0.0) -> np.ndarray:
    """Height that every lap's work leaves unexplained, by the power equation on the simulator's own steps."""
    motion, truth = made.motion, made.truth
    t, v, s = motion.time_s, motion.speed_m_s, motion.position_m
    terms = height_gain_terms(
        power_w=motion.power_w[1:],
        start_speed_m_s=v[:-1],
        end_speed_m_s=v[1:],
        duration_s=np.diff(t),
        system=SYSTEM,
        air_density_kg_m3=truth.air_density_kg_m3,
        gravity_m_s2=truth.gravity_m_s2,
    )
    cda = np.array(truth.lap_cda_m2)[motion.lap[:-1]] + drift_m2_per_h * t[:-1] / 3600.0
    braked_m = motion.brake_work_j[1:] / (SYSTEM.mass_kg * truth.gravity_m_s2)
    # The simulator knows the slope, on which a tyre carries less.
    carried_m = terms.per_crr_m / np.sqrt(1.0 + grade_of_steps(made) ** 2)
    gained = terms.base_m - cda * terms.per_cda_m_per_m2 - truth.crr * carried_m - braked_m
    height = np.interp(s % LOOP.length_m, truth.profile_position_m, truth.profile_height_m)
    sums = np.concatenate([[0.0], np.cumsum(gained)]) - height
    # Between whole steps, so that no step is cut: the first at or after each passage.
    edges = np.searchsorted(s, LOOP.length_m * np.arange(5))
    return np.diff(sums[edges])


def grade_of_steps(made: SimulatedSession) -> np.ndarray:
    s, h = np.array(made.truth.profile_position_m), np.array(made.truth.profile_height_m)
    middle = (made.motion.position_m[:-1] + made.motion.position_m[1:]) / 2.0
    return np.interp(middle % LOOP.length_m, s, np.gradient(h, s))


@pytest.mark.parametrize("wander_w", [0.0, 12.0, 50.0])
def test_the_energy_of_every_lap_goes_into_air_tyres_and_hill(wander_w):
    assert np.abs(unexplained_m(session(power_wander_w=wander_w))).max() < 1e-3


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_books_balance_through_brakings_and_halts_once_the_brakes_are_booked(seed):
    made = session(seed=seed, brakings_per_lap=1.0, stopped_laps=(3,))
    assert made.motion.brake_work_j.sum() > 1e4
    assert np.abs(unexplained_m(made)).max() < 1e-3


def test_the_books_balance_with_a_drag_area_that_drifts():
    made = session(cda_drift_m2_per_h=0.02)
    assert np.abs(unexplained_m(made, drift_m2_per_h=0.02)).max() < 1e-3
    assert np.abs(unexplained_m(made)).max() > 5e-2


def test_the_brakes_do_no_work_where_nobody_brakes():
    made = session(power_wander_w=50.0)
    assert not made.motion.braking.any()
    assert not made.motion.brake_work_j.any()
    assert made.truth.braked_laps == made.truth.stopped_laps == ()


def test_power_is_never_negative_and_a_whole_number_over_every_second():
    made = session(seed=2, brakings_per_lap=1.0, stopped_laps=(3,), power_wander_w=120.0)
    of_second = made.motion.power_w[1 : 1 + (len(made.motion.power_w) - 1) // 4 * 4].reshape(-1, 4)
    assert of_second.min() == 0.0
    assert np.array_equal(of_second, np.repeat(np.round(of_second[:, :1]), 4, axis=1))


def test_a_steady_rider_on_the_flat_settles_at_the_steady_speed_of_the_power():
    made = session(course=LEVEL, power_wander_w=0.0, order=("bare",))
    expected = speed_m_s(
        power_w=230.0,
        cda_m2=0.262,
        crr=made.truth.crr,
        system=SYSTEM,
        air_density_kg_m3=made.truth.air_density_kg_m3,
        gravity_m_s2=made.truth.gravity_m_s2,
    )
    assert made.motion.speed_m_s[-1] == pytest.approx(float(expected), abs=1e-3)


def test_the_rider_pushes_harder_uphill():
    made = session(power_wander_w=0.0)
    steep = grade_of_steps(made)
    uphill, downhill = steep > 0.01, steep < -0.01
    assert made.motion.power_w[1:][uphill].min() > 235.0
    assert made.motion.power_w[1:][downhill].max() < 225.0


def test_power_wanders_about_the_target_by_the_amount_asked_for():
    made = session(course=LEVEL, power_wander_w=30.0, order=("bare",) * 16)
    assert made.motion.power_w[1:].std() == pytest.approx(30.0, rel=0.15)
    assert made.motion.power_w[1:].mean() == pytest.approx(230.0, abs=10.0)


def test_targets_are_taken_in_turn():
    made = session(course=LEVEL, power_wander_w=0.0, power_w=(180.0, 280.0))
    for lap, target in enumerate((180.0, 280.0, 180.0, 280.0)):
        assert np.median(made.motion.power_w[made.motion.lap == lap]) == target


def test_a_halt_is_forty_seconds_of_standing_in_the_lap_named():
    made = session(stopped_laps=(2,))
    t, v = made.ride.time_s, made.ride.column("speed_m_s")
    standing = t[v == 0.0]
    assert 39.0 <= len(standing) <= 42.0
    assert made.truth.lap_start_s[1] < standing[0] < standing[-1] < made.truth.lap_end_s[1]
    assert made.truth.stopped_laps == (2,)


def test_a_braking_costs_speed_in_the_lap_named():
    made = session(braked_laps=(3,))
    t, braking = made.motion.time_s, made.motion.braking
    assert made.truth.braked_laps == (3,)
    assert np.all(made.motion.lap[braking] == 2)
    lost = made.motion.speed_m_s[braking]
    assert lost[0] - lost[-1] > 2.0
    assert np.diff(t[braking]).max() == pytest.approx(0.25)


def test_the_turns_of_an_out_and_back_course_are_taken_slowly_by_braking():
    made = session(course=OUT_AND_BACK)
    s, v, half = made.motion.position_m, made.motion.speed_m_s, OUT_AND_BACK.length_m / 2.0
    turns = np.interp(half * np.arange(1, 8), s, v)
    assert turns.max() < 5.0
    assert v.max() > 9.0
    assert made.motion.braking.any()
    assert made.truth.braked_laps == ()


def test_a_road_ridden_one_way_is_recorded_lap_by_lap():
    made = session(course=ONE_WAY)
    truth = made.truth
    assert len(made.ride.pauses) == 3
    assert truth.profile_height_m[-1] - truth.profile_height_m[0] == pytest.approx(6.0, abs=1e-6)
    ridden = np.interp(truth.lap_end_s, made.ride.time_s, made.ride.column("distance_m")) - np.interp(
        truth.lap_start_s, made.ride.time_s, made.ride.column("distance_m")
    )
    assert ridden == pytest.approx(np.full(4, 2000.0), abs=0.05)


def test_a_pause_between_laps_lies_outside_of_every_lap():
    made = session(pause_between_laps_s=90.0)
    for pause, end, start in zip(made.ride.pauses, made.truth.lap_end_s, made.truth.lap_start_s[1:], strict=False):
        assert end < pause.start_s < pause.end_s < start
        assert pause.end_s - pause.start_s == pytest.approx(92.0, abs=2.0)
        assert not np.any((made.ride.time_s > pause.start_s) & (made.ride.time_s < pause.end_s))


def test_a_rider_who_gets_nowhere_is_told_so():
    wall = CourseShape(shape="one_way", length_m=2000.0, rise_m=900.0)
    with pytest.raises(CannotAnswerError, match="more power"):
        simulate_session(scenario(course=wall, power_w=60.0, uphill_share=0.0), seed=1)
