from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import WeatherError
from fieldaero.physics.atmosphere import station_pressure_pa
from fieldaero.physics.moist_air import relative_humidity_from_dew_point
from fieldaero.weather.metar import parse_metar

FIRST = "METAR XXXX 030720Z 24005KT 9999 FEW030 18/09 Q1021"
SECOND = "METAR XXXX 030750Z 26008KT 9999 FEW030 19/08 Q1020"


def parsed(text, *, year=2026, month=5, elevation_m=120.0):
    return parse_metar(text, year=year, month=month, elevation_m=elevation_m)


@pytest.mark.parametrize("between", ["=\n", "=", "\n", "\n\n", " ", "=\n\n", "\r\n"])
def test_two_reports_are_kept_apart(between):
    first, second = parsed(FIRST + between + SECOND)
    assert (first.time, first.temperature_c, first.wind_from_deg) == (
        datetime(2026, 5, 3, 7, 20, tzinfo=UTC),
        18.0,
        240.0,
    )
    assert (second.time, second.temperature_c, second.wind_from_deg) == (
        datetime(2026, 5, 3, 7, 50, tzinfo=UTC),
        19.0,
        260.0,
    )
    assert first.pressure_pa > second.pressure_pa


def test_a_report_may_run_over_several_lines_and_lack_its_name():
    assert parsed(FIRST.replace("METAR ", "").replace(" FEW", "\n     FEW") + "=") == [
        parsed(FIRST.replace("METAR ", ""))[0]
    ]


def test_reports_come_in_order_of_time():
    assert [o.temperature_c for o in parsed(SECOND + "=\n" + FIRST)] == [18.0, 19.0]


def test_a_correction_replaces_the_report_before_it():
    (found,) = parsed(FIRST + "=\n" + FIRST.replace("METAR", "METAR COR").replace("18/09", "17/09"))
    assert found.temperature_c == 17.0


def test_archive_stamps_before_the_report_are_understood():
    (found,) = parsed("202605030720 " + FIRST)
    assert found.temperature_c == 18.0
    assert len(parsed(f"202605030720 {FIRST}=\n202605030750 {SECOND}=")) == 2


def test_pressure_is_that_at_the_course_with_half_a_step_put_back():
    (found,) = parsed(FIRST)
    assert found.pressure_pa == float(station_pressure_pa(altimeter_pa=102150.0, elevation_m=120.0))
    (inches,) = parsed(FIRST.replace("Q1021", "A3015"))
    assert inches.pressure_pa == pytest.approx(
        float(station_pressure_pa(altimeter_pa=30.155 * 3386.389, elevation_m=120.0))
    )


def test_of_two_pressure_groups_the_finer_one_counts():
    (found,) = parsed(FIRST + " A3015")
    assert found.pressure_sd_pa == pytest.approx(9.8, abs=0.2)


def test_humidity_is_that_of_both_temperatures():
    (found,) = parsed(FIRST)
    expected = relative_humidity_from_dew_point(temperature_c=18.0, dew_point_c=9.0, pressure_pa=found.pressure_pa)
    assert found.relative_humidity == float(expected)


def test_humidity_uncertainty_is_that_of_rounding_both_temperatures():
    (found,) = parsed(FIRST)

    def humidity(t, td):
        return float(relative_humidity_from_dew_point(temperature_c=t, dew_point_c=td, pressure_pa=found.pressure_pa))

    by_temperature = (humidity(18.5, 9.0) - humidity(17.5, 9.0)) / 12.0**0.5
    by_dew_point = (humidity(18.0, 9.5) - humidity(18.0, 8.5)) / 12.0**0.5
    assert found.relative_humidity_sd == pytest.approx((by_temperature**2 + by_dew_point**2) ** 0.5, rel=0.01)


def test_the_forecast_after_the_report_is_not_the_weather():
    (found,) = parsed(FIRST + " TEMPO 30025G40KT 4000 SHRA BECMG 12003MPS")
    assert found.wind_from_deg == 240.0
    assert found.wind_speed_m_s == pytest.approx(5 * 0.514444, rel=1e-5)


