from __future__ import annotations

import hashlib
import io
import json
import re
import tomllib
import zipfile
from dataclasses import replace

import numpy as np
import pytest

import fieldaero as fa
from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.laps.find_laps import find_laps
from fieldaero.publish.pack import pack_bytes
from fieldaero.publish.pack.readme import readme
from fieldaero.rides import read_ride
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from tests.publish.test_photos import with_position
from tests.whole_sessions import sample_result
from tests.written_sessions import scenario, written


def unpacked(packed: bytes, folder):
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        archive.extractall(folder)
    return folder


def deltas(result):
    return np.array([row.delta_cda_m2 for row in result.comparison_results])


@pytest.fixture(scope="module")
def sample_pack():
    return pack_bytes(sample_result())


@pytest.fixture(scope="module")
def folder(sample_pack, tmp_path_factory):
    return unpacked(sample_pack, tmp_path_factory.mktemp("pack"))


@pytest.fixture(scope="module")
def again(folder):
    """The pack's own files, analysed once more."""
    return fa.analyse(folder / "runsheet.toml")


def test_everything_that_a_sceptic_needs_is_in_it(folder):
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert names >= {
        "README.txt",
        "SHA256SUMS",
        "runsheet.toml",
        "results.json",
        "report.html",
        "summary.txt",
        "rides/ride-1.csv",
        "tables/laps.csv",
        "tables/comparisons.csv",
        "tables/budget.csv",
        "figures/differences.svg",
    }


def test_the_sums_are_those_of_the_files(folder):
    told = dict(line.split("  ")[::-1] for line in (folder / "SHA256SUMS").read_text().splitlines())
    files = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file() and p.name != "SHA256SUMS"}
    assert told == {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in files.items()}


def test_the_same_result_is_the_same_file(sample_pack):
    assert pack_bytes(sample_result()) == sample_pack


def test_analysing_the_unpacked_zip_gives_the_numbers_in_it(folder, again):
    assert again.to_dict() == json.loads((folder / "results.json").read_text(encoding="utf-8"))


def test_analysing_the_unpacked_zip_gives_the_numbers_of_the_originals(again):
    # Whole degrees of latitude leave g uncertain by half a degree of it: 0.052 m/s2 x sin(90 deg) x 0.5 x pi/180, in
    # 9.8 m/s2, or 4.6e-5, of which drag areas take less than all.
    np.testing.assert_allclose(deltas(again), deltas(sample_result()), rtol=4.6e-5)
    assert [c.verdict for c in again.comparison_results] == [c.verdict for c in sample_result().comparison_results]


def test_with_the_latitude_known_the_numbers_differ_by_the_rounding_of_the_tables_only(folder, tmp_path):
    sheet = tomllib.loads((folder / "runsheet.toml").read_text(encoding="utf-8"))
    sheet["course"]["latitude_deg"] = sample_result().session.course.start_line.latitude_deg
    sheet["rides"][0]["file"] = str(folder / "rides" / "ride-1.csv")
    (tmp_path / "exact.toml").write_text(toml_text(sheet), encoding="utf-8")
    np.testing.assert_allclose(deltas(fa.analyse(tmp_path / "exact.toml")), deltas(sample_result()), rtol=1e-6)


def test_with_positions_the_numbers_are_the_same(tmp_path):
    home = unpacked(pack_bytes(sample_result(), with_positions=True), tmp_path)
    again = fa.analyse(home / "runsheet.toml")
    np.testing.assert_allclose(deltas(again), deltas(sample_result()), rtol=1e-6)
    ride, before = read_ride(home / "rides" / "ride-1.csv"), sample_result().session.rides[0].ride
    np.testing.assert_array_equal(ride.column("latitude_deg"), before.column("latitude_deg"))
    assert ride.start_time == before.start_time


