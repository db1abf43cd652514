"""What a plan takes from rides and former tests."""

from __future__ import annotations

import json

import pytest

from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.physics.system import System
from fieldaero.plan.assumptions import former_of, former_test, planned_ride, road_ridden
from fieldaero.run_sheet.schema import USUAL_CHOICES
from fieldaero.simulator import CourseShape
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from fieldaero.simulator.session_files import GUST_SHARE, SLOW_SHARE
from tests.cli.command_line import ride_csv
from tests.whole_sessions import sample_result


def test_the_road_of_a_ride_has_its_length_height_and_power(tmp_path):
    road = road_ridden(ride_csv(tmp_path / "ride.csv", laps=3))
    assert road.course.length_m == pytest.approx(1500.0, rel=0.005)
    assert road.course.shape == "loop"
    assert road.course.height_m == pytest.approx(4.0, abs=1.5)  # a sine of 2 m about the mean
    assert road.power_w == pytest.approx(240.0, abs=3.0)


def test_a_ride_that_is_none_is_refused(tmp_path):
    (tmp_path / "ride.csv").write_text("time_s,power_w\n1,2\n", encoding="utf-8")
    with pytest.raises(FieldaeroError):
        road_ridden(tmp_path / "ride.csv")


def test_a_former_run_sheet_gives_its_own_scatter_and_noise(monkeypatch):
    monkeypatch.setattr("fieldaero.plan.assumptions.analyse", lambda _: sample_result())
    former, result = former_test(sample_folder() / SAMPLE_SHEET), sample_result()
    assert former.lap_scatter_m2 == result.lap_scatter_m2
    assert former.cda_m2 == result.setup_results[0].cda_m2
    # Simulated with 1 % and 2 W, and 0.02 m/s of a wheel sensor: the fit knows both to a factor of some two.
    assert 0.3 < former.sensors.power_noise / 0.01 < 3.0
    assert 0.3 < former.sensors.speed_noise_m_s / 0.02 < 3.0


def _result(tmp_path, **changes):
    told = sample_result().to_dict() | changes
    path = tmp_path / "result.json"
    path.write_text(json.dumps(told), encoding="utf-8")
    return path


def test_a_former_result_gives_its_scatter_and_wind(tmp_path):
    wind = {"mean_m_s": 2.0, "from_deg": 10.0, "sd_m_s": 0.8}
    former = former_test(_result(tmp_path, lap_scatter_m2=0.0031, wind=wind))
    assert former.lap_scatter_m2 == 0.0031
    assert (former.slow_share, former.gust_share) == (pytest.approx(0.4), GUST_SHARE)


def test_a_former_run_sheet_gives_its_rider_and_report_conditions():
    sheet = sample_result().session.run_sheet
    former = former_of(sample_result(), "it")
    assert (former.system, former.choices) == (sheet.system, sheet.analysis)


def test_a_former_result_gives_its_rider_and_report_conditions(tmp_path):
    background = sample_result().to_dict()["background"]
    background["system"] |= {"mass_kg": 71.5, "power_at": "hub"}
    background["choices"] |= {"report_speed_km_h": 38.0, "added_later": 1}
    former = former_test(_result(tmp_path, background=background))
    assert former.choices.report_speed_km_h == 38.0
    assert former.choices.report_power_w == sample_result().session.run_sheet.analysis.report_power_w
    course = CourseShape()
    ride = planned_ride(course, former=former)
    assert (ride.system.mass_kg, ride.system.crr, ride.system.efficiency) == (71.5, 0.0045, 1.0)
    # What is said now counts more, and a hub meter shows less power at the same speed.
    assert planned_ride(course, former=former, mass_kg=80.0).system.mass_kg == 80.0
    assert ride.power_w < planned_ride(course, former=former, system=System(mass_kg=71.5)).power_w


def test_a_result_from_before_says_nothing_of_rider_and_report(tmp_path):
    former = former_test(_result(tmp_path, background=None))
    assert former.system is None
    assert former.choices == USUAL_CHOICES


def test_a_result_with_an_impossible_rider_is_refused(tmp_path):
    background = {"system": {"mass_kg": 7.0}}
    with pytest.raises(RunSheetError, match=r"background\.system: mass_kg is 7\.0; allowed is 20 to 300 kg"):
        former_test(_result(tmp_path, background=background))


def test_calm_air_tells_no_share_of_the_wind(tmp_path):
    former = former_test(_result(tmp_path, wind={"mean_m_s": 0.1, "from_deg": 10.0, "sd_m_s": 0.3}))
    assert former.slow_share == SLOW_SHARE


def test_scatter_that_was_not_known_stays_unknown(tmp_path):
    assert former_test(_result(tmp_path, lap_scatter_m2=None)).lap_scatter_m2 is None


@pytest.mark.parametrize(
    ("text", "about"),
    [
        ("not json", "is not JSON"),
        ("[1, 2]", "is not the result of an analysis"),
        ('{"schema": 1}', "is not the result of an analysis"),
        ('{"schema": 1, "lap_scatter_m2": "small"}', "lap_scatter_m2 is 'small'"),
        ('{"schema": 1, "lap_scatter_m2": -0.1}', "allowed is a number from 0"),
        ('{"schema": 1, "lap_scatter_m2": NaN}', "allowed is a number from 0"),
    ],
)
def test_a_file_that_is_no_result_is_refused(tmp_path, text, about):
    (tmp_path / "result.json").write_text(text, encoding="utf-8")
    with pytest.raises(RunSheetError) as error:
        former_test(tmp_path / "result.json")
    assert about in str(error.value)


def test_a_former_result_that_is_not_there_is_a_sentence(tmp_path):
    with pytest.raises(RunSheetError, match="cannot be read"):
        former_test(tmp_path / "none.json")
