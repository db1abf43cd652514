from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import WeatherError
from fieldaero.physics.moist_air import (
    air_density_kg_m3,
    air_density_sd_kg_m3,
    enhancement_factor,
    relative_humidity_from_dew_point,
    saturation_vapour_pressure_pa,
)
from fieldaero.physics.wind import wind_at_height_m_s, wind_from_deg
from fieldaero.weather.conditions import Weather
from fieldaero.weather.observation import Observation

SEVEN = datetime(2026, 5, 3, 7, tzinfo=UTC)


def observed(hours=0.0, *, t=15.0, p=97000.0, h=0.7, **more):
    more.setdefault("source", f"observation at {hours:g} h")
    time = SEVEN + timedelta(hours=hours)
    return Observation(time=time, temperature_c=t, pressure_pa=p, relative_humidity=h, **more)


def winds(*readings, heights=None):
    """One observation per hour with the given wind speed and direction."""
    heights = heights or [10.0] * len(readings)
    return Weather(
        [
            observed(hour, wind_speed_m_s=speed, wind_from_deg=origin, wind_height_m=height)
            for hour, ((speed, origin), height) in enumerate(zip(readings, heights, strict=True))
        ]
    )


def at_hours(weather, *hours):
    return weather.at(3600.0 * np.array(hours), start_time=SEVEN)


def test_at_an_observation_the_air_is_the_observed_one():
    air = at_hours(Weather([observed(0, t=12.0, h=0.8), observed(2, t=18.0, p=97200.0, h=0.5)]), 0, 2)
    assert air.temperature_c.tolist() == [12.0, 18.0]
    assert air.pressure_pa.tolist() == [97000.0, 97200.0]
    assert air.relative_humidity == pytest.approx([0.8, 0.5])
    for i, state in enumerate([(12.0, 97000.0, 0.8), (18.0, 97200.0, 0.5)]):
        rho = air_density_kg_m3(**dict(zip(("temperature_c", "pressure_pa", "relative_humidity"), state, strict=True)))
        assert air.air_density_kg_m3[i] == pytest.approx(float(rho), rel=1e-12)


def test_in_between_temperature_and_pressure_are_linear():
    air = at_hours(Weather([observed(0, t=12.0), observed(2, t=18.0, p=97200.0)]), 0.5, 1.0)
    assert air.temperature_c == pytest.approx([13.5, 15.0])
    assert air.pressure_pa == pytest.approx([97050.0, 97100.0])


def test_an_air_mass_that_warms_up_keeps_its_vapour():
    # The dew point stays at 10 degC from 12 to 24 degC: so it must in between.
    def humidity(t):
        return float(relative_humidity_from_dew_point(temperature_c=t, dew_point_c=10.0, pressure_pa=97000.0))

    weather = Weather([observed(0, t=12.0, h=humidity(12.0)), observed(2, t=24.0, h=humidity(24.0))])
    air = at_hours(weather, 0.5, 1.0, 1.5)
    assert air.relative_humidity == pytest.approx([humidity(15.0), humidity(18.0), humidity(21.0)], rel=1e-9)


def test_two_saturated_airs_mix_to_saturated_air_not_to_more():
    air = at_hours(Weather([observed(0, t=2.0, h=1.0), observed(2, t=20.0, h=1.0)]), 1.0)
    assert air.relative_humidity[0] == 1.0


def test_outside_the_observed_span_the_air_stays_as_it_was():
    air = at_hours(Weather([observed(0, t=12.0), observed(1, t=14.0)]), -5.0, 9.0)
    assert air.temperature_c.tolist() == [12.0, 14.0]


def test_order_and_time_zone_of_the_observations_do_not_matter():
    early, late = observed(0, t=12.0), observed(2, t=18.0)
    local = Observation(
        time=late.time.astimezone(timezone(timedelta(hours=2))),
        temperature_c=18.0,
        pressure_pa=97000.0,
        relative_humidity=0.7,
    )
    assert Weather([late, early]).observations == (early, late)
    assert at_hours(Weather([local, early]), 1.0).temperature_c == pytest.approx([15.0])


def test_a_ride_may_begin_when_it_likes():
    weather = Weather([observed(0, t=12.0), observed(2, t=18.0)])
    later = weather.at([0.0, 1800.0], start_time=SEVEN + timedelta(hours=1))
    assert later.temperature_c == pytest.approx([15.0, 16.5])


