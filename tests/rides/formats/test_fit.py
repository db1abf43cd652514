"""FIT files: what is read, what wins where a file says a thing twice, and the laps."""

from __future__ import annotations

import struct
from datetime import UTC, datetime

import numpy as np
import pytest
from fit_tool.profile.profile_type import EventType, FileType, LapTrigger, Sport, SubSport

from fieldaero.basics.errors import RideError
from fieldaero.rides import read_ride
from fieldaero.rides.ride import LapMark, Pause
from tests.rides.formats.fit_files import (
    START_FIT_S,
    SWITCHED_ON_MS,
    activity,
    by_hand,
    definition,
    developed,
    file_id,
    fit,
    lap,
    record,
    session,
    steady,
    timer,
    written,
)


def read(tmp_path, content, **how):
    return read_ride(written(tmp_path, content), **how)


def test_every_column_arrives_in_si_units(tmp_path):
    ride = read(tmp_path, activity(steady(range(20)), sessions=[session(0, 19)]))
    assert ride.start_time == datetime(2030, 5, 5, 13, 0, tzinfo=UTC)
    assert ride.time_s.tolist() == list(range(20))
    assert ride.column("power_w").tolist() == [200.0] * 20
    assert ride.column("speed_m_s").tolist() == [10.0] * 20
    assert ride.column("distance_m").tolist() == [10.0 * k for k in range(20)]
    assert ride.column("altitude_m").tolist() == [100.0] * 20
    assert ride.column("temperature_c").tolist() == [21.0] * 20
    assert ride.column("cadence_rpm").tolist() == [88.0] * 20
    assert not ride.has("air_speed_m_s")
    assert (ride.sport, ride.speed_from, ride.source.format) == ("cycling", "recorded", "FIT")


def test_semicircles_become_degrees_within_half_a_unit(tmp_path):
    ride = read(tmp_path, activity(steady(range(3))))
    half = 180.0 / 2.0**32
    assert ride.column("latitude_deg") == pytest.approx(-28.0, abs=half)
    assert ride.column("longitude_deg") == pytest.approx([-122.0 + 10.0 * k / 98_360.0 for k in range(3)], abs=half)


def test_the_device_is_named_without_its_serial_number(tmp_path):
    ride = read(tmp_path, activity(steady(range(3))))
    assert ride.device == "development test unit"
    assert not any("987654321" in text for text in (*ride.notes, ride.device))


def test_the_source_is_named_by_the_bytes_as_given(tmp_path):
    import hashlib

    content = activity(steady(range(3)))
    ride = read(tmp_path, content)
    assert ride.source.sha256 == hashlib.sha256(content).hexdigest()
    assert ride.source.file == "ride.fit"


def test_missing_power_is_missing_and_not_zero(tmp_path):
    records = steady(range(10))
    for cells in records[4:7]:
        cells["power"] = None
    power = read(tmp_path, activity(records)).column("power_w")
    assert np.isnan(power[4:7]).all()
    assert np.isfinite(np.delete(power, [4, 5, 6])).all()


def test_a_ride_without_power_reads_and_says_so(tmp_path):
    ride = read(tmp_path, activity(steady(range(5), power=None)))
    assert not ride.has("power_w")
    assert any("no power was recorded" in note for note in ride.notes)


def test_power_of_zero_throughout_is_called_unusable(tmp_path):
    ride = read(tmp_path, activity(steady(range(5), power=0)))
    assert any("no usable power" in note for note in ride.notes)


def test_enhanced_speed_and_altitude_win_over_the_plain_fields(tmp_path):
    fields = [(253, 4, 0x86), (6, 2, 0x84), (73, 4, 0x86), (78, 4, 0x86), (2, 2, 0x84)]
    rows = b"".join(
        b"\x00" + struct.pack("<IHIIH", START_FIT_S + k, 5000, 9000, (50 + 500) * 5, (70 + 500) * 5) for k in range(3)
    )
    ride = read(tmp_path, by_hand(definition(0, 20, fields) + rows))
    assert ride.column("speed_m_s").tolist() == [9.0] * 3
    assert ride.column("altitude_m").tolist() == [50.0] * 3


