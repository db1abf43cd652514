from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaero.laps.equal_laps import equal_lap_crossings_m

SPEED_M_S = 11.0


def simulated_crossings(
    seed: int, *, lap_m: float, laps: int, seen_sd_m: float | None
) -> tuple[np.ndarray, np.ndarray]:
    """True crossings and seen ones: by satellite with wandering error, or by presses of +-1 s."""
    rng = np.random.default_rng(seed)
    lengths = lap_m + rng.normal(0.0, 0.7, laps) + rng.normal(0.0, 0.0003 * lap_m, laps)
    true = np.concatenate([[0.0], np.cumsum(lengths)])
    if seen_sd_m is None:
        return true, true + SPEED_M_S * rng.uniform(-1.0, 1.0, laps + 1)
    keep = np.exp(-lap_m / SPEED_M_S / 60.0)
    error = [rng.normal()]
    for _ in range(laps):
        error.append(keep * error[-1] + np.sqrt(1.0 - keep**2) * rng.normal())
    return true, true + seen_sd_m * np.array(error)


def error_m(seen: np.ndarray, true: np.ndarray) -> float:
    """Root mean square error, the shift that all share left out: it only moves the line."""
    return float(np.std(seen - true))


@pytest.mark.parametrize(
    ("lap_m", "seen_sd_m", "left"),
    [(300.0, 2.0, 0.85), (1500.0, 2.0, 0.65), (5000.0, 2.0, 0.75), (1500.0, None, 0.5), (5000.0, None, 0.5)],
)
def test_equal_laps_leave_this_share_of_the_crossing_error(lap_m, seen_sd_m, left):
    before, after = [], []
    for seed in range(40):
        true, seen = simulated_crossings(seed, lap_m=lap_m, laps=10, seen_sd_m=seen_sd_m)
        corrected = equal_lap_crossings_m(seen, sd_m=seen_sd_m or 0.6 * SPEED_M_S)
        before.append(error_m(seen, true) ** 2)
        after.append(error_m(corrected, true) ** 2)
    assert np.sqrt(np.mean(after)) < left * np.sqrt(np.mean(before))


def test_laps_of_one_length_stay_as_they_are():
    crossing = 40.0 + 1234.5 * np.arange(8)
    assert equal_lap_crossings_m(crossing, sd_m=2.0) == pytest.approx(crossing, abs=1e-6)


def test_a_stray_press_is_left_where_it_is_and_pulls_at_nothing():
    _, seen = simulated_crossings(3, lap_m=1500.0, laps=8, seen_sd_m=None)
    with_stray = np.sort(np.append(seen, seen[3] + 700.0))
    corrected = equal_lap_crossings_m(with_stray, sd_m=6.0)
    assert seen[3] + 700.0 in corrected
    assert np.delete(corrected, 4) == pytest.approx(equal_lap_crossings_m(seen, sd_m=6.0))


def test_a_detour_ties_nothing_across_it():
    _, seen = simulated_crossings(5, lap_m=1500.0, laps=9, seen_sd_m=2.0)
    seen[5:] += 430.0
    corrected = equal_lap_crossings_m(seen, sd_m=2.0)
    assert corrected[5] - corrected[4] == pytest.approx(1930.0, abs=8.0)
    assert np.diff(corrected)[[0, 1, 2, 3, 5, 6, 7, 8]] == pytest.approx(1500.0, abs=3.0)


def test_a_missed_crossing_counts_as_two_laps():
    true, seen = simulated_crossings(6, lap_m=1500.0, laps=9, seen_sd_m=2.0)
    corrected = equal_lap_crossings_m(np.delete(seen, 4), sd_m=2.0)
    assert error_m(corrected, np.delete(true, 4)) < error_m(np.delete(seen, 4), np.delete(true, 4))


@settings(max_examples=25, deadline=None)
@given(shift=st.floats(0.0, 1e5), seed=st.integers(0, 50))
def test_where_the_counter_starts_does_not_matter(shift, seed):
    _, seen = simulated_crossings(seed, lap_m=1500.0, laps=6, seen_sd_m=2.0)
    assert equal_lap_crossings_m(seen + shift, sd_m=2.0) - shift == pytest.approx(
        equal_lap_crossings_m(seen, sd_m=2.0), abs=1e-3
    )
