from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from fieldaero.basics.errors import FieldaeroError
from fieldaero.laps.course import find_course, lap_position_m
from fieldaero.laps.find_laps import find_laps
from fieldaero.laps.flags import flag_laps
from fieldaero.laps.lap import Lap
from fieldaero.laps.track import track_of
from fieldaero.rides.ride import COLUMNS, LapMark, Pause, Ride
from tests.synthetic_rides import (
    SOURCE,
    Noise,
    Rider,
    loop,
    path_length_m,
    recorded,
    ridden,
    straight_from,
    straight_to,
    when_at_s,
)

BEFORE_M, LAP_M, LAPS = 300.0, 1500.0, 6
LINES_M = BEFORE_M + LAP_M * np.arange(LAPS + 1)


@cache
def road() -> np.ndarray:
    one = loop(LAP_M)
    return np.vstack([straight_to(one, BEFORE_M), *[one] * LAPS, straight_from(one, 250.0)])


def ride_over(xy: np.ndarray, rider: Rider, lines_m: np.ndarray, **how) -> Ride:
    run = ridden(path_length_m(xy) - 2.0, rider)
    marks = list(np.round(when_at_s(run, lines_m)))
    noise = Noise(seed=1, position_m=2.0, speed_m_s=0.03, power_share=0.06)
    return recorded(xy, run, rider=rider, noise=noise, marks_s=marks, **how)


@cache
def good_ride() -> Ride:
    return ride_over(road(), Rider(), LINES_M)


def spoilt(**columns: tuple[slice, float]) -> Ride:
    """The good ride with a column overwritten on a stretch."""
    ride = good_ride()
    table = ride.table.copy()
    for name, (rows, value) in columns.items():
        table.iloc[rows, table.columns.get_loc(name)] = value
    return replace(ride, table=table)


def flagged(ride: Ride, **how) -> tuple[Lap, ...]:
    laps = find_laps(ride, lap_source="button")
    return flag_laps(ride, laps, find_course(ride, laps), **how)


def names(lap: Lap) -> list[str]:
    return [flag.name for flag in lap.flags]


def inside(lap_number: int, seconds: int, after: int = 40) -> slice:
    """Rows of that many seconds in a lap of the good ride."""
    begin = round(good_ride().lap_marks[lap_number - 1].start_s) + after
    return slice(begin, begin + seconds + 1)


def test_good_laps_have_no_flags_and_only_the_ends_of_the_ride_are_incomplete():
    laps = flagged(good_ride())
    assert [names(lap) for lap in laps[1:-1]] == [[]] * LAPS
    assert "incomplete" in names(laps[0])
    assert "incomplete" in names(laps[-1])
    told = re.fullmatch(
        r"Not one whole round of the course: it begins (\d+) m from the start line\.", sentences(laps[0], "incomplete")
    )
    assert float(told[1]) == pytest.approx(BEFORE_M, abs=10.0)


def test_flags_drop_no_lap_and_change_nothing_else():
    ride = good_ride()
    laps = find_laps(ride, lap_source="button")
    after = flag_laps(ride, laps, find_course(ride, laps))
    assert [replace(lap, flags=()) for lap in after] == list(laps)


def test_a_pause_within_a_lap_is_incomplete():
    at = inside(3, 0).start
    table = good_ride().table.copy()
    table.loc[at + 1 :, "time_s"] += 34.0
    marks = tuple(
        replace(m, start_s=m.start_s + 34.0 * (m.start_s > at), end_s=m.end_s + 34.0 * (m.end_s > at))
        for m in good_ride().lap_marks
    )
    timer = (Pause(start_s=float(at), end_s=at + 35.0, cause="timer"),)
    told = flagged(replace(good_ride(), table=table, lap_marks=marks, pauses=timer))
    untold = flagged(replace(good_ride(), table=table, lap_marks=marks))
    assert names(told[2]) == ["incomplete"]
    assert told[2].flags[0].sentence == f"The timer was paused for 35 s from {clock(at)}."
    assert untold[2].flags[0].sentence == f"Nothing was recorded for 35 s from {clock(at)}."
    assert [names(lap) for lap in told[1:-1] if lap.number != 3] == [[]] * (LAPS - 1)


def clock(time_s: float) -> str:
    return f"{good_ride().clock(time_s):%H:%M:%S} UTC"


def test_a_gap_that_swallows_the_line_spoils_both_laps():
    at = round(good_ride().lap_marks[3].start_s)
    keep = np.delete(np.arange(len(good_ride().table)), np.arange(at - 8, at + 8))
    ride = replace(good_ride(), table=good_ride().table.iloc[keep].reset_index(drop=True))
    laps = flagged(ride)
    assert "incomplete" in names(laps[2])
    assert "incomplete" in names(laps[3])


def test_without_clock_time_a_flag_counts_from_the_start_of_the_ride():
    rows = inside(3, 20)
    ride = replace(spoilt(power_w=(rows, np.nan)), start_time=None)
    assert flagged(ride)[2].flags[0].sentence == f"Power is missing, for 20 s from {rows.start} s into the ride."


