"""TCX and GPX: the same walker, whatever the namespaces, encodings and extension blocks."""

from __future__ import annotations

import codecs
from datetime import UTC, datetime

import numpy as np
import pytest

from fieldaero.basics.errors import RideError
from fieldaero.rides import read_ride
from fieldaero.rides.ride import LapMark, Pause
from tests.rides.formats.fit_files import written
from tests.rides.formats.xml_files import gpx, stamp, tcx, tcx_file, tcx_lap, trackpoint, trkpt


def read(tmp_path, text, *, name="ride.tcx", encoding="utf-8", **how):
    return read_ride(written(tmp_path, text if isinstance(text, bytes) else text.encode(encoding), name), **how)


def points(seconds, **how):
    return "".join(trackpoint(second, **how) for second in seconds)


def trkpts(seconds, **how):
    return "".join(trkpt(second, **how) for second in seconds)


def two_laps():
    return tcx([tcx_lap(0, [points(range(10))]), tcx_lap(10, [points(range(10, 21))], lasted=10.6)])


# TCX


def test_every_tcx_value_arrives(tmp_path):
    ride = read(tmp_path, two_laps())
    assert ride.start_time == datetime(2030, 5, 5, 13, 0, tzinfo=UTC)
    assert ride.time_s.tolist() == list(range(21))
    assert ride.column("power_w").tolist() == [200.0] * 21
    assert ride.column("speed_m_s").tolist() == [10.0] * 21
    assert ride.column("altitude_m").tolist() == [12.4] * 21
    assert ride.column("cadence_rpm").tolist() == [88.0] * 21
    assert ride.column("distance_m").tolist() == [10.0 * k for k in range(21)]
    assert ride.column("latitude_deg").tolist() == [-28.0] * 21
    assert (ride.source.format, ride.sport, ride.device) == ("TCX", "cycling", "Test unit")


def test_tcx_laps_meet_at_the_start_of_the_next_and_end_with_their_duration(tmp_path):
    assert read(tmp_path, two_laps()).lap_marks == (
        LapMark(start_s=0.0, end_s=10.0, trigger="button"),
        LapMark(start_s=10.0, end_s=20.6, trigger="button"),
    )


@pytest.mark.parametrize(
    ("word", "trigger"),
    [("Manual", "button"), ("Distance", "distance"), ("Location", "position"), ("Time", "time"), ("Auto", "unknown")],
)
def test_tcx_triggers_in_words(tmp_path, word, trigger):
    assert read(tmp_path, tcx([tcx_lap(0, [points(range(5))], trigger=word)])).lap_marks[0].trigger == trigger


def test_tcx_without_a_namespace_reads_the_same(tmp_path):
    plain = read(tmp_path, tcx([tcx_lap(0, [points(range(5))])], space=""))
    spaced = read(tmp_path, tcx([tcx_lap(0, [points(range(5))])]))
    assert plain.table.equals(spaced.table)
    assert plain.lap_marks == spaced.lap_marks


def test_a_tcx_time_without_a_zone_is_taken_as_utc_and_said(tmp_path):
    ride = read(tmp_path, tcx([tcx_lap(0, [points(range(5), zone="")], zone="")]))
    assert ride.start_time == datetime(2030, 5, 5, 13, 0, tzinfo=UTC)
    assert any("taken as UTC" in note for note in ride.notes)


def test_a_tcx_time_with_an_offset_is_converted(tmp_path):
    ride = read(tmp_path, tcx([tcx_lap(0, [points(range(5), zone="+02:00")], zone="+02:00")]))
    assert ride.start_time == datetime(2030, 5, 5, 11, 0, tzinfo=UTC)
    assert not any("UTC" in note for note in ride.notes)


def test_a_second_track_in_a_lap_is_a_break(tmp_path):
    ride = read(tmp_path, tcx([tcx_lap(0, [points(range(5)), points(range(8, 12))])]))
    assert ride.pauses == (Pause(start_s=4.0, end_s=8.0, cause="gap"),)


def test_a_new_lap_is_no_break(tmp_path):
    assert read(tmp_path, two_laps()).pauses == ()


