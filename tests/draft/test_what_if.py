"""A what-if changes what it names and leaves the draft as it was."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from fieldaero.draft.draft import Draft, empty_draft
from fieldaero.draft.what_if import WhatIf, what_if, wind_can_change, with_plan
from tests.draft.sample_draft import sample_draft

WINDY = {"temperature_c": 18.0, "wind_speed_m_s": 2.0, "wind_from_deg": 240.0, "wind_height_m": 10.0}


@pytest.fixture
def draft() -> Draft:
    return empty_draft().with_table("weather", [WINDY, {"temperature_c": 19.0}])


def test_nothing_changed_is_the_same_draft(draft):
    assert what_if(draft, WhatIf()) is draft


def test_mass_and_rolling_resistance_change_and_the_original_stays(draft):
    before = draft.sheet_text()
    system = what_if(draft, WhatIf(mass_kg=80.0, crr=0.004)).tables.system
    assert (system["mass_kg"], system["crr"], system["crr_sd"]) == (80.0, 0.004, 0.0007)
    assert draft.sheet_text() == before


@pytest.mark.parametrize(("wind", "speed"), [("half as strong", 1.0), ("half as strong again", 3.0)])
def test_the_observed_wind_is_scaled_where_there_is_one(draft, wind, speed):
    first, second = what_if(draft, WhatIf(wind=wind)).tables.weather
    assert first["wind_speed_m_s"] == speed
    assert second == {"temperature_c": 19.0}


def test_a_wind_not_observed_takes_direction_and_height_with_it(draft):
    assert what_if(draft, WhatIf(wind="not observed")).tables.weather[0] == {"temperature_c": 18.0}


def test_a_smallest_difference_replaces_one_in_another_currency(draft):
    watts = draft.with_table("analysis", {"smallest_difference_w": 3.0, "report_speed_km_h": 40.0})
    assert what_if(watts, WhatIf(smallest_difference_m2=0.004)).tables.analysis == {
        "smallest_difference_m2": 0.004,
        "report_speed_km_h": 40.0,
    }


def test_only_wind_given_as_readings_can_be_changed(draft):
    assert wind_can_change(draft)
    assert not wind_can_change(draft.with_table("weather", [{"metar": "METAR ..."}]))


def plan(*setups):
    return SimpleNamespace(setups=setups, smallest_difference_m2=0.0031234)


def test_an_empty_draft_takes_setups_baseline_and_smallest_difference():
    draft = with_plan(empty_draft(), plan("stock", "aero"))
    assert draft.setups == ("stock", "aero")
    assert draft.baseline == "stock"
    assert draft.tables.analysis["smallest_difference_m2"] == 0.00312


def test_what_was_said_of_a_setup_and_setups_with_laps_stay():
    sample = sample_draft()
    draft = with_plan(sample, plan("low extensions", "new"))
    assert draft.setups == ("low extensions", "new", "road bar", "narrow extensions")
    assert draft.tables.setups[0]["description"].startswith("clip-on")
    assert [draft.setup_of(lap) for lap in draft.laps] == [sample.setup_of(lap) for lap in sample.laps]
