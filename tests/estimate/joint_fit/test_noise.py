"""Covariance of the segment equations against what each cause of noise does, worked out densely."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from fieldaero.estimate.joint_fit.noise import (
    AIR_SD,
    AIR_SD_OVER_S,
    BRAKE_SD,
    PARAMETERS,
    SHIFT_SD_M,
    UNKNOWN_VARIANCE_M2,
    lap_covariance,
    prior_penalty,
    start_values,
)
from tests.estimate.joint_fit.small_sessions import noise_parameters, only

LAPS, SEGMENTS = 2, 6


def laps(*, air_speed=False, braked=False, unknown=False):
    """Segments of unequal length, one after the other, and how they answer to wind."""
    rng = np.random.default_rng(11)
    duration = rng.uniform(3.0, 9.0, (LAPS, SEGMENTS))
    end = np.cumsum(duration, axis=1)
    braked_s, unknown_s = np.zeros((2, LAPS, SEGMENTS))
    if braked:
        braked_s[1, 2:4] = 2.0, 0.5
    if unknown:
        unknown_s[0, 4] = 3.0
    known = np.ones((LAPS, SEGMENTS), dtype=bool)
    known[0, 1] = False
    energy, air = -rng.uniform(0.1, 0.3, (LAPS, SEGMENTS)), -rng.uniform(0.9, 1.0, (LAPS, SEGMENTS))
    return {
        "duration_s": duration,
        "middle_s": end - duration / 2.0,
        "braked_s": braked_s,
        "unknown_s": unknown_s,
        "wind_sensitivity": np.hstack([energy, np.where(known, air, 0.0)]) if air_speed else energy,
        "air_speed_known": known if air_speed else None,
        "shift_sensitivity": np.zeros(SEGMENTS),
    }


def covariance_and_parts(theta, given, *, derivatives=True):
    """Segments and equations, of which the covariance needs these few arrays."""
    both = SimpleNamespace(**given)
    return lap_covariance(theta, both, both, derivatives=derivatives)


def covariance(theta, given):
    return covariance_and_parts(theta, given, derivatives=False)[0]


def means_over_segments(duration, *, steps):
    """Matrix that takes a process at fine moments to its means over the segments, and those moments."""
    end = np.cumsum(duration)
    moments, rows = [], []
    for k, (b, d) in enumerate(zip(end, duration, strict=True)):
        moments.append(b - d + d * (np.arange(steps) + 0.5) / steps)
        row = np.zeros(len(duration) * steps)
        row[k * steps : (k + 1) * steps] = 1.0 / steps
        rows.append(row)
    return np.array(rows), np.concatenate(moments)


@pytest.mark.parametrize("gust_s", [2.0, 7.0, 30.0])
def test_gusts_are_segment_means_of_a_wind_with_exponential_correlation(gust_s):
    given = laps()
    R = covariance(only(gust_sd_m_s=0.4, gust_s=gust_s), given)
    for k in range(LAPS):
        W, t = means_over_segments(given["duration_s"][k], steps=300)
        wind = W @ (0.4**2 * np.exp(-np.abs(t[:, None] - t[None, :]) / gust_s)) @ W.T
        gain = given["wind_sensitivity"][k]
        assert R[k] == pytest.approx(gain[:, None] * wind * gain[None, :], rel=1e-4)


def test_gusts_across_a_pause_are_less_alike():
    given = laps()
    apart = given | {"middle_s": given["middle_s"] + np.where(np.arange(SEGMENTS) >= 3, 10.0, 0.0)}
    theta = only(gust_sd_m_s=0.4, gust_s=5.0)
    near, far = covariance(theta, given), covariance(theta, apart)
    assert far[:, 2, 3] == pytest.approx(near[:, 2, 3] * np.exp(-10.0 / 5.0))
    assert far[:, 3, 4] == pytest.approx(near[:, 3, 4])


def test_error_of_speed_is_a_level_at_each_edge():
    R = covariance(only(level_sd_m=0.03), laps())
    gain_of_level = np.diff(np.eye(SEGMENTS + 1), axis=0)
    assert pytest.approx(np.broadcast_to(0.03**2 * gain_of_level @ gain_of_level.T, R.shape), abs=1e-12) == R


def test_error_of_speed_all_but_cancels_over_a_lap():
    R = covariance(only(level_sd_m=0.03), laps())
    assert R.sum(axis=(1, 2)) == pytest.approx(2.0 * 0.03**2)


def test_noise_of_power_is_independent_per_second():
    given = laps()
    R = covariance(only(power_sd_m_per_sqrt_s=0.006), given)
    for k in range(LAPS):
        assert R[k] == pytest.approx(np.diag(0.006**2 * given["duration_s"][k]), abs=1e-12)


def test_brakes_add_to_braked_segments_alone():
    given = laps(braked=True)
    R = covariance(only(brake_sd_m_per_sqrt_s=0.4), given)
    for k in range(LAPS):
        assert R[k] == pytest.approx(np.diag(0.16 * given["braked_s"][k]), abs=1e-12)


def test_segments_without_a_balance_weigh_nothing():
    given = laps(unknown=True)
    R = covariance(noise_parameters(), given)
    weight = 1.0 / np.diagonal(R, axis1=1, axis2=2)
    assert weight[0, 4] < 1.1 / UNKNOWN_VARIANCE_M2
    assert np.all(np.delete(weight.ravel(), 4) > 1.0)


def test_causes_are_independent():
    given = laps(air_speed=True, braked=True, unknown=True)
    # "Next to nothing" leaves only the huge variances of what was not recorded.
    nothing = covariance(only(), given)
    names = [p.name for p in PARAMETERS if p.name != "gust_s"]
    value = {p.name: v for p, v in zip(PARAMETERS, np.exp(noise_parameters()), strict=True)}
    parts = [covariance(only(**{"gust_s": value["gust_s"], name: value[name]}), given) - nothing for name in names]
    assert covariance(noise_parameters(), given) == pytest.approx(nothing + sum(parts), rel=1e-9, abs=1e-9)


def test_a_gust_strikes_energy_and_air_speed_together():
    given = laps(air_speed=True)
    R = covariance(only(gust_sd_m_s=0.4, gust_s=6.0), given)
    energy = R[1, :SEGMENTS, :SEGMENTS]
    gain = given["wind_sensitivity"][1, SEGMENTS:] / given["wind_sensitivity"][1, :SEGMENTS]
    assert R[1, :SEGMENTS, SEGMENTS:] == pytest.approx(energy * gain[None, :])
    assert R[1, SEGMENTS:, SEGMENTS:] == pytest.approx(gain[:, None] * energy * gain[None, :])


def test_noise_of_air_speed_is_that_of_a_mean_over_five_seconds():
    given = laps(air_speed=True)
    R = covariance(only(air_speed_sd_m_s=0.2), given)
    own = np.diagonal(R, axis1=1, axis2=2)[:, SEGMENTS:]
    known = given["air_speed_known"]
    assert own[known] == pytest.approx((0.2**2 * AIR_SD_OVER_S / given["duration_s"])[known])
    assert np.all(own[~known] >= UNKNOWN_VARIANCE_M2)
    assert R[:, :SEGMENTS, SEGMENTS:] == pytest.approx(np.zeros((LAPS, SEGMENTS, SEGMENTS)), abs=1e-12)


@pytest.mark.parametrize("air_speed", [False, True])
def test_covariance_is_positive_definite_within_the_bounds(air_speed):
    given = laps(air_speed=air_speed, braked=True, unknown=True)
    rng = np.random.default_rng(12)
    low, high = (np.log([getattr(p, end) for p in PARAMETERS]) for end in ("low", "high"))
    for theta in (low, high, *rng.uniform(low, high, (20, len(low)))):
        R = covariance(theta, given)
        assert pytest.approx(np.swapaxes(R, 1, 2), rel=1e-12, abs=0.0) == R
        assert np.linalg.eigvalsh(R).min() > 0.0


@pytest.mark.parametrize("air_speed", [False, True])
def test_derivatives_are_the_slopes_of_the_covariance(air_speed):
    given = laps(air_speed=air_speed, braked=True, unknown=True)
    theta = noise_parameters()
    _, parts = covariance_and_parts(theta, given)
    named = {part.parameter: part.derivative for part in parts}
    h = 1e-4
    for i in range(len(PARAMETERS)):
        step = h * np.eye(len(PARAMETERS))[i]
        slope = (covariance(theta + step, given) - covariance(theta - step, given)) / (2.0 * h)
        expected = named.get(i, np.zeros_like(slope))
        assert slope == pytest.approx(expected, rel=1e-4, abs=1e-7), PARAMETERS[i].name


def test_causes_that_play_no_part_have_no_derivative():
    def parameters(**what):
        return {part.parameter for part in covariance_and_parts(start_values(), laps(**what))[1]}

    assert parameters(braked=True) - parameters() == {BRAKE_SD}
    assert parameters(air_speed=True) - parameters() == {AIR_SD}


def test_penalty_is_minus_a_normal_log_density_of_the_logs():
    prior = stats.norm([np.log(p.centre) for p in PARAMETERS], [p.log_sd for p in PARAMETERS])
    rng = np.random.default_rng(13)
    for theta in start_values() + rng.normal(size=(5, len(PARAMETERS))):
        expected = prior.logpdf(start_values()).sum() - prior.logpdf(theta).sum()
        assert prior_penalty(theta)[0] == pytest.approx(expected)


def test_slope_of_the_penalty():
    theta = start_values() + np.linspace(-2.0, 2.0, len(PARAMETERS))
    h = 1e-5
    numeric = [
        (prior_penalty(theta + h * e)[0] - prior_penalty(theta - h * e)[0]) / (2.0 * h) for e in np.eye(len(PARAMETERS))
    ]
    assert prior_penalty(theta)[1] == pytest.approx(np.array(numeric), rel=1e-6, abs=1e-8)


def test_two_standard_deviations_off_cost_two_units():
    for i, p in enumerate(PARAMETERS):
        for side in (-1.0, 1.0):
            theta = start_values()
            theta[i] += side * 2.0 * p.log_sd
            assert prior_penalty(theta)[0] == pytest.approx(2.0)


def test_every_search_begins_between_its_bounds():
    assert all(p.low < p.centre < p.high for p in PARAMETERS)


def test_a_shift_along_the_road_moves_all_cells_of_a_lap_together():
    change = np.linspace(-0.05, 0.07, SEGMENTS)
    given = laps(air_speed=True)
    more = covariance(start_values(), given | {"shift_sensitivity": change}) - covariance(start_values(), given)
    assert more[:, :SEGMENTS, :SEGMENTS] == pytest.approx(
        np.tile(SHIFT_SD_M**2 * np.outer(change, change), (LAPS, 1, 1)), abs=1e-12
    )
    assert not more[:, SEGMENTS:].any()
    assert not more[:, :, SEGMENTS:].any()
