"""Laps cut into segments: no energy is lost or made, the wind enters as it blows, and what is missing is told."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from fieldaero.estimate.cut_laps import cut_laps, fittable_laps, why_not_fittable
from fieldaero.estimate.energy_balance import energy_balance
from fieldaero.estimate.joint_fit.segments import Segments
from fieldaero.estimate.session import Session
from fieldaero.rides.ride import Ride
from fieldaero.simulator import Sensors, SimulatedSession
from tests.simulator.sessions import LEVEL, OUT_AND_BACK, session
from tests.whole_sessions import AIR, START, brought_together, cut, usual, with_columns, without

LOST = dict.fromkeys(("latitude_deg", "longitude_deg"), math.nan)
BY_SETUP = {"bare": 0.262, "faired": 0.248}


def segments_of(found: Session) -> Segments:
    return cut_laps(found, fittable_laps(found))


def together(**changes) -> tuple[SimulatedSession, Session]:
    made = session(**changes)
    return made, brought_together(made.ride)


def height_gained_m(found: Session, *, crr: float = 0.0045) -> np.ndarray:
    """Height that the energy balance of each segment implies in still air, with the true CdA and Crr."""
    s = segments_of(found)
    cda = np.array([BY_SETUP[lap.setup] for lap in fittable_laps(found)])
    return s.base_m - cda[:, None] * s.still_air_m_per_m2 - crr * s.roll_m


# nothing is lost


@pytest.mark.parametrize(
    "made", [{}, {"course": OUT_AND_BACK}, {"brakings_per_lap": 1.0}], ids=["loop", "road", "braked"]
)
def test_the_segments_hold_the_energy_of_their_lap(made):
    _, found = together(**made)
    s, ridden = segments_of(found), found.rides[0].balance
    for row, lap in enumerate(fittable_laps(found)):
        span = (lap.lap.start_s, lap.lap.end_s)
        assert s.base_m[row].sum() == pytest.approx(ridden.total(ridden.base_m, *span), abs=1e-9)
        assert s.roll_m[row].sum() == pytest.approx(ridden.total(ridden.distance_m, *span), abs=1e-6)
        assert s.still_air_m_per_m2[row].sum() == pytest.approx(ridden.total(ridden.per_cda_m_per_m2, *span), rel=1e-9)
        assert s.duration_s[row].sum() == pytest.approx(lap.lap.duration_s, abs=1e-9)
        assert s.work_m[row] - s.kinetic_m[row] == pytest.approx(s.base_m[row], abs=1e-12)


def test_kinetic_energy_is_that_of_the_speeds_at_both_ends_of_the_lap():
    # (m + I/r2) (v1^2 - v0^2) / (2 m g) with I = 0.14 kg m2 and r = 2.105 m / 2 pi.
    made, found = usual()
    s, inert = segments_of(found), 84.0 + 0.14 / (2.105 / (2.0 * math.pi)) ** 2
    for row, lap in enumerate(fittable_laps(found)):
        v0, v1 = np.interp([lap.lap.start_s, lap.lap.end_s], made.ride.time_s, made.ride.column("speed_m_s"))
        gained = inert * (v1**2 - v0**2) / (2.0 * 84.0 * found.gravity_m_s2)
        assert s.kinetic_m[row].sum() == pytest.approx(gained, abs=0.02)


def test_segments_last_about_five_seconds_and_are_the_same_road_in_every_lap():
    s = segments_of(usual()[1])
    assert 4.0 < np.median(s.duration_s) < 6.0
    assert s.laps == 4
    assert s.per_lap == s.cells.count
    assert s.roll_m == pytest.approx(np.broadcast_to(np.diff(s.cells.edge_m), s.roll_m.shape), rel=0.02)


def test_with_the_true_numbers_the_balance_draws_the_road_in_every_lap():
    made, found = usual()
    road = np.interp(segments_of(found).cells.edge_m, made.truth.profile_position_m, made.truth.profile_height_m)
    height = np.cumsum(height_gained_m(found), axis=1)
    assert np.ptp(road) > 5.0
    assert height == pytest.approx(np.broadcast_to(road[1:], height.shape), abs=0.2)


def test_out_and_back_what_one_side_climbs_the_other_descends():
    _, found = together(course=OUT_AND_BACK)
    s = segments_of(found)
    assert s.cells.twins is not None
    twice = s.cells.twins @ height_gained_m(found).T
    once = np.abs(height_gained_m(found)).max()
    assert once > 0.5
    # The tight turns are brakings, whose work the balance does not know: by them it is out.
    at_turns = (s.cells.twins @ s.braked_s.T > 0.0) | (np.arange(len(twice)) < 2)[:, None]
    at_turns |= (np.arange(len(twice)) > len(twice) - 3)[:, None]
    assert np.abs(twice[~at_turns]).max() < 0.1 * once


def test_setups_of_other_mass_carry_their_own_weight():
    heavy = brought_together(usual()[0].ride, setups=[{"name": "bare"}, {"name": "faired", "mass_change_kg": 8.4}])
    ratio = segments_of(heavy).still_air_m_per_m2.sum(axis=1) / segments_of(usual()[1]).still_air_m_per_m2.sum(axis=1)
    # The interval that spans the line goes with the lap in which it begins.
    assert ratio == pytest.approx([1.0, 1.0 / 1.1, 1.0 / 1.1, 1.0], rel=1e-3)


# the wind


@pytest.mark.parametrize("wind_m_s", [(2.0, 0.0), (0.0, -1.5), (-1.2, 2.2)])
def test_the_wind_enters_as_if_the_balance_had_been_made_in_it(wind_m_s):
    # A - 2 w.B + |w|^2 C is the square of the air's speed relative to the rider, times the way.
    _, found = usual()
    s, ridden = segments_of(found), found.rides[0]
    blown = energy_balance(
        ridden.ride,
        system=found.run_sheet.system,
        air_density_kg_m3=ridden.air_density_kg_m3,
        gravity_m_s2=found.gravity_m_s2,
        heading_deg=found.course.heading_deg_at(ridden.position_m),
        wind_east_m_s=wind_m_s[0],
        wind_north_m_s=wind_m_s[1],
    )
    by_segments = (
        s.still_air_m_per_m2 - 2.0 * s.wind_first @ np.array(wind_m_s) + np.hypot(*wind_m_s) ** 2 * s.wind_second
    ).sum(axis=1)
    for row, lap in enumerate(fittable_laps(found)):
        exact = blown.total(blown.per_cda_m_per_m2, lap.lap.start_s, lap.lap.end_s)
        assert by_segments[row] == pytest.approx(exact, rel=1e-6)
        assert abs(exact / s.still_air_m_per_m2[row].sum() - 1.0) > 0.005


def test_headings_are_unit_vectors_of_the_way_ridden():
    _, found = usual()
    s = segments_of(found)
    assert np.linalg.norm(s.heading, axis=2) == pytest.approx(np.ones(s.base_m.shape))
    turn = np.radians(found.course.heading_deg_at(s.cells.middle_m))
    along = s.heading[..., 0] * np.sin(turn) + s.heading[..., 1] * np.cos(turn)
    assert along.min() > math.cos(math.radians(10.0))


def test_without_positions_a_mean_wind_averages_out_over_a_lap_and_a_gust_along_the_way_counts():
    s = segments_of(brought_together(with_columns(usual()[0].ride, **LOST)))
    whole = segments_of(usual()[1])
    assert np.linalg.norm(s.heading, axis=2) == pytest.approx(np.ones(s.base_m.shape))
    # Every direction is ridden alike: what is left of a mean wind is small beside what a gust does.
    by_gusts = np.sum(s.wind_first * s.heading, axis=2)
    assert by_gusts == pytest.approx(np.sum(whole.wind_first * whole.heading, axis=2), rel=0.01)
    assert np.abs(s.wind_first.sum(axis=1)).max() < 0.1 * by_gusts.sum(axis=1).min()


def test_without_positions_the_observed_direction_is_not_expected():
    seen = AIR | {"wind_speed_m_s": 3.0, "wind_from_deg": 180.0, "wind_height_m": 10.0}
    with_it, without_it = (
        segments_of(brought_together(ride, weather=(seen,)))
        for ride in (usual()[0].ride, with_columns(usual()[0].ride, **LOST))
    )
    assert with_it.expected_wind_m_s.any()
    assert not without_it.expected_wind_m_s.any()


def test_the_expected_wind_is_the_observed_one_at_that_moment_at_the_rider():
    # A wind from the south that rises by 6 m/s an hour at 10 m, brought down by the log law.
    seen = {"wind_from_deg": 180.0, "wind_height_m": 10.0}
    rising = [AIR | seen | {"time": START + timedelta(hours=h), "wind_speed_m_s": 6.0 * h} for h in (0, 1)]
    s = segments_of(brought_together(usual()[0].ride, weather=rising))
    expected = 6.0 * s.middle_s / 3600.0 * math.log(1.0 / 0.03) / math.log(10.0 / 0.03)
    assert s.expected_wind_m_s[..., 1] == pytest.approx(expected, rel=1e-6)
    assert s.expected_wind_m_s[..., 0] == pytest.approx(np.zeros(expected.shape), abs=1e-9)


def test_without_an_observed_wind_none_is_expected():
    assert not segments_of(usual()[1]).expected_wind_m_s.any()


def test_a_recorded_air_speed_is_that_of_the_segment_where_it_was_heard():
    # In still air by a perfect sensor it is the speed over the road.
    made = session(sensors=replace(Sensors.perfect(), air_speed=True, air_speed_noise=0.0))
    lost = (made.ride.time_s > 300.0) & (made.ride.time_s < 330.0)
    air = np.where(lost, np.nan, made.ride.column("air_speed_m_s"))
    s = segments_of(brought_together(with_columns(made.ride, air_speed_m_s=air)))
    deaf = (s.middle_s > 305.0) & (s.middle_s < 325.0)
    heard = (s.middle_s < 294.0) | (s.middle_s > 336.0)
    assert s.has_air_speed
    assert np.isnan(s.air_speed_m_s[deaf]).all()
    assert s.air_speed_m_s[heard] == pytest.approx(s.speed_m_s[heard], abs=0.1)
    assert not segments_of(usual()[1]).has_air_speed


# gaps, halts, brakes


def test_a_gap_is_unknown_in_the_segments_it_touches_and_nowhere_else():
    made = usual()[0]
    found = brought_together(without(made.ride, 300.0, 330.0))
    s = segments_of(found)
    assert s.laps == 4
    assert s.unknown_s.sum() == pytest.approx(30.0, abs=1e-6)
    away = np.abs(s.middle_s - 315.0) > 15.0 + s.duration_s
    assert not s.unknown_s[away].any()
    assert np.isfinite(s.base_m).all()
    whole = segments_of(usual()[1])
    assert s.base_m[[0, 2, 3]] == pytest.approx(whole.base_m[[0, 2, 3]], abs=0.02)


@pytest.mark.parametrize(("gap_s", "laps"), [(40.0, 4), (80.0, 3)])
def test_a_lap_without_a_balance_for_a_quarter_of_its_way_takes_no_part(gap_s, laps):
    # Laps last about 225 s.
    found = brought_together(without(usual()[0].ride, 300.0, 300.0 + gap_s))
    chosen = fittable_laps(found)
    assert len(chosen) == laps
    assert (2 in [lap.lap.number - 1 for lap in chosen]) == (laps == 4)
    assert segments_of(found).laps == laps


def test_a_lap_with_hardly_a_sample_takes_no_part():
    made = usual()[0]
    _, start, end = made.truth.crossing_s[:3]
    found = brought_together(without(made.ride, math.ceil(start) + 1.0, math.floor(end) - 1.0))
    assert [lap.lap.number for lap in fittable_laps(found)] == [2, 4, 5]


def test_lost_power_for_half_a_lap_takes_the_lap_out():
    ride = usual()[0].ride
    power = np.where(np.abs(ride.time_s - 370.0) < 60.0, np.nan, ride.column("power_w"))
    found = brought_together(with_columns(ride, power_w=power))
    assert [lap.lap.number for lap in fittable_laps(found)] == [2, 4, 5]


def dropped(ride: Ride, column: str, value: float, start_s: float, end_s: float) -> Ride:
    """The ride with one value written between two moments, as a sensor does that has lost touch."""
    lost = (ride.time_s >= start_s) & (ride.time_s <= end_s)
    return with_columns(ride, **{column: np.where(lost, value, ride.column(column))})


@pytest.mark.parametrize(
    ("column", "value"), [("power_w", 0.0), ("power_w", 231.0), ("speed_m_s", 0.0), ("speed_m_s", 9.876)]
)
def test_a_stretch_with_a_zero_or_frozen_sensor_is_unknown_and_the_lap_keeps_its_others(column, value):
    ride = with_columns(usual()[0].ride, cadence_rpm=90.0)
    found = brought_together(dropped(ride, column, value, 300.0, 320.0))
    s = segments_of(found)
    assert any(flag.name == column.split("_")[0] + "_dropout" for flag in found.laps[2].lap.flags)
    # From the sample before to the last false one, and for speed to the one after.
    assert s.unknown_s.sum() == pytest.approx(22.0 if column == "speed_m_s" else 21.0, abs=1e-6)
    away = np.abs(s.middle_s - 310.0) > 11.0 + s.duration_s
    assert not s.unknown_s[away].any()
    whole = segments_of(brought_together(ride))
    assert s.base_m[away] == pytest.approx(whole.base_m[away], abs=0.02)


def test_every_stretch_counts_not_only_the_one_that_the_flag_shows():
    ride = with_columns(usual()[0].ride, cadence_rpm=90.0)
    twice = dropped(dropped(ride, "power_w", 0.0, 300.0, 320.0), "power_w", 0.0, 400.0, 410.0)
    assert segments_of(brought_together(twice)).unknown_s.sum() == pytest.approx(32.0, abs=1e-6)


def test_a_sensor_that_is_false_for_too_long_takes_the_lap_out_with_its_reason():
    ride = with_columns(usual()[0].ride, cadence_rpm=90.0)
    found = brought_together(dropped(ride, "power_w", 0.0, 300.0, 380.0))
    assert [lap.lap.number for lap in fittable_laps(found)] == [2, 4, 5]
    assert why_not_fittable(found, found.laps[2]) == "power or speed is missing, zero or frozen for 81 s of it"


def test_power_that_stands_still_on_every_lap_is_no_frozen_sensor():
    # A trainer holds its power, and a computed ride may have it held.
    found = brought_together(with_columns(usual()[0].ride, power_w=240.0))
    assert any(flag.name == "power_dropout" for flag in found.laps[2].lap.flags)
    assert segments_of(found).unknown_s.sum() == pytest.approx(0.0, abs=1e-6)


def test_laps_that_are_not_used_or_not_whole_are_not_fitted():
    found = brought_together(usual()[0].ride, rides=({"laps": ("bare", "bare", "-", "faired", "-", "bare")},))
    assert [lap.lap.number for lap in fittable_laps(found)] == [2, 4]


def test_a_long_halt_with_the_recording_off_costs_no_way_and_leaves_the_lap_in():
    made = session(stopped_laps=(2,))
    speed = made.ride.column("speed_m_s")
    standing = np.flatnonzero(speed < 0.01)
    first, last = (float(made.ride.time_s[k]) for k in (standing[0], standing[-1]))
    # The halt of 40 s made to last 400 s, with nothing recorded meanwhile.
    longer = without(made.ride, first, last)
    t = longer.column("time_s")
    late = np.where(t >= last, 360.0, 0.0)
    marks = [
        replace(m, start_s=m.start_s + 360.0 * (m.start_s > first), end_s=m.end_s + 360.0 * (m.end_s > first))
        for m in made.ride.lap_marks
    ]
    found = brought_together(replace(with_columns(longer, time_s=t + late), lap_marks=tuple(marks)))
    s = segments_of(found)
    assert [lap.lap.number for lap in fittable_laps(found)] == [2, 3, 4, 5]
    assert s.unknown_s[1].sum() == pytest.approx(last + 360.0 - first, abs=1.0)
    assert np.count_nonzero(s.unknown_s[1]) <= 2
    assert s.per_lap == pytest.approx(segments_of(usual()[1]).per_lap, abs=2)
    assert s.speed_m_s.max() < 15.0


def test_time_under_the_brakes_is_known_where_they_were_on():
    made = session(braked_laps=(3,))
    s = segments_of(brought_together(made.ride))
    assert s.braked_s[2].sum() > 1.0
    assert s.braked_m[2].max() > 5.0
    assert not s.braked_s[[0, 1, 3]].any()
    slowest = np.argmin(np.diff(s.speed_m_s[2]))
    assert s.braked_s[2, slowest : slowest + 3].any()


# what need not be there


def test_an_altimeter_is_not_needed():
    made = session(course=LEVEL)
    with_it, without_it = (
        segments_of(brought_together(ride)) for ride in (made.ride, with_columns(made.ride, altitude_m=math.nan))
    )
    for name in ("base_m", "still_air_m_per_m2", "roll_m"):
        assert getattr(without_it, name) == pytest.approx(getattr(with_it, name), rel=1e-4, abs=1e-6)


def test_a_clock_is_not_needed_and_rides_then_follow_each_other():
    ride = usual()[0].ride
    parts = (cut(ride, 0.0, 542.0), cut(ride, 542.0, 1e5))
    laps = ({"laps": ("-", "bare", "faired", "-")}, {"laps": ("-", "bare", "-")})
    timed = segments_of(brought_together(*parts, rides=laps))
    timeless = segments_of(
        brought_together(*(replace(part, start_time=None) for part in parts), rides=laps, weather=(AIR,))
    )
    crossings = usual()[0].truth.crossing_s
    assert timed.start_s == pytest.approx([crossings[0], crossings[1], crossings[3]], abs=0.3)
    assert timeless.start_s[2] > timeless.end_s[1] + 600.0
    assert timeless.base_m == pytest.approx(timed.base_m, abs=1e-9)