def test_a_single_observation_holds_always_with_or_without_times():
    dateless = Observation(time=None, temperature_c=15.0, pressure_pa=97000.0, relative_humidity=0.7)
    for weather in (Weather([dateless]), Weather([observed(0)])):
        assert weather.at([0.0, 7200.0]).temperature_c.tolist() == [15.0, 15.0]
        assert at_hours(weather, -3.0, 3.0).temperature_c.tolist() == [15.0, 15.0]


def test_a_missing_moment_has_missing_air():
    air = Weather([observed(0), observed(1)]).at([0.0, np.nan], start_time=SEVEN)
    assert np.isnan(air.air_density_kg_m3).tolist() == [False, True]


def test_density_uncertainty_comes_from_the_observations():
    air = at_hours(Weather([observed(0), observed(1, temperature_sd_c=1.5)]), 0.0, 0.5)
    for i, temperature_sd in enumerate((0.5, 1.0)):
        expected = air_density_sd_kg_m3(
            temperature_c=15.0,
            pressure_pa=97000.0,
            relative_humidity=0.7,
            temperature_sd_c=temperature_sd,
            pressure_sd_pa=100.0,
            relative_humidity_sd=0.05,
        )
        assert air.air_density_sd_kg_m3[i] == pytest.approx(float(expected), rel=1e-9)


def from_deg(air):
    return wind_from_deg(wind_east_m_s=air.wind_east_m_s, wind_north_m_s=air.wind_north_m_s)


def test_at_the_rider_the_wind_is_weaker_and_comes_from_the_same_side():
    air = at_hours(winds((3.0, 100.0), (5.0, 160.0)), 0.0, 0.5)
    lower = air.at_rider(roughness_length_m=0.03)
    assert lower.wind_height_m == 1.0
    assert from_deg(lower) == pytest.approx(from_deg(air))
    expected = wind_at_height_m_s(wind_speed_m_s=air.wind_speed_m_s, measured_height_m=10.0)
    assert lower.wind_speed_m_s == pytest.approx(expected)
    assert np.hypot(lower.wind_east_m_s, lower.wind_north_m_s) == pytest.approx(expected)


def test_an_unobserved_wind_is_unknown():
    air = at_hours(Weather([observed(0)]), 0.0)
    assert np.isnan(air.wind_speed_m_s[0])
    assert np.isnan(from_deg(air)[0])


def test_wind_turns_through_north_the_short_way():
    air = at_hours(winds((3.0, 350.0), (3.0, 10.0)), 0.0, 0.5, 1.0)
    off = (from_deg(air) - [350.0, 0.0, 10.0] + 180.0) % 360.0 - 180.0
    assert np.all(np.abs(off) < 1e-9)
    assert air.wind_speed_m_s == pytest.approx([3.0, 3.0 * np.cos(np.radians(10.0)), 3.0])


def test_opposite_winds_cancel_half_way():
    air = at_hours(winds((2.0, 90.0), (2.0, 270.0)), 0.5)
    assert air.wind_speed_m_s[0] == pytest.approx(0.0, abs=1e-12)


def test_a_calm_needs_no_direction():
    air = at_hours(winds((0.0, None), (4.0, 200.0)), 0.0, 0.5)
    assert air.wind_speed_m_s == pytest.approx([0.0, 2.0])
    assert from_deg(air)[0] == 0.0
    assert from_deg(air)[1] == pytest.approx(200.0)


def test_a_wind_that_is_always_variable_has_a_speed_and_no_direction():
    air = at_hours(winds((1.0, None), (2.0, None)), 0.5)
    assert air.wind_speed_m_s == pytest.approx([1.5])
    assert np.isnan(from_deg(air)[0])


def test_hours_without_a_direction_are_bridged_by_those_with_one():
    air = at_hours(winds((3.0, 100.0), (1.0, None), (3.0, 100.0)), 1.0)
    assert air.wind_speed_m_s == pytest.approx([3.0])
    assert from_deg(air) == pytest.approx([100.0])


def test_winds_of_different_heights_meet_at_the_first_ones():
    air = at_hours(winds((3.0, 100.0), (2.0, 100.0), heights=[10.0, 2.0]), 1.0)
    raised = wind_at_height_m_s(wind_speed_m_s=2.0, measured_height_m=2.0, height_m=10.0)
    assert air.wind_height_m == 10.0
    assert air.wind_speed_m_s == pytest.approx([float(raised)])


