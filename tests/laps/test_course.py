from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.laps.course import complete_laps, find_course, lap_position_m, lateral_distance_m
from fieldaero.laps.find_laps import find_laps
from fieldaero.laps.lap import Lap
from fieldaero.laps.track import track_of
from fieldaero.rides.ride import LapMark, Ride
from tests.synthetic_rides import (
    Noise,
    Rider,
    loop,
    path_length_m,
    recorded,
    ridden,
    straight_from,
    straight_to,
    there_and_back,
    turned,
    when_at_s,
)

BEFORE_M, LAPS = 400.0, 7
WHEEL = 1.002  # the wheel's circumference is set 0.2 % too large


def heights(length: float):
    return lambda s: 8.0 * np.sin(2.0 * np.pi * (np.asarray(s) - BEFORE_M) / length)


@cache
def session(kind: str = "loop", lap_m: float = 1500.0):
    one = loop(lap_m) if kind == "loop" else there_and_back(lap_m / 2.0)
    length = path_length_m(one)
    xy = np.vstack([straight_to(one, BEFORE_M), *[one] * LAPS, straight_from(one, 250.0)])
    rider = Rider(power_w=lambda s, t: 250.0 + 40.0 * np.sin(t / 40.0), height_m=heights(length))
    run = ridden(path_length_m(xy) - 2.0, rider)
    return xy, run, rider, length


def pressed(kind: str = "loop", *, seed: int = 1, begin_m: float = BEFORE_M, laps: int = LAPS, **how) -> Ride:
    xy, run, rider, length = session(kind)
    true_s = when_at_s(run, begin_m + length * np.arange(laps + 1))
    marks = np.round(true_s + np.random.default_rng(seed).uniform(-1.0, 1.0, laps + 1))
    noise = how.pop("noise", Noise(seed=seed, position_m=2.0, speed_m_s=0.03, wheel_scale=WHEEL))
    return recorded(xy, run, rider=rider, noise=noise, marks_s=list(marks), **how)


def true_position_m(kind: str = "loop") -> np.ndarray:
    _, run, _, length = session(kind)
    return (run["way_m"] - BEFORE_M) % length


def around_m(difference: np.ndarray, length: float) -> np.ndarray:
    return (difference + length / 2.0) % length - length / 2.0


@pytest.mark.parametrize("kind", ["loop", "road"])
def test_the_length_is_the_wheels(kind):
    ride = pressed(kind)
    course = find_course(ride, find_laps(ride, lap_source="button"))
    assert course.length_m == pytest.approx(WHEEL * session(kind)[3], rel=1e-3)
    assert course.lap_numbers == tuple(range(2, LAPS + 2))
    assert course.closed


def test_the_line_of_the_course_is_nearer_to_the_road_than_one_ride_over_it():
    exact, ride = pressed(noise=Noise()), pressed()
    laps = find_laps(exact, lap_source="button")
    true, seen = find_course(exact, laps), find_course(ride, find_laps(ride, lap_source="button"))
    on = (ride.time_s >= laps[1].start_s) & (ride.time_s <= laps[-2].end_s)
    one_ride, course = lateral_distance_m(track_of(ride), true)[on], lateral_distance_m(track_of(exact), seen)[on]
    assert np.sqrt(np.mean(course**2)) < 0.6 * np.sqrt(np.mean(one_ride**2))


def test_headings_follow_the_road():
    xy, _, _, length = session()
    ride = pressed(noise=Noise(seed=2, position_m=2.0))
    course = find_course(ride, find_laps(ride, lap_source="button"))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    p = np.linspace(20.0, length - 20.0, 40)
    ends = [[np.interp(BEFORE_M + p + off, along, xy[:, k]) for k in (0, 1)] for off in (-5.0, 5.0)]
    true = np.degrees(np.arctan2(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1])) % 360.0
    assert around_m(course.heading_deg_at(p) - true, 360.0) == pytest.approx(np.zeros(40), abs=6.0)


def test_altitude_is_the_laps_median_freed_of_drift():
    ride = pressed()
    drifting = ride.table.copy()
    drifting["altitude_m"] += 0.01 * drifting["time_s"]  # 10 m over the session
    ride = replace(ride, table=drifting)
    course = find_course(ride, find_laps(ride, lap_source="button"))
    shape = course.altitude_m - course.altitude_m.mean()
    true = 8.0 * np.sin(2.0 * np.pi * course.position_m / course.length_m)
    # A lap drifts by 1.4 m from its start to its end; nothing of the other 9 m is left.
    assert np.abs(shape - true).max() < 1.4


