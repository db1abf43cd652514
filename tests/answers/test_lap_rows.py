"""The rows of the lap table: each number is what the ride, the balance and the fit say of that lap."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fieldaero.answers.analysis import analyse_session
from fieldaero.answers.lap_rows import segment_yaw_deg
from fieldaero.answers.result import Result
from fieldaero.basics.errors import CannotAnswerError
from fieldaero.laps.lap_list import list_laps
from fieldaero.rides.ride import Ride
from fieldaero.simulator import SimulatedSession, Wind
from tests.simulator.sessions import session
from tests.whole_sessions import AIR, brought_together, sample_result, usual, with_columns, without

NO_POSITIONS = (
    "Without positions in the rides, neither the direction of the road nor yaw is known, and the wind has no "
    "direction. The joint fit assumes a round course. Record positions to have both."
)


@cache
def result() -> Result:
    return analyse_session(usual()[1])


def test_every_lap_of_the_session_has_a_row_in_order():
    rows = result().lap_results
    assert [row.lap for row in rows] == [1, 2, 3, 4, 5, 6]
    assert [row.setup for row in rows] == ["-", "bare", "faired", "faired", "bare", "-"]
    assert [row.used for row in rows] == [False, True, True, True, True, False]
    assert all(row.ride == "ride1.csv" for row in rows)


def test_duration_distance_and_speed_are_those_of_the_crossings():
    made = usual()[0]
    for row, start, end in zip(result().lap_results[1:5], made.truth.lap_start_s, made.truth.lap_end_s, strict=True):
        assert row.duration_s == pytest.approx(end - start, abs=0.15)
        assert row.distance_m == pytest.approx(2400.0, abs=1.0)
        assert row.speed_m_s == pytest.approx(2400.0 / (end - start), rel=1e-3)


def test_power_is_the_mean_of_what_was_recorded_in_the_lap():
    ride = usual()[0].ride
    for row, lap in zip(result().lap_results[1:5], usual()[1].laps[1:5], strict=True):
        inside = (ride.time_s > lap.lap.start_s) & (ride.time_s <= lap.lap.end_s)
        assert row.power_w == pytest.approx(ride.column("power_w")[inside].mean(), rel=0.01)


def test_unrecorded_time_does_not_dilute_the_power():
    made = usual()[0]
    gappy = analyse_session(brought_together(without(made.ride, 300.0, 330.0))).lap_results[2]
    ride = made.ride
    kept = (ride.time_s > 259.0) & (ride.time_s <= 482.5) & ~((ride.time_s > 300.0) & (ride.time_s <= 330.0))
    assert gappy.power_w == pytest.approx(ride.column("power_w")[kept].mean(), rel=0.01)


def test_the_list_of_laps_and_the_result_tell_the_same_power():
    made = usual()[0]
    listing = list_laps(made.ride, lap_source="button")
    assert [listing.power_w(lap) for lap in listing.laps] == [row.power_w for row in result().lap_results]


def test_the_start_is_told_by_the_clock():
    row = result().lap_results[1]
    assert row.start == "2026-05-03T07:00:28.871+00:00"
    assert float(row.start[17:23]) == pytest.approx(usual()[0].truth.crossing_s[0], abs=0.15)


def test_both_estimators_find_the_true_drag_area():
    true = usual()[0].truth
    for row, cda in zip(result().lap_results[1:5], true.lap_cda_m2, strict=True):
        assert row.cda_m2 == pytest.approx(cda, abs=2.0 * row.cda_se_m2)
        assert row.closure_cda_m2 == pytest.approx(cda, abs=0.001)
        assert row.air_density_kg_m3 == pytest.approx(true.air_density_kg_m3, rel=1e-3)


def test_a_lap_that_is_not_used_has_no_drag_area_by_the_fit():
    first, last = result().lap_results[0], sample_result().lap_results[14]
    for row in (first, last):
        assert (row.cda_m2, row.cda_se_m2, row.yaw_deg_median, row.residual_rms_m) == (None,) * 4
        assert row.why_not == ""
    # A whole one closes all the same, part of one does not.
    assert first.closure_cda_m2 is None
    assert 0.25 < last.closure_cda_m2 < 0.35


def test_a_lap_named_for_a_setup_and_left_out_says_why():
    ride = usual()[0].ride
    part = analyse_session(brought_together(ride, rides=({"laps": ("bare", "bare", "faired", "-", "-", "-")},)))
    assert part.lap_results[0].why_not.endswith("m is not a whole lap of 2400 m")
    lost = analyse_session(brought_together(without(ride, 300.0, 400.0)))
    assert lost.lap_results[2].why_not == "power or speed is missing for 100 s of it"
    assert not lost.lap_results[2].used
    assert any("ride1.csv, lap 3" in sentence and "left out" in sentence for sentence in lost.warnings)


def test_a_lap_with_a_frozen_meter_counts_without_that_stretch_and_has_no_closure():
    made = usual()[0]
    frozen = (made.ride.time_s >= 300.0) & (made.ride.time_s <= 330.0)
    power = np.where(frozen, 450.0, made.ride.column("power_w"))
    found = analyse_session(brought_together(with_columns(made.ride, power_w=power)))
    row = found.lap_results[2]
    assert row.used
    assert row.closure_cda_m2 is None
    assert row.cda_m2 == pytest.approx(made.truth.lap_cda_m2[1], rel=0.02)
    told = [sentence for sentence in found.warnings if "frozen" in sentence]
    assert told == [
        "ride1.csv: power or speed is zero or frozen for 31 s of lap 3; the joint fit leaves these stretches out, "
        "and plain closure has no number for such a lap."
    ]


def thinned(ride: Ride, *steps: int) -> Ride:
    """The ride as a device writes it that skips samples, by these steps over and over."""
    rows = np.cumsum(np.resize(steps, len(ride.table)))
    return replace(ride, table=ride.table.iloc[rows[rows < len(ride.table)]].reset_index(drop=True))


def test_a_device_that_writes_at_uneven_steps_of_up_to_eight_seconds_loses_no_lap():
    made = usual()[0]
    rows = analyse_session(brought_together(thinned(made.ride, 3, 7, 5, 8, 6, 7))).lap_results[1:5]
    assert all(row.used for row in rows)
    assert [row.cda_m2 for row in rows] == pytest.approx(made.truth.lap_cda_m2, rel=0.05)


def test_laps_written_too_seldom_say_so_with_a_remedy():
    with pytest.raises(CannotAnswerError) as told:
        analyse_session(brought_together(thinned(usual()[0].ride, 12)))
    why = "the device recorded about every 12 s, which leaves 2"
    first = "ride1.csv, lap 2, the first of 4 named for setups"
    assert str(told.value).startswith(f"test.toml: no lap gives a drag area. {first}: {why}")
    assert str(told.value).endswith("s of it unknown; set it to record each second.")


@cache
def blown() -> tuple[SimulatedSession, Result]:
    """Laps in a steady wind from 250 degrees that was observed at the rider's height."""
    made = session(wind=Wind(speed_m_s=2.0, from_deg=250.0))
    observed = AIR | {"wind_speed_m_s": 2.0, "wind_from_deg": 250.0, "wind_height_m": 1.0}
    return made, analyse_session(brought_together(made.ride, weather=(observed,)))