@given(
    hour=st.floats(0.0, 2.0),
    t=st.lists(st.floats(-5.0, 40.0), min_size=3, max_size=3),
    h=st.lists(st.floats(0.05, 1.0), min_size=3, max_size=3),
)
def test_interpolated_air_lies_between_its_neighbours(hour, t, h):
    weather = Weather([observed(i, t=t[i], h=h[i]) for i in range(3)])
    air = at_hours(weather, hour)
    assert min(t) - 1e-9 <= air.temperature_c[0] <= max(t) + 1e-9
    assert 0.0 <= air.relative_humidity[0] <= 1.0

    def vapour(t, h):
        f = enhancement_factor(temperature_c=t, pressure_pa=97000.0)
        return float(h * f * saturation_vapour_pressure_pa(temperature_c=t))

    ends = [vapour(t[i], h[i]) for i in range(3)]
    found = vapour(air.temperature_c[0], air.relative_humidity[0])
    assert found <= max(ends) * (1.0 + 1e-9)
    if air.relative_humidity[0] < 1.0:
        assert found >= min(ends) * (1.0 - 1e-9)


@given(turn=st.floats(0.0, 360.0), hour=st.floats(0.0, 1.0))
def test_turning_all_winds_turns_the_interpolated_one(turn, hour):
    here = at_hours(winds((3.0, 20.0), (5.0, 80.0)), hour)
    there = at_hours(winds((3.0, (20.0 + turn) % 360.0), (5.0, (80.0 + turn) % 360.0)), hour)
    assert there.wind_speed_m_s == pytest.approx(here.wind_speed_m_s)
    off = (from_deg(there) - from_deg(here) - turn + 180.0) % 360.0 - 180.0
    assert np.abs(off)[0] < 1e-6


def test_no_observation_is_refused():
    with pytest.raises(WeatherError, match="no observation"):
        Weather([])


def test_of_several_observations_each_needs_a_time():
    dateless = Observation(
        time=None, temperature_c=15.0, pressure_pa=97000.0, relative_humidity=0.7, source="second one"
    )
    with pytest.raises(WeatherError, match="second one: no time; of 2 observations each needs one"):
        Weather([observed(0), dateless])


def test_two_different_observations_of_one_moment_are_refused_and_equal_ones_are_one():
    assert len(Weather([observed(0), observed(0, source="copy")]).observations) == 1
    with pytest.raises(WeatherError, match="two different observations of 2026-05-03 07:00 UTC"):
        Weather([observed(0), observed(0, t=16.0)])


def test_a_ride_without_clock_cannot_choose_between_observations():
    with pytest.raises(WeatherError, match="2 observations, but the ride has no clock time"):
        Weather([observed(0), observed(1)]).at([0.0, 1.0])


def test_naive_times_are_refused():
    with pytest.raises(WeatherError, match="no time zone"):
        Weather([observed(0), observed(1)]).at([0.0], start_time=datetime(2026, 5, 3, 7))


def warnings_for(weather, start_h, end_h):
    return weather.warnings_for(SEVEN + timedelta(hours=start_h), SEVEN + timedelta(hours=end_h))


def test_a_ride_within_an_hour_of_the_observations_needs_no_warning():
    assert warnings_for(Weather([observed(0), observed(2)]), -1.0, 3.0) == ()


def test_a_ride_far_outside_the_observations_is_warned_of_on_both_sides():
    assert warnings_for(Weather([observed(0), observed(2)]), -1.5, 3.75) == (
        "The ride starts 1 h 30 min before the first weather observation (2026-05-03 07:00 UTC); until then the air "
        "is taken as it was at that time.",
        "The ride ends 1 h 45 min after the last weather observation (2026-05-03 09:00 UTC); from then on the air is "
        "taken as it was at that time.",
    )


@pytest.mark.parametrize(("start_h", "end_h"), [(-10.0, -8.0), (12.0, 14.0)])
def test_weather_of_another_time_of_day_asks_for_date_and_zone(start_h, end_h):
    (sentence,) = warnings_for(Weather([observed(0), observed(2)]), start_h, end_h)
    assert "check date and zone of the weather" in sentence


def test_a_ride_across_a_long_gap_is_warned_of():
    weather = Weather([observed(0), observed(5), observed(6)])
    (sentence,) = warnings_for(weather, 1.0, 3.0)
    assert sentence.startswith("No weather was observed for 5 h 00 min between 2026-05-03 07:00 UTC and")
    assert warnings_for(weather, 5.0, 6.5) == ()


def test_weather_or_rides_without_times_cannot_be_far_apart():
    dateless = Observation(time=None, temperature_c=15.0, pressure_pa=97000.0, relative_humidity=0.7)
    assert warnings_for(Weather([dateless]), 0.0, 1.0) == ()
    assert Weather([observed(0)]).warnings_for(None, None) == ()