def test_plain_speed_and_altitude_serve_where_enhanced_is_empty(tmp_path):
    fields = [(253, 4, 0x86), (73, 4, 0x86), (6, 2, 0x84), (2, 2, 0x84)]
    rows = b"".join(b"\x00" + struct.pack("<IIHH", START_FIT_S + k, 0xFFFFFFFF, 5000, (70 + 500) * 5) for k in range(3))
    ride = read(tmp_path, by_hand(definition(0, 20, fields) + rows))
    assert ride.column("speed_m_s").tolist() == [5.0] * 3
    assert ride.column("altitude_m").tolist() == [70.0] * 3


def test_of_a_field_that_stands_twice_the_first_value_counts(tmp_path):
    fields = [(253, 4, 0x86), (7, 2, 0x84), (7, 2, 0x84)]
    pairs = [(230, 0xFFFF), (0xFFFF, 240), (250, 260)]
    rows = b"".join(b"\x00" + struct.pack("<IHH", START_FIT_S + k, *pair) for k, pair in enumerate(pairs))
    ride = read(tmp_path, by_hand(definition(0, 20, fields) + rows))
    assert ride.column("power_w").tolist() == [230.0, 240.0, 250.0]


@pytest.mark.parametrize(
    ("name", "units", "scale"),
    [
        ("air_speed", "m/s", 1.0),
        ("airspeed", "km/h", 1 / 3.6),
        ("Air Speed", "mph", 0.44704),
        ("Air_Speed", "KPH", 1 / 3.6),
    ],
)
def test_a_developer_field_for_air_speed_is_read_in_its_declared_unit(tmp_path, name, units, scale):
    ride = read(tmp_path, developed(steady(range(4)), name, units, [8.0, 9.0, 10.0, 11.0]))
    assert ride.column("air_speed_m_s") == pytest.approx(scale * np.array([8.0, 9.0, 10.0, 11.0]), rel=1e-7)


@pytest.mark.parametrize("units", ["knots", None])
def test_air_speed_in_an_unknown_unit_is_left_out_with_a_note(tmp_path, units):
    ride = read(tmp_path, developed(steady(range(4)), "air_speed", units, [8.0] * 4))
    assert not ride.has("air_speed_m_s")
    assert any("air_speed" in note and "left out" in note for note in ride.notes)


@pytest.mark.parametrize(("name", "column"), [("Speed", "speed_m_s"), ("Power", "power_w"), ("Distance", "distance_m")])
def test_no_developer_field_shadows_a_native_one(tmp_path, name, column):
    ride = read(tmp_path, developed(steady(range(4)), name, "m/s", [77.0] * 4))
    assert 77.0 not in ride.column(column)
    assert not ride.has("air_speed_m_s")


def test_a_developer_field_is_no_native_value_where_that_is_missing(tmp_path):
    assert not read(tmp_path, developed(steady(range(4), power=None), "Power", "watts", [77.0] * 4)).has("power_w")


def test_irregular_recording_keeps_its_real_steps(tmp_path):
    seconds = [0, 1, 4, 6, 7, 11, 12]
    ride = read(tmp_path, activity(steady(seconds)))
    assert ride.time_s.tolist() == seconds
    assert ride.pauses == ()
    assert any("uneven steps" in note for note in ride.notes)


def test_a_timer_pause_reaches_from_sample_to_sample(tmp_path):
    seconds = [*range(10), *range(40, 50)]
    events = [timer(0, EventType.START), timer(9, EventType.STOP_ALL), timer(40, EventType.START)]
    ride = read(tmp_path, activity(steady(seconds), events=[*events, timer(49, EventType.STOP_ALL)]))
    assert ride.pauses == (Pause(start_s=9.0, end_s=40.0, cause="timer"),)


def test_a_gap_without_any_event_is_a_gap(tmp_path):
    ride = read(tmp_path, activity(steady([*range(10), *range(16, 20)])))
    assert ride.pauses == (Pause(start_s=9.0, end_s=16.0, cause="gap"),)


def test_five_seconds_are_no_gap(tmp_path):
    assert read(tmp_path, activity(steady([*range(10), *range(14, 20)]))).pauses == ()


