"""Lap closure and virtual elevation: errorless rides give back the drag area they were ridden with."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fieldaero.estimate.closure import LapClosure, closure_mean, lap_closure, virtual_elevation
from fieldaero.estimate.energy_balance import EnergyBalance, energy_balance
from fieldaero.physics.system import System
from fieldaero.rides import read_ride, write_csv
from fieldaero.rides.ride import Ride
from fieldaero.simulator import CourseShape, Scenario, Sensors, SimulatedSession, simulate_session
from fieldaero.simulator.fit_file import write_fit
from tests.rides.plain_rides import ride_of, varied_ride

SYSTEM = System(mass_kg=84.0)
LOOP = Scenario(
    setups={"bare": 0.262, "faired": 0.248},
    order=("bare", "faired", "faired", "bare"),
    sensors=Sensors.perfect(),
    power_wander_w=30.0,
)
ONE_WAY = replace(LOOP, course=CourseShape(shape="one_way", length_m=2200.0, rise_m=14.0))
WRITERS = {"fit": write_fit, "csv": write_csv}


@cache
def errorless(scenario_name: str, seed: int = 11) -> SimulatedSession:
    return simulate_session({"loop": LOOP, "one way": ONE_WAY}[scenario_name], seed=seed)


def balance_of(ride: Ride, made: SimulatedSession) -> EnergyBalance:
    return energy_balance(
        ride,
        system=SYSTEM,
        air_density_kg_m3=made.truth.air_density_kg_m3,
        gravity_m_s2=made.truth.gravity_m_s2,
    )


def closures(ride: Ride, made: SimulatedSession, *, rise_m: float = 0.0) -> list[LapClosure]:
    balance = balance_of(ride, made)
    return [
        lap_closure(balance, start_s=start, end_s=end, crr=made.truth.crr, height_difference_m=rise_m)
        for start, end in zip(made.truth.lap_start_s, made.truth.lap_end_s, strict=True)
    ]


@pytest.mark.parametrize(("file_format", "seed"), [("fit", 11), ("csv", 12)])
def test_a_file_of_an_errorless_ride_gives_the_true_drag_area_to_a_tenth_of_a_per_cent(file_format, seed, tmp_path):
    made = errorless("loop", seed)
    path = Path(tmp_path, f"ride.{file_format}")
    WRITERS[file_format](made.ride, path)
    found = [lap.cda_m2 for lap in closures(read_ride(path), made)]
    assert found == pytest.approx(list(made.truth.lap_cda_m2), rel=1e-3)


def test_a_road_ridden_one_way_closes_with_its_true_rise():
    made = errorless("one way")
    rise = made.truth.profile_height_m[-1] - made.truth.profile_height_m[0]
    assert rise == pytest.approx(14.0, abs=1e-6)
    laps = closures(made.ride, made, rise_m=rise)
    assert [lap.cda_m2 for lap in laps] == pytest.approx(list(made.truth.lap_cda_m2), rel=1e-3)
    # Taken as level, the same road would be some tens of per cent of drag.
    assert closures(made.ride, made)[0].cda_m2 > 1.2 * made.truth.lap_cda_m2[0]


def test_virtual_elevation_of_an_errorless_ride_is_the_road():
    made = errorless("loop")
    truth = made.truth
    balance = balance_of(made.ride, made)
    for start, end, cda in zip(truth.lap_start_s, truth.lap_end_s, truth.lap_cda_m2, strict=True):
        found = virtual_elevation(balance, start_s=start, end_s=end, cda_m2=cda, crr=truth.crr)
        road = np.interp(found.distance_m, truth.profile_position_m, truth.profile_height_m)
        # Power of whole seconds and a recorded speed in mm/s leave centimetres.
        assert found.elevation_m == pytest.approx(road - road[0], abs=0.03)


@pytest.mark.parametrize("crr", [0.0, 0.0045, 0.008])
@pytest.mark.parametrize("rise", [0.0, -3.0])
def test_virtual_elevation_with_the_drag_area_of_closure_ends_where_the_road_does(crr, rise):
    balance = energy_balance(varied_ride(), system=SYSTEM, air_density_kg_m3=1.2, gravity_m_s2=9.81)
    cda = lap_closure(balance, start_s=3.3, end_s=51.8, crr=crr, height_difference_m=rise).cda_m2
    found = virtual_elevation(balance, start_s=3.3, end_s=51.8, cda_m2=cda, crr=crr)
    assert found.elevation_m[0] == 0.0
    assert found.elevation_m[-1] == pytest.approx(rise, abs=1e-9)
    assert (found.time_s[0], found.time_s[-1]) == (3.3, 51.8)
    assert found.distance_m[-1] == pytest.approx(balance.total(balance.distance_m, 3.3, 51.8), rel=1e-12)


@settings(max_examples=40)
@given(
    seed=st.integers(0, 500),
    crr=st.floats(0.0, 0.01),
    more=st.floats(-0.002, 0.002),
    rise=st.floats(-5.0, 5.0),
)
def test_the_sensitivities_say_exactly_what_a_change_does(seed, crr, more, rise):
    balance = energy_balance(varied_ride(seed=seed), system=SYSTEM, air_density_kg_m3=1.2, gravity_m_s2=9.81)
    between = {"start_s": 2.5, "end_s": 50.5}
    one = lap_closure(balance, **between, crr=crr)
    other = lap_closure(balance, **between, crr=crr + more, height_difference_m=rise)
    assert other.cda_m2 - one.cda_m2 == pytest.approx(one.per_crr_m2 * more + one.per_m_m2 * rise, abs=1e-9)


def hollow(missing_s: int) -> EnergyBalance:
    power = np.full(60, 200.0)
    power[20 : 20 + missing_s] = np.nan
    ride = ride_of(time_s=np.arange(60), power_w=power, speed_m_s=10.0)
    return energy_balance(ride, system=SYSTEM, air_density_kg_m3=1.2, gravity_m_s2=9.81)


def test_a_lap_with_a_hole_in_its_balance_has_no_drag_area():
    lap = lap_closure(hollow(15), start_s=0.0, end_s=59.0, crr=0.004)
    assert np.isnan([lap.cda_m2, lap.per_crr_m2, lap.per_m_m2]).all()
    assert lap.unknown_s == pytest.approx(15.0)


def test_a_hole_outside_of_the_lap_does_not_matter():
    whole = lap_closure(hollow(0), start_s=40.0, end_s=59.0, crr=0.004)
    assert lap_closure(hollow(15), start_s=40.0, end_s=59.0, crr=0.004).cda_m2 == pytest.approx(whole.cda_m2)


def test_half_a_second_of_hole_is_tolerated_and_more_is_not():
    # The hole reaches from 19 to 34 s.
    assert np.isfinite(lap_closure(hollow(15), start_s=33.5, end_s=59.0, crr=0.004).cda_m2)
    assert np.isnan(lap_closure(hollow(15), start_s=33.4, end_s=59.0, crr=0.004).cda_m2)


def test_where_nobody_moves_there_is_no_drag_area():
    ride = ride_of(time_s=np.arange(20), power_w=0.0, speed_m_s=0.0)
    balance = energy_balance(ride, system=SYSTEM, air_density_kg_m3=1.2, gravity_m_s2=9.81)
    assert np.isnan(lap_closure(balance, start_s=0.0, end_s=19.0, crr=0.004).cda_m2)


def test_virtual_elevation_is_flat_over_a_hole():
    found = virtual_elevation(hollow(15), start_s=0.0, end_s=59.0, cda_m2=0.2, crr=0.004)
    inside = (found.time_s >= 19.0) & (found.time_s <= 34.0)
    assert np.ptp(found.elevation_m[inside]) == 0.0
    assert np.ptp(found.distance_m[inside]) == 0.0
    assert np.all(np.abs(np.diff(found.elevation_m[~inside])) > 0.0)


def test_difference_and_error_of_two_means_are_those_of_welchs_test():
    rng = np.random.default_rng(1)
    a, b = 0.25 + 0.002 * rng.normal(size=4), 0.252 + 0.006 * rng.normal(size=9)
    one, other = closure_mean(a), closure_mean([*b, np.nan])
    welch = stats.ttest_ind(a, b, equal_var=False)
    assert (one.cda_m2 - other.cda_m2) / np.hypot(one.se_m2, other.se_m2) == pytest.approx(welch.statistic, rel=1e-9)


def test_a_lap_without_a_drag_area_does_not_count():
    mean = closure_mean([0.250, np.nan, 0.254, 0.252])
    assert (mean.laps, mean.cda_m2) == (3, pytest.approx(0.252))


def test_a_single_lap_has_a_mean_and_no_error():
    mean = closure_mean([0.25])
    assert mean.cda_m2 == 0.25
    assert np.isnan(mean.se_m2)


@pytest.mark.parametrize("nothing", [[], [np.nan, np.nan]])
def test_a_setup_without_laps_has_nothing(nothing):
    mean = closure_mean(nothing)
    assert mean.laps == 0
    assert np.isnan([mean.cda_m2, mean.se_m2]).all()
