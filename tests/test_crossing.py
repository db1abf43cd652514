from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.crossing import StartLine, even_out_m, line_from_presses, passages
from fieldaero.errors import RunSheetError
from fieldaero.track import track_of
from tests.synthetic_rides import Noise, Rider, loop, recorded, ridden, straight_from, straight_to, when_at_s

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
def test_evening_out_leaves_this_share_of_the_crossing_error(lap_m, seen_sd_m, left):
    before, after = [], []
    for seed in range(40):
        true, seen = simulated_crossings(seed, lap_m=lap_m, laps=10, seen_sd_m=seen_sd_m)
        evened = even_out_m(seen, sd_m=seen_sd_m or 0.6 * SPEED_M_S)
        before.append(error_m(seen, true) ** 2)
        after.append(error_m(evened, true) ** 2)
    assert np.sqrt(np.mean(after)) < left * np.sqrt(np.mean(before))


def test_laps_of_one_length_stay_as_they_are():
    crossing = 40.0 + 1234.5 * np.arange(8)
    assert even_out_m(crossing, sd_m=2.0) == pytest.approx(crossing, abs=1e-6)


def test_a_stray_press_is_left_where_it_is_and_pulls_at_nothing():
    _, seen = simulated_crossings(3, lap_m=1500.0, laps=8, seen_sd_m=None)
    with_stray = np.sort(np.append(seen, seen[3] + 700.0))
    evened = even_out_m(with_stray, sd_m=6.0)
    assert seen[3] + 700.0 in evened
    assert np.delete(evened, 4) == pytest.approx(even_out_m(seen, sd_m=6.0))


def test_a_detour_ties_nothing_across_it():
    _, seen = simulated_crossings(5, lap_m=1500.0, laps=9, seen_sd_m=2.0)
    seen[5:] += 430.0
    evened = even_out_m(seen, sd_m=2.0)
    assert evened[5] - evened[4] == pytest.approx(1930.0, abs=8.0)
    assert np.diff(evened)[[0, 1, 2, 3, 5, 6, 7, 8]] == pytest.approx(1500.0, abs=3.0)


def test_a_missed_crossing_counts_as_two_laps():
    true, seen = simulated_crossings(6, lap_m=1500.0, laps=9, seen_sd_m=2.0)
    evened = even_out_m(np.delete(seen, 4), sd_m=2.0)
    assert error_m(evened, np.delete(true, 4)) < error_m(np.delete(seen, 4), np.delete(true, 4))


@given(shift=st.floats(0.0, 1e5), seed=st.integers(0, 50))
def test_where_the_counter_starts_does_not_matter(shift, seed):
    _, seen = simulated_crossings(seed, lap_m=1500.0, laps=6, seen_sd_m=2.0)
    assert even_out_m(seen + shift, sd_m=2.0) - shift == pytest.approx(even_out_m(seen, sd_m=2.0), abs=1e-3)


def straight_track(noise: Noise, *, stops: list[tuple[float, float]] | None = None):
    xy = straight_from(np.array([[0.0, 0.0], [0.0, 10.0]]), 2000.0)
    run = ridden(1980.0, Rider(stops=stops or []))
    return track_of(recorded(xy, run, noise=noise)), run


def line_at(track, distance_m: float, heading_deg: float) -> StartLine:
    latitude, longitude = track.frame.to_degrees(*track.position_at(distance_m))
    return StartLine(latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=heading_deg)


def test_a_crossing_is_interpolated_between_samples():
    track, _ = straight_track(Noise())
    assert passages(track, line_at(track, 1003.3, 0.0)).first_m == pytest.approx([1003.3], abs=0.01)


def test_a_line_crossed_askew_counts_and_one_crossed_backwards_does_not():
    track, _ = straight_track(Noise())
    assert len(passages(track, line_at(track, 1000.0, 50.0)).first_m) == 1
    assert len(passages(track, line_at(track, 1000.0, 180.0)).first_m) == 0


def test_a_road_beside_the_line_is_not_the_line():
    track, _ = straight_track(Noise())
    line = line_at(track, 1000.0, 0.0)
    beside = StartLine(latitude_deg=line.latitude_deg, longitude_deg=line.longitude_deg + 6e-4, heading_deg=0.0)
    assert len(passages(track, beside).first_m) == 0


@pytest.mark.parametrize("seed", range(6))
def test_standing_on_the_line_is_one_passage(seed):
    noise = Noise(seed=seed, position_m=2.5, position_time_s=8.0)
    track, _ = straight_track(noise, stops=[(1000.0, 120.0)])
    passed = passages(track, line_at(straight_track(Noise())[0], 1000.0, 0.0))
    assert len(passed.first_m) == 1
    assert passed.first_m[0] == pytest.approx(1000.0, abs=9.0)


def test_the_line_lies_where_most_presses_agree():
    one = loop(1500.0)
    xy = np.vstack([straight_to(one, 400.0), *[one] * 6, straight_from(one, 300.0)])
    run = ridden(400.0 + 6 * 1500.0 + 250.0, Rider())
    track = track_of(recorded(xy, run))
    late = np.array([0.9, -0.8, 0.3, -0.5, 0.7, -0.6, 0.1])
    presses = when_at_s(run, 400.0 + 1500.0 * np.arange(7)) + late
    elsewhere = when_at_s(run, [150.0, 2500.0, 4420.0])
    line = line_from_presses(track, [*presses, *elsewhere])
    assert line == line_from_presses(track, list(presses))
    there = passages(track, line).first_m
    assert len(there) == 7
    assert there[0] == pytest.approx(400.0, abs=4.0)


def test_presses_that_never_agree_make_no_line():
    track, run = straight_track(Noise())
    assert line_from_presses(track, list(when_at_s(run, [200.0, 700.0, 1500.0]))) is None


@pytest.mark.parametrize("wrong", [{"latitude_deg": 95.0}, {"longitude_deg": 181.0}, {"heading_deg": -10.0}])
def test_an_impossible_line_is_refused_with_the_range(wrong):
    with pytest.raises(RunSheetError, match=rf"{next(iter(wrong))}.*allowed is"):
        StartLine(**({"latitude_deg": 0.0, "longitude_deg": 0.0, "heading_deg": 0.0} | wrong))
