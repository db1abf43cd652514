"""Field against tunnel: En by hand, differences, and what is said where there is no number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.answers.cross_checks.tunnel import ABSOLUTE_REASONS, DIFFERENCE_REASONS, tunnel_results
from fieldaero.answers.cross_checks.tunnel_sweep import Sweep
from fieldaero.answers.cross_checks.yaw_ridden import ridden_yaw
from fieldaero.answers.rows import ComparisonResult, SetupResult, TunnelResult
from tests.whole_sessions import sample_result

NARROW, LOW, ROAD = "narrow extensions", "low extensions", "road bar"


def flat_sweep(setup: str, cda_m2: float, sd_m2: float = 0.0, **changes) -> Sweep:
    """The same drag area at all yaw, so that the weighted mean is known without weighting."""
    known = {
        "setup": setup, "yaw_deg": np.array([-60.0, 0.0, 60.0]), "cda_m2": np.full(3, cda_m2),
        "sd_m2": np.full(3, sd_m2), "sd_stated": True,
    }  # fmt: skip
    return Sweep(**(known | changes))


def setup_row(setup: str, cda_m2: float, half_m2: float) -> SetupResult:
    return SetupResult(
        setup=setup, laps=4, cda_m2=cda_m2, se_m2=half_m2 / 2.5, interval95_m2=(cda_m2 - half_m2, cda_m2 + half_m2)
    )


def pair_row(delta_m2: float, half_m2: float, setup: str = NARROW, versus: str = ROAD) -> ComparisonResult:
    return ComparisonResult(
        setup=setup, versus=versus, delta_cda_m2=delta_m2, se_m2=half_m2 / 2.5, df=9.0,
        interval95_m2=(delta_m2 - 3.0 * half_m2, delta_m2 + 3.0 * half_m2),
        interval95_alone_m2=(delta_m2 - half_m2, delta_m2 + half_m2), p_value=0.01, verdict="lower drag",
    )  # fmt: skip


def rows(*sweeps: Sweep, setups=(), comparisons=()) -> tuple[TunnelResult, ...]:
    return tunnel_results(sweeps, estimates=sample_result().estimates, setups=setups, comparisons=comparisons)


def test_en_of_a_drag_area_by_hand():
    # Field 0.262 with U 0.004, tunnel 0.256 with no error: En = 0.006 / 0.004 = 1.5.
    (row,) = rows(flat_sweep(NARROW, 0.256), setups=[setup_row(NARROW, 0.262, 0.004)])
    assert row.tunnel_m2 == pytest.approx(0.256)
    assert row.gap_m2 == pytest.approx(0.006)
    assert row.normalised_error == pytest.approx(1.5)
    assert row.agrees is False
    assert row.interval95_m2 == pytest.approx((0.002, 0.010))


def test_en_of_a_difference_by_hand():
    # Field -0.010 with U 0.003; tunnel 0.240 - 0.254 = -0.014 with the uncertainties of both sweeps:
    # gap 0.004 over sqrt(0.003^2 + U^2), U twice the root sum of squares of the two.
    sweeps = [
        replace(flat_sweep(setup, cda), sd_m2=np.full(3, sd))
        for setup, cda, sd in ((NARROW, 0.240, 0.0012), (ROAD, 0.254, 0.0016))
    ]
    told = rows(*sweeps, comparisons=[pair_row(-0.010, 0.003)])
    (row,) = [one for one in told if one.versus is not None]
    assert row.tunnel_m2 == pytest.approx(-0.014)
    share = [one.tunnel_se_m2 for one in told if one.versus is None]
    assert row.tunnel_se_m2 == pytest.approx(np.hypot(*share))
    assert row.normalised_error == pytest.approx(0.004 / np.sqrt(0.003**2 + (2.0 * row.tunnel_se_m2) ** 2))
    assert row.agrees is True


def test_the_field_counts_with_its_interval_for_this_comparison_alone():
    sweeps = (flat_sweep(NARROW, 0.240), flat_sweep(ROAD, 0.252))
    row = rows(*sweeps, comparisons=[pair_row(-0.010, 0.004)])[-1]
    assert row.field_expanded_m2 == pytest.approx(0.004)
    assert row.normalised_error == pytest.approx(0.5)


def test_a_sweep_is_weighted_with_the_yaw_of_its_own_setup():
    # A straight line through no yaw makes the weighted mean the mean yaw itself.
    slope = 1e-3
    line = Sweep(
        setup=NARROW, yaw_deg=np.array([-60.0, 0.0, 60.0]), cda_m2=0.25 + slope * np.array([-60.0, 0.0, 60.0]),
        sd_m2=np.zeros(3), sd_stated=True,
    )  # fmt: skip
    estimates = sample_result().estimates
    for setup in (NARROW, ROAD):
        yaw = ridden_yaw(estimates, setup=setup)
        (row,) = rows(replace(line, setup=setup))
        assert row.tunnel_m2 == pytest.approx(0.25 + slope * float(yaw.weights @ yaw.yaw_deg), abs=1e-12)
    assert ridden_yaw(estimates, setup=NARROW).rms_deg != ridden_yaw(estimates, setup=ROAD).rms_deg


def test_the_weights_are_told_in_bins_that_hold_them_all():
    (row,) = rows(flat_sweep(NARROW, 0.25))
    yaw = ridden_yaw(sample_result().estimates, setup=NARROW)
    assert sum(one.share for one in row.yaw_ridden) == pytest.approx(1.0)
    inside = (yaw.yaw_deg >= 0.0) & (yaw.yaw_deg < 2.0)
    (first,) = [one for one in row.yaw_ridden if one.low_deg == 0.0]
    assert first.share == pytest.approx(float(np.sum(yaw.weights[inside])))


def test_a_narrow_sweep_says_for_how_long_the_yaw_was_beyond_it():
    (row,) = rows(flat_sweep(NARROW, 0.25, yaw_deg=np.array([-2.0, 0.0, 2.0])), setups=[setup_row(NARROW, 0.25, 0.004)])
    yaw = ridden_yaw(sample_result().estimates, setup=NARROW)
    beyond = float(np.sum(yaw.time_s[np.abs(yaw.yaw_deg) > 2.0]) / np.sum(yaw.time_s))
    assert 0.1 < beyond < 0.9
    assert row.beyond_share == pytest.approx(beyond)
    assert any(f"For {100 * beyond:.0f} % of the time" in remark for remark in row.remarks)


def test_reasons_are_given_where_there_is_a_gap_and_only_there():
    apart = rows(flat_sweep(NARROW, 0.30), setups=[setup_row(NARROW, 0.25, 0.004)])[0]
    close = rows(flat_sweep(NARROW, 0.2501), setups=[setup_row(NARROW, 0.25, 0.004)])[0]
    assert apart.reasons == ABSOLUTE_REASONS
    assert any("rider" in reason for reason in apart.reasons)
    assert any("wheels" in reason for reason in apart.reasons)
    assert any("floor" in reason for reason in apart.reasons)
    assert close.reasons == ()
    sweeps = (flat_sweep(NARROW, 0.20), flat_sweep(ROAD, 0.25))
    assert rows(*sweeps, comparisons=[pair_row(-0.010, 0.004)])[-1].reasons == DIFFERENCE_REASONS


def test_a_mirrored_sweep_and_one_without_precision_say_so():
    (row,) = rows(flat_sweep(NARROW, 0.25, yaw_deg=np.array([0.0, 5.0, 10.0]), sd_stated=False))
    assert row.mirrored
    assert any("one side only" in remark for remark in row.remarks)
    assert any("no precision" in remark for remark in row.remarks)


def test_a_swept_setup_without_laps_has_no_number_but_a_sentence():
    (row,) = rows(flat_sweep("another bar", 0.25))
    assert row.field_m2 is None
    assert row.tunnel_m2 is None
    assert row.normalised_error is None
    assert row.agrees is None
    assert "The setup has no usable lap." in row.remarks


def test_two_sweeps_of_either_setup_are_compared_first_with_first():
    sweeps = [flat_sweep(NARROW, 0.24), flat_sweep(NARROW, 0.22), flat_sweep(ROAD, 0.25), flat_sweep(ROAD, 0.26)]
    told = [one.tunnel_m2 for one in rows(*sweeps, comparisons=[pair_row(-0.010, 0.004)]) if one.versus]
    assert told == pytest.approx([-0.01, -0.04])


def test_the_sample_agrees_with_its_tunnel():
    told = {(one.setup, one.versus): one for one in sample_result().tunnel_results}
    assert told[NARROW, None].agrees
    # Between the lowest and the highest point of the sweep.
    assert 0.248 < told[NARROW, None].tunnel_m2 < 0.254
    assert told[NARROW, None].beyond_share < 0.05
