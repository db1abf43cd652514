"""The wind that a rider meets has the statistics that were asked for."""

from __future__ import annotations

import numpy as np
import pytest

from fieldaero.simulator import CourseShape, Wind
from fieldaero.simulator.wind import PassingWind
from tests.simulator.sessions import session

STEP_S = 0.25
STEPS = 400_000  # 1e5 s


def met(wind: Wind, *, air_speed_m_s: float = 10.0, seed: int = 1, steps: int = STEPS) -> np.ndarray:
    """The wind of many steps, shape (steps, 2)."""
    rng = np.random.default_rng(seed)
    passing = PassingWind(wind, noise=rng.normal(size=(steps, 4)), step_s=STEP_S, rng=rng)
    out = np.empty((steps, 2))
    for k in range(steps):
        out[k] = passing.now_m_s()
        passing.advance(k, air_speed_m_s)
    return out


def likeness(x: np.ndarray, after_s: float) -> float:
    """Correlation with itself after some time."""
    k = round(after_s / STEP_S)
    x = x - x.mean()
    return float(np.mean(x[k:] * x[:-k]) / np.mean(x * x))


@pytest.mark.parametrize(
    ("from_deg", "goes"), [(0.0, (0.0, -2.0)), (90.0, (-2.0, 0.0)), (180.0, (0.0, 2.0)), (270.0, (2.0, 0.0))]
)
def test_wind_goes_away_from_where_it_comes_from(from_deg, goes):
    wind = Wind(speed_m_s=2.0, from_deg=from_deg)
    assert wind.mean_m_s == pytest.approx(goes, abs=1e-12)


def test_slow_wind_has_its_standard_deviation_and_time_scale():
    # 1e5 s of a process with a time scale of 50 s: 1000 independent values in either component.
    wind = met(Wind(speed_m_s=1.5, from_deg=270.0, slow_sd_m_s=0.4, slow_s=50.0))
    assert wind.mean(axis=0) == pytest.approx([1.5, 0.0], abs=0.05)
    assert wind.std(axis=0) == pytest.approx([0.4, 0.4], rel=0.08)
    for part in wind.T:
        assert likeness(part, 50.0) == pytest.approx(np.exp(-1.0), abs=0.1)
    assert abs(np.corrcoef(wind.T)[0, 1]) < 0.12


@pytest.mark.parametrize("air_speed_m_s", [6.0, 12.0])
def test_gusts_fade_over_a_length_of_air(air_speed_m_s):
    # 5e4 s of a process with a time scale of 5 or 10 s: its standard deviation is known to 1 %.
    wind = met(Wind(gust_sd_m_s=0.5, gust_length_m=60.0), air_speed_m_s=air_speed_m_s, steps=STEPS // 2)
    assert wind.std(axis=0) == pytest.approx([0.5, 0.5], rel=0.05)
    for part in wind.T:
        assert likeness(part, 60.0 / air_speed_m_s) == pytest.approx(np.exp(-1.0), abs=0.05)


def test_after_a_break_the_slow_wind_remembers_and_the_gusts_do_not():
    wind = Wind(slow_sd_m_s=1.0, slow_s=300.0)
    gusty = Wind(gust_sd_m_s=1.0)

    def pairs(wind: Wind) -> np.ndarray:
        rng = np.random.default_rng(3)
        out = []
        for _ in range(4000):
            passing = PassingWind(wind, noise=np.empty((0, 4)), step_s=STEP_S, rng=rng)
            before = passing.now_m_s()[0]
            passing.wait(150.0, rng)
            out.append((before, passing.now_m_s()[0]))
        return np.array(out).T

    before, after = pairs(wind)
    assert np.corrcoef(before, after)[0, 1] == pytest.approx(np.exp(-0.5), abs=0.05)
    assert after.std() == pytest.approx(1.0, rel=0.05)
    assert abs(np.corrcoef(pairs(gusty))[0, 1]) < 0.07


def test_shelter_stays_in_its_place():
    made = session(course=CourseShape(length_m=2400.0, sheltered=0.6), wind=Wind(speed_m_s=2.0, from_deg=300.0))
    motion = made.motion
    speed = np.hypot(*motion.wind_m_s.T)
    assert speed.max() == pytest.approx(2.0, rel=1e-3)
    assert speed.min() == pytest.approx(0.8, rel=5e-3)
    places = np.arange(50.0, 2400.0, 50.0)
    laps = [np.interp(places + 2400.0 * lap, motion.position_m, speed) for lap in range(4)]
    for other in laps[1:]:
        assert other == pytest.approx(laps[0], abs=0.02)


def test_the_session_tells_the_wind_of_every_sample():
    made = session(wind=Wind(speed_m_s=1.5, from_deg=240.0, slow_sd_m_s=0.3, gust_sd_m_s=0.3), order=("bare",) * 12)
    truth = made.truth
    east, north = np.array(truth.sample_wind_east_m_s), np.array(truth.sample_wind_north_m_s)
    assert len(east) == len(north) == len(made.ride.table)
    assert np.hypot(truth.wind_east_m_s, truth.wind_north_m_s) == pytest.approx(1.5)
    # 2600 s of a time scale of 400 s: the mean is known to 0.3 sqrt(2 * 400 / 2600) m/s.
    assert east.mean() == pytest.approx(truth.wind_east_m_s, abs=3 * 0.17)
    assert north.mean() == pytest.approx(truth.wind_north_m_s, abs=3 * 0.17)
