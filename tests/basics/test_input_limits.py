"""Input beyond all measure: one sentence with what was found, what is allowed and what to do; one switch lifts it."""

from __future__ import annotations

import gzip
import io
import re
import tracemalloc
import zipfile
from contextlib import contextmanager
from pathlib import Path

import pytest
from PIL import Image

from fieldaero.answers.cross_checks import tunnel_sweep
from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.input_limits import SWITCH, beyond
from fieldaero.plan import assumptions as plan_inputs
from fieldaero.publish import photos
from fieldaero.publish.photos import photo
from fieldaero.rides import detect, read_ride, read_ride_bytes, recording
from fieldaero.rides.formats import fit_messages as fit
from fieldaero.rides.formats import xml_points as xml_track
from fieldaero.run_sheet import sheet as run_sheet
from fieldaero.run_sheet.sheet import read_run_sheet
from fieldaero.simulator.sample_folder import copy_sample
from fieldaero.weather import station_csv as weather_csv
from fieldaero.weather.station_csv import read_weather_csv, weather_readings
from tests.rides.formats.fit_files import activity, lap, steady, timer
from tests.rides.formats.xml_files import gpx, tcx, tcx_lap, trackpoint, trkpt

ROOT = Path(__file__).resolve().parents[2]
WEATHER = b"time,temperature_c,pressure_hpa,dew_point_c\n2026-05-03T09:00Z,18.2,968.4,9.5\n"


