"""Repairs that all formats share: order, stamps, the wheel's counter, breaks, and what is only noted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.rides.recording import table_of
from fieldaero.rides.repair.distance_and_speed import ground_step_m, rate_m_s, rising
from fieldaero.rides.repair.notes import notes_on
from fieldaero.rides.repair.pauses import cut_steps, find_pauses
from fieldaero.rides.repair.repair import LIMITS, without_absurd_values
from fieldaero.rides.repair.time_order import in_order, one_outing, one_sample_per_stamp
from fieldaero.rides.ride import COLUMNS, Pause

NAN = float("nan")


def samples(seconds, **columns):
    return table_of({"time_s": np.asarray(seconds, dtype=float), **columns})


def no_breaks(seconds):
    return np.zeros(len(seconds), dtype=bool)


def ordered(seconds):
    table, begins, notes = in_order(samples(seconds, power_w=np.arange(len(seconds))), no_breaks(seconds))
    return table["time_s"].tolist(), np.flatnonzero(begins).tolist(), notes


# Order in time


def test_times_in_order_are_left_alone():
    assert ordered([0, 1, 1, 2]) == ([0, 1, 1, 2], [], [])


def test_pieces_that_do_not_overlap_change_places():
    times, breaks, notes = ordered([10, 11, 12, 0, 1, 2])
    assert times == [0, 1, 2, 10, 11, 12]
    assert breaks == [3]
    assert "2 pieces put in order of time" in notes[0]


def test_one_stray_stamp_costs_one_sample():
    times, breaks, notes = ordered([*range(100), 50, *range(100, 200)])
    assert times == list(range(200))
    assert breaks == [100]
    assert "1 sample left out" in notes[0]


def test_one_stamp_far_ahead_costs_one_sample():
    assert ordered([*range(100), 10_000, *range(100, 200)])[0] == list(range(200))


def test_a_clock_set_back_by_a_little_costs_the_overlap():
    times, breaks, _ = ordered([*range(1000), *range(990, 2000)])
    assert times == sorted(times)
    assert set(times) == set(range(2000))
    assert len(times) <= 2001  # the stamp of the join may stand twice; the next repair sees to that
    assert len(breaks) == 1


def test_of_two_recordings_of_the_same_time_the_longer_is_kept():
    table, _, notes = in_order(
        samples([*range(50), *range(10, 40)], power_w=[1.0] * 50 + [2.0] * 30), no_breaks(range(80))
    )
    assert set(table["power_w"]) == {1.0}
    assert "30 samples left out" in notes[0]


@given(st.lists(st.integers(0, 60), min_size=1, max_size=60))
def test_any_order_comes_out_rising_with_a_break_at_every_join(seconds):
    table, begins, _ = in_order(samples(seconds, power_w=np.arange(len(seconds))), no_breaks(seconds))
    step = np.diff(table["time_s"])
    assert np.all(step >= 0.0)
    assert np.all(begins[1:] | (np.diff(table["power_w"]) == 1.0))


def test_samples_more_than_a_day_apart_are_not_one_ride():
    seconds = [0, 1, *range(200_000, 200_050)]
    table, _, notes = one_outing(samples(seconds), no_breaks(seconds))
    assert table["time_s"].iloc[0] == 200_000
    assert "2 samples left out" in notes[0]


# One sample per stamp


def test_a_repeated_stamp_is_spread_over_the_second_that_is_missing():
    table, _, notes = one_sample_per_stamp(samples([0, 1, 1, 3, 4], power_w=range(5)), no_breaks(range(5)))
    assert table["time_s"].tolist() == [0, 1, 2, 3, 4]
    assert table["power_w"].tolist() == [0, 1, 2, 3, 4]
    assert "1 spread" in notes[0]


def test_of_a_repeated_stamp_the_fuller_sample_is_kept():
    table, _, notes = one_sample_per_stamp(
        samples([0, 1, 1, 2], power_w=[1, NAN, 3, 4], speed_m_s=[9, NAN, 9, 9], cadence_rpm=[80, 81, NAN, 80]),
        no_breaks(range(4)),
    )
    assert table["time_s"].tolist() == [0, 1, 2]
    assert table["power_w"].tolist() == [1, 3, 4]
    assert table["cadence_rpm"].tolist() == [80, 81, 80]  # what the fuller one misses comes from the other
    assert "1 left out" in notes[0]


def test_two_halves_of_one_sample_are_joined_and_not_spread():
    table, _, _ = one_sample_per_stamp(
        samples([0, 1, 1, 3, 4], power_w=[1, 2, NAN, 4, 5], speed_m_s=[9, NAN, 8, 9, 9]), no_breaks(range(5))
    )
    assert table["time_s"].tolist() == [0, 1, 3, 4]
    assert table["speed_m_s"].tolist() == [9, 8, 9, 9]


# Impossible values


@pytest.mark.parametrize("name", LIMITS)
def test_the_limits_themselves_are_possible_and_beyond_is_missing(name):
    low, high = LIMITS[name]
    place = {"latitude_deg": [10.0] * 4, "longitude_deg": [10.0] * 4}
    table = samples(range(4), **{**place, name: [low, high, low - 1.0, high + 1.0]})
    clean, notes = without_absurd_values(table)
    assert clean[name].isna().tolist() == [False, False, True, True]
    assert any(f"{name}: 2 values outside" in note for note in notes)


def test_half_a_position_is_none():
    clean, _ = without_absurd_values(samples(range(2), latitude_deg=[1.0, 1.0], longitude_deg=[NAN, 5.0]))
    assert clean["latitude_deg"].isna().tolist() == [True, False]


def test_the_given_samples_are_not_changed():
    table = samples(range(2), power_w=[9999.0, 1.0])
    without_absurd_values(table)
    assert table["power_w"].tolist() == [9999.0, 1.0]


# The wheel's counter


def counted(distance, speed=10.0, seconds=None):
    t = np.arange(len(distance), dtype=float) if seconds is None else np.asarray(seconds, dtype=float)
    result, notes = rising(np.asarray(distance, dtype=float), time_s=t, speed_m_s=np.full(len(t), speed))
    return result.tolist(), notes


def test_a_counter_in_order_keeps_its_digits():
    distance = [0.1, 0.30000000000000004, 7.7]
    assert counted(distance) == (distance, [])


def test_a_reset_is_bridged_with_the_speed():
    result, notes = counted([1000, 1010, 0, 10, 20])
    assert result == [1000, 1010, 1020, 1030, 1040]
    assert "reset 1 time" in notes[0]


def test_a_reset_over_a_long_gap_is_bridged_with_nothing():
    assert counted([1000, 1010, 0, 10], seconds=[0, 1, 60, 61])[0] == [1000, 1010, 1010, 1020]


def test_a_leap_no_bicycle_can_make_is_bridged_too():
    assert counted([0, 10, 5020, 5030])[0] == [0, 10, 20, 30]


@pytest.mark.parametrize("stray", [[0], [0, 0], [99_999], [99_999, 0, 99_999]])
def test_stray_values_become_missing_and_the_counter_goes_on(stray):
    before, after = [1000, 1010, 1020], [1020 + 10 * (len(stray) + k) for k in range(1, 4)]
    result, notes = counted([*before, *stray, *after])
    assert result[:3] == before
    assert np.isnan(result[3 : 3 + len(stray)]).all()
    assert result[3 + len(stray) :] == after
    assert "stray" in notes[0]


def test_a_counter_that_wavers_is_held():
    result, notes = counted([100, 110, 109, 120])
    assert result == [100, 110, 110, 120]
    assert "held" in notes[0]


def test_missing_distances_stay_missing():
    result, _ = counted([0, NAN, 20, 0, 10])
    assert np.isnan(result[1])
    assert result[2:] == [20, 30, 40]


@given(st.lists(st.floats(0.0, 1e6) | st.just(NAN), min_size=2, max_size=60))
def test_any_counter_comes_out_never_falling(distance):
    result = np.array(counted(distance)[0])
    assert np.all(np.diff(result[np.isfinite(result)]) >= 0.0)


# Speed from steps


@given(st.lists(st.floats(0.1, 5.0), min_size=2, max_size=20), st.floats(-1.0, 1.0), st.floats(5.0, 15.0))
def test_steady_acceleration_is_exact_inside(steps, acceleration, start):
    t = np.concatenate([[0.0], np.cumsum(steps)])
    v = rate_m_s(np.diff(start * t + acceleration * t**2 / 2.0), time_s=t, cut=np.zeros(len(steps), dtype=bool))
    assert v[1:-1] == pytest.approx((start + acceleration * t)[1:-1], abs=1e-9)


def test_no_speed_comes_from_a_step_over_a_cut():
    t = np.array([0.0, 1.0, 60.0, 61.0, 100.0])
    v = rate_m_s(np.array([10.0, 5000.0, 8.0, 900.0]), time_s=t, cut=np.array([False, True, False, True]))
    assert v[:4].tolist() == [10.0, 10.0, 8.0, 8.0]
    assert np.isnan(v[4])


def test_a_degree_on_the_ellipsoid():
    # NIMA TR8350.2 WGS 84: one degree of latitude is 110.574 km at the equator and 111.694 km at the pole; one of
    # longitude is 111.320 km at the equator (from memory).
    length = [
        float(ground_step_m(np.array([a, b]), np.array([c, d]))[0])
        for a, b, c, d in (
            (-0.005, 0.005, 0.0, 0.0),
            (89.985, 89.995, 0.0, 0.0),
            (0.0, 0.0, 0.0, 0.01),
        )
    ]
    assert length == pytest.approx([1105.74, 1116.94, 1113.20], abs=0.01)


def test_a_step_over_the_date_line_is_short():
    assert ground_step_m(np.array([0.0, 0.0]), np.array([179.9995, -179.9995]))[0] == pytest.approx(111.32, abs=0.01)


# Breaks


def test_a_join_is_a_gap_even_without_a_long_step():
    begins = np.array([True, False, True])
    assert find_pauses(np.arange(3.0), begins, []) == (Pause(start_s=1.0, end_s=2.0, cause="gap"),)


def test_a_stop_between_two_samples_is_a_pause_from_the_one_to_the_other():
    t = np.array([0.0, 1.0, 4.0, 5.0])
    stop = Pause(start_s=1.4, end_s=3.2, cause="timer")
    assert find_pauses(t, no_breaks(t), [stop]) == (Pause(start_s=1.0, end_s=4.0, cause="timer"),)


def test_a_stop_within_one_stamp_is_no_pause():
    t = np.arange(5.0)
    assert find_pauses(t, no_breaks(t), [Pause(start_s=2.0, end_s=2.0, cause="timer")]) == ()


def test_stops_before_and_after_the_ride_are_none():
    t = np.arange(10.0, 15.0)
    stops = [Pause(start_s=1.0, end_s=5.0, cause="timer"), Pause(start_s=20.0, end_s=30.0, cause="timer")]
    assert find_pauses(t, no_breaks(t), stops) == ()


def test_a_coarse_recording_is_not_all_gaps():
    t = np.array([0.0, 10.0, 20.0, 30.0, 60.0])
    assert find_pauses(t, no_breaks(t), []) == (Pause(start_s=30.0, end_s=60.0, cause="gap"),)


def test_a_device_that_records_as_it_sees_fit_has_no_gaps_at_its_longer_steps():
    step = np.tile([1.0, 2.0, 3.0, 1.0, 4.0, 2.0, 6.0, 3.0, 7.0, 2.0], 30)
    step[151] = 40.0
    t = np.concatenate([[0.0], np.cumsum(step)])
    assert find_pauses(t, no_breaks(t), []) == (Pause(start_s=float(t[151]), end_s=float(t[152]), cause="gap"),)


def test_rare_gaps_in_a_recording_of_every_second_are_gaps():
    step = np.ones(1000)
    step[::50] = 8.0
    t = np.concatenate([[0.0], np.cumsum(step)])
    assert len(find_pauses(t, no_breaks(t), [])) == 20


def test_cut_steps_are_those_within_pauses():
    t = np.array([0.0, 1.0, 2.0, 9.0, 10.0])
    assert cut_steps(t, [Pause(start_s=1.0, end_s=9.0)]).tolist() == [False, True, True, False]


# What is only noted


def riding(n=400, **more):
    t = np.arange(float(n))
    power = 200.0 + t % 7
    place = {"latitude_deg": np.full(n, -28.0), "longitude_deg": -122.0 + 10.0 * t / 98_360.0}
    return samples(t, **{"power_w": power, "speed_m_s": np.full(n, 10.0), **place, **more})


def noted(table):
    before = table.copy()
    notes = notes_on(table, find_pauses(table["time_s"].to_numpy(), no_breaks(table), []))
    assert table.equals(before)
    return "; ".join(notes)


def test_a_clean_ride_gets_no_note():
    assert noted(riding(altitude_m=100.0 + 0.2 * np.arange(400.0))) == ""


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"power_w": np.where(np.arange(400) < 100, NAN, 200.0 + np.arange(400) % 7)}, r"100 of 400 samples \(25 %\)"),
        ({"power_w": np.full(400, NAN)}, "no power was recorded"),
        ({"power_w": np.zeros(400)}, "no usable power"),
        ({"power_w": np.where(np.arange(400) < 20, 250.0, 200.0 + np.arange(400) % 7)}, "19 s, 1 time"),
        (
            {
                "power_w": np.where(np.arange(400) < 5, 0.0, 200.0 + np.arange(400) % 7),
                "cadence_rpm": np.full(400, 90.0),
            },
            "0 at a cadence of 60 or more in 5 samples",
        ),
        ({"altitude_m": -20.0 + 0.2 * (np.arange(400.0) % 3)}, "altitude goes down to -20 m"),
        ({"altitude_m": np.where(np.arange(400) < 200, 100.0, 150.2)}, "altitude jumps .* 1 time"),
        ({"altitude_m": 100.0 + np.arange(400.0) % 3}, "steps of 1 m"),
        ({"latitude_deg": np.full(400, NAN), "longitude_deg": np.full(400, NAN)}, "no position"),
        ({"speed_m_s": np.full(400, 10.4)}, "0.96[12] times the distance"),
        (
            {"longitude_deg": -122.0 + 10.0 * np.maximum(np.arange(400.0), 30.0) / 98_360.0},
            "stands still .* 30 samples",
        ),
    ],
)
def test_each_oddity_is_noted(columns, words):
    import re

    assert re.search(words, noted(riding(**columns)))


def test_the_table_of_a_recording_has_all_columns_of_a_ride():
    assert tuple(samples([0.0])) == COLUMNS
