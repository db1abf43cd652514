"""Lines of GPX files without times."""

from __future__ import annotations

import gzip

import pytest

from fieldaero.basics.errors import RideError
from fieldaero.rides.formats.gpx import read_gpx_line

TRACK = (
    '<trk><trkseg><trkpt lat="1" lon="2"><ele>3</ele></trkpt><trkpt lat="1.1" lon="2"/></trkseg>'
    '<trkseg><trkpt lat="1.2" lon="2"><ele>x</ele></trkpt></trkseg></trk>'
)
ROUTE = '<rte><rtept lat="5" lon="6"><ele>7</ele></rtept><rtept lat="5.1" lon="6"><ele>8</ele></rtept></rte>'
WAYPOINT = '<wpt lat="50" lon="60"><ele>70</ele></wpt>'


def line(tmp_path, inner, name="plan.gpx"):
    path = tmp_path / name
    path.write_text(f'<?xml version="1.0"?><gpx xmlns="http://example.org/gpx">{inner}</gpx>')
    return read_gpx_line(path)


def test_all_pieces_of_a_track_in_their_order(tmp_path):
    found = line(tmp_path, TRACK)
    assert (found.file, found.kind) == ("plan.gpx", "track")
    assert found.latitude_deg.tolist() == [1.0, 1.1, 1.2]
    assert found.altitude_m[0] == 3.0
    assert str(found.altitude_m[1:].tolist()) == "[nan, nan]"


def test_a_route_where_there_is_no_track(tmp_path):
    found = line(tmp_path, WAYPOINT + ROUTE)
    assert (found.kind, found.longitude_deg.tolist(), found.altitude_m.tolist()) == ("route", [6.0, 6.0], [7.0, 8.0])


def test_the_track_where_there_are_both(tmp_path):
    assert line(tmp_path, ROUTE + TRACK).kind == "track"


def test_a_packed_file(tmp_path):
    path = tmp_path / "plan.gpx.gz"
    path.write_bytes(gzip.compress(f"<gpx>{ROUTE}</gpx>".encode()))
    assert read_gpx_line(path).kind == "route"


@pytest.mark.parametrize(
    ("inner", "says"),
    [
        ("", "0 points of a track or route; a course needs at least 2"),
        (WAYPOINT * 3, "0 points"),
        ('<rte><rtept lat="5" lon="6"/></rte>', "1 point of"),
        ('<rte><rtept lat="95" lon="6"/><rtept lat="5" lon="6"/></rte>', "a latitude beyond 90"),
    ],
)
def test_a_file_without_a_line_is_refused(tmp_path, inner, says):
    with pytest.raises(RideError, match=says):
        line(tmp_path, inner)


def test_other_files_are_refused(tmp_path):
    other = tmp_path / "other.xml"
    other.write_text("<training/>")
    with pytest.raises(RideError, match="GPX begins with <gpx>"):
        read_gpx_line(other)
    table = tmp_path / "ride.csv"
    table.write_text("time_s,power_w\n0,1\n1,2\n")
    with pytest.raises(RideError, match="a CSV file; a planned course is read from GPX"):
        read_gpx_line(table)
    with pytest.raises(RideError, match="no such file"):
        read_gpx_line(tmp_path / "missing.gpx")