def test_a_chained_file_is_read_on_with_a_break(tmp_path):
    ride = read(tmp_path, activity(steady(range(10))) + activity(steady(range(10, 20))))
    assert ride.time_s.tolist() == list(range(20))
    assert ride.pauses == (Pause(start_s=9.0, end_s=10.0, cause="gap"),)


def test_chained_files_in_the_wrong_order_change_places(tmp_path):
    ride = read(tmp_path, activity(steady(range(30, 40))) + activity(steady(range(10))))
    assert ride.time_s.tolist() == [*range(10), *range(30, 40)]
    assert any("time runs back" in note for note in ride.notes)


def test_settings_chained_behind_a_ride_do_no_harm(tmp_path):
    ride = read(tmp_path, activity(steady(range(10))) + fit([file_id(FileType.SETTINGS)]))
    assert len(ride.table) == 10


def test_of_several_sports_the_cycling_is_read(tmp_path):
    sessions = [
        session(0, 19, Sport.RUNNING, SubSport.GENERIC),
        session(20, 19, Sport.CYCLING, SubSport.ROAD),
        session(40, 20, Sport.RUNNING, SubSport.GENERIC),
    ]
    ride = read(tmp_path, activity(steady(range(60)), sessions=sessions))
    assert ride.sport == "cycling"
    assert ride.start_time == datetime(2030, 5, 5, 13, 0, 20, tzinfo=UTC)
    assert ride.duration_s == 19.0
    assert any("3 sessions" in note and "40 samples" in note for note in ride.notes)


def test_a_ride_of_another_sport_is_read_with_a_note(tmp_path):
    ride = read(tmp_path, activity(steady(range(5)), sessions=[session(0, 4, Sport.RUNNING, SubSport.TRAIL)]))
    assert ride.sport == "running"
    assert any("not as cycling" in note for note in ride.notes)


@pytest.mark.parametrize("sub", [SubSport.INDOOR_CYCLING, SubSport.VIRTUAL_ACTIVITY, SubSport.SPIN])
def test_a_ride_that_met_no_air_is_refused_unless_allowed(tmp_path, sub):
    content = activity(steady(range(5)), sessions=[session(0, 4, Sport.CYCLING, sub)])
    with pytest.raises(RideError, match="no air to measure"):
        read(tmp_path, content)
    assert len(read(tmp_path, content, allow_indoor=True).table) == 5


def test_outdoors_is_chosen_before_indoors(tmp_path):
    sessions = [session(0, 9, Sport.CYCLING, SubSport.INDOOR_CYCLING), session(10, 9)]
    assert read(tmp_path, activity(steady(range(20)), sessions=sessions)).duration_s == 9.0


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (FileType.WORKOUT, "workout"),
        (FileType.COURSE, "course"),
        (FileType.SETTINGS, "settings"),
        (FileType.WEIGHT, "weight"),
    ],
)
def test_a_file_that_is_no_activity_is_called_what_it_is(tmp_path, kind, words):
    with pytest.raises(RideError, match=words):
        read(tmp_path, fit([file_id(kind), *[record(cells) for cells in steady(range(5))]]))


def test_a_device_that_does_not_know_the_time_counts_from_the_start(tmp_path):
    ride = read(tmp_path, activity(steady(range(50, 60)), zero_ms=SWITCHED_ON_MS))
    assert ride.start_time is None
    assert ride.time_s.tolist() == list(range(10))


def test_records_without_any_time_are_refused(tmp_path):
    with pytest.raises(RideError, match="has a time"):
        read(tmp_path, activity([{**cells, "at": None} for cells in steady(range(3))] and [{"power": 200}] * 5))


def test_compressed_time_stamps_are_read(tmp_path):
    full = definition(0, 20, [(253, 4, 0x86), (7, 2, 0x84)])
    short = definition(1, 20, [(7, 2, 0x84)])
    start = START_FIT_S - START_FIT_S % 32 + 30
    body = full + b"\x00" + struct.pack("<IH", start, 200) + short
    body += b"".join(bytes([0x80 | 0x20 | (start + k) % 32]) + struct.pack("<H", 200 + k) for k in range(1, 6))
    ride = read(tmp_path, by_hand(body))
    assert ride.time_s.tolist() == list(range(6))
    assert ride.column("power_w").tolist() == [200.0 + k for k in range(6)]


