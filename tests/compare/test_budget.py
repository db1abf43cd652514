"""The uncertainty budget against the law of propagation of the GUM (JCGM 100:2008, equation 13) by matrices."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.compare.budget import CommonInput, budget, common_covariance_m4, common_inputs
from fieldaero.compare.session_comparison import Estimates, estimate_session
from fieldaero.estimate.joint_fit.input_sensitivities import InputSensitivities
from fieldaero.physics.system import System
from tests.whole_sessions import usual

CRR = "rolling resistance Crr"


@cache
def estimates() -> Estimates:
    return estimate_session(usual()[1])


def some_inputs(rng: np.random.Generator, laps: int = 6) -> tuple[CommonInput, ...]:
    return tuple(
        CommonInput(
            name=name,
            unit="",
            value=1.0,
            standard_uncertainty=rng.uniform(0.5, 1.5),
            lap_sensitivity=rng.normal(size=laps),
        )
        for name in ("mass", "power scale", "wheel circumference", "air density", CRR)
    )


def propagated(inputs, weights) -> float:
    """sqrt(J V J'): every lap has a mass of its own and so on, each wholly correlated from lap to lap."""
    K = len(weights)
    J = np.concatenate([weights * i.lap_sensitivity for i in inputs])
    blocks = [i.standard_uncertainty**2 * np.ones((K, K)) for i in inputs]
    V = np.zeros((K * len(inputs), K * len(inputs)))
    for n, block in enumerate(blocks):
        V[n * K : (n + 1) * K, n * K : (n + 1) * K] = block
    return float(np.sqrt(J @ V @ J))


def rows_of(inputs, setup_weights, versus_weights, *, cda_se=1e3, delta_se=1e3):
    return budget(
        inputs,
        setup="faired",
        versus="bare",
        setup_weights=setup_weights,
        versus_weights=versus_weights,
        cda_se_m2=cda_se,
        delta_se_m2=delta_se,
    )


A, B = np.array([1.0, 0.0, 0.0, 1.0, 1.0, 0.0]) / 3.0, np.array([0.0, 1.0, 1.0, 0.0, 0.0, 1.0]) / 3.0


@pytest.mark.parametrize("seed", range(6))
def test_contributions_are_those_of_inputs_correlated_from_lap_to_lap(seed):
    inputs = some_inputs(np.random.default_rng(seed))
    rows = rows_of(inputs, A, B)
    of_cda = np.hypot.reduce([r.contribution_cda_m2 for r in rows[:-1]])
    of_delta = np.hypot.reduce([r.contribution_delta_m2 for r in rows[:-1]])
    assert of_cda == pytest.approx(propagated(inputs, A), rel=1e-12)
    assert of_delta == pytest.approx(propagated(inputs, A - B), rel=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_what_common_inputs_add_to_the_laps_is_propagated_too(seed):
    inputs = some_inputs(np.random.default_rng(seed))
    added = common_covariance_m4(inputs)
    assert np.sqrt(A @ added @ A) == pytest.approx(propagated(inputs, A), rel=1e-12)
    assert np.sqrt((A - B) @ added @ (A - B)) == pytest.approx(propagated(inputs, A - B), rel=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_rolling_that_the_fit_estimated_is_in_its_covariance_already(seed):
    inputs = some_inputs(np.random.default_rng(seed))
    added = common_covariance_m4(inputs, crr_estimated=True)
    without = [i for i in inputs if i.name != CRR]
    assert np.sqrt(A @ added @ A) == pytest.approx(propagated(without, A), rel=1e-12)
    assert np.sqrt((A - B) @ added @ (A - B)) == pytest.approx(propagated(without, A - B), rel=1e-12)


@given(st.integers(0, 2**32 - 1), st.floats(0.0, 30.0), st.floats(0.0, 30.0))
def test_shares_sum_to_one(seed, cda_se, delta_se):
    rows = rows_of(some_inputs(np.random.default_rng(seed)), A, B, cda_se=cda_se, delta_se=delta_se)
    for share in ("share_cda", "share_delta"):
        values = [getattr(r, share) for r in rows]
        assert sum(values) == pytest.approx(1.0, abs=1e-9)
        assert min(values) >= -1e-12  # nothing is correlated with anything else, so nothing cancels


def test_the_laps_account_for_what_the_inputs_leave():
    inputs = some_inputs(np.random.default_rng(1))
    common = propagated(inputs, A - B)
    rows = rows_of(inputs, A, B, delta_se=2.0 * common)
    assert rows[-1].contribution_delta_m2 == pytest.approx(np.sqrt(3.0) * common, rel=1e-12)
    assert rows[-1].share_delta == pytest.approx(0.75, rel=1e-12)
    assert rows[-1].value is None


def test_what_acts_alike_on_every_lap_cancels_in_the_difference_only():
    alike = [
        replace(i, lap_sensitivity=np.full(6, i.lap_sensitivity[0])) for i in some_inputs(np.random.default_rng(2))
    ]
    rows = rows_of(alike, A, B, delta_se=0.1)
    for row in rows[:-1]:
        assert row.contribution_delta_m2 == pytest.approx(0.0, abs=1e-15)
        assert abs(row.contribution_cda_m2) > 0.0
    assert rows[-1].share_delta == pytest.approx(1.0, abs=1e-12)


def test_swapping_the_setups_changes_the_sign_of_a_difference_and_no_share():
    inputs = some_inputs(np.random.default_rng(3))
    here, there = rows_of(inputs, A, B), rows_of(inputs, B, A)
    for one, other in zip(here, there, strict=True):
        assert other.share_delta == pytest.approx(one.share_delta, abs=1e-15)
        if one.value is not None:
            assert other.sensitivity_delta == pytest.approx(-one.sensitivity_delta, abs=1e-15)


def test_inputs_carry_the_uncertainties_of_the_run_sheet_in_their_own_units():
    system = System(mass_kg=84.0, mass_sd_kg=0.5, power_scale_sd=0.02, wheel_circumference_sd=0.003)
    own = {f"{n}_m2": np.array([0.1, 0.2]) for n in ("mass", "power_scale", "speed_scale", "air_density", "crr")}
    inputs = {
        i.name: i
        for i in common_inputs(
            InputSensitivities(**own),
            system=system,
            air_density_kg_m3=1.2,
            air_density_sd_kg_m3=0.006,
            crr=0.0045,
            crr_se=0.0006,
        )
    }
    # Relative uncertainties times the change for the whole of the input.
    for name, relative in {
        "mass": 0.5 / 84.0,
        "power scale": 0.02,
        "wheel circumference": 0.003,
        "air density": 0.006 / 1.2,
    }.items():
        found = inputs[name]
        assert found.standard_uncertainty * found.lap_sensitivity == pytest.approx(relative * np.array([0.1, 0.2]))
        assert found.standard_uncertainty / found.value == pytest.approx(relative)
    assert inputs[CRR].standard_uncertainty * inputs[CRR].lap_sensitivity == pytest.approx([0.6e-4, 1.2e-4])


# A session ridden in still air: what the riders' scales do to a real fit


def of_session():
    return {row.input: row for row in estimates().budget}


@pytest.mark.parametrize("name", ["mass", "power scale", CRR])
def test_scales_matter_to_the_drag_area_and_hardly_to_the_difference(name):
    row = of_session()[name]
    assert abs(row.contribution_delta_m2) < 0.25 * abs(row.contribution_cda_m2)
    assert abs(row.contribution_cda_m2) > 1e-4


def test_a_larger_mass_or_crr_means_less_drag_and_a_meter_that_reads_low_means_more():
    rows = of_session()
    assert rows[CRR].sensitivity_cda < 0.0
    assert rows["air density"].sensitivity_cda < 0.0
    assert rows["power scale"].sensitivity_cda > 0.0
    # Drag area is as the inverse of density, and Crr takes m g of force from rho v^2 / 2.
    cda = next(m.cda_m2 for m in estimates().comparison.setups if m.setup == rows[CRR].setup)
    density = rows["air density"]
    assert density.sensitivity_cda == pytest.approx(-cda / density.value, rel=0.02)


def test_budget_of_a_session_has_a_row_per_input_and_sums_to_its_standard_errors():
    found = estimates()
    one = found.comparison.contrasts[0]
    own = next(m for m in found.comparison.setups if m.setup == one.setup)
    rows = found.budget
    assert [r.input for r in rows[:-1]] == ["mass", "power scale", "wheel circumference", "air density", CRR]
    assert np.hypot.reduce([r.contribution_cda_m2 for r in rows]) == pytest.approx(own.se_m2, rel=1e-9)
    assert np.hypot.reduce([r.contribution_delta_m2 for r in rows]) == pytest.approx(one.se_m2, rel=1e-9)
    assert sum(r.share_delta for r in rows) == pytest.approx(1.0)
    assert {r.setup for r in rows} == {"faired"}
