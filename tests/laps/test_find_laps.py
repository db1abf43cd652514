from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.laps.find_laps import find_laps
from fieldaero.laps.start_line import StartLine
from fieldaero.laps.track import track_of
from fieldaero.rides.ride import LapMark, Pause, Ride
from tests.synthetic_rides import (
    EARTH_RADIUS_M,
    OCEAN,
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

BEFORE_M, AFTER_M = 400.0, 300.0
LAPS = 6
SOURCES = ("button", "line", "repeat")


@cache
def session(lap_m: float = 1500.0, laps: int = LAPS, kind: str = "loop"):
    """Road with approach and way on, how it was ridden, true times at the line."""
    one = loop(lap_m) if kind == "loop" else there_and_back(lap_m / 2.0)
    length = path_length_m(one)
    xy = np.vstack([straight_to(one, BEFORE_M), *[one] * laps, straight_from(one, AFTER_M)])
    run = ridden(path_length_m(xy) - 2.0, Rider(power_w=lambda s, t: 240.0 + 40.0 * np.sin(t / 40.0)))
    return xy, run, when_at_s(run, BEFORE_M + length * np.arange(laps + 1)), length


def pressed(seed: int = 0, noise: Noise | None = None, extra_s: tuple[float, ...] = (), **how) -> Ride:
    """The session with presses up to 1 s early or late, on whole seconds, and other presses on top."""
    xy, run, true_s, _ = session(how.pop("lap_m", 1500.0), kind=how.pop("kind", "loop"))
    marks = np.round(true_s + np.random.default_rng(seed).uniform(-1.0, 1.0, len(true_s)))
    return recorded(xy, run, noise=noise or Noise(seed=seed, position_m=2.0), marks_s=sorted([*marks, *extra_s]), **how)


def start_line(ride: Ride, at_s: float, *, turned_deg: float = 0.0) -> StartLine:
    track = track_of(ride)
    at = track.distance_at_m(at_s)
    latitude, longitude = track.frame.to_degrees(*track.position_at(at))
    heading = (float(track.heading_at_deg(at)) + turned_deg) % 360.0
    return StartLine(latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=heading)


def lengths_m(laps) -> np.ndarray:
    return np.array([lap.distance_m for lap in laps])


# --- the lap button


@pytest.mark.parametrize("lap_m", [300.0, 1500.0, 5000.0])
def test_button_laps_are_the_marks_one_to_one(lap_m):
    ride = pressed(lap_m=lap_m)
    laps = find_laps(ride, lap_source="button")
    assert [lap.number for lap in laps] == list(range(1, LAPS + 3))
    assert [lap.start_s for lap in laps] == pytest.approx([mark.start_s for mark in ride.lap_marks], abs=2.5)
    assert lengths_m(laps[1:-1]) == pytest.approx(lap_m, abs=4.0)
    assert all(before.end_s == after.start_s for before, after in pairwise(laps))


def test_presses_move_to_the_line_and_so_lose_most_of_their_error():
    by_press, by_line = [], []
    for seed in range(8):
        ride = pressed(seed)
        true_s = session()[2]
        laps = find_laps(ride, lap_source="button")
        by_press.append(np.std([mark.start_s for mark in ride.lap_marks[1:]] - true_s))
        by_line.append(np.std([lap.start_s for lap in laps[1:]] - true_s))
    assert np.mean(by_press) > 0.5
    assert np.mean(by_line) < 0.12


def test_an_accidental_press_is_its_own_boundary_and_moves_no_other():
    slip_s = float(np.round(session()[2][2] + 50.0))
    clean = find_laps(pressed(), lap_source="button")
    laps = find_laps(pressed(extra_s=(slip_s,)), lap_source="button")
    assert len(laps) == len(clean) + 1
    assert [lap.start_s for lap in laps if lap.start_s != slip_s] == pytest.approx([lap.start_s for lap in clean])
    (begun,) = [lap for lap in laps if lap.start_s == slip_s]
    assert "start: press kept, no pass" in begun.note
    assert clean[2].note == ""


@pytest.mark.parametrize("late_s", [-3.0, 3.0])
def test_two_presses_at_one_passage_cost_no_lap(late_s):
    double_s = float(np.round(session()[2][3] + late_s))
    clean = find_laps(pressed(), lap_source="button")
    laps = find_laps(pressed(extra_s=(double_s,)), lap_source="button")
    empty = [lap for lap in laps if lap.distance_m == 0.0]
    assert len(laps) == LAPS + 3
    assert len(empty) == 1
    assert "pressed twice" in empty[0].note
    kept = [lap for lap in laps if lap.distance_m > 0.0]
    # The slip has its say in where the line is, which moves all laps alike.
    moved_s = np.array([lap.start_s for lap in kept[1:]]) - [lap.start_s for lap in clean[1:]]
    assert np.abs(moved_s).max() < 0.5
    assert np.ptp(moved_s) < 0.2
    assert lengths_m(kept[1:-1]) == pytest.approx(1500.0, abs=4.0)


def test_a_given_line_is_used_instead_of_the_presses_own():
    ride = pressed()
    line = start_line(ride, session()[2][1] + 2.0)
    laps = find_laps(ride, lap_source="button", start_line=line)
    true_s = session()[2] + 2.0
    assert [lap.start_s for lap in laps[1:-1]] == pytest.approx(true_s[:-1], abs=0.6)


def test_without_positions_the_wheel_evens_the_presses_out():
    by_press, by_wheel = [], []
    for seed in range(8):
        ride = pressed(seed, positions=False)
        laps = find_laps(ride, lap_source="button")
        by_press.append(np.std([mark.start_s for mark in ride.lap_marks[1:]] - session()[2]))
        by_wheel.append(np.std([lap.start_s for lap in laps[1:]] - session()[2]))
        assert "by the wheel" in laps[2].note
    assert np.mean(by_wheel) < 0.5 * np.mean(by_press)


def test_automatic_laps_stay_where_the_device_made_them():
    xy, run, _, _ = session()
    ride = recorded(xy, run, marks_s=[101.0, 203.0, 309.0, 411.0])
    marks = tuple(LapMark(start_s=m.start_s, end_s=m.end_s, trigger="distance") for m in ride.lap_marks)
    laps = find_laps(Ride(table=ride.table, source=ride.source, lap_marks=marks), lap_source="button")
    assert [lap.start_s for lap in laps] == [0.0, 101.0, 203.0, 309.0, 411.0]
    assert {lap.trigger for lap in laps} == {"distance"}


@pytest.mark.parametrize("off_s", [-1, 0, 1])
def test_a_pause_on_the_line_belongs_to_no_lap(off_s):
    xy, run, true_s, _ = session()
    ride = recorded(xy, run)
    at = round(true_s[3]) + off_s
    late = ride.table.copy()
    late.loc[at + 1 :, "time_s"] += 300.0
    t = [float(np.round(x)) for x in true_s]
    marks = [(t[1], t[2]), (t[2], t[3]), (t[3] + 300.0, t[4] + 300.0), (t[4] + 300.0, t[5] + 300.0)]
    paused = Ride(
        table=late,
        source=ride.source,
        lap_marks=tuple(LapMark(start_s=a, end_s=b, trigger="manual") for a, b in marks),
        pauses=(Pause(start_s=float(at), end_s=at + 300.0, cause="timer"),),
    )
    laps = find_laps(paused, lap_source="button")
    assert lengths_m(laps) == pytest.approx([1500.0] * 4, abs=3.0)
    assert laps[1].end_s <= at
    assert laps[2].start_s >= at + 301.0


def test_button_without_marks_says_what_to_use():
    xy, run, _, _ = session()
    with pytest.raises(RideError, match=r'no lap marks\. Use lap_source = "line" or "repeat"'):
        find_laps(recorded(xy, run), lap_source="button")


# --- the start line


@pytest.mark.parametrize("lap_m", [300.0, 1500.0])
@pytest.mark.parametrize("given_line", [True, False])
def test_line_laps_leave_out_approach_and_way_on(lap_m, given_line):
    ride = pressed(lap_m=lap_m)
    line = start_line(ride, session(lap_m)[2][2]) if given_line else None
    laps = find_laps(ride, lap_source="line", start_line=line)
    assert len(laps) == LAPS
    assert lengths_m(laps) == pytest.approx(lap_m, abs=4.0)
    assert [lap.start_s for lap in laps] == pytest.approx(session(lap_m)[2][:-1], abs=1.0)


def test_without_marks_the_line_comes_from_the_road_most_often_repeated():
    xy, run, _, _ = session()
    laps = find_laps(recorded(xy, run, noise=Noise(seed=1, position_m=2.0)), lap_source="line")
    assert len(laps) in (LAPS - 1, LAPS)
    assert lengths_m(laps) == pytest.approx(1500.0, abs=4.0)


def test_a_line_ridden_the_other_way_has_no_laps():
    ride = pressed()
    with pytest.raises(CannotAnswerError, match="never in its direction"):
        find_laps(ride, lap_source="line", start_line=start_line(ride, session()[2][2], turned_deg=180.0))


def test_a_line_on_another_continent_is_never_passed():
    far = StartLine(latitude_deg=10.0, longitude_deg=20.0, heading_deg=0.0)
    with pytest.raises(CannotAnswerError, match="never"):
        find_laps(pressed(), lap_source="line", start_line=far)


@pytest.mark.parametrize("seed", range(3))
def test_standing_on_the_line_makes_no_extra_lap(seed):
    one = loop(1500.0)
    xy = np.vstack([straight_to(one, BEFORE_M), *[one] * 4, straight_from(one, AFTER_M)])
    run = ridden(path_length_m(xy) - 2.0, Rider(stops=[(BEFORE_M + 3000.0, 90.0)]))
    ride = recorded(xy, run, noise=Noise(seed=seed, position_m=2.0, position_time_s=10.0))
    exact = start_line(recorded(xy, run), when_at_s(run, [BEFORE_M])[0])
    laps = find_laps(ride, lap_source="line", start_line=exact)
    assert len(laps) == 4
    assert lengths_m(laps) == pytest.approx(1500.0, abs=12.0)


@pytest.mark.parametrize("lap_source", ["line", "repeat"])
def test_place_needs_positions_and_says_so(lap_source):
    xy, run, _, _ = session()
    with pytest.raises(RideError, match="needs positions"):
        find_laps(recorded(xy, run, positions=False), lap_source=lap_source)


def test_an_unknown_source_is_refused_with_the_choice():
    with pytest.raises(RunSheetError, match="button, line, repeat"):
        find_laps(pressed(), lap_source="gps")


# --- repetition


@pytest.mark.parametrize(("lap_m", "kind"), [(300.0, "loop"), (1500.0, "loop"), (5000.0, "loop"), (1800.0, "road")])
def test_repeated_laps_are_found_without_any_mark(lap_m, kind):
    xy, run, _, length = session(lap_m, kind=kind)
    laps = find_laps(recorded(xy, run, noise=Noise(seed=2, position_m=2.0)), lap_source="repeat")
    assert len(laps) == LAPS
    assert lengths_m(laps) == pytest.approx(length, abs=4.0)
    begun_m = np.interp([lap.start_s for lap in laps], run["time_s"], run["way_m"])
    # Three sd of the difference of two satellite positions.
    assert begun_m == pytest.approx(begun_m[0] + length * np.arange(LAPS), abs=3.0 * 2.0 * np.sqrt(2.0))


def test_there_and_back_from_standstill_to_standstill_loses_no_lap():
    one = there_and_back(900.0)
    length = path_length_m(one)
    xy = np.vstack([one] * 6)
    run = ridden(6 * length - 1.0, Rider(stops=[(3 * length - 1.0, 120.0)], start_speed_m_s=1.0))
    laps = find_laps(recorded(xy, run, noise=Noise(seed=1, position_m=2.0)), lap_source="repeat")
    assert lengths_m(laps) == pytest.approx([length] * 6, abs=15.0)


@pytest.mark.parametrize("on_m", [40.0, 150.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_repeated_lap_begins_where_road_was_ridden_once_more_not_on_the_approach(on_m, seed):
    one = loop(2400.0)
    on = int(np.searchsorted(np.cumsum(np.hypot(*np.diff(one, axis=0).T)), on_m))
    aside = one[on] - one[on - 1]
    home = one[on] + np.linspace(0.0, 400.0, 80)[:, None] * (turned(aside[None], 35.0) / np.hypot(*aside))
    xy = np.vstack([straight_to(one, BEFORE_M), *[one] * LAPS, one[:on], home])
    run = ridden(path_length_m(xy) - 2.0, Rider())
    laps = find_laps(recorded(xy, run, noise=Noise(seed=seed, position_m=2.0)), lap_source="repeat")
    assert len(laps) == LAPS
    begun_m, ended_m = (np.interp(at, run["time_s"], run["way_m"]) for at in (laps[0].start_s, laps[-1].end_s))
    # So far from the loop's own road the straight ways are no more than a road's width beside it.
    assert begun_m > BEFORE_M - 60.0
    assert ended_m < BEFORE_M + path_length_m(one) * LAPS + on_m + 30.0


def test_a_way_to_the_car_between_laps_is_no_lap():
    one = loop(1500.0)
    away = straight_from(one, 300.0)
    xy = np.vstack(
        [straight_to(one, 500.0), *[one] * 3, away, away[::-1] + np.array([0.0, 8.0]), straight_to(one, 200.0)]
    )
    xy = np.vstack([xy, *[one] * 3, straight_from(one, 100.0)])
    run = ridden(path_length_m(xy) - 2.0, Rider(stops=[(500.0 + 4500.0 + 300.0, 200.0)]))
    laps = find_laps(recorded(xy, run, noise=Noise(seed=2, position_m=2.0)), lap_source="repeat")
    assert lengths_m(laps) == pytest.approx([1500.0] * 6, abs=4.0)
    assert max(lap.duration_s for lap in laps) < 200.0


def test_a_road_ridden_once_repeats_nothing():
    xy = straight_from(loop(1500.0), 6000.0)
    with pytest.raises(CannotAnswerError, match="no lap was found"):
        find_laps(recorded(xy, ridden(5900.0, Rider())), lap_source="repeat")


def test_repetition_can_be_told_where_its_laps_begin():
    ride = pressed()
    laps = find_laps(ride, lap_source="repeat", start_line=start_line(ride, session()[2][1] + 20.0))
    assert len(laps) in (LAPS - 1, LAPS)
    assert [lap.start_s for lap in laps] == pytest.approx(session()[2][: len(laps)] + 20.0, abs=3.0)


# --- what must not matter

slow = settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def laps_at(xy, run, lap_source, *, origin=OCEAN, start_time_s=0.0):
    marks = [float(x) for x in np.round(session()[2])]
    ride = recorded(xy, run, marks_s=marks, origin=origin, start_time_s=start_time_s)
    laps = find_laps(ride, lap_source=lap_source)
    return np.array([lap.start_s - start_time_s for lap in laps]), np.array([lap.distance_m for lap in laps])


@pytest.mark.parametrize("lap_source", SOURCES)
@slow
@given(latitude=st.floats(-65.0, 65.0), longitude=st.floats(-180.0, 180.0))
def test_the_place_on_earth_does_not_matter(lap_source, latitude, longitude):
    xy, run, _, _ = session()
    here, there = (laps_at(xy, run, lap_source, origin=origin) for origin in (OCEAN, (latitude, longitude)))
    assert len(there[0]) == len(here[0])
    assert there[1] == pytest.approx(here[1], abs=3.0)
    if lap_source != "repeat":  # where a repeated lap begins is free
        assert there[0] == pytest.approx(here[0], abs=0.1)


@pytest.mark.parametrize("lap_source", SOURCES)
@slow
@given(by_deg=st.floats(0.0, 360.0))
def test_turning_the_course_does_not_matter(lap_source, by_deg):
    xy, run, _, _ = session()
    plain, round_ = (laps_at(road, run, lap_source) for road in (xy, turned(xy, by_deg)))
    assert len(round_[0]) == len(plain[0])
    assert round_[1] == pytest.approx(plain[1], abs=3.0)
    if lap_source != "repeat":
        assert round_[0] == pytest.approx(plain[0], abs=0.1)


@pytest.mark.parametrize("lap_source", SOURCES)
@slow
@given(start_time_s=st.floats(-1e4, 1e6))
def test_when_the_clock_began_does_not_matter(lap_source, start_time_s):
    xy, run, _, _ = session()
    plain, later = (laps_at(xy, run, lap_source, start_time_s=start) for start in (0.0, start_time_s))
    assert later[0] == pytest.approx(plain[0], abs=1e-3)
    assert later[1] == pytest.approx(plain[1], abs=1e-2)


@pytest.mark.parametrize("lap_source", SOURCES)
def test_riding_the_course_the_other_way_round_does_not_matter(lap_source):
    xy, run, _, length = session()
    back = xy[::-1]
    marks = [float(x) for x in np.round(when_at_s(run, AFTER_M + length * np.arange(LAPS + 1)))]
    ride = recorded(back, run, marks_s=marks, noise=Noise(seed=3, position_m=2.0))
    laps = find_laps(ride, lap_source=lap_source)
    whole = [lap for lap in laps if lap.distance_m == pytest.approx(length, abs=4.0)]
    assert len(whole) == LAPS


def test_test_positions_are_in_the_open_sea():
    xy, run, _, _ = session()
    ride = recorded(xy, run)
    assert np.abs(ride.column("latitude_deg") - OCEAN[0]).max() < np.degrees(5000.0 / EARTH_RADIUS_M)
