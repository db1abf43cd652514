"""Airport reports: the worked roundings of WMO-No. 306 and FMH-1, undone as far as they are known."""

import pytest

from fieldaero.basics.errors import WeatherError
from fieldaero.weather.metar import parse_metar
from tests.published.published_value import PublishedValue

WMO = "WMO-No. 306, Manual on Codes, Vol. I.1 Part A, FM 15 METAR (1995 edition, supplement VIII.2001)"
FMH = "Federal Meteorological Handbook No. 1 (1995)"
READ = "read in the copies inside the python-metar repository"
INCH_PA = 3386.389


def report(*, wind="00000KT", air="15/10", pressure="Q1013", remarks=""):
    text = f"METAR XXXX 030720Z {wind} 9999 {air} {pressure} {remarks}".strip() + "="
    (observation,) = parse_metar(text, year=2026, month=5, elevation_m=0.0)
    return observation


@pytest.mark.parametrize(("group", "temperature"), [("09/M09", 9.0), ("M00/M05", 0.0), ("M09/M12", -9.0)])
def test_temperature_groups(group, temperature):
    # +9 -> 09, -9 -> M09, -0.5 -> M00 (regulation 15.11): whole degrees, halves rounded upwards.
    found = report(air=group)
    PublishedValue(value=temperature, absolute=1e-9, source=WMO, locator="15.11", provenance=READ).check(
        found.temperature_c
    )
    assert found.temperature_sd_c == pytest.approx(1.0 / 12.0**0.5)


def test_the_true_minus_half_degree_lies_within_the_rounding_of_m00():
    found = report(air="M00/M05")
    assert abs(found.temperature_c - -0.5) <= 0.5


def test_qnh_is_rounded_down():
    # 995.6 hPa is reported as Q0995 (regulation 15.12).
    found = report(pressure="Q0995")
    PublishedValue(value=99560.0, absolute=50.0, source=WMO, locator="15.12", provenance=READ).check(found.pressure_pa)
    assert found.pressure_pa == pytest.approx(99550.0)
    assert found.pressure_sd_pa == pytest.approx(29.0, abs=0.5)


@pytest.mark.parametrize(("group", "inches"), [("A2991", 29.91), ("A3027", 30.27), ("A2924", 29.248)])
def test_inch_groups_are_rounded_down(group, inches):
    # 29.91 -> A2991, 30.27 -> A3027; 29.248 is cut to 29.24.
    found = report(pressure=group)
    PublishedValue(
        value=inches * INCH_PA, absolute=0.005001 * INCH_PA, source=FMH, locator="altimeter group", provenance=READ
    ).check(found.pressure_pa)
    assert found.pressure_sd_pa == pytest.approx(10.0, abs=0.5)


def test_tenths_in_the_remarks():
    found = report(air="03/M01", remarks="RMK AO2 SLP982 T00261015")
    PublishedValue(value=2.6, absolute=1e-9, source=FMH, locator="T00261015", provenance=READ).check(
        found.temperature_c
    )
    assert found.temperature_sd_c == pytest.approx(0.03, abs=0.002)
    whole = report(air="03/M01")
    assert found.relative_humidity != whole.relative_humidity
    assert found.relative_humidity_sd == pytest.approx(whole.relative_humidity_sd / 10.0, rel=0.1)


@pytest.mark.parametrize(("group", "speed"), [("24010KT", 10 * 1852.0 / 3600.0), ("24005MPS", 5.0), ("24018KMH", 5.0)])
def test_wind_units(group, speed):
    # The knot is 1852 m per hour by definition; the decoder carries six digits of it.
    found = report(wind=group)
    PublishedValue(value=speed, relative=1e-5, source=WMO, locator="15.5", provenance=READ).check(found.wind_speed_m_s)
    assert found.wind_from_deg == 240.0


def test_calm_and_variable_wind():
    assert report(wind="00000KT").wind_speed_m_s == 0.0
    variable = report(wind="VRB02KT")
    assert variable.wind_speed_m_s == pytest.approx(2 * 1852.0 / 3600.0, rel=1e-5)
    assert variable.wind_from_deg is None


def test_a_missing_dew_point_is_said():
    # 1.5 degC without dew point is reported as 02/ (FMH-1).
    with pytest.raises(WeatherError, match="no dew point"):
        report(air="02/")
