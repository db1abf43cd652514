"""A simulated session as files that the analysis can read like anybody's."""

from __future__ import annotations

import json
from collections import Counter
from itertools import pairwise

import pytest

import fieldaero as fa
from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.simulator.session_files import mirrored_order, scenario_of, write_session
from tests.cli.command_line import hashes, nothing_changes

EVERYDAY = {"laps": 4, "lap_length_m": 1000.0, "wind_m_s": 0.5, "wind_from_deg": 200.0, "power_w": 240.0}
TWO = {"round bar": 0.30, "flat bar": 0.26}


@pytest.fixture(scope="module", params=["fit", "csv"])
def written(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("simulated")
    return folder, write_session(scenario_of(setups=TWO, **EVERYDAY), folder, seed=4, file_format=request.param)


def test_ride_sheet_and_truth_are_written_and_nothing_else(written):
    folder, paths = written
    assert sorted(paths) == sorted(folder.iterdir())
    assert {path.stem for path in paths} == {"ride", "runsheet", "truth"}


def test_the_analysis_reads_it_and_its_interval_holds_the_truth(written):
    folder, _ = written
    result = fa.analyse(folder / "runsheet.toml")
    true = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["setup_cda_m2"]
    assert true == TWO
    (comparison,) = result.comparison_results
    low, high = comparison.interval95_m2
    assert (comparison.setup, comparison.versus) == ("flat bar", "round bar")
    assert low < true["flat bar"] - true["round bar"] < high
    assert [lap.used for lap in result.lap_results].count(True) == EVERYDAY["laps"]


def test_both_formats_tell_the_same_ride(tmp_path):
    scenario = scenario_of(setups=TWO, **EVERYDAY)
    for kind in ("fit", "csv"):
        write_session(scenario, tmp_path / kind, seed=9, file_format=kind)
    as_fit, as_csv = (fa.read_ride(tmp_path / kind / f"ride.{kind}") for kind in ("fit", "csv"))
    assert as_fit.start_time == as_csv.start_time
    assert as_fit.column("power_w") == pytest.approx(as_csv.column("power_w"), abs=0.5)
    assert as_fit.column("speed_m_s") == pytest.approx(as_csv.column("speed_m_s"), abs=0.001)
    assert len(as_fit.lap_marks) == len(as_csv.lap_marks) == EVERYDAY["laps"] + 4


def test_the_same_seed_writes_the_same_bytes_and_another_seed_others(tmp_path):
    scenario = scenario_of(setups=TWO, **EVERYDAY)
    for name, seed in (("one", 3), ("again", 3), ("other", 4)):
        write_session(scenario, tmp_path / name, seed=seed, file_format="csv")
    assert hashes(tmp_path / "one") == hashes(tmp_path / "again")
    assert hashes(tmp_path / "one")["ride.csv"] != hashes(tmp_path / "other")["ride.csv"]


@pytest.mark.parametrize("name", ["runsheet.toml", "truth.json", "ride.csv"])
def test_what_lies_there_already_is_left_alone(tmp_path, name):
    (tmp_path / name).write_text("mine", encoding="utf-8")
    with nothing_changes(tmp_path), pytest.raises(FieldaeroError, match="is there already and was left as it is"):
        write_session(scenario_of(setups=TWO, **EVERYDAY), tmp_path, seed=1, file_format="csv")


def test_every_setup_is_followed_by_its_mirror_image():
    # A B C C B A: each setup has the same mean place, so that a steady drift cancels.
    order = mirrored_order(("A", "B", "C"), 12)
    places = {name: [k for k, lap in enumerate(order) if lap == name] for name in "ABC"}
    assert {name: sum(where) / len(where) for name, where in places.items()} == dict.fromkeys("ABC", 5.5)
    assert Counter(order) == dict.fromkeys("ABC", 4)
    assert all(a != b for (a, b), k in zip(pairwise(order), range(1, 12), strict=True) if k % 3)


@pytest.mark.parametrize(
    ("change", "about"),
    [
        ({"laps": 0}, "the number of laps is 0; allowed is 1 to 200"),
        ({"lap_length_m": 100.0}, "the lap length is 100 m; allowed is"),
        ({"wind_m_s": 50.0}, "the wind is 50 m/s; allowed is 0 to 12 m/s"),
        ({"wind_m_s": float("nan")}, "the wind is nan m/s"),
        ({"power_w": 5.0}, "the power is 5 W; allowed is 60 to 800 W"),
        ({"setups": {"a": 25.0}}, 'setup "a": a drag area of 25 m2; allowed is 0.1 to 1 m2'),
    ],
)
def test_what_nobody_can_ride_is_refused_with_what_is_allowed(change, about):
    with pytest.raises(RunSheetError) as refused:
        scenario_of(**({"setups": TWO} | EVERYDAY | change))
    assert about in str(refused.value)


def test_the_weather_is_observed_every_hour_of_a_long_ride(tmp_path):
    scenario = scenario_of(setups=TWO, **EVERYDAY | {"laps": 10, "lap_length_m": 3800.0})
    write_session(scenario, tmp_path, seed=4, file_format="csv")
    ride = fa.read_ride(tmp_path / "ride.csv")
    first, second = fa.read_run_sheet(tmp_path / "runsheet.toml").observations(date=None)
    assert first.time == ride.start_time
    assert (second.time - first.time).total_seconds() == 3600.0 < ride.time_s[-1] < 7200.0