def test_no_place_and_no_date_leaves_without_being_asked(folder):
    ride = sample_result().session.rides[0].ride
    places = {
        f"{value:.3f}" for name in ("latitude_deg", "longitude_deg") for value in ride.column(name)[::60].tolist()
    }
    date = f"{ride.start_time:%Y-%m-%d}"
    for path in folder.rglob("*"):
        if path.is_file():
            text = path.read_text(encoding="utf-8")
            assert date not in text, path
            assert "latitude_deg,longitude_deg" not in text, path
            if path.suffix != ".svg":
                assert not [place for place in places if re.search(rf"(?<![\d.]){re.escape(place)}", text)], path
    header = (folder / "rides" / "ride-1.csv").read_text().splitlines()[0].split(",")
    assert {"east_m", "north_m"} <= set(header)
    assert not {"latitude_deg", "longitude_deg", "heart_rate_bpm"} & set(header)


def test_metres_keep_shape_and_direction_of_the_road(folder, again):
    ride = read_ride(folder / "rides" / "ride-1.csv")
    before = sample_result().session.course
    after = again.session.course
    np.testing.assert_allclose(after.heading_along_deg, before.heading_along_deg, atol=1e-4)
    np.testing.assert_allclose(np.diff(after.east_m), np.diff(before.east_m), atol=1e-4)
    assert np.nanmin(np.abs(ride.column("latitude_deg"))) < 1e-4  # the start line is where the metres begin


def test_the_clock_begins_with_the_session_for_rides_and_weather_alike(folder):
    sheet = tomllib.loads((folder / "runsheet.toml").read_text(encoding="utf-8"))
    before = sample_result().session
    start = read_ride(folder / "rides" / "ride-1.csv").start_time
    assert start.isoformat() == "2000-01-01T00:00:00+00:00"
    assert [entry["time"] - start for entry in sheet["weather"]] == [
        entry.time - before.rides[0].ride.start_time for entry in before.run_sheet.weather
    ]
    assert "since the start" in (folder / "report.html").read_text(encoding="utf-8")


def test_the_readme_says_how_to_redo_it_and_what_was_kept_back(folder):
    text = " ".join((folder / "README.txt").read_text(encoding="utf-8").split())
    assert "fieldaero analyse runsheet.toml" in text
    assert "sha256sum -c SHA256SUMS" in text
    assert "east and north of the start line" in text
    assert "2000-01-01" in text


def test_the_readme_repeats_a_note_letter_by_letter():
    result = sample_result()
    first, *others = result.session.rides
    noted = replace(first, ride=replace(first.ride, notes=("recorded as up .. and down, not as cycling",)))
    result = replace(result, session=replace(result.session, rides=(noted, *others)))
    text = readme(result, result, files=(), with_positions=False, with_originals=False)
    assert "- Ride 1: recorded as up .. and down, not as cycling.\n" in text


def test_originals_go_along_only_when_asked(sample_pack, tmp_path):
    content = (sample_folder() / "morning.fit").read_bytes()
    home = unpacked(pack_bytes(sample_result(), with_originals=True), tmp_path)
    assert (home / "originals" / "1-morning.fit").read_bytes() == content
    assert "devices and their serial numbers" in " ".join((home / "README.txt").read_text().split())
    with zipfile.ZipFile(io.BytesIO(sample_pack)) as archive:
        assert not [name for name in archive.namelist() if "original" in name or name.endswith(".fit")]


def elsewhere(sheet):
    """What may tell a place or a day: a start line, a station, a photograph, a sweep and a course in files."""
    sheet["weather"] = [{"metar": "METAR XXXX 030720Z 24003KT 9999 18/10 Q1021=", "elevation_m": 50.0}]
    sheet["weather"][0]["time"] = sheet.pop("day")
    sheet["setups"][0]["photos"] = ["shots/front.jpg"]
    sheet["tunnel"] = [{"setup": sheet["baseline"], "file": "sweep.csv"}]
    sheet["races"] = [{"name": "the long one", "file": "ride.csv"}]
    sheet["rides"][0]["lap_source"] = "line"