def test_of_several_tcx_activities_the_cycling_is_read(tmp_path):
    run = f'<Activity Sport="Running">{tcx_lap(0, [points(range(10))])}</Activity>'
    bike = f'<Activity Sport="Biking">{tcx_lap(20, [points(range(20, 26))])}</Activity>'
    ride = read(tmp_path, tcx_file(run + bike))
    assert ride.time_s.tolist() == list(range(6))
    assert len(ride.lap_marks) == 1
    assert any("2 sessions" in note for note in ride.notes)


def test_a_bad_number_is_missing_and_counted(tmp_path):
    ride = read(tmp_path, tcx([tcx_lap(0, [points([0]) + points([1], power="much") + points([2])])]))
    assert np.isnan(ride.column("power_w")[1])
    assert any("power_w: 1 value not readable" in note for note in ride.notes)


def test_a_tcx_that_breaks_off_keeps_its_points(tmp_path):
    text = two_laps()
    ride = read(tmp_path, text[: text.index(stamp(15))])
    assert len(ride.table) == 15
    assert any("breaks off" in note for note in ride.notes)


def test_a_tcx_course_is_no_ride(tmp_path):
    course = f"<Courses><Course><Name>x</Name><Track>{points(range(5))}</Track></Course></Courses>"
    with pytest.raises(RideError, match="1 course"):
        read(tmp_path, f"<TrainingCenterDatabase>{course}</TrainingCenterDatabase>")


def test_a_virtual_tcx_ride_is_refused_unless_allowed(tmp_path):
    text = tcx([tcx_lap(0, [points(range(5))])], sport="Virtual Cycling")
    with pytest.raises(RideError, match="no air to measure"):
        read(tmp_path, text)
    assert len(read(tmp_path, text, allow_indoor=True).table) == 5


# GPX


def test_gpx_power_is_found_under_its_several_names(tmp_path):
    blocks = [
        "<extensions><power>210</power></extensions>",
        '<extensions><a:PowerInWatts xmlns:a="http://example.org/a">220</a:PowerInWatts></extensions>',
        "<extensions><heart>140</heart></extensions><extensions><b><power>230</power></b></extensions>",
        "<extensions><power></power><watts>240</watts></extensions>",
    ]
    ride = read(tmp_path, gpx(["".join(trkpt(k, extra=block) for k, block in enumerate(blocks))]), name="ride.gpx")
    assert ride.column("power_w").tolist() == [210.0, 220.0, 230.0, 240.0]
    assert (ride.source.format, ride.device, ride.sport) == ("GPX", "Test unit", "cycling")


def test_gpx_speed_is_derived_from_the_positions_and_marked(tmp_path):
    ride = read(tmp_path, gpx([trkpts(range(10))]), name="ride.gpx")
    assert ride.speed_from == "position"
    assert ride.column("speed_m_s") == pytest.approx(10.0, rel=2e-3)


def test_no_speed_is_derived_over_a_break(tmp_path):
    ride = read(tmp_path, gpx([trkpts(range(10)), trkpts(range(100, 110))]), name="ride.gpx")
    assert ride.pauses == (Pause(start_s=9.0, end_s=100.0, cause="gap"),)
    assert ride.column("speed_m_s") == pytest.approx(10.0, rel=2e-3)


def test_a_segment_is_a_break_even_without_a_gap(tmp_path):
    ride = read(tmp_path, gpx([trkpts(range(5)), trkpts(range(5, 10))]), name="ride.gpx")
    assert ride.pauses == (Pause(start_s=4.0, end_s=5.0, cause="gap"),)


def test_an_empty_last_segment_does_no_harm(tmp_path):
    assert len(read(tmp_path, gpx([trkpts(range(5)), ""]), name="ride.gpx").table) == 5


def test_one_undefined_elevation_loses_one_elevation(tmp_path):
    text = gpx([trkpts(range(5))]).replace("<ele>12.4</ele>", "<ele>undefined</ele>", 1)
    assert np.isnan(read(tmp_path, text, name="ride.gpx").column("altitude_m")).tolist() == [True] + [False] * 4


def test_points_without_a_time_are_left_out_and_counted(tmp_path):
    ride = read(tmp_path, gpx([trkpts([0, None, 1, 2])]), name="ride.gpx")
    assert ride.time_s.tolist() == [0.0, 1.0, 2.0]
    assert any("1 track point without a time" in note for note in ride.notes)


