"""The run sheet: what it may say, and what is said where it may not."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import RideError, RunSheetError, WeatherError
from fieldaero.run_sheet.sheet import check_lap_list, check_ride_file, read_run_sheet, run_sheet_from_text
from fieldaero.run_sheet.toml_text import toml_value

SHEET = """
schema = 1
title = "Two bars on the reservoir loop"
baseline = "stock bar"
[system]
mass_kg = 84
crr = 0.0045
[analysis]
smallest_difference_m2 = 0.002
[[weather]]
time = 2026-05-03T07:10:00Z
temperature_c = 18.0
pressure_hpa = 968.2
relative_humidity_pct = 60
wind_speed_m_s = 1.2
wind_from_deg = 240
[[setups]]
name = "stock bar"
[[setups]]
name = "aero bar"
mass_change_kg = 0.3
[[rides]]
file = "morning.fit"
laps = ["stock bar", "aero bar", "aero bar", "stock bar", "-"]
start_line = { latitude_deg = 10.0, longitude_deg = -40.0, heading_deg = 90.0 }
[[claims]]
setup = "aero bar"
saves = 12.0
unit = "s"
[[tunnel]]
setup = "aero bar"
yaw_deg = [-10, -5, 0, 5, 10]
cda_m2 = [0.251, 0.247, 0.245, 0.246, 0.250]
sd_m2 = 0.001
[[races]]
name = "the long way round"
distance_km = 90
"""
PATH = Path("somewhere") / "bars.toml"


def sheet(text=SHEET):
    return run_sheet_from_text(text, path=PATH)


def test_what_is_written_is_what_is_read():
    read = sheet()
    assert (read.title, read.baseline) == ("Two bars on the reservoir loop", "stock bar")
    assert (read.system.mass_kg, read.system.crr) == (84.0, 0.0045)
    assert read.rides[0].path == Path("somewhere") / "morning.fit"
    assert read.rides[0].laps == ("stock bar", "aero bar", "aero bar", "stock bar", "-")
    assert read.rides[0].start_line is not None
    assert read.rides[0].start_line.heading_deg == 90.0
    assert read.setup("aero bar").mass_change_kg == 0.3
    assert read.tunnel[0].yaw_deg == (-10, -5, 0, 5, 10)


def test_a_claim_without_versus_is_against_the_baseline():
    assert sheet().claims[0].versus == "stock bar"


def test_defaults_that_matter_are_said():
    read = sheet(SHEET.replace("crr = 0.0045\n", ""))
    assert any("crr is not given" in sentence for sentence in read.defaults_used)
    assert not any("crr" in sentence for sentence in sheet().defaults_used)


def test_weather_becomes_observations_of_the_course():
    (air,) = sheet().observations(date=None)
    assert air.pressure_pa == pytest.approx(96820.0)
    assert air.time == datetime(2026, 5, 3, 7, 10, tzinfo=UTC)


def test_a_report_takes_year_and_month_from_the_ride():
    text = SHEET.replace("temperature_c = 18.0\npressure_hpa = 968.2\nrelative_humidity_pct = 60\n", "").replace(
        "time = 2026-05-03T07:10:00Z\n", 'metar = "XXXX 030720Z 24005KT 9999 18/09 Q1021"\nelevation_m = 120.0\n'
    )
    text = text.replace("wind_speed_m_s = 1.2\nwind_from_deg = 240\n", "")
    (air,) = sheet(text).observations(date=datetime(2026, 5, 3, tzinfo=UTC))
    assert air.time == datetime(2026, 5, 3, 7, 20, tzinfo=UTC)
    with pytest.raises(WeatherError, match="year and month"):
        sheet(text).observations(date=None)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("mass_kg = 84", "mass = 84", ("[system], mass", "mass_kg", "did you mean")),
        ("mass_kg = 84\n", "", ("[system], mass_kg", "missing")),
        ("mass_kg = 84", 'mass_kg = "84"', ("mass_kg", '"84"', "number, without quotes")),
        ("mass_kg = 84", "mass_kg = true", ("mass_kg", "true", "number")),
        ("mass_kg = 84", "mass_kg = nan", ("mass_kg", "nan", "finite")),
        ("mass_kg = 84", "mass_kg = 84000", ("84000", "20 to 300 kg", "not grams")),
        ("mass_kg = 84", "mass_kg = 84,0", ("not valid TOML", "line 6")),
        ("crr = 0.0045", "crr = 4.5", ("4.5", "0.0005 to 0.05", "per mille")),
        ('laps = ["stock bar"', 'laps = ["stok bar"', ("lap 1", "stok bar", "did you mean stock bar", '"-"')),
        ('baseline = "stock bar"', 'baseline = "stock"', ("baseline", "stock bar")),
        ('unit = "s"', 'unit = "sec"', ("[[claims]] no. 1, unit", "sec", "percent")),
        ("2026-05-03T07:10:00Z", "2026-05-03T07:10:00", ("[[weather]] no. 1, time", "zone")),
        ("yaw_deg = [-10", "yaw_deg = [-20, -10", ("[[tunnel]] no. 1", "6 values", "5")),
        ("yaw_deg = [-10, -5", "yaw_deg = [-5, -10", ("yaw_deg", "rise")),
        ("schema = 1", "schema = 2", ("schema is 2", "allowed is 1")),
        ("schema = 1\n", "", ("schema", "missing")),
        ("schema = 1", 'schema = "1"', ('schema is "1"', "allowed is 1")),
        ('baseline = "stock bar"\n', "", ("baseline is missing; add it",)),
        ("wind_speed_m_s = 1.2", "", ("wind_from_deg", "without wind_speed_m_s")),
        ('name = "aero bar"', 'name = "-"', ("[[setups]] no. 2", "not used")),
        ('name = "aero bar"', 'name = "stock bar"', ("stock bar", "twice")),
        ("[[rides]]", "[rides]", ("[[rides]]", "two brackets")),
        ('file = "morning.fit"', "", ("[[rides]] no. 1, file", "missing")),
        (
            "smallest_difference_m2 = 0.002",
            "smallest_difference_m2 = 0.002\nsmallest_difference_w = 2",
            ("m2 and in w", "one of them"),
        ),
        ("heading_deg = 90.0", "heading_deg = 900.0", ("heading_deg", "0 to 360")),
        ("distance_km = 90", 'distance_km = "90"', ("[[races]] no. 1, distance_km", "number, without quotes")),
        ("distance_km = 90", "distance = 90", ("[[races]] no. 1, distance", "did you mean distance_", "road, power_w")),
        ("[[races]]", "[races]", ("[[races]]", "two brackets")),
        ('[[setups]]\nname = "stock', '[setups]\nname = "stock', ("not valid TOML", "two brackets, [[setups]]")),
        ('[[setups]]\nname = "aero', '[setups]\nname = "aero', ("not valid TOML", "two brackets, [[setups]]")),
        ("[analysis]", "[system]", ("not valid TOML", "line 8", "keep one heading [system]")),
        ("crr = 0.0045", "mass_kg = 85", ("not valid TOML", '"mass_kg = 85" gives something that is there already')),
        ("05-03T07", "15-03T07", ("not valid TOML", 'which reads "time = 2026-15-03T07:10:00Z"')),
        ("[system]\nmass_kg = 84\ncrr = 0.0045", "", ("[system] is missing", "mass_kg")),
        ('setup = "aero bar"\nsaves', 'setup = "stock bar"\nsaves', ("[[claims]] no. 1", "itself")),
    ],
)
def test_a_wrong_sheet_names_key_and_remedy(old, new, words):
    assert old in SHEET
    with pytest.raises(RunSheetError) as problem:
        sheet(SHEET.replace(old, new, 1))
    message = str(problem.value)
    assert "bars.toml" in message
    assert "\n" not in message
    for word in words:
        assert word in message


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("temperature_c = 18.0", "temperature_c = 291", ("temperature_c is 291", "kelvin")),
        ("pressure_hpa = 968.2", "pressure_hpa = 96820", ("pressure_hpa", "96820")),
        ("relative_humidity_pct = 60", "relative_humidity_pct = 0.6", ("relative_humidity_pct", "fraction")),
        ("relative_humidity_pct = 60\n", "", ("no. 1",)),
    ],
)
def test_impossible_weather_names_the_entry(old, new, words):
    with pytest.raises(WeatherError) as problem:
        sheet(SHEET.replace(old, new)).observations(date=None)
    for word in ("bars.toml: [[weather]] no. 1", *words):
        assert word in str(problem.value)


def test_a_ride_that_is_not_there_is_said_with_what_is(tmp_path):
    (tmp_path / "mornings.fit").write_bytes(b"")
    made = run_sheet_from_text(SHEET, path=tmp_path / "bars.toml")
    with pytest.raises(
        RideError, match=r"bars\.toml: \[\[rides\]\] no\. 1, morning\.fit: no such file.*mean mornings\.fit\?"
    ):
        check_ride_file(made, 0)
    (tmp_path / "morning.fit").write_bytes(b"")
    check_ride_file(made, 0)


def test_a_lap_list_of_the_wrong_length_says_both_numbers():
    check_lap_list(sheet(), 0, 5)
    with pytest.raises(RunSheetError, match=r"names 5 laps, and morning\.fit has 7"):
        check_lap_list(sheet(), 0, 7)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\xff\xfe\x00\x01binary", r"UTF-8.*fieldaero init sheet\.toml"),
        (b"PK\x03\x04\x00\x00", "TOML"),
        (None, "no such file"),
    ],
)
def test_a_file_that_is_no_run_sheet_is_refused_in_a_sentence(tmp_path, content, words):
    path = tmp_path / "sheet.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(RunSheetError, match=words):
        read_run_sheet(path)


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(RunSheetError, match="folder"):
        read_run_sheet(tmp_path)


names = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zs", "Zl", "Zp"]), min_size=1).filter(
    lambda name: name != "-"
)


@given(title=names, other=names.filter(lambda n: n != "stock bar"), mass=st.floats(20, 300), crr=st.floats(0.001, 0.02))
def test_written_as_toml_it_reads_back_the_same(title, other, mass, crr):
    made = SHEET.replace('"Two bars on the reservoir loop"', toml_value(title)).replace('"aero bar"', toml_value(other))
    first = sheet(made.replace("mass_kg = 84", f"mass_kg = {mass!r}").replace("crr = 0.0045", f"crr = {crr!r}"))
    again = sheet(first.to_toml())
    assert again.table == first.table
    assert again.system == first.system
    assert again.rides == first.rides
