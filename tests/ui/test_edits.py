"""Edits of a table, folded into the rows that it was given."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "ui"))

from _edits import folded
from _lap_table import with_lap_edits
from _ride_charts import brushed_s
from _setups import with_setup_added, with_setup_changed, without_setup
from _weather_table import with_reports, with_weather_rows
from fieldaero.draft.draft import DraftLap, empty_draft
from tests.draft.sample_draft import RIDE, sample_draft

SEVEN = datetime(2026, 5, 3, 7, 0, tzinfo=UTC)


@pytest.fixture
def sample():
    return sample_draft()


@pytest.fixture
def rows(sample):
    return [
        {"ride": lap.ride, "lap": lap.lap, "use": sample.setup_of(lap) != "-", "setup": sample.setup_of(lap)}
        for lap in sample.laps
    ]


def lap(number):
    return DraftLap(ride=RIDE, lap=number)


def edited(sample, rows, cells, former=None):
    return with_lap_edits(sample, rows, {"edited_rows": cells}, former=former or {})


def test_cells_rows_gone_and_rows_added():
    begun = [{"a": 1, "hidden": 7}, {"a": 2}, {"a": 3}]
    edits = {"edited_rows": {0: {"a": 9}, 2: {"b": 4}}, "deleted_rows": [1], "added_rows": [{"a": 5}, {}]}
    assert folded(begun, edits) == [{"a": 9, "hidden": 7}, {"a": 3, "b": 4}, {"a": 5}]
    assert begun == [{"a": 1, "hidden": 7}, {"a": 2}, {"a": 3}]


def test_an_emptied_cell_is_gone():
    assert folded([{"a": 1, "b": 2}], {"edited_rows": {"0": {"b": None}}}) == [{"a": 1}]


def test_unticking_leaves_a_lap_out_and_ticking_takes_it_back(sample, rows):
    after, as_shown = edited(sample, rows, {3: {"use": False}})
    assert (after.setup_of(lap(4)), as_shown) == ("-", True)
    again, as_shown = edited(after, rows, {3: {"use": True}})
    assert (again.setup_of(lap(4)), as_shown) == ("low extensions", True)


def test_ticking_a_lap_that_was_not_used_gives_it_the_setup_it_had(sample, rows):
    after, as_shown = edited(sample, rows, {10: {"use": True}}, former={(RIDE, 11): "low extensions"})
    assert (after.setup_of(lap(11)), as_shown) == ("low extensions", False)


def test_ticking_a_lap_that_never_had_one_gives_it_the_baseline(sample, rows):
    after, as_shown = edited(sample, rows, {10: {"use": True}})
    assert (after.setup_of(lap(11)), as_shown) == ("road bar", False)


def test_choosing_a_setup_takes_the_lap_into_use(sample, rows):
    after, as_shown = edited(sample, rows, {10: {"setup": "low extensions"}})
    assert (after.setup_of(lap(11)), as_shown) == ("low extensions", False)
    other, as_shown = edited(sample, rows, {2: {"setup": "low extensions"}})
    assert (other.setup_of(lap(3)), as_shown) == ("low extensions", True)


def test_choosing_no_setup_leaves_the_lap_out(sample, rows):
    after, as_shown = edited(sample, rows, {2: {"setup": "-"}})
    assert (after.setup_of(lap(3)), as_shown) == ("-", False)


def test_two_edits_of_one_lap_keep_both(sample, rows):
    after, as_shown = edited(sample, rows, {3: {"use": False, "setup": "road bar"}})
    assert (after.setup_of(lap(4)), as_shown) == ("-", True)


def test_edits_of_several_laps_at_once(sample, rows):
    after, _ = edited(sample, rows, {2: {"use": False}, 3: {"setup": "road bar"}})
    assert [after.setup_of(lap(k)) for k in (3, 4, 5)] == ["-", "road bar", "narrow extensions"]


def test_weather_rows_keep_what_the_table_does_not_show_and_the_reports(sample):
    begun = sample.with_table("weather", [{"temperature_c": 15.0, "temperature_sd_c": 0.2}, {"metar": "XXXX 030720Z"}])
    edits = {
        "edited_rows": {0: {"temperature_c": 16}},
        "added_rows": [{"time": "2026-05-03T07:00:00.000", "dew_point_c": 9}],
    }
    after = with_weather_rows(begun, [begun.tables.weather[0]], edits)
    assert after.tables.weather == [
        {"temperature_c": 16.0, "temperature_sd_c": 0.2},
        {"time": SEVEN, "dew_point_c": 9.0},
        {"metar": "XXXX 030720Z"},
    ]


def test_a_time_alone_is_no_reading():
    begun = [{"time": SEVEN}, {"time": SEVEN}]
    after = with_weather_rows(empty_draft(), begun, {"edited_rows": {1: {"temperature_c": 15}}})
    assert after.tables.weather == [{"time": SEVEN, "temperature_c": 15.0}]


def test_a_time_with_a_zone_is_kept():
    after = with_weather_rows(
        empty_draft(), [], {"added_rows": [{"time": "2026-05-03T09:00:00+02:00", "temperature_c": 15}]}
    )
    assert after.tables.weather[0]["time"] == SEVEN


def test_reports_take_the_place_of_former_ones_and_leave_readings():
    begun = with_reports(empty_draft().with_table("weather", [{"temperature_c": 15.0}]), " XXXX 030720Z ", month=SEVEN)
    assert begun.tables.weather == [{"temperature_c": 15.0}, {"metar": "XXXX 030720Z", "time": SEVEN}]
    assert with_reports(begun, "", month=None).tables.weather == [{"temperature_c": 15.0}]


def test_setups_are_added_with_a_name_of_their_own():
    draft = with_setup_added(with_setup_added(empty_draft()))
    assert draft.setups == ("baseline", "setup 2", "setup 3")
    assert with_setup_added(without_setup(draft, "setup 2")).setups == ("baseline", "setup 3", "setup 4")


def test_a_setup_taken_away_takes_its_claims_and_sweeps_along(sample):
    after = without_setup(sample, "narrow extensions")
    assert any(row["setup"] == "narrow extensions" for row in sample.tables.claims)
    assert "narrow extensions" not in after.sheet_text()
    after.run_sheet()


def test_without_the_baseline_the_next_setup_is_it(sample):
    after = without_setup(sample, "road bar")
    assert after.baseline == "low extensions"
    after.run_sheet()


def test_what_is_said_of_a_setup_changes_and_the_rest_stays(sample):
    after = with_setup_changed(sample, "low extensions", {"mass_change_kg": 0.3, "description": ""})
    assert after.tables.setups[1] == {"name": "low extensions", "mass_change_kg": 0.3}
    assert after.tables.setups[0] == sample.tables.setups[0]


@pytest.mark.parametrize("event", [{}, {"selection": {}}, {"selection": {"pick": {}}}])
def test_no_brush_is_told_from_one(event):
    assert brushed_s(event) is None
    assert brushed_s({"selection": {"pick": {"time_s": [100, 200.5]}}}) == (100.0, 200.5)