@pytest.mark.parametrize("kind", ["loop", "road"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_position_along_the_lap_holds_to_a_metre_or_two_from_lap_to_lap(kind, seed):
    length = session(kind)[3]
    ride = pressed(kind, seed=seed)
    laps = find_laps(ride, lap_source="button")
    course = find_course(ride, laps)
    position = lap_position_m(track_of(ride), laps[1:-1], course) * length / course.length_m
    off = around_m(position - true_position_m(kind), length)
    off = off[np.isfinite(off)]
    assert np.std(off) < 1.7  # the line itself may lie a little before or behind
    assert np.abs(np.median(off)) < 6.0


def test_position_is_unknown_outside_the_laps():
    ride = pressed()
    laps = find_laps(ride, lap_source="button")[2:4]
    position = lap_position_m(track_of(ride), laps, find_course(ride, laps))
    inside = (ride.time_s >= laps[0].start_s) & (ride.time_s <= laps[1].end_s)
    assert np.isfinite(position[inside]).all()
    assert np.isnan(position[~inside]).all()


def test_position_never_wanders_with_the_satellites():
    ride = pressed(noise=Noise(seed=5, position_m=4.0, position_time_s=5.0))
    laps = find_laps(ride, lap_source="button")
    position = lap_position_m(track_of(ride), laps[1:-1], find_course(ride, laps))
    step = np.diff(position)
    rolled = np.diff(ride.column("distance_m"))
    same_lap = np.isfinite(step) & (step > -100.0)
    assert np.abs(step[same_lap] / rolled[same_lap] - 1.0).max() < 0.02


def test_a_ride_marked_elsewhere_shares_the_courses_positions():
    first, second = pressed(seed=1), pressed(seed=8, begin_m=BEFORE_M + 120.0, laps=LAPS - 1)
    course = find_course(first, find_laps(first, lap_source="button"))
    laps = find_laps(second, lap_source="button")[1:-1]
    off = lap_position_m(track_of(second), laps, course) - true_position_m() * WHEEL
    off = around_m(off[np.isfinite(off)], course.length_m)
    assert np.abs(off).max() < 7.0


def test_two_laps_ridden_as_one_are_two():
    ride = pressed()
    marks = ride.lap_marks
    joined = LapMark(start_s=marks[3].start_s, end_s=marks[4].end_s, trigger="manual")
    ride = replace(ride, lap_marks=(*marks[:3], joined, *marks[5:]))
    laps = find_laps(ride, lap_source="button")
    course = find_course(ride, laps)
    off = around_m(lap_position_m(track_of(ride), laps[3:4], course) - true_position_m() * WHEEL, course.length_m)
    assert np.nanmax(np.abs(off)) < 6.0


def test_a_lap_cut_short_is_placed_by_its_samples():
    ride = pressed()
    laps = find_laps(ride, lap_source="button")
    course = find_course(ride, laps)
    half = replace(
        laps[3],
        start_s=laps[3].start_s + 70.0,
        start_m=float("nan"),
        distance_m=0.5 * laps[3].distance_m,
    )
    off = around_m(lap_position_m(track_of(ride), [half], course) - true_position_m() * WHEEL, course.length_m)
    assert np.nanmax(np.abs(off)) < 8.0


def test_without_positions_a_course_has_length_and_no_shape():
    ride = pressed(positions=False)
    laps = find_laps(ride, lap_source="button")
    course = find_course(ride, laps)
    assert course.length_m == pytest.approx(WHEEL * session()[3], rel=1e-3)
    assert course.closed
    assert course.start_line is None
    assert np.isnan(course.heading_deg_at([0.0, 100.0])).all()
    assert np.isnan(lateral_distance_m(track_of(ride), course)).all()
    off = around_m(lap_position_m(track_of(ride), laps[1:-1], course) - true_position_m() * WHEEL, course.length_m)
    assert np.nanstd(off) < 5.0


@pytest.mark.parametrize("why", ["one lap", "automatic laps"])
def test_without_positions_nothing_says_that_these_end_where_they_began(why):
    ride = pressed(positions=False)
    laps = find_laps(ride, lap_source="button")
    laps = laps[3:4] if why == "one lap" else [replace(lap, trigger="distance") for lap in laps]
    assert not find_course(ride, laps).closed


def test_a_lap_of_no_whole_length_that_cannot_be_placed_has_no_position():
    ride = pressed(positions=False)
    laps = find_laps(ride, lap_source="button")
    course = find_course(ride, laps)
    assert laps[0].distance_m < 0.5 * course.length_m
    assert np.isnan(lap_position_m(track_of(ride), laps[:1], course)).all()


# --- there and back


def test_a_road_ridden_there_and_back_folds_at_its_far_end():
    ride = pressed("road")
    course = find_course(ride, find_laps(ride, lap_source="button"))
    assert course.out_and_back
    assert course.turn_position_m == pytest.approx(course.length_m / 2.0, abs=8.0)


def test_a_loop_does_not_fold():
    ride = pressed()
    assert not find_course(ride, find_laps(ride, lap_source="button")).out_and_back


def test_a_lap_begun_on_the_way_still_folds_into_the_same_road():
    ride = pressed("road", begin_m=BEFORE_M + 300.0, laps=LAPS - 1)
    course = find_course(ride, find_laps(ride, lap_source="button"))
    assert course.turn_position_m == pytest.approx(course.length_m / 2.0 - 300.0, abs=10.0)


def test_a_climb_ridden_one_way_is_open():
    xy, run, rider, length = session("road")
    base = when_at_s(run, BEFORE_M + length * np.arange(LAPS) + 50.0)
    top = when_at_s(run, BEFORE_M + length * np.arange(LAPS) + 800.0)
    marks = sorted(float(np.round(x)) for x in (*base, *top))
    ride = recorded(xy, run, rider=rider, noise=Noise(seed=3, position_m=2.0), marks_s=marks)
    course = find_course(ride, [lap for lap in find_laps(ride, lap_source="button") if lap.number % 2 == 0])
    assert not course.closed
    assert not course.out_and_back
    assert course.length_m == pytest.approx(750.0, abs=15.0)


# --- what else


def test_laps_are_those_most_agree_on():
    lengths = [420.0, 1500.0, 1503.0, 800.0, 1499.0, 2950.0]
    laps = [Lap(number=k, start_s=k, end_s=k + 1, distance_m=d) for k, d in enumerate(lengths, start=1)]
    assert [lap.number for lap in complete_laps(laps)] == [2, 3, 5]
    assert [lap.number for lap in complete_laps([laps[0], laps[1], laps[5]])] == [2]
    assert complete_laps([]) == ()


def test_automatic_laps_along_a_road_are_no_course():
    xy = straight_from(loop(1500.0), 9000.0)
    run = ridden(8900.0, Rider())
    marks = list(np.round(when_at_s(run, 1000.0 * np.arange(1, 9))))
    ride = recorded(xy, run, marks_s=marks)
    with pytest.raises(CannotAnswerError, match="do not follow the road of the others"):
        find_course(ride, find_laps(ride, lap_source="button"))


@pytest.mark.parametrize("laps", [[], [Lap(number=1, start_s=10.0, end_s=12.0, distance_m=22.0)]])
def test_no_laps_or_slips_of_the_button_make_no_course(laps):
    with pytest.raises(CannotAnswerError, match="150 m long or longer, so there is no course"):
        find_course(pressed(), laps)


def test_lateral_distance_shows_who_left_the_road():
    ride = pressed(noise=Noise(seed=1, position_m=2.0))
    laps = find_laps(ride, lap_source="button")
    course = find_course(ride, laps)
    aside = lateral_distance_m(track_of(ride), course)
    on = (ride.time_s >= laps[1].start_s) & (ride.time_s <= laps[-2].end_s)
    assert aside[on].max() < 10.0
    assert aside[-1] == pytest.approx(250.0, abs=150.0)
    assert aside[-1] > 50.0


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(by_deg=st.floats(0.0, 360.0))
def test_turning_the_course_turns_its_headings(by_deg):
    xy, run, rider, length = session()
    marks = list(np.round(when_at_s(run, BEFORE_M + length * np.arange(LAPS + 1))))
    plain, round_ = (
        find_course(ride, find_laps(ride, lap_source="button"))
        for ride in (recorded(road, run, rider=rider, marks_s=marks) for road in (xy, turned(xy, by_deg)))
    )
    p = np.linspace(0.0, length, 30)
    assert round_.length_m == pytest.approx(plain.length_m, abs=0.2)
    turn = around_m(round_.heading_deg_at(p) - plain.heading_deg_at(p) - by_deg, 360.0)
    assert turn == pytest.approx(np.zeros(30), abs=1.5)
