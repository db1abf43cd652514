from datetime import UTC, datetime

import pytest

from fieldaero.basics.errors import WeatherError
from fieldaero.weather.station_csv import read_weather_csv

HEADER = "time,temperature_c,pressure_hpa,relative_humidity_pct,wind_speed_m_s,wind_from_deg,wind_height_m"


@pytest.fixture
def station(tmp_path):
    def write(text, encoding="utf-8"):
        path = tmp_path / "station.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


def test_every_row_is_an_observation(station):
    first, second = read_weather_csv(
        station(f"{HEADER}\n2026-05-03T07:10:00Z,18.0,968.2,60,1.2,240,2\n2026-05-03T09:40:00+02:00,18.6,968.1,58,,,\n")
    )
    assert (first.time, first.temperature_c, first.pressure_pa) == (
        datetime(2026, 5, 3, 7, 10, tzinfo=UTC),
        18.0,
        96820.0,
    )
    assert (first.wind_speed_m_s, first.wind_from_deg, first.wind_height_m) == (1.2, 240.0, 2.0)
    assert second.time == datetime(2026, 5, 3, 7, 40, tzinfo=UTC)
    assert second.relative_humidity == pytest.approx(0.58)
    assert second.wind_speed_m_s is None


def test_altimeter_setting_and_dew_point_may_stand_in(station):
    (found,) = read_weather_csv(
        station("time,temperature_c,altimeter_hpa,elevation_m,dew_point_c\n2026-05-03T07:10Z,18.0,1021,120,9.5\n")
    )
    assert found.pressure_pa == pytest.approx(100657.8, abs=0.5)
    assert 0.5 < found.relative_humidity < 0.6


def test_spreadsheet_habits_are_understood(station):
    # A byte-order mark, Windows line ends, spaces, empty rows at the end.
    text = "\ufeff" + HEADER.replace(",", ", ") + "\r\n 2026-05-03T07:10:00Z , 18.0,968.2,60,,,\r\n,,,,,,\r\n\r\n"
    assert len(read_weather_csv(station(text))) == 1


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "station.csv: column 'time' is missing; allowed are time, temperature_c, pressure_hpa"),
        (HEADER, "station.csv: no observations in it"),
        (HEADER.replace(",", ";"), "station.csv: the first line holds no comma; separate columns with commas"),
        (
            HEADER.replace("temperature_c", "temp"),
            "station.csv: unknown column 'temp'; allowed are time, temperature_c",
        ),
        (HEADER + ",time", "station.csv: column 'time' appears twice"),
        (f"{HEADER}\n2026-05-03T07:10:00Z,18,0,968.2,60,,,,", "station.csv, line 2: 9 cells for 7 columns"),
        (
            f"{HEADER}\n2026-05-03 07:10,18.0,968.2,60,,,",
            "station.csv, line 2: time is '2026-05-03 07:10' without a time",
        ),
        (f"{HEADER}\n3 May 07:10,18.0,968.2,60,,,", "station.csv, line 2: time is '3 May 07:10'; give ISO 8601"),
        (f"{HEADER}\n,18.0,968.2,60,,,", "station.csv, line 2: time is ''; give ISO 8601"),
        (
            f"{HEADER}\n2026-05-03T07:10Z,warm,968.2,60,,,",
            "station.csv, line 2: temperature_c is 'warm'; give a number",
        ),
        (f"{HEADER}\n2026-05-03T07:10Z,,968.2,60,,,", "station.csv, line 2: temperature_c is empty"),
        (
            f"{HEADER}\n2026-05-03T07:10Z,18,96.8,60,,,",
            "station.csv, line 2: pressure_hpa is 96.8; allowed is 300 to 1100",
        ),
        (f"{HEADER}\n2026-05-03T07:10Z,18,,60,,,", "station.csv, line 2: no pressure; give pressure_hpa"),
        (f"{HEADER}\n2026-05-03T07:10Z,18,nan,60,,,", "station.csv, line 2: pressure_hpa is nan"),
        (
            f"{HEADER}\n2026-05-03T07:10Z,18,968,60,2,,\n2026-05-03T08:10Z,18,968,0.6,2,,",
            "line 3: relative_humidity_pct is 0.6",
        ),
    ],
)
def test_a_file_that_cannot_be_used_says_where_and_why(station, text, message):
    with pytest.raises(WeatherError) as error:
        read_weather_csv(station(text))
    assert message in str(error.value)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(WeatherError, match=r"nowhere\.csv: cannot be read"):
        read_weather_csv(tmp_path / "nowhere.csv")


def test_text_of_another_encoding_is_named(station):
    with pytest.raises(WeatherError, match="not UTF-8"):
        read_weather_csv(station(HEADER + "\n# 18 °C", encoding="latin-1"))


def test_a_spreadsheet_file_is_no_csv(station):
    with pytest.raises(WeatherError, match="zero bytes"):
        read_weather_csv(station("time\0,"))


def test_the_file_is_left_as_it_was(station):
    path = station(f"{HEADER}\n2026-05-03T07:10:00Z,18.0,968.2,60,,,\n")
    before = path.read_bytes()
    read_weather_csv(path)
    assert path.read_bytes() == before