def test_a_lap_cut_short_without_positions_is_incomplete():
    ride = ride_over(road(), Rider(), LINES_M, positions=False)
    laps = flagged(ride)
    assert "Cut short: 3" in laps[0].flags[0].sentence
    assert [names(lap) for lap in laps[1:-1]] == [[]] * LAPS


def test_standing_is_stopped_and_braked():
    ride = ride_over(road(), Rider(stops=[(BEFORE_M + 2.4 * LAP_M, 62.0)]), LINES_M)
    lap = flagged(ride)[3]
    assert names(lap)[:2] == ["stopped", "braked"]
    assert "for 6" in lap.flags[0].sentence
    assert lap.flags[0].end_s - lap.flags[0].start_s == pytest.approx(62.0, abs=4.0)
    assert "speed_outside" in names(lap)


def test_a_halt_at_the_line_spoils_no_lap_by_its_standing():
    ride = ride_over(road(), Rider(stops=[(BEFORE_M + 2 * LAP_M + 6.0, 90.0)]), LINES_M)
    laps = flagged(ride)
    assert "stopped" not in names(laps[2])
    assert "stopped" not in names(laps[3])
    assert laps[3].start_s - laps[2].end_s > 85.0


def test_braking_is_told_with_its_evidence():
    ride = ride_over(road(), Rider(brakes=[(BEFORE_M + 2.4 * LAP_M, 6.0, 2.0)]), LINES_M)
    lap = flagged(ride)[3]
    assert names(lap) == ["braked"]
    sentence = lap.flags[0].sentence
    assert sentence.startswith("Braked at 09:")
    assert " UTC, from 10." in sentence
    assert "kJ beyond what drag, rolling and hill explain." in sentence
    kilojoules = float(sentence.split("about ")[1].split(" kJ")[0])
    assert kilojoules == pytest.approx(0.5 * 84.0 * (10.2**2 - 6.4**2) / 1000.0, rel=0.25)


def test_missing_power_is_a_dropout():
    lap = flagged(spoilt(power_w=(inside(3, 14), np.nan)))[2]
    assert names(lap) == ["power_dropout"]
    assert lap.flags[0].sentence == f"Power is missing, for 14 s from {clock(inside(3, 0).start)}."
    assert (lap.flags[0].start_s, lap.flags[0].end_s) == (inside(3, 0).start, inside(3, 0).start + 14)


def test_power_missing_altogether_is_said_once():
    lap = flagged(spoilt(power_w=(slice(None), np.nan)))[2]
    assert [flag.sentence for flag in lap.flags if flag.name == "power_dropout"] == [
        "Power is missing on the whole lap."
    ]


def test_no_power_at_a_turning_crank_is_a_dropout_and_freewheeling_is_not():
    turning = spoilt(power_w=(inside(3, 6), 0.0))
    still = spoilt(power_w=(inside(3, 6), 0.0), cadence_rpm=(inside(3, 6), 0.0))
    assert names(flagged(turning)[2]) == ["power_dropout"]
    assert "0 W at a cadence of 60 or more" in flagged(turning)[2].flags[0].sentence
    assert names(flagged(still)[2]) == []


def test_several_dropouts_of_a_kind_are_one_flag_with_their_sum():
    table = spoilt(power_w=(inside(3, 5), np.nan)).table
    table.iloc[inside(3, 9, after=70), table.columns.get_loc("power_w")] = np.nan
    (flag,) = flagged(replace(good_ride(), table=table))[2].flags
    assert flag.sentence == (
        f"Power is missing, for 9 s from {clock(inside(3, 0, after=70).start)}; 2 such stretches, 14 s in all."
    )


@pytest.mark.parametrize(("seconds", "flags"), [(9, ["power_dropout"]), (6, [])])
def test_power_that_never_changes_is_frozen(seconds, flags):
    lap = flagged(spoilt(power_w=(inside(3, seconds), 231.0)))[2]
    assert names(lap) == flags
    if flags:
        assert "exactly 231 W" in lap.flags[0].sentence


