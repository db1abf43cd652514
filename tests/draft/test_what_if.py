"""A what-if changes what it names and leaves the draft as it was."""

from __future__ import annotations

import pytest

from fieldaero.basics.errors import RunSheetError
from fieldaero.draft.draft import Draft, empty_draft
from fieldaero.draft.typed_tables import (
    claim_rows,
    claims_from_rows,
    sweeps_from_rows,
    tunnel_rows,
    with_cross_checks,
)
from fieldaero.draft.what_if import WhatIf, what_if, wind_can_change

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


def test_claims_go_to_the_table_and_back():
    claims = [{"setup": "b", "versus": "a", "saves": 12.0, "unit": "s", "distance_km": 40.0, "comparable": False}]
    assert claims_from_rows(claim_rows(claims), former=claims) == claims


def test_a_claim_that_is_half_typed_says_what_is_missing():
    with pytest.raises(RunSheetError, match="claim 1: unit is missing"):
        claims_from_rows([{"setup": "b", "saves": 12.0, "unit": None}])


def test_tunnel_points_become_a_sweep_per_setup_by_rising_yaw():
    rows = [
        {"setup": "b", "yaw_deg": 5.0, "cda_m2": 0.24, "sd_m2": 0.001},
        {"setup": "b", "yaw_deg": -5.0, "cda_m2": 0.25, "sd_m2": 0.001},
        {"setup": None, "yaw_deg": float("nan"), "cda_m2": float("nan"), "sd_m2": float("nan")},
        {"setup": "b", "yaw_deg": 0.0, "cda_m2": 0.26, "sd_m2": 0.001},
    ]
    (sweep,) = sweeps_from_rows(rows)
    assert sweep == {"setup": "b", "yaw_deg": [-5.0, 0.0, 5.0], "cda_m2": [0.25, 0.26, 0.24], "sd_m2": 0.001}
    assert sweeps_from_rows(tunnel_rows([sweep])) == [sweep]


def test_a_sweep_from_a_file_stays_when_others_are_typed():
    former = [{"setup": "a", "file": "sweep.csv"}]
    assert sweeps_from_rows([], former=former) == former


def test_an_uncertainty_for_some_points_only_is_refused():
    rows = [
        {"setup": "b", "yaw_deg": 0.0, "cda_m2": 0.26, "sd_m2": 0.001},
        {"setup": "b", "yaw_deg": 5.0, "cda_m2": 0.2},
    ]
    with pytest.raises(RunSheetError, match="for some points only"):
        sweeps_from_rows(rows)


def test_a_draft_that_is_not_complete_takes_claims_all_the_same():
    assert with_cross_checks(empty_draft(), "claims", [{"setup": "x", "saves": 1, "unit": "W"}]).tables.claims == [
        {"setup": "x", "saves": 1.0, "unit": "W"}
    ]