def test_speed_is_derived_from_the_distance_where_none_was_recorded(tmp_path):
    ride = read(tmp_path, activity(steady(range(10), enhanced_speed=None)))
    assert ride.speed_from == "distance"
    assert ride.column("speed_m_s") == pytest.approx(10.0)


def test_speed_is_derived_from_the_positions_as_a_last_resort(tmp_path):
    ride = read(tmp_path, activity(steady(range(10), enhanced_speed=None, distance=None)))
    assert ride.speed_from == "position"
    assert ride.column("speed_m_s") == pytest.approx(10.0, rel=2e-3)  # 98,360 m per degree is rounded


def marks(tmp_path, laps, seconds=100, **how):
    content = activity(steady(range(seconds + 1)), laps=laps, sessions=[session(0, seconds)], **how)
    return read_ride(written(tmp_path, content)).lap_marks


@pytest.mark.parametrize("laps_first", [True, False])
def test_laps_are_ordered_by_start_wherever_they_stand(tmp_path, laps_first):
    laps = [lap(60, 40, LapTrigger.SESSION_END), lap(0, 30), lap(30, 30)]
    assert marks(tmp_path, laps, laps_first=laps_first) == (
        LapMark(start_s=0.0, end_s=30.0, trigger="button"),
        LapMark(start_s=30.0, end_s=60.0, trigger="button"),
        LapMark(start_s=60.0, end_s=100.0, trigger="session_end"),
    )


@pytest.mark.parametrize(
    ("trigger", "word"),
    [
        (LapTrigger.MANUAL, "button"),
        (LapTrigger.DISTANCE, "distance"),
        (LapTrigger.TIME, "time"),
        (LapTrigger.POSITION_START, "position"),
        (LapTrigger.POSITION_MARKED, "position"),
        (LapTrigger.SESSION_END, "session_end"),
        (LapTrigger.FITNESS_EQUIPMENT, "unknown"),
        (None, "unknown"),
    ],
)
def test_triggers_are_told_in_words(tmp_path, trigger, word):
    assert [mark.trigger for mark in marks(tmp_path, [lap(0, 50, trigger)])] == [word]


def test_boundaries_follow_the_milliseconds_of_the_durations(tmp_path):
    # True boundaries at 0, 30.4, 61.3 and 95.25 s; the start times are cut to whole seconds.
    laps = [lap(0, 30.4), lap(30.4, 30.9), lap(61.3, 33.95)]
    boundaries = [(mark.start_s, mark.end_s) for mark in marks(tmp_path, laps)]
    assert boundaries == [pytest.approx(pair) for pair in [(0.0, 30.4), (30.4, 61.3), (61.3, 95.25)]]


def test_laps_apart_from_each_other_stay_apart(tmp_path):
    assert [(mark.start_s, mark.end_s) for mark in marks(tmp_path, [lap(0, 20.5), lap(50, 20.5)])] == [
        (0.0, 20.5),
        (50.0, 70.5),
    ]


def test_a_duration_that_runs_into_the_next_lap_ends_there(tmp_path):
    assert marks(tmp_path, [lap(0, 80), lap(30, 20)])[0].end_s == 30.0


def test_a_lap_outside_the_recorded_time_is_left_out_with_a_note(tmp_path):
    content = activity(steady(range(101)), laps=[lap(0, 100), lap(500, 20)])
    ride = read_ride(written(tmp_path, content))
    assert len(ride.lap_marks) == 1
    assert any("1 lap outside the recorded time, or without length" in note for note in ride.notes)


def test_a_lap_that_is_still_open_is_left_out_with_a_note(tmp_path):
    ride = read_ride(written(tmp_path, activity(steady(range(11)), laps=[lap(0, None)])))
    assert ride.lap_marks == ()
    assert any("1 lap message" in note for note in ride.notes)


def test_a_ride_without_laps_has_none(tmp_path):
    assert marks(tmp_path, []) == ()
