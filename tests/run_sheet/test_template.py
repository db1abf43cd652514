"""A drafted run sheet says what the rides know, invents nothing, and asks for the rest."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import pytest

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.basics.safety import SAFETY
from fieldaero.physics.system import System
from fieldaero.run_sheet.schema import FIRST_SETUP as BASELINE
from fieldaero.run_sheet.schema import USUAL_CHOICES, USUAL_SYSTEM, AnalysisChoices, SystemTable
from fieldaero.run_sheet.sheet import system_of
from fieldaero.run_sheet.template import draft_run_sheet, planned_run_sheet
from fieldaero.run_sheet.toml_text import toml_text
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


OTHER_SYSTEM = System(
    mass_kg=71.0,
    mass_sd_kg=0.25,
    wheel_inertia_kg_m2=0.11,
    wheel_circumference_m=2.0963,
    power_at="pedal",
    drivetrain_efficiency=0.9815,
    crr=0.003725,
    crr_sd=0.00035,
    power_scale_sd=0.0075,
    wheel_circumference_sd=0.0012,
)
OTHER_CHOICES = AnalysisChoices(
    report_speed_km_h=38.123456789,
    report_distance_km=16.09344,
    report_power_w=187.5,
    roughness_length_m=0.12,
    drift_sd_per_h=0.02,
    estimate_crr=True,
)


@pytest.mark.parametrize(
    ("system", "choices"), [(USUAL_SYSTEM, USUAL_CHOICES), (OTHER_SYSTEM, OTHER_CHOICES)], ids=["usual", "other"]
)
def test_a_planned_sheet_says_all_that_the_plan_assumed_but_the_mass(system, choices):
    for key, field in SystemTable.model_fields.items():
        assert key == "mass_kg" or system is USUAL_SYSTEM or getattr(system, key) != getattr(USUAL_SYSTEM, key), field
    text = planned_run_sheet(["a", "b"], ["a", "b"], smallest_difference_m2=0.003, system=system, choices=choices)
    sheet = tomllib.loads(text)
    assert "mass_kg" not in sheet["system"]
    assert system_of(SystemTable(mass_kg=system.mass_kg, **sheet["system"])) == system
    stated = AnalysisChoices(**sheet["analysis"])
    assert stated == choices.model_copy(update={"smallest_difference_m2": 0.003})


def changed(text, change):
    sheet = tomllib.loads(text)
    change(sheet)
    new = toml_text(sheet, former=text)
    assert tomllib.loads(new) == sheet
    return new


def test_a_setup_that_is_added_leaves_the_words_on_rides_above_the_rides(text):
    new = changed(text, lambda s: s["setups"].append({"name": "aero"}))
    words = text[text.index("# One block for each ride") : text.index("[[rides]]")]
    assert new.count(f"{words}[[rides]]") == new.count(words) == 1
    assert (
        '# mass_change_kg = 0.0          # what this setup adds to the mass above\n\n[[setups]]\nname = "aero"\n' in new
    )
    assert changed(new, lambda s: s["setups"].pop()) == text


@pytest.mark.parametrize("rows", [slice(0, 1), slice(1, 2), slice(0, 2)], ids=["first", "last", "all"])
@pytest.mark.parametrize("table", ["weather", "setups", "rides"])
def test_rows_that_go_take_no_words_on_other_tables_with_them(text, table, rows):
    if table == "setups":
        text = changed(text, lambda s: s["setups"].append({"name": "aero"}))

    def out(sheet):
        del sheet[table][rows]

    new = changed(text, out)
    heads = ("schema = 1", "[system]", "[analysis]", "[[weather]]", "[[setups]]", "[[rides]]")
    for words in ("# FILL IN, from a hand-held meter", "# One block for each ride", '# name = "second setup"'):
        assert new.count(words) == 1
        held = [head for head in heads if f"\n{head}" in new]
        after = [head for head in held if new.index(f"\n{head}") > new.index(words)]
        assert after == [head for head in held if text.index(f"\n{head}") > text.index(words)]


def test_a_value_from_elsewhere_takes_the_place_that_waits_for_it(text):
    new = changed(text, lambda s: s["system"].update(mass_kg=84.0))
    (was,) = (line for line in text.splitlines() if line.startswith("# mass_kg ="))
    (now,) = (line for line in new.splitlines() if "mass_kg =" in line)
    assert now.startswith("mass_kg = 84.0 ")
    assert "FILL IN" in was
    assert now.partition("#")[2].strip() == was.partition("FILL IN:")[2].strip()
    assert new == text.replace(was, now)
    new = changed(text, lambda s: s["weather"][1].update(pressure_hpa=1001.5))
    assert [line.partition(" =")[0] for line in new.splitlines() if "pressure_hpa =" in line] == [
        "# pressure_hpa",
        "pressure_hpa",
    ]
