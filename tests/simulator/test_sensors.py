"""Sensors err as they were told to; the ride underneath stays the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.simulator import Sensors
from fieldaero.simulator.course_shape import course_table
from fieldaero.simulator.recording import recorded_table
from fieldaero.simulator.sensors import lasting_errors
from tests.simulator.sessions import LEVEL, ORDER, scenario, session

PERFECT = Sensors.perfect()
LAPS = ORDER * 4  # about an hour


def pair(column: str, **errors: object) -> tuple[np.ndarray, np.ndarray]:
    """A column as perfect sensors record it, and with errors, of one motion."""
    true = session(order=LAPS)
    changed = scenario(order=LAPS, sensors=replace(PERFECT, **errors))
    road, _, recording = (np.random.default_rng(s) for s in np.random.SeedSequence(5).spawn(3))
    table = course_table(changed.course, road, lead_in_m=changed.lead_in_m)
    shown = recorded_table(changed, table, true.motion, recording)
    return true.ride.column(column), shown[column].to_numpy()


def likeness(x: np.ndarray, samples: int) -> float:
    return float(np.mean(x[samples:] * x[:-samples]) / np.mean(x * x))


def test_a_power_sample_is_the_mean_over_the_second_before_its_stamp():
    made = session(power_wander_w=50.0)
    # The first sample is one second into the motion, and a step's power stands at its end.
    of_second = made.motion.power_w[1 : 1 + 4 * len(made.ride.table)].reshape(-1, 4).mean(axis=1)
    assert np.array_equal(made.ride.column("power_w"), of_second)


def test_a_speed_sample_is_of_the_moment():
    made = session()
    at_stamp = made.motion.speed_m_s[4 * (1 + np.arange(len(made.ride.table)))]
    assert made.ride.column("speed_m_s") == pytest.approx(at_stamp, abs=0.00051)


def test_whole_watts_of_perfect_sensors_lose_nothing():
    rounded, exact = pair("power_w", whole_watts=False)
    assert rounded == pytest.approx(exact, abs=1e-9)


def test_power_noise_is_a_share_and_an_amount():
    true, noisy = pair("power_w", power_noise=0.02, power_noise_w=3.0)
    error = noisy - true
    expected = np.sqrt(np.mean((0.02 * true) ** 2) + 3.0**2 + 1.0 / 12.0)
    assert error.std() == pytest.approx(expected, rel=0.06)
    assert error.mean() == pytest.approx(0.0, abs=0.4)


def test_a_power_meter_that_drifts_reads_more_with_time():
    true, drifting = pair("power_w", power_scale=1.02, power_drift_per_h=0.05, whole_watts=False)
    hours = (session(order=LAPS).ride.time_s + 1.0) / 3600.0
    pushing = true > 0.0
    assert (drifting / true)[pushing] == pytest.approx(1.02 * (1.0 + 0.05 * hours[pushing]), rel=1e-9)


@pytest.mark.parametrize("lag_s", [1.0, 2.0])
def test_late_power_is_the_same_power_later(lag_s):
    true, late = pair("power_w", power_lag_s=lag_s)
    k = round(lag_s)
    assert np.array_equal(late[k:], true[:-k])


def test_a_lag_of_half_a_second_is_half_of_either_second():
    true, late = pair("power_w", power_lag_s=0.5, whole_watts=False)
    assert late[1:] == pytest.approx((true[1:] + true[:-1]) / 2.0, abs=1e-9)


def test_speed_noise_and_wheel_scale():
    true, shown = pair("speed_m_s", speed_noise_m_s=0.05, wheel_scale=1.01)
    error = shown - 1.01 * true
    assert error.std() == pytest.approx(0.05, rel=0.06)
    assert abs(likeness(error, 1)) < 0.08


def test_the_wheel_counter_has_the_wheel_scale_and_no_noise():
    true, shown = pair("distance_m", speed_noise_m_s=0.05, wheel_scale=1.01)
    assert shown == pytest.approx(1.01 * true, abs=0.02)
    assert true[-1] == pytest.approx(np.ptp(session(order=LAPS).motion.position_m), abs=25.0)


def test_speed_from_satellites_errs_for_seconds():
    true, shown = pair("speed_m_s", satellite_speed=True, satellite_speed_sd_m_s=0.1, satellite_speed_s=5.0)
    error = shown - true
    assert error.std() == pytest.approx(0.1, rel=0.1)
    assert likeness(error, 5) == pytest.approx(np.exp(-1.0), abs=0.1)


def test_positions_wander():
    true, shown = pair("latitude_deg", position_sd_m=3.0, position_s=20.0)
    error_m = (shown - true) * 111_000.0  # a degree of latitude is 110.6 to 111.7 km
    assert error_m.std() == pytest.approx(3.0, rel=0.25)
    assert likeness(error_m, 20) == pytest.approx(np.exp(-1.0), abs=0.2)


def test_the_altimeter_drifts_and_counts_in_steps():
    true, shown = pair("altitude_m", altitude_step_m=0.2, altitude_drift_m_per_h=6.0)
    hours = (session(order=LAPS).ride.time_s + 1.0) / 3600.0
    assert shown - true - 6.0 * hours == pytest.approx(np.zeros(len(true)), abs=0.1 + 1e-9)
    assert shown / 0.2 == pytest.approx(np.round(shown / 0.2), abs=1e-9)


def test_the_thermometer_shows_whole_degrees():
    _, shown = pair("temperature_c", temperature_error_c=1.8)
    assert set(shown) == {20.0}


def test_air_speed_in_still_air_is_ground_speed():
    speed, _ = pair("speed_m_s")
    _, air = pair("air_speed_m_s", air_speed=True, air_speed_noise=0.0)
    # The mean over a second against the mean of its ends.
    assert air[1:] == pytest.approx((speed[1:] + speed[:-1]) / 2.0, abs=0.06)
    assert air.mean() == pytest.approx(speed.mean(), abs=0.01)


def test_an_air_speed_sensor_has_a_scale_and_noise():
    _, true = pair("air_speed_m_s", air_speed=True, air_speed_noise=0.0)
    _, shown = pair("air_speed_m_s", air_speed=True, air_speed_scale=0.95, air_speed_noise=0.03)
    assert (shown / true).mean() == pytest.approx(0.95, abs=0.003)
    assert (shown / true).std() == pytest.approx(0.95 * 0.03, rel=0.06)
    assert not session().ride.has("air_speed_m_s")


@pytest.mark.parametrize(
    ("errors", "lost", "kept"),
    [
        ({"power_dropouts_per_h": 30.0}, "power_w", "speed_m_s"),
        ({"speed_dropouts_per_h": 30.0}, "speed_m_s", "power_w"),
        ({"position_dropouts_per_h": 30.0}, "latitude_deg", "distance_m"),
    ],
)
def test_a_lost_sensor_records_nothing_for_a_while(errors, lost, kept):
    ride = session(order=LAPS, sensors=replace(PERFECT, dropout_s=10.0, **errors)).ride
    missing = np.isnan(ride.column(lost))
    expected = 30.0 * ride.duration_s / 3600.0
    assert missing.sum() / 10.0 == pytest.approx(expected, abs=3.0 * np.sqrt(expected))
    assert not np.isnan(ride.column(kept)).any()


def test_sensors_leave_the_ride_underneath_as_it_was():
    assert np.array_equal(session(sensors=Sensors()).motion.speed_m_s, session().motion.speed_m_s)


def test_a_meter_at_rest_shows_nothing():
    ride = session(course=LEVEL, stopped_laps=(2,), sensors=Sensors()).ride
    standing = ride.column("speed_m_s") == 0.0
    assert standing.sum() >= 39
    assert not ride.column("power_w")[standing][1:-1].any()


def test_lasting_errors_keep_their_standard_deviation_from_the_first_sample_on():
    rng = np.random.default_rng(4)
    runs = np.array([lasting_errors(40, sd=2.0, scale_s=10.0, sample_s=1.0, rng=rng) for _ in range(3000)])
    assert runs.std(axis=0) == pytest.approx(np.full(40, 2.0), rel=0.08)
    assert np.mean(runs[:, 30] * runs[:, 20]) == pytest.approx(4.0 * np.exp(-1.0), rel=0.15)