def test_a_route_without_times_is_refused_with_the_reason(tmp_path):
    with pytest.raises(RideError, match="none of its 3 track points has a usable time"):
        read(tmp_path, gpx([trkpts([None] * 3)]), name="ride.gpx")


def test_a_gpx_of_waypoints_is_called_one(tmp_path):
    with pytest.raises(RideError, match="0 routes and 1 waypoint"):
        read(tmp_path, '<gpx><wpt lat="-28" lon="-122"><name>x</name></wpt></gpx>', name="ride.gpx")


def test_gpx_without_a_namespace_reads_the_same(tmp_path):
    plain = read(tmp_path, gpx([trkpts(range(5))], space=""), name="ride.gpx")
    assert plain.table.equals(read(tmp_path, gpx([trkpts(range(5))]), name="ride.gpx").table)


def test_latitude_zero_is_a_place_and_zero_zero_is_none(tmp_path):
    text = gpx([trkpt(0, latitude=0.0) + trkpt(1, latitude=0.0) + trkpt(2, latitude=0.0, longitude=0.0)])
    latitude = read(tmp_path, text, name="ride.gpx").column("latitude_deg")
    assert latitude[:2].tolist() == [0.0, 0.0]
    assert np.isnan(latitude[2])


def test_fractions_of_a_second_are_kept(tmp_path):
    ride = read(tmp_path, gpx([trkpts([0.25, 1.5, 2.125])]), name="ride.gpx")
    assert ride.time_s.tolist() == [0.0, 1.25, 1.875]
    assert ride.start_time == datetime(2030, 5, 5, 13, 0, 0, 250_000, tzinfo=UTC)


# XML in general


@pytest.mark.parametrize(
    ("mark", "encoding"), [(codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (b"  \n", "utf-8")]
)
def test_byte_order_marks_and_leading_space_do_no_harm(tmp_path, mark, encoding):
    text = gpx([trkpts(range(5))]).replace(' encoding="UTF-8"', "")
    assert len(read(tmp_path, mark + text.encode(encoding), name="ride.gpx").table) == 5


def test_the_declared_encoding_is_obeyed(tmp_path):
    text = gpx([trkpts(range(5))]).replace("UTF-8", "ISO-8859-1").replace("Test unit", "Gerät")
    assert read(tmp_path, text.encode("latin-1"), name="ride.gpx").device == "Gerät"


@pytest.mark.parametrize(
    "declaration",
    [
        '<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">',
        '<!ENTITY a SYSTEM "file:///elsewhere.txt">',
    ],
)
def test_entities_are_refused(tmp_path, declaration):
    text = f"<?xml version='1.0'?><!DOCTYPE gpx [{declaration}]><gpx><trk><name>&a;</name></trk></gpx>"
    with pytest.raises(RideError, match="entity declarations"):
        read(tmp_path, text, name="ride.gpx")


def test_another_xml_file_is_called_by_its_root(tmp_path):
    with pytest.raises(RideError, match="<kml>"):
        read(tmp_path, "<kml><Document/></kml>", name="ride.gpx")


def test_xml_that_is_not_closed_in_its_first_element_is_refused(tmp_path):
    with pytest.raises(RideError, match="not well-formed"):
        read(tmp_path, '<?xml version="1.0"?><gpx ', name="ride.gpx")


@pytest.mark.parametrize("encoding", ["UTV-8", "shift_jis"])
def test_an_encoding_that_cannot_be_read_is_a_ride_error(tmp_path, encoding):
    text = gpx([trkpts(range(5))]).replace("UTF-8", encoding)
    with pytest.raises(RideError, match=r"not well-formed XML .*encoding"):
        read(tmp_path, text, name="ride.gpx")


def test_overlapping_tracks_leave_the_longest(tmp_path):
    ride = read(tmp_path, gpx([trkpts(range(40)), trkpts(range(10, 30))]), name="ride.gpx")
    assert ride.time_s.tolist() == list(range(40))
    assert any("time runs back" in note and "20 samples" in note for note in ride.notes)


def test_a_clock_that_stands_still_is_no_time(tmp_path):
    with pytest.raises(RideError, match="stood still"):
        read(tmp_path, gpx([trkpts([0] * 50 + [1, 2])]), name="ride.gpx")