def test_neighbouring_pairs_of_equal_power_are_not_frozen():
    table = good_ride().table.copy()
    table["power_w"] = np.repeat(200.0 + np.arange((len(table) + 1) // 2) % 7, 2)[: len(table)]
    assert "power_dropout" not in names(flagged(replace(good_ride(), table=table))[2])


def test_speed_missing_frozen_or_zero_in_motion_is_a_dropout():
    missing = flagged(spoilt(speed_m_s=(inside(3, 7), np.nan)))[2]
    frozen = flagged(spoilt(speed_m_s=(inside(3, 10), 9.876)))[2]
    zero = flagged(spoilt(speed_m_s=(inside(3, 10), 0.0)))[2]
    assert "Speed is missing, for 7 s" in sentences(missing, "speed_dropout")
    assert "exactly 9.876 m/s" in sentences(frozen, "speed_dropout")
    assert "Speed 0 while the position moved on, for 10 s" in sentences(zero, "speed_dropout")
    assert "stopped" not in names(zero)


def sentences(lap: Lap, name: str) -> str:
    return " ".join(flag.sentence for flag in lap.flags if flag.name == name)


def test_speed_rounded_coarsely_is_not_frozen():
    table = good_ride().table.copy()
    table["speed_m_s"] = np.round(table["speed_m_s"] * 3.6) / 3.6
    assert "speed_dropout" not in names(flagged(replace(good_ride(), table=table))[2])


def test_leaving_the_road_and_the_detour_both_show():
    one = loop(LAP_M)
    half = len(one) // 2
    way = one[half + 1] - one[half]
    aside = np.array([way[1], -way[0]]) / np.hypot(*way)
    out = one[half] + aside * np.linspace(0.0, 80.0, 20)[:, None]
    detour = np.vstack([one[:half], out, out[::-1] + 0.1, one[half:]])
    xy = np.vstack([straight_to(one, BEFORE_M), one, one, detour, one, one, straight_from(one, 250.0)])
    lines = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0]) * LAP_M + BEFORE_M
    lines[3:] += path_length_m(detour) - LAP_M
    laps = flagged(ride_over(xy, Rider(), lines))
    assert "off_course" in names(laps[3])
    assert "length_off" in names(laps[3])
    assert [set(names(lap)) for lap in laps[1:-1] if lap.number != 4] == [set()] * 4
    off = float(sentences(laps[3], "off_course").split("Up to ")[1].split(" m")[0])
    assert off == pytest.approx(80.0, abs=12.0)
    told = re.search(r"([\d.]+) % longer than the course's 1500 m", sentences(laps[3], "length_off"))
    assert float(told[1]) / 100.0 == pytest.approx(path_length_m(detour) / LAP_M - 1.0, abs=0.003)


def test_a_slow_lap_is_outside_the_others_speeds():
    slow = Rider(power_w=lambda s, t: 170.0 if BEFORE_M + 3 * LAP_M < s < BEFORE_M + 4 * LAP_M else 240.0)
    laps = flagged(ride_over(road(), slow, LINES_M))
    assert [names(lap) for lap in laps[1:-1]] == [[], [], [], ["speed_outside"], [], []]
    assert "below the other laps'" in laps[4].flags[0].sentence


def test_laps_that_differ_like_laps_do_are_not_outside():
    varied = Rider(power_w=lambda s, t: 240.0 + 15.0 * np.sin(s / LAP_M))
    assert not any("speed_outside" in names(lap) for lap in flagged(ride_over(road(), varied, LINES_M)))


def any_ride(seed: int) -> Ride:
    """A ride as broken as they come: holes in every column, held values, odd steps, presses anywhere."""
    rng = np.random.default_rng(seed)
    n = int(rng.choice([2, 5, 60, 900]))
    t = np.cumsum(rng.choice([1.0, 1.0, 1.0, 2.0, 0.5, 30.0], n))
    v = np.abs(rng.normal(8.0, 4.0, n))
    d = np.cumsum(v * np.diff(t, prepend=t[0]))
    turn, radius = 2.0 * np.pi * d / rng.choice([200.0, 400.0, 1000.0]), rng.choice([30.0, 60.0, 150.0])
    columns = {
        "speed_m_s": v,
        "distance_m": d,
        "power_w": np.round(rng.normal(200.0, 80.0, n)),
        "altitude_m": np.round(10.0 * np.sin(turn), 1),
        "latitude_deg": -30.0 + radius * np.sin(turn) / 111e3,
        "longitude_deg": -120.0 + radius * np.cos(turn) / 96e3,
        "cadence_rpm": rng.choice([0.0, 90.0], n),
    }
    table = pd.DataFrame({name: np.full(n, np.nan) for name in COLUMNS})
    table["time_s"] = t
    for name, values in columns.items():
        if rng.random() < 0.85:
            values[rng.random(n) < rng.choice([0.0, 0.05, 0.5, 0.95])] = np.nan
            table[name] = values if rng.random() < 0.9 else values[0]
    presses = np.sort(rng.uniform(t[0] - 5.0, t[-1] + 5.0, rng.integers(0, 8)))
    marks = tuple(LapMark(start_s=a, end_s=b, trigger="manual") for a, b in pairwise(presses))
    return Ride(table=table, source=SOURCE, lap_marks=marks)


@pytest.mark.parametrize("lap_source", ["button", "line", "repeat"])
@pytest.mark.parametrize("seed", range(40))
def test_whatever_was_recorded_gives_laps_or_a_reason(seed, lap_source):
    ride = any_ride(seed)
    reason, course = SOURCE.file, None
    try:
        laps = find_laps(ride, lap_source=lap_source)
        course = find_course(ride, laps)
    except FieldaeroError as error:
        reason = str(error)
    assert reason.startswith(SOURCE.file)
    if course is None:
        return
    position = lap_position_m(track_of(ride), laps, course)
    assert np.nanmax(position, initial=0.0) <= course.length_m * (1.0 if course.closed else 2.0)
    assert [lap.number for lap in flag_laps(ride, laps, course)] == list(range(1, len(laps) + 1))