def csv(rows: int, laps: int = 1) -> bytes:
    return b"time_s,power_w,speed_m_s,lap\n" + b"".join(b"%d,200,10,%d\n" % (k, k * laps // rows) for k in range(rows))


@contextmanager
def refused(about: str, *, allowed: str, then: str):
    """Hold that a sentence says what was found, what is allowed, what to do, and how to lift the limit."""
    with pytest.raises(FieldaeroError) as caught:
        yield
    message = str(caught.value)
    assert re.search(about, message), message
    assert allowed in message
    assert then in message
    assert f"{SWITCH}=off" in message
    assert "\n" not in message


def test_beyond_is_more_than_allowed_unless_lifted(monkeypatch):
    assert not beyond(5, 5)
    assert beyond(6, 5)
    monkeypatch.setenv(SWITCH, "Off")
    assert not beyond(6, 5)
    monkeypatch.setenv(SWITCH, "no idea")
    assert beyond(6, 5)


def sample_counts(monkeypatch):
    monkeypatch.setattr(recording, "MOST_SAMPLES", 20)


def lap_counts(monkeypatch):
    monkeypatch.setattr(recording, "MOST_LAPS", 5)


def depth(monkeypatch):
    monkeypatch.setattr(xml_track, "DEEPEST", 12)


def elements(monkeypatch):
    monkeypatch.setattr(xml_track, "MOST_ELEMENTS", 300)


def size(monkeypatch):
    monkeypatch.setattr(detect, "LARGEST_BYTES", 500)


def ratio(monkeypatch):
    monkeypatch.setattr(detect, "RATIO_FROM_BYTES", 1000)
    monkeypatch.setattr(detect, "LARGEST_RATIO", 3.0)


def points(n: int) -> str:
    return "".join(trkpt(k) for k in range(n))


NESTED = "<a>" * 10 + "</a>" * 10
MANY_LAPS = [lap(3 * k, 3) for k in range(10)]
TOO_MUCH = {
    "samples of a FIT file": (sample_counts, activity(steady(range(30))), "20 samples", "Export one ride"),
    "samples of a TCX file": (
        sample_counts,
        tcx([tcx_lap(0, ["".join(trackpoint(k) for k in range(30))])]).encode(),
        "20 samples",
        "Export one ride",
    ),
    "samples of a GPX file": (sample_counts, gpx([points(30)]).encode(), "20 samples", "Export one ride"),
    "samples of a CSV file": (sample_counts, csv(30), "20 samples", "Export one ride"),
    "laps of a FIT file": (lap_counts, activity(steady(range(30)), laps=MANY_LAPS), "5 laps", "Export one ride"),
    "laps of a CSV file": (lap_counts, csv(30, laps=10), "5 laps", "Export one ride"),
    "laps of a TCX file": (
        lap_counts,
        tcx([tcx_lap(3 * k, [trackpoint(3 * k) + trackpoint(3 * k + 1)], lasted=3.0) for k in range(10)]).encode(),
        "5 laps",
        "Export one ride",
    ),
    "depth of an XML file": (depth, gpx([points(5) + NESTED]).encode(), "12 elements within each other", "Export it"),
    "elements of an XML file": (elements, gpx(["<a/>" * 700 + points(5)]).encode(), "300", "Export the ride alone"),
    "size of a file": (size, csv(60), "MB", "Export the ride alone"),
    "size unpacked": (ratio, gzip.compress(csv(900)), "3 times the packed size", "Give the file unpacked"),
}


@pytest.mark.parametrize("case", TOO_MUCH)
def test_a_ride_beyond_a_limit_is_refused_and_read_when_it_is_lifted(case, monkeypatch):
    lower, content, allowed, then = TOO_MUCH[case]
    assert len(read_ride_bytes(content, name="ride").table) >= 5
    lower(monkeypatch)
    with refused(r"^ride: ", allowed=allowed, then=then):
        read_ride_bytes(content, name="ride")
    monkeypatch.setenv(SWITCH, "off")
    assert len(read_ride_bytes(content, name="ride").table) >= 5


def test_a_large_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "ride.fit"
    with path.open("wb") as out:
        out.truncate(detect.LARGEST_BYTES + 1)  # takes no room on the disk
    tracemalloc.start()
    with refused("200 MB", allowed="up to 200 MB", then="Export the ride alone"):
        read_ride(path)
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


def test_messages_that_are_no_records_are_counted_too(monkeypatch):
    from fit_tool.profile.profile_type import EventType

    content = activity(steady(range(5)), events=[timer(k, EventType.START) for k in range(10)])
    read_ride_bytes(content, name="ride.fit")
    lap_counts(monkeypatch)
    with refused("5 events", allowed="are allowed", then="Export one ride"):
        read_ride_bytes(content, name="ride.fit")
    assert set(fit.MANY) == {fit.LAP, fit.SESSION, fit.EVENT, fit.SPORT}


@pytest.mark.parametrize("off", [False, True])
def test_entities_are_never_expanded(off, monkeypatch):
    """Not even with the limits lifted: they also fetch files and addresses."""
    if off:
        monkeypatch.setenv(SWITCH, "off")
    bomb = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;">]><gpx><trk>&b;</trk></gpx>'
    with pytest.raises(FieldaeroError, match="entity declarations"):
        read_ride_bytes(bomb.encode(), name="ride.gpx")


def test_a_zip_archive_is_never_unpacked():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bound:
        bound.writestr("ride.csv", csv(30) + b"#" * 1_000_000)
    tracemalloc.start()
    with pytest.raises(FieldaeroError, match="a ZIP archive; unpack it first"):
        read_ride_bytes(out.getvalue(), name="ride.zip")
    assert tracemalloc.get_traced_memory()[1] < 300_000
    tracemalloc.stop()


def test_memory_stays_small_for_a_deep_file():
    tracemalloc.start()
    with refused("more than 50 elements within", allowed="ten at most", then="Export it again"):
        read_ride_bytes(b"<gpx>" + b"<trk>" * 1_000_000, name="ride.gpx")
    assert tracemalloc.get_traced_memory()[1] < 40_000_000
    tracemalloc.stop()


def test_a_photograph_of_too_many_pixels_or_bytes(tmp_path, monkeypatch):
    Image.new("RGB", (200, 100), "grey").save(tmp_path / "bar.png")
    photo(tmp_path, "bar.png")
    monkeypatch.setattr(photos, "LARGEST_MEGAPIXELS", 0.01)
    with refused("200 by 100 pixels", allowed="allowed are 0", then="Save a smaller copy"):
        photo(tmp_path, "bar.png")
    monkeypatch.setenv(SWITCH, "off")
    assert photo(tmp_path, "bar.png").width == 200
    monkeypatch.delenv(SWITCH)
    monkeypatch.setattr(photos, "LARGEST_MB", 1e-6)
    with refused("MB", allowed="allowed are 0 MB", then="Save a smaller copy"):
        photo(tmp_path, "bar.png")


def test_a_weather_file_that_is_too_large(tmp_path, monkeypatch):
    path = tmp_path / "station.csv"
    path.write_bytes(WEATHER)
    monkeypatch.setattr(weather_csv, "LARGEST_BYTES", 50)
    for read in (lambda: read_weather_csv(path), lambda: weather_readings(WEATHER, name="station.csv")):
        with refused(r"^station\.csv: ", allowed="are read", then="Keep the hours of the test"):
            read()
    monkeypatch.setenv(SWITCH, "off")
    assert len(read_weather_csv(path)) == 1


def test_a_run_sheet_that_is_too_large(tmp_path, monkeypatch):
    sheet = copy_sample(tmp_path / "demo")
    monkeypatch.setattr(run_sheet, "LARGEST_BYTES", 50)
    with refused("too large for a run sheet", allowed="allowed are", then="Is it a ride?"):
        read_run_sheet(sheet)
    monkeypatch.setenv(SWITCH, "off")
    assert read_run_sheet(sheet).setups


@pytest.mark.parametrize(
    ("room", "name", "unit"),
    [
        (detect, "LARGEST_BYTES", 1e6),
        (detect, "LARGEST_RATIO", 1),
        (recording, "MOST_SAMPLES", 1),
        (recording, "MOST_LAPS", 1),
        (xml_track, "DEEPEST", 1),
        (xml_track, "MOST_ELEMENTS", 1),
        (weather_csv, "LARGEST_BYTES", 1e6),
        (run_sheet, "LARGEST_BYTES", 1e6),
        (tunnel_sweep, "LARGEST_BYTES", 1e6),
        (plan_inputs, "MOST_BYTES", 1e6),
        (photos, "LARGEST_MB", 1),
        (photos, "LARGEST_MEGAPIXELS", 1),
    ],
)
def test_the_table_for_developers_says_each_limit_as_it_is(room, name, unit):
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text[text.index("### Limits of input") :].split("\n### ")[0]
    (row,) = (line for line in table.splitlines() if f"`{room.__name__.removeprefix('fieldaero.')}.{name}`" in line)
    assert f"{getattr(room, name) / unit:,.0f}" in row
    assert SWITCH in table
