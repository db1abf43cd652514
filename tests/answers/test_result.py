"""The result as tables and JSON: the contract's names, every number a number, nothing lost."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pandas as pd
import pytest

from fieldaero.answers.result import Result
from fieldaero.answers.rows import (
    ComparisonResult,
    CrrResult,
    DriftResult,
    InputFile,
    LapResult,
    SecondsResult,
    SetupResult,
    WattsResult,
    WindResult,
)
from fieldaero.simulator.sample_folder import sample_folder
from tests.whole_sessions import sample_result

TOP = {
    "schema", "title", "fieldaero", "inputs", "laps", "setups", "comparisons", "claims", "tunnel", "budget", "crr",
    "wind", "lap_scatter_m2", "drift_m2_per_h", "warnings", "known_drag", "yaw",
}  # fmt: skip
LAP = {
    "ride", "lap", "setup", "used", "flags", "start", "duration_s", "distance_m", "speed_m_s", "power_w",
    "air_density_kg_m3", "yaw_deg_median", "cda_m2", "cda_se_m2", "closure_cda_m2", "residual_rms_m",
}  # fmt: skip
SETUP = {"setup", "laps", "cda_m2", "se_m2", "interval95_m2"}
COMPARISON = {
    "setup", "versus", "delta_cda_m2", "se_m2", "df", "interval95_m2", "p_value", "verdict", "watts", "seconds",
    "further_laps",
}  # fmt: skip


def lap(number: int, **changes) -> LapResult:
    known = {
        "ride": "ride.csv", "lap": number, "setup": "bare", "used": True, "flags": (), "start": None,
        "duration_s": 220.0, "distance_m": 2400.0, "speed_m_s": 10.9, "power_w": 240.0, "air_density_kg_m3": 1.2,
        "yaw_deg_median": 2.0, "cda_m2": 0.25, "cda_se_m2": 0.002, "closure_cda_m2": 0.251, "residual_rms_m": 0.1,
    }  # fmt: skip
    return LapResult(**(known | changes))


def unknown_comparison(**changes) -> ComparisonResult:
    known = dict.fromkeys(("delta_cda_m2", "se_m2", "df", "interval95_m2", "p_value"))
    return ComparisonResult(**({"setup": "aero", "versus": "bare", "verdict": "not resolved"} | known | changes))


def little(**changes) -> Result:
    """The sample's result as if it held one lap and hardly anything were known."""
    known = {
        "title": "Little", "baseline": "bare", "version": "0",
        "inputs": (InputFile(file="sheet.toml", sha256="ab"),),
        "lap_results": (lap(1),),
        "setup_results": (SetupResult(setup="bare", laps=1, cda_m2=0.25, se_m2=math.nan, interval95_m2=None),),
        "comparison_results": (unknown_comparison(),),
        "crr": CrrResult(value=0.0045, se=0.0005, given=0.0045, given_sd=0.0005, estimated=False),
        "wind": WindResult(mean_m_s=1.24, from_deg=231.0, sd_m_s=0.2, mean_sd_m_s=0.3),
        "drift_m2_per_h": DriftResult(value=0.0, se=0.001), "lap_scatter_m2": None, "warnings": (),
    } | dict.fromkeys((f"{name}_results" for name in ("claim", "tunnel", "race", "known_drag")), ())  # fmt: skip
    return replace(sample_result(), budget_rows=(), **(known | changes))


