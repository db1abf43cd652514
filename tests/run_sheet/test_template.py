"""A drafted run sheet says what the rides know, invents nothing, and asks for the rest."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import pytest

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.basics.safety import SAFETY
from fieldaero.run_sheet.schema import FIRST_SETUP as BASELINE
from fieldaero.run_sheet.template import draft_run_sheet
from tests.cli.command_line import ride_csv
from tests.rides.formats.xml_files import gpx, trkpt


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rides")
    ride_csv(folder / "morning.csv", brake_in_lap=3)
    ride_csv(folder / "noon.csv", laps=4, marks=False)
    return folder


@pytest.fixture(scope="module")
def text(folder):
    return draft_run_sheet([folder / "morning.csv", folder / "noon.csv"], folder=folder)


def test_laps_that_are_whole_and_clean_are_entered_and_no_others(text):
    first, second = tomllib.loads(text)["rides"]
    assert first["file"] == "morning.csv"
    assert first["lap_source"] == "button"
    assert first["laps"][:6] == [BASELINE, BASELINE, "-", BASELINE, BASELINE, BASELINE]
    assert set(first["laps"][6:]) <= {"-"}
    assert second["lap_source"] == "repeat"
    assert set(second["laps"]) == {BASELINE}


def test_every_lap_has_its_line_with_what_is_known_of_it(text):
    braked = next(line for line in text.splitlines() if "# lap 3:" in line)
    assert braked.strip().startswith('"-",')
    assert "braked" in braked
    assert "from 09:0" in braked


def test_weather_and_mass_are_asked_for_and_not_invented(text):
    sheet = tomllib.loads(text)
    assert "mass_kg" not in sheet["system"]
    assert [list(entry) for entry in sheet["weather"]] == [["time"], ["time"]]
    assert sheet["weather"][0]["time"] == datetime(2030, 6, 2, 9, 0, tzinfo=UTC)
    for key in ("mass_kg", "temperature_c", "pressure_hpa", "relative_humidity_pct", "wind_speed_m_s"):
        assert f"# {key} =" in text


def test_filling_in_is_taking_away_the_sign_and_writing_a_value(text):
    filled = text.replace("# mass_kg =     ", "mass_kg = 84.0  ").replace(
        "# temperature_c =     ", "temperature_c = 18.0"
    )
    sheet = tomllib.loads(filled)
    assert sheet["system"]["mass_kg"] == 84.0
    assert [entry["temperature_c"] for entry in sheet["weather"]] == [18.0, 18.0]


def test_cautions_come_first(text):
    head = text[: text.index("schema = 1")]
    words = " ".join(head.replace("#", " ").split())
    assert all(line in words for line in SAFETY)


def test_every_setup_named_is_declared(text):
    sheet = tomllib.loads(text)
    declared = {setup["name"] for setup in sheet["setups"]}
    assert sheet["baseline"] in declared
    assert {name for ride in sheet["rides"] for name in ride["laps"]} <= declared | {"-"}


def test_rides_are_named_as_seen_from_the_sheet(folder, tmp_path):
    beside = folder / "sheets"
    sheet = tomllib.loads(draft_run_sheet([folder / "noon.csv"], folder=beside))
    assert sheet["rides"][0]["file"] == "../noon.csv"


def test_a_name_with_quotes_and_signs_reads_back_as_itself(folder, tmp_path):
    odd = tmp_path / "a \"quoted\" # 'name' ü.csv"
    odd.write_bytes((folder / "noon.csv").read_bytes())
    assert tomllib.loads(draft_run_sheet([odd], folder=tmp_path))["rides"][0]["file"] == odd.name


def test_a_ride_without_power_is_refused(tmp_path):
    path = tmp_path / "walk.gpx"
    path.write_text(gpx(["".join(trkpt(second) for second in range(60))]), encoding="utf-8")
    with pytest.raises(RideError, match=r"walk\.gpx: no usable power"):
        draft_run_sheet([path])


def test_a_ride_that_repeats_nothing_cannot_answer(tmp_path):
    once = ride_csv(tmp_path / "once.csv", laps=1, marks=False)
    with pytest.raises(CannotAnswerError, match="at least twice"):
        draft_run_sheet([once])


def test_no_ride_is_no_sheet():
    with pytest.raises(RunSheetError, match="at least one ride"):
        draft_run_sheet([])
