"""What pages show of a draft: air over its rides, a row per lap, what is still missing."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from fieldaero.basics.errors import CannotAnswerError, RunSheetError, WeatherError
from fieldaero.draft.air import air_density_of_ride_kg_m3, air_over_rides, lap_winds_m_s
from fieldaero.draft.draft import DraftLap, empty_draft
from fieldaero.draft.lap_table import lap_rows, laps_within
from fieldaero.draft.still_missing import still_missing
from fieldaero.physics.moist_air import USUAL_AIR_DENSITY_KG_M3, air_density_kg_m3
from tests.draft.sample_draft import RIDE, sample_draft, sample_draft_result


@pytest.fixture
def sample():
    return sample_draft()


def needed(draft):
    return [missing.place for missing in still_missing(draft) if missing.needed]


def test_the_air_is_that_of_the_readings(sample):
    (air,) = air_over_rides(sample)
    first = float(air_density_kg_m3(temperature_c=15.6, pressure_pa=100910.0, relative_humidity=0.71))
    last = float(air_density_kg_m3(temperature_c=16.5, pressure_pa=100890.0, relative_humidity=0.69))
    assert np.all((air.air_density_kg_m3 <= first + 1e-9) & (air.air_density_kg_m3 >= last - 1e-9))
    assert air.clock[0] == sample.rides[0].ride.start_time
    assert air.warnings == ()


def test_weather_is_told_although_the_rest_of_the_test_is_not_finished(sample):
    draft = sample.with_table("system", {}).with_table("setups", [])
    assert len(air_over_rides(draft)) == 1


def test_no_weather_and_half_a_row_are_told(sample):
    with pytest.raises(CannotAnswerError, match="no weather yet"):
        air_over_rides(sample.with_table("weather", []))
    with pytest.raises(RunSheetError, match="weather, row 1: temperature_c is missing"):
        air_over_rides(sample.with_table("weather", [{"pressure_hpa": 1000.0}]))
    with pytest.raises(WeatherError, match="no humidity"):
        air_over_rides(sample.with_table("weather", [{"temperature_c": 15.0, "pressure_hpa": 1000.0}]))
    with pytest.raises(WeatherError, match="add that file itself"):
        air_over_rides(sample.with_table("weather", [{"file": "/etc/passwd"}]))


def test_wind_at_the_rider_is_less_than_at_the_station(sample):
    winds = lap_winds_m_s(sample)
    assert len(winds) == 16
    assert 0.5 < winds[RIDE, 5] < 2.0
    assert lap_winds_m_s(sample.with_table("weather", [])) == {}
    calm = [{key: value for key, value in row.items() if "wind" not in key} for row in sample.tables.weather]
    assert lap_winds_m_s(sample.with_table("weather", calm)) == {}


def test_a_row_tells_how_a_lap_was_ridden(sample):
    rows = lap_rows(sample)
    row = rows[4]
    assert row.of == DraftLap(ride=RIDE, lap=5)
    assert row.setup == "narrow extensions"
    assert row.speed_km_h == pytest.approx(3.6 * row.distance_m / (row.end_s - row.start_s))
    assert row.start.tzinfo is UTC or row.start.utcoffset().total_seconds() == 0.0


def test_the_lap_with_a_halt_says_so_with_its_evidence(sample):
    row = lap_rows(sample)[10]
    assert "stopped" in row.flags
    assert any("Stood or crept" in sentence for sentence in row.sentences)


def test_laps_are_flagged_once_by_the_rider_and_air_of_the_draft(sample):
    (of_session,) = sample_draft_result().session.rides
    assert all(lap.flags == () for lap in sample.rides[0].laps)
    assert air_density_of_ride_kg_m3(sample, sample.rides[0]) == of_session.density_kg_m3
    told = [row.flag_sentences for row in sample_draft_result().lap_results]
    assert [row.sentences[: len(flags)] for row, flags in zip(lap_rows(sample), told, strict=True)] == told


def test_without_weather_the_air_is_a_usual_one(sample):
    assert air_density_of_ride_kg_m3(sample.with_table("weather", []), sample.rides[0]) == USUAL_AIR_DENSITY_KG_M3


def test_a_brush_takes_the_laps_that_lie_mostly_in_it(sample):
    rows = lap_rows(sample)
    third, fourth, fifth = rows[2:5]
    low, high = third.start_s + 0.4 * third.duration_s, fifth.start_s + 0.4 * fifth.duration_s
    assert laps_within(rows, start_s=low, end_s=high) == (third.of, fourth.of)
    assert laps_within(rows, start_s=high, end_s=low) == (third.of, fourth.of)
    assert laps_within(rows, start_s=low, end_s=low) == ()


def test_the_sample_lacks_nothing(sample):
    assert still_missing(sample) == ()


def test_an_empty_draft_lacks_rides_mass_and_weather():
    assert needed(empty_draft()) == ["rides", "bike", "weather"]


def test_a_new_ride_lacks_laps_of_a_setup(sample):
    assert needed(sample.assigned(sample.laps, "-")) == ["laps"]


def test_laps_of_all_setups_but_the_baseline_are_not_enough(sample):
    own = [lap for lap in sample.laps if sample.setup_of(lap) == "road bar"]
    missing = still_missing(sample.assigned(own, "-"))
    assert [m.sentence for m in missing if m.needed] == ["No lap is given to the baseline, road bar."]


def test_one_setup_and_one_lap_are_weak_and_no_obstacle(sample):
    one = sample.assigned(sample.laps, "-").assigned(sample.laps[3:4], "road bar")
    missing = still_missing(one)
    assert not any(m.needed for m in missing)
    assert len(missing) == 2


def test_weather_of_another_day_is_told(sample):
    row = {
        "time": datetime(2026, 5, 4, 7, 0, tzinfo=UTC),
        "temperature_c": 15.0,
        "pressure_hpa": 1000.0,
        "relative_humidity_pct": 60.0,
    }
    missing = still_missing(sample.with_table("weather", [row]))
    assert [m.place for m in missing] == ["weather"]
    assert "before the first weather observation" in missing[0].sentence


def test_a_value_that_cannot_be_is_told_where_it_is_filled_in(sample):
    draft = sample.with_table("system", {"mass_kg": 8000.0})
    assert any("mass_kg" in missing.sentence for missing in still_missing(draft))