def numbers(value):
    """All numbers in a JSON value."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [n for one in value for n in numbers(one)]
    return [value] if isinstance(value, float) else []


# JSON


def test_the_json_has_the_keys_of_schema_1():
    told = sample_result().to_dict()
    assert told["schema"] == 1
    assert set(told) >= TOP
    assert all(set(row) >= LAP for row in told["laps"])
    assert all(set(row) >= SETUP for row in told["setups"])
    assert all(set(row) >= COMPARISON for row in told["comparisons"])
    assert all(set(row) >= {"file", "sha256"} for row in told["inputs"])
    assert set(told["crr"]) >= {"value", "se"}
    assert set(told["wind"]) >= {"mean_m_s", "from_deg", "sd_m_s"}
    assert set(told["drift_m2_per_h"]) >= {"value", "se"}
    for row in told["comparisons"]:
        assert set(row["watts"]) >= {"speed_km_h", "value", "interval95"}
        assert set(row["seconds"]) >= {"distance_km", "power_w", "value", "interval95"}
        assert row["interval95_m2"][0] < row["delta_cda_m2"] < row["interval95_m2"][1]


def test_the_json_is_strict_and_comes_back_as_it_was():
    told = sample_result().to_dict()
    assert json.loads(json.dumps(told, allow_nan=False)) == told


@pytest.mark.parametrize("none", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_null_never_nought(none):
    told = little(lap_scatter_m2=none, lap_results=(lap(1, power_w=none, cda_m2=none),)).to_dict()
    assert told["lap_scatter_m2"] is None
    assert told["laps"][0]["power_w"] is None
    assert told["setups"][0]["se_m2"] is None
    assert all(math.isfinite(number) for number in numbers(told))
    json.dumps(told, allow_nan=False)


def test_values_that_numpy_made_become_plain_ones():
    told = little(lap_scatter_m2=np.float64(0.002), wind=replace(little().wind, mean_m_s=np.float32(1.5)))
    assert json.loads(json.dumps(told.to_dict()))["lap_scatter_m2"] == 0.002
    assert told.to_dict()["wind"]["mean_m_s"] == 1.5


def test_inputs_are_named_with_the_hash_of_their_bytes():
    for one in sample_result().to_dict()["inputs"]:
        assert one["sha256"] == hashlib.sha256((sample_folder() / one["file"]).read_bytes()).hexdigest()


# tables


@pytest.mark.parametrize("table", ["claims", "tunnel", "known_drag"])
def test_the_cross_checks_are_tables_too_with_their_columns_even_without_rows(table):
    full, empty = getattr(sample_result(), table), getattr(little(), table)
    told = sample_result().to_dict()[table]
    assert len(full) == len(told)
    assert len(empty) == 0
    assert list(empty.columns) == list(full.columns)
    assert not any("sweep" in column or column == "yaw_ridden" for column in full.columns)


def test_the_claims_table_holds_the_numbers_of_the_json():
    result = sample_result()
    for (_, row), entry in zip(result.claims.iterrows(), result.to_dict()["claims"], strict=True):
        assert [row["interval95_low"], row["interval95_high"]] == entry["interval95"]
        assert [row["interval95_low_m2"], row["interval95_high_m2"]] == entry["interval95_m2"]
        assert row["probability"] == entry["probability"]


def test_the_json_keeps_the_sweep_and_the_yaw_that_a_figure_needs():
    row = sample_result().to_dict()["tunnel"][0]
    assert row["sweep_yaw_deg"] == [-10.0, -5.0, 0.0, 5.0, 10.0]
    assert len(row["sweep_cda_m2"]) == len(row["sweep_sd_m2"]) == 5
    assert sum(one["share"] for one in row["yaw_ridden"]) == pytest.approx(1.0)


@pytest.mark.parametrize(("table", "keys"), [("laps", LAP), ("setups", SETUP), ("comparisons", COMPARISON)])
def test_the_tables_have_the_columns_of_the_json_with_intervals_in_two(table, keys):
    split = {key for key in keys if key.startswith("interval95")}
    ends = {key.replace("interval95", f"interval95_{end}") for key in split for end in ("low", "high")}
    frame = getattr(sample_result(), table)
    assert set(frame.columns) >= (keys - split) | ends
    assert len(frame) == len(sample_result().to_dict()[table])


def test_the_tables_hold_the_numbers_of_the_json():
    result, told = sample_result(), sample_result().to_dict()
    for (_, row), entry in zip(result.comparisons.iterrows(), told["comparisons"], strict=True):
        assert row["delta_cda_m2"] == entry["delta_cda_m2"]
        assert [row["interval95_low_m2"], row["interval95_high_m2"]] == entry["interval95_m2"]
        assert row["watts"] == entry["watts"]["value"]
        assert [row["seconds_interval95_low"], row["seconds_interval95_high"]] == entry["seconds"]["interval95"]
    assert result.laps["cda_m2"].dropna().tolist() == [row["cda_m2"] for row in told["laps"] if row["used"]]


def test_what_is_not_known_is_nan_in_a_table():
    row = little().comparisons.iloc[0]
    columns = ["delta_cda_m2", "interval95_low_m2", "interval95_high_m2", "p_value", "watts", "seconds_interval95_low"]
    assert row[columns].isna().all()
    assert pd.api.types.is_float_dtype(little().comparisons["delta_cda_m2"])


def test_seconds_without_an_interval_keep_their_value():
    row = little(
        comparison_results=(
            unknown_comparison(
                watts=WattsResult(speed_km_h=45.0, value=-9.0, interval95=(-12.0, -6.0)),
                seconds=SecondsResult(distance_km=40.0, power_w=250.0, value=-30.0, interval95=None),
            ),
        )
    ).comparisons.iloc[0]
    assert (row["watts"], row["watts_interval95_low"], row["watts_interval95_high"]) == (-9.0, -12.0, -6.0)
    assert row["seconds"] == -30.0
    assert math.isnan(row["seconds_interval95_low"])


def test_a_table_without_rows_keeps_its_columns():
    empty = replace(little(), lap_results=(), budget_rows=())
    assert set(empty.laps.columns) >= LAP
    assert len(empty.laps) == 0
    assert {"input", "unit", "standard_uncertainty"} <= set(empty.budget.columns)


def test_an_empty_table_has_the_columns_of_a_full_one():
    empty = replace(little(), setup_results=(), comparison_results=())
    assert list(empty.setups.columns) == list(little().setups.columns)
    assert list(empty.comparisons.columns) == list(little().comparisons.columns)


def test_a_result_cannot_be_changed():
    with pytest.raises(FrozenInstanceError):
        little().title = "Better"
