"""Claims and tunnel numbers that are typed become tables of the run sheet."""

from __future__ import annotations

import pytest

from fieldaero.basics.errors import RunSheetError
from fieldaero.draft.draft import empty_draft
from fieldaero.draft.typed_tables import (
    claim_rows,
    claims_from_rows,
    sweeps_from_rows,
    tunnel_rows,
    with_cross_checks,
)


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