def test_yaw_is_that_of_the_true_wind():
    made, found = blown()
    s, yaw = found.estimates.fit.segments, segment_yaw_deg(found.estimates)
    east, north = made.truth.wind_east_m_s, made.truth.wind_north_m_s
    along = s.heading @ np.array([east, north])
    from_right = north * s.heading[..., 0] - east * s.heading[..., 1]
    expected = np.degrees(np.arctan2(from_right, s.speed_m_s - along))
    assert np.abs(expected).max() > 8.0
    assert np.corrcoef(yaw.ravel(), expected.ravel())[0, 1] > 0.95
    for k, row in enumerate(found.lap_results[1:5]):
        assert row.yaw_deg_median == pytest.approx(np.median(np.abs(expected[k])), abs=2.0)


def test_a_wind_from_the_left_has_negative_yaw():
    # A wind from the west comes from the left of who rides north.
    found = blown()[1]
    northward = found.estimates.fit.segments.heading[..., 1] > math.cos(math.radians(30.0))
    assert northward.any()
    assert (segment_yaw_deg(found.estimates)[northward] < 0.0).all()


@cache
def without_positions() -> tuple[SimulatedSession, Result]:
    made = session(wind=Wind(speed_m_s=2.0, from_deg=250.0, gust_sd_m_s=0.6))
    observed = AIR | {"wind_speed_m_s": 2.0, "wind_from_deg": 250.0, "wind_height_m": 1.0}
    ride = with_columns(made.ride, latitude_deg=math.nan, longitude_deg=math.nan)
    return made, analyse_session(brought_together(ride, weather=(observed,)))


def test_without_positions_gusts_are_not_taken_for_little_drag():
    made, found = without_positions()
    for row, cda in zip(found.lap_results[1:5], made.truth.lap_cda_m2, strict=True):
        assert row.cda_m2 == pytest.approx(cda, rel=0.04)


def test_without_positions_neither_yaw_nor_the_direction_of_the_wind_is_told():
    found = without_positions()[1]
    assert np.isnan(segment_yaw_deg(found.estimates)).all()
    assert all(row.yaw_deg_median is None for row in found.lap_results)
    assert found.yaw_result.yaw_rms_deg is None
    assert found.supporting_data.yaw_ridden == ()
    assert all(
        (row.wind_from_deg, row.yaw_low_deg, row.yaw_high_deg) == (None,) * 3 for row in found.supporting_data.air
    )
    assert found.wind.from_deg is None
    assert "m/s, from a direction that is not known." in found.summary()
    assert [s for s in found.warnings if "Without positions" in s] == [NO_POSITIONS]
    assert not any("The weather puts the wind" in sentence for sentence in found.warnings)
