"""The charts of the result are valid specifications, and hold what the result says."""

from __future__ import annotations

import sys

import pytest

from tests.ui.pages import APP
from tests.whole_sessions import sample_result

if str(APP.parent) not in sys.path:
    sys.path.insert(0, str(APP.parent))

from _result_charts import budget_chart, difference_chart, lap_chart
from _road_charts import elevation_chart, residual_chart


@pytest.fixture(scope="module")
def result():
    return sample_result()


def rows_of(spec):
    return [row for rows in spec["datasets"].values() for row in rows]


@pytest.mark.parametrize("chart", [difference_chart, lap_chart, elevation_chart, residual_chart])
def test_each_chart_is_a_valid_specification_with_units_on_its_axes(result, chart):
    spec = chart(result).to_dict(validate=True)
    titles = {
        layer["encoding"][axis]["title"]
        for layer in spec["layer"]
        for axis in ("x", "y")
        if layer.get("encoding", {}).get(axis, {}).get("title")
    }
    assert titles
    assert all("[" in title for title in titles)


def test_the_budget_is_one_too(result):
    spec = budget_chart(result, "low extensions", "road bar").to_dict(validate=True)
    assert spec["encoding"]["x"]["title"] == "standard uncertainty [m²]"
    assert len(rows_of(spec)) == 2 * len([row for row in result.budget_rows if row.setup == "low extensions"])


def test_differences_are_drawn_with_their_verdict(result):
    rows = [row for row in rows_of(difference_chart(result).to_dict()) if "delta" in row]
    assert {(row["delta"], row["resolved"]) for row in rows} == {
        (c.delta_cda_m2, "resolved") for c in result.comparison_results
    }


def test_laps_left_out_carry_their_reason(result):
    rows = [row for row in rows_of(lap_chart(result).to_dict()) if row.get("used") is False]
    assert "left out: stopped, braked, speed outside" in {row["what"] for row in rows}
