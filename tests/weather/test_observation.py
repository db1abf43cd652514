from datetime import UTC, datetime

import pytest

from fieldaero.basics.errors import WeatherError
from fieldaero.physics.atmosphere import station_pressure_pa
from fieldaero.weather.observation import Observation, observation_from_readings

AIR = {"time": None, "temperature_c": 18.0, "pressure_pa": 96820.0, "relative_humidity": 0.6}
READINGS = {"time": None, "temperature_c": 18.0, "pressure_hpa": 968.2, "relative_humidity_pct": 60.0}


@pytest.mark.parametrize(
    ("slip", "message"),
    [
        ({"temperature_c": 291.15}, "temperature_c is 291.15; allowed is -40 to 60 (that looks like kelvin"),
        ({"temperature_c": 64.4}, "temperature_c is 64.4; allowed is -40 to 60 (that looks like degrees Fahrenheit"),
        ({"temperature_c": float("nan")}, "temperature_c is nan; allowed is -40 to 60"),
        ({"pressure_pa": 968.2}, "pressure_pa is 968.2; allowed is 30000 to 110000 (that looks like hPa"),
        ({"pressure_pa": 96.8}, "pressure_pa is 96.8; allowed is 30000 to 110000 (that looks like kPa"),
        ({"relative_humidity": 60.0}, "relative_humidity is 60; allowed is 0 to 1 (that looks like per cent"),
        ({"wind_speed_m_s": -1.0}, "wind_speed_m_s is -1; allowed is 0 to 60"),
        ({"wind_speed_m_s": 80.0}, "wind_speed_m_s is 80; allowed is 0 to 60 (give metres per second"),
        ({"wind_speed_m_s": 2.0, "wind_from_deg": 400.0}, "wind_from_deg is 400; allowed is 0 to 360"),
        ({"wind_from_deg": 40.0}, "wind_from_deg is 40 without wind_speed_m_s"),
        ({"wind_height_m": 0.0}, "wind_height_m is 0; allowed is 0.3 to 300"),
        ({"temperature_sd_c": -0.5}, "temperature_sd_c is -0.5; allowed is 0 to 20"),
        ({"time": datetime(2026, 5, 3, 7)}, "time is 2026-05-03T07:00:00 without a time zone"),
    ],
)
def test_an_impossible_value_is_named_with_its_range_and_likely_slip(slip, message):
    with pytest.raises(WeatherError) as error:
        Observation(**{**AIR, **slip}, source="station")
    assert str(error.value).startswith(f"station: {message}")


@pytest.mark.parametrize(
    ("slip", "message"),
    [
        ({"pressure_hpa": 96.8}, "pressure_hpa is 96.8; allowed is 300 to 1100 (that looks like kPa"),
        ({"pressure_hpa": 96820.0}, "pressure_hpa is 96820; allowed is 300 to 1100 (that looks like Pa"),
        ({"pressure_hpa": 28.6}, "pressure_hpa is 28.6; allowed is 300 to 1100 (that looks like inches of mercury"),
        ({"relative_humidity_pct": 0.6}, "relative_humidity_pct is 0.6; allowed is 1 to 100 (that looks like a frac"),
        ({"relative_humidity_pct": 120.0}, "relative_humidity_pct is 120; allowed is 1 to 100"),
        ({"relative_humidity_pct": None}, "no humidity; give relative_humidity_pct or dew_point_c"),
        ({"dew_point_c": 9.0}, "relative_humidity_pct and dew_point_c are both given"),
        ({"relative_humidity_pct": None, "dew_point_c": 19.0}, "dew_point_c is 19 at temperature_c 18"),
        ({"relative_humidity_pct": None, "dew_point_c": float("nan")}, "dew_point_c is not a number"),
        ({"pressure_hpa": None}, "no pressure; give pressure_hpa at the course, or altimeter_hpa with elevation_m"),
        ({"altimeter_hpa": 1013.0}, "pressure_hpa and altimeter_hpa are both given"),
        ({"pressure_hpa": None, "altimeter_hpa": 1013.0}, "altimeter_hpa is 1013 without elevation_m"),
        ({"pressure_hpa": None, "altimeter_hpa": 29.92, "elevation_m": 100.0}, "altimeter_hpa is 29.92"),
        ({"pressure_hpa": None, "altimeter_hpa": 1013.0, "elevation_m": 20000.0}, "elevation_m is 20000"),
        ({"temperature_c": 300.0}, "temperature_c is 300; allowed is -40 to 60 (that looks like kelvin"),
    ],
)
def test_an_impossible_reading_is_named_as_it_was_written(slip, message):
    with pytest.raises(WeatherError) as error:
        observation_from_readings(**{**READINGS, **slip}, source="station.csv, line 3")
    assert str(error.value).startswith(f"station.csv, line 3: {message}")


def test_readings_become_si_units():
    observation = observation_from_readings(**READINGS)
    assert observation == Observation(**AIR)
    assert observation.wind_speed_m_s is None
    assert observation.wind_height_m == 10.0


def test_an_altimeter_setting_becomes_the_pressure_at_the_course():
    air = {**READINGS, "pressure_hpa": None, "altimeter_hpa": 1013.25, "elevation_m": 500.0}
    expected = float(station_pressure_pa(altimeter_pa=101325.0, elevation_m=500.0))
    assert observation_from_readings(**air).pressure_pa == expected


def test_saturated_air_may_be_given_as_dew_point():
    air = {**READINGS, "relative_humidity_pct": None, "dew_point_c": 18.0}
    assert observation_from_readings(**air).relative_humidity == 1.0


def test_an_unknown_uncertainty_is_that_of_a_hand_held_instrument():
    air = Observation(**AIR)
    assert (air.temperature_sd_c, air.pressure_sd_pa, air.relative_humidity_sd) == (0.5, 100.0, 0.05)


def test_a_variable_wind_has_a_speed_and_no_direction():
    air = Observation(**AIR, wind_speed_m_s=1.0)
    assert air.wind_from_deg is None


def test_an_aware_time_is_kept():
    time = datetime(2026, 5, 3, 7, tzinfo=UTC)
    assert Observation(**{**AIR, "time": time}).time == time