def test_harmless_groups_are_passed_over():
    (found,) = parsed(FIRST + " 8849//91 NOSIG RMK QFE745 $")
    assert found.temperature_c == 18.0


def test_gusts_are_not_the_mean_wind():
    (found,) = parsed(FIRST.replace("24005KT", "24005G18KT"))
    assert found.wind_speed_m_s == pytest.approx(5 * 0.514444, rel=1e-5)


def test_a_missing_wind_is_unknown():
    (found,) = parsed(FIRST.replace("24005KT", "/////KT"))
    assert found.wind_speed_m_s is None
    assert found.wind_from_deg is None


@given(t=st.integers(-30, 45), spread=st.integers(0, 9), q=st.integers(960, 1045), day=st.integers(1, 31))
def test_what_is_written_is_what_is_read(t, spread, q, day):
    def group(value):
        return f"{'M' if value < 0 else ''}{abs(value):02d}"

    (found,) = parsed(
        f"METAR XXXX {day:02d}1150Z 24005KT 9999 {group(t)}/{group(t - spread)} Q{q:04d}=", elevation_m=0.0
    )
    assert found.time == datetime(2026, 5, day, 11, 50, tzinfo=UTC)
    assert found.temperature_c == t
    assert found.pressure_pa == pytest.approx(q * 100.0 + 50.0)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "METAR: no report found in ''"),
        ("light wind, sunny", "METAR: no report found in 'light wind, sunny'; a report begins with station and time"),
        (FIRST.replace("18/09 ", ""), "no temperature in it (a group like 18/09)"),
        (FIRST.replace("18/09", "18/"), "no dew point in it"),
        (FIRST.replace("18/09", "15///"), "no dew point in it"),
        (FIRST.replace("18/09", "180/09"), "the group '180/09' cannot be read"),
        (FIRST.replace("Q1021", ""), "no pressure in it (a group like Q1021 or A3015)"),
        (FIRST.replace("Q1021", "Q////"), "no pressure in it"),
        (FIRST.replace("Q1021", "Q10Z1"), "the group 'Q10Z1' cannot be read"),
        (FIRST.replace("Q1021", "Q0021"), "altimeter_pa is 2150; allowed is 87000 to 109000"),
        (FIRST.replace("24005KT", "24005XT"), "the group '24005XT' cannot be read"),
        (FIRST.replace("24005KT", "24005"), "its wind has no unit; add KT, MPS or KMH"),
        (FIRST.replace("18/09", "18/19"), "dew_point_c is 19 at temperature_c 18"),
        ("METAR XXXX 030720Z NIL=", "no temperature in it"),
        (FIRST.replace("030720Z", "320720Z"), "day 32, 07:20 UTC cannot be in 2026-05, which has 31 days"),
        (FIRST.replace("030720Z", "032520Z"), "day 03, 25:20 UTC cannot be in 2026-05"),
        ("202604030720 " + FIRST, "its stamp 202604030720 is not of 2026-05"),
        (FIRST + "=\n\nsunny", "METAR: 'sunny' belongs to no report"),
        ("TAF " + FIRST.replace("METAR ", ""), "METAR: 'TAF' belongs to no report"),
        (FIRST + "= " + SECOND.replace("XXXX", "YYYY"), "METAR: reports of 2 stations (XXXX, YYYY)"),
    ],
)
def test_a_report_that_cannot_be_used_says_why(text, message):
    with pytest.raises(WeatherError) as error:
        parsed(text)
    assert message in str(error.value)


def test_day_31_of_a_month_of_30_days_is_refused():
    with pytest.raises(WeatherError, match="cannot be in 2026-06, which has 30 days"):
        parsed(FIRST.replace("030720Z", "310720Z"), month=6)


def test_without_elevation_the_altimeter_setting_says_nothing_about_the_course():
    with pytest.raises(WeatherError, match="give elevation_m, the height of the course"):
        parsed(FIRST, elevation_m=None)


@pytest.mark.parametrize(("year", "month"), [(26, 5), (2026, 0), (2026, 13)])
def test_year_and_month_must_be_possible(year, month):
    with pytest.raises(WeatherError, match="give the year in full"):
        parsed(FIRST, year=year, month=month)