@pytest.fixture(scope="module")
def private(tmp_path_factory):
    """A session with a start line, a METAR, a photograph, and other files named in its run sheet."""
    home = tmp_path_factory.mktemp("private")
    sheet = written(home, scenario(laps=4))
    (home / "shots").mkdir()
    with_position(home / "shots" / "front.jpg")
    (home / "sweep.csv").write_text("yaw_deg,cda_m2\n-10,0.246\n0,0.250\n10,0.245\n")
    first = fa.analyse(sheet)
    line, ride = first.session.course.start_line, first.session.rides[0]
    content = tomllib.loads(sheet.read_text(encoding="utf-8"))
    content["day"] = ride.ride.start_time.replace(day=3)
    elsewhere(content)
    content["rides"][0]["start_line"] = {
        "latitude_deg": line.latitude_deg,
        "longitude_deg": line.longitude_deg,
        "heading_deg": line.heading_deg,
    }
    by_line = find_laps(ride.ride, lap_source="line", start_line=line)
    names = content["rides"][0]["laps"]
    content["rides"][0]["laps"] = [*names, *["-"] * len(by_line)][: len(by_line)]
    sheet.write_text(toml_text(content), encoding="utf-8")
    return fa.analyse(sheet)


def test_start_line_station_photograph_and_files_are_carried_over(private, tmp_path):
    home = unpacked(pack_bytes(private), tmp_path)
    sheet = tomllib.loads((home / "runsheet.toml").read_text(encoding="utf-8"))
    assert set(sheet["rides"][0]["start_line"]) == {"east_m", "north_m", "heading_deg"}
    assert abs(sheet["rides"][0]["start_line"]["east_m"]) < 30.0
    assert all("metar" not in entry and "temperature_c" in entry for entry in sheet["weather"])
    assert "file" not in sheet["tunnel"][0]
    assert "file" not in sheet["races"][0]
    assert sheet["setups"][0]["photos"] == ["photos/setup-1-1.jpg"]
    assert b"Exif" not in (home / "photos" / "setup-1-1.jpg").read_bytes()
    assert "XXXX" not in "".join(p.read_text() for p in home.rglob("*") if p.suffix in (".toml", ".json", ".txt"))
    again = fa.analyse(home / "runsheet.toml")
    np.testing.assert_allclose(deltas(again), deltas(private), rtol=4.6e-5)


def test_an_original_that_has_changed_or_gone_is_not_passed_off(tmp_path):
    sheet = written(tmp_path, scenario(laps=2))
    result = fa.analyse(sheet)
    (tmp_path / "ride.csv").write_text("changed")
    with pytest.raises(FieldaeroError, match=r"ride\.csv: has changed since it was analysed"):
        pack_bytes(result, with_originals=True)
    (tmp_path / "ride.csv").unlink()
    with pytest.raises(FieldaeroError, match=r"ride\.csv: the original cannot be read"):
        pack_bytes(result, with_originals=True)
    assert pack_bytes(result)[:2] == b"PK"  # what was analysed is at hand


def test_a_photograph_that_cannot_be_used_is_an_error_or_left_out(tmp_path):
    sheet = written(tmp_path, scenario(laps=2), edit=lambda table: table["setups"][0].update(photos=["../secret.jpg"]))
    result = fa.analyse(sheet)
    with pytest.raises(RunSheetError, match="outside the run sheet's folder"):
        pack_bytes(result)
    with zipfile.ZipFile(io.BytesIO(pack_bytes(result, strict_photos=False))) as archive:
        assert not [name for name in archive.namelist() if name.startswith("photos/")]


def test_a_pack_of_a_pack_is_as_good(again, tmp_path):
    home = unpacked(pack_bytes(again), tmp_path)
    np.testing.assert_allclose(deltas(fa.analyse(home / "runsheet.toml")), deltas(again), rtol=1e-6)
    assert SAMPLE_SHEET not in (home / "README.txt").read_text()
