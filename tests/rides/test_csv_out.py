"""A ride written as CSV is the same ride when it is read again."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaero.basics.errors import FieldaeroError, RideError
from fieldaero.rides import read_ride, write_csv
from fieldaero.rides.ride import COLUMNS, LapMark, Pause, Ride, RideSource
from tests.rides.formats.fit_files import activity, lap, session, steady, written

SOURCE = RideSource(file="made.csv", format="CSV", sha256="")
START = datetime(2030, 5, 5, 13, 0, 0, 123_456, tzinfo=UTC)


def ride_of(columns, **more) -> Ride:
    rows = len(columns["time_s"])
    table = pd.DataFrame({name: np.asarray(columns.get(name, [np.nan] * rows), dtype=float) for name in COLUMNS})
    return Ride(table=table, source=SOURCE, **more)


def steady_ride(**more) -> Ride:
    t = np.arange(20.0)
    return ride_of({"time_s": t, "power_w": 200.0 + t, "speed_m_s": 10.0 + 0.1 * t, "distance_m": 10.0 * t}, **more)


def again(tmp_path, ride) -> Ride:
    return read_ride(write_csv(ride, tmp_path / "out.csv"))


def same(a: Ride, b: Ride) -> None:
    pd.testing.assert_frame_equal(a.table, b.table, check_exact=True)
    assert (a.start_time, a.lap_marks, a.pauses, a.speed_from) == (b.start_time, b.lap_marks, b.pauses, b.speed_from)


@pytest.mark.parametrize("start", [None, START])
def test_table_laps_and_pauses_come_back(tmp_path, start):
    marks = (LapMark(start_s=2.0, end_s=9.0, trigger="button"), LapMark(start_s=9.0, end_s=19.0, trigger="button"))
    ride = steady_ride(start_time=start, lap_marks=marks)
    same(again(tmp_path, ride), ride)


def test_triggers_and_timer_pauses_come_back(tmp_path):
    marks = (
        LapMark(start_s=0.0, end_s=9.0, trigger="distance"),
        LapMark(start_s=9.0, end_s=19.0, trigger="session_end"),
    )
    ride = steady_ride(lap_marks=marks, pauses=(Pause(start_s=3.0, end_s=6.0, cause="timer"),))
    same(again(tmp_path, ride), ride)


def test_derived_speed_stays_marked_as_derived(tmp_path):
    assert again(tmp_path, steady_ride(speed_from="position")).speed_from == "position"


def test_a_plain_ride_has_the_columns_of_the_contract_only(tmp_path):
    ride = steady_ride(start_time=START, lap_marks=(LapMark(start_s=0.0, end_s=19.0, trigger="button"),))
    header = write_csv(ride, tmp_path / "out.csv").read_text().splitlines()[0]
    assert header == "timestamp,power_w,speed_m_s,distance_m,lap"


def test_power_and_speed_are_columns_even_where_they_are_missing(tmp_path):
    ride = ride_of({"time_s": [0.0, 1.0], "distance_m": [0.0, 5.0]})
    assert write_csv(ride, tmp_path / "out.csv").read_text() == "time_s,power_w,speed_m_s,distance_m\n0,,,0\n1,,,5\n"


def test_time_zones_are_written_as_utc(tmp_path):
    start = datetime(2030, 5, 5, 15, 0, tzinfo=timezone(timedelta(hours=2)))
    text = write_csv(steady_ride(start_time=start), tmp_path / "out.csv").read_text()
    assert text.splitlines()[1].startswith("2030-05-05T13:00:00Z,")


def test_a_fit_ride_comes_back(tmp_path):
    seconds = [*range(40), *range(70, 121)]
    laps = [lap(0, 35.25), lap(35.25, 50.5), lap(85.75, 34.25)]
    ride = read_ride(written(tmp_path, activity(steady(seconds), laps=laps, sessions=[session(0, 120)])))
    same(again(tmp_path, ride), ride)


finite = {
    "power_w": st.floats(0.0, 2500.0),
    "speed_m_s": st.floats(0.0, 40.0),
    "altitude_m": st.floats(-450.0, 9000.0),
    "temperature_c": st.floats(-50.0, 60.0),
    "cadence_rpm": st.floats(0.0, 250.0),
    "air_speed_m_s": st.floats(-10.0, 60.0),
}


@st.composite
def rides(draw) -> Ride:
    rows = draw(st.integers(2, 30))
    steps = draw(st.lists(st.integers(2, 20_000_000), min_size=rows - 1, max_size=rows - 1))
    columns = {"time_s": np.concatenate([[0], np.cumsum(steps)]) / 1e6}
    for name, values in finite.items():
        columns[name] = draw(st.lists(values | st.just(float("nan")), min_size=rows, max_size=rows))
    if np.isnan(columns["speed_m_s"]).all():
        columns["speed_m_s"][0] = 9.0
    columns["distance_m"] = np.cumsum(draw(st.lists(st.floats(0.0, 1e-3), min_size=rows, max_size=rows)))
    columns["latitude_deg"] = draw(st.lists(st.floats(-90.0, 90.0), min_size=rows, max_size=rows))
    # Not about 0 N, 90 E, which stands for local metres and is written so.
    columns["longitude_deg"] = draw(st.lists(st.floats(0.5, 85.0), min_size=rows, max_size=rows))
    # Laps with a row each; their boundaries on rows, or anywhere in the step before one.
    cuts = sorted(draw(st.sets(st.integers(0, rows - 1), max_size=5)))
    t = columns["time_s"]
    early = draw(st.sampled_from([0.0, 0.3]))
    moments = [float(t[k] - early * (t[k] - t[max(k - 1, 0)])) for k in cuts]
    marks = tuple(
        LapMark(start_s=start, end_s=end, trigger=draw(st.sampled_from(["button", "distance"])))
        for start, end in pairwise(moments)
    )
    start = draw(st.none() | st.datetimes(datetime(2000, 1, 1), datetime(2060, 1, 1), timezones=st.just(UTC)))
    return ride_of(columns, start_time=start, lap_marks=marks)


@settings(max_examples=60)
@given(ride=rides())
def test_any_ride_comes_back(tmp_path_factory, ride):
    back = again(tmp_path_factory.mktemp("csv"), ride)
    pd.testing.assert_frame_equal(back.table, ride.table, check_exact=True)
    assert back.start_time == ride.start_time
    assert back.lap_marks == ride.lap_marks
    # What was repaired once needs no repair again.
    same(again(tmp_path_factory.mktemp("csv"), back), back)


def test_nothing_half_written_is_left_behind(tmp_path):
    with pytest.raises(FieldaeroError, match="no such folder"):
        write_csv(steady_ride(), tmp_path / "nowhere" / "out.csv")
    (tmp_path / "taken").mkdir()
    with pytest.raises(FieldaeroError, match="is a folder"):
        write_csv(steady_ride(), tmp_path / "taken")
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]


def test_an_older_file_is_replaced_whole(tmp_path):
    target = written(tmp_path, b"x" * 100_000, "out.csv")
    write_csv(steady_ride(), target)
    assert len(read_ride(target).table) == 20
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]


def test_the_file_the_ride_was_read_from_is_not_overwritten(tmp_path):
    path = written(tmp_path, b"time_s,power_w,speed_m_s\n0,1,1\n1,1,1\n", "in.csv")
    with pytest.raises(FieldaeroError, match="no input is replaced"):
        write_csv(read_ride(path), path)


def test_steps_too_short_for_stamps_are_refused(tmp_path):
    ride = ride_of({"time_s": [0.0, 1e-7], "speed_m_s": [1.0, 1.0]}, start_time=START)
    with pytest.raises(RideError, match="too short for time stamps"):
        write_csv(ride, tmp_path / "out.csv")
    same(again(tmp_path, replace(ride, start_time=None)), replace(ride, start_time=None))
