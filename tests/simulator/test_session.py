"""A session as a whole: the same every time, and what the analysis finds in it is what was put in."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from fieldaero.basics.errors import RunSheetError
from fieldaero.estimate.closure import lap_closure
from fieldaero.estimate.energy_balance import energy_balance
from fieldaero.laps.find_laps import find_laps
from fieldaero.physics.earth import LocalFrame
from fieldaero.physics.system import System
from fieldaero.rides.ride import COLUMNS
from fieldaero.simulator import Sensors, SimulatedSession, Wind, simulate_session
from fieldaero.simulator.scenario import Scenario
from tests.simulator.sessions import ONE_WAY, ORDER, OUT_AND_BACK, headings_deg, scenario, session, start_line

GUSTY = Wind(speed_m_s=1.5, from_deg=200.0, slow_sd_m_s=0.4, gust_sd_m_s=0.4)


def closures_m2(made: SimulatedSession, *, system: System | None = None, rise_m: float = 0.0, **wind) -> np.ndarray:
    """Drag area that closes each lap, with the true Crr and air."""
    truth = made.truth
    balance = energy_balance(
        made.ride,
        system=system or System(mass_kg=84.0),
        air_density_kg_m3=truth.air_density_kg_m3,
        gravity_m_s2=truth.gravity_m_s2,
        **wind,
    )
    return np.array(
        [
            lap_closure(balance, start_s=a, end_s=b, crr=truth.crr, height_difference_m=rise_m).cda_m2
            for a, b in zip(truth.lap_start_s, truth.lap_end_s, strict=True)
        ]
    )


def test_the_same_seed_gives_the_same_session_and_another_seed_another():
    noisy = {"sensors": Sensors(power_dropouts_per_h=20.0), "wind": GUSTY, "brakings_per_lap": 0.5}
    one, again, other = (simulate_session(scenario(**noisy), seed=seed) for seed in (7, 7, 8))
    assert one.ride.table.equals(again.ride.table)
    assert one.truth == again.truth
    assert one.ride.lap_marks == again.ride.lap_marks
    assert not one.ride.table.equals(other.ride.table)


def test_the_ride_looks_like_one_that_was_read():
    made = session(sensors=Sensors())
    assert tuple(made.ride.table.columns) == COLUMNS
    assert np.all(np.diff(made.ride.time_s) == 1.0)
    assert made.ride.start_time == scenario().start_time
    assert made.ride.lap_marks[-1].trigger == "session_end"
    assert len(made.ride.lap_marks) == len(ORDER) + 2


def test_samples_can_be_further_apart():
    made = session(sample_s=4)
    assert np.all(np.diff(made.ride.time_s) == 4.0)
    assert made.truth.lap_end_s[-1] < made.ride.time_s[-1] + 10.0


@pytest.mark.parametrize("seed", range(5))
def test_the_lap_button_is_pressed_within_a_second_of_the_line(seed):
    made = session(seed=seed, sensors=Sensors(button_sd_s=3.0), order=ORDER * 3)
    pressed = np.array([mark.start_s for mark in made.ride.lap_marks[1:]])
    late = pressed - made.truth.crossing_s
    assert np.abs(late).max() <= 1.0
    assert late.std() > 0.4


def test_passages_lie_a_lap_apart():
    made = session()
    at = np.interp(made.truth.crossing_s, made.ride.time_s, made.ride.column("distance_m"))
    assert np.diff(at) == pytest.approx(np.full(4, 2400.0), abs=0.05)
    assert at[0] == pytest.approx(300.0, abs=11.0)  # the first second is not recorded


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("lap_source", ["button", "line"])
def test_laps_are_found_where_the_line_was_truly_passed(seed, lap_source):
    made = session(seed=seed, wind=GUSTY)
    laps = find_laps(made.ride, lap_source=lap_source, start_line=start_line(made))
    laps = [lap for lap in laps if abs(lap.distance_m - 2400.0) < 100.0]
    assert [lap.start_s for lap in laps] == pytest.approx(made.truth.lap_start_s, abs=0.3)
    assert [lap.end_s for lap in laps] == pytest.approx(made.truth.lap_end_s, abs=0.3)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_without_a_given_line_the_laps_last_as_long_as_they_truly_did(seed):
    made = session(seed=seed, wind=GUSTY, sensors=replace(Sensors.perfect(), button_sd_s=0.7))
    laps = find_laps(made.ride, lap_source="button")[1:-1]
    truly = np.subtract(made.truth.lap_end_s, made.truth.lap_start_s)
    assert [lap.duration_s for lap in laps] == pytest.approx(truly, abs=0.3)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_closure_of_an_errorless_ride_in_still_air_returns_the_true_drag_area(seed):
    made = session(seed=seed, power_wander_w=30.0, cda_lap_sd_m2=0.004)
    assert closures_m2(made) == pytest.approx(np.array(made.truth.lap_cda_m2), rel=1e-3)


@pytest.mark.parametrize("changes", [{"pause_between_laps_s": 120.0}, {"course": ONE_WAY}])
def test_closure_holds_where_laps_are_recorded_apart(changes):
    made = session(**changes)
    rise = ONE_WAY.rise_m if "course" in changes else 0.0
    assert closures_m2(made, rise_m=rise) == pytest.approx(np.array(made.truth.lap_cda_m2), rel=1e-3)


def test_closure_with_a_known_steady_wind_returns_the_true_drag_area():
    made = session(wind=Wind(speed_m_s=3.0, from_deg=200.0), cda_lap_sd_m2=0.004)
    wind = {"wind_east_m_s": made.truth.wind_east_m_s, "wind_north_m_s": made.truth.wind_north_m_s}
    known = closures_m2(made, heading_deg=headings_deg(made.ride), **wind)
    assert known == pytest.approx(np.array(made.truth.lap_cda_m2), rel=2e-3)
    # Left out, the wind matters by more than ten times that tolerance.
    assert np.all(closures_m2(made) > 1.02 * np.array(made.truth.lap_cda_m2))


def test_a_drag_area_that_grows_with_yaw_is_found_larger_in_a_crosswind_and_unchanged_in_still_air():
    growing = {"cda_per_yaw_deg2": 0.001}
    wind = Wind(speed_m_s=3.0, from_deg=200.0)
    still, plain, yawed = session(**growing), session(wind=wind), session(wind=wind, **growing)
    assert closures_m2(still) == pytest.approx(np.array(still.truth.lap_cda_m2), rel=1e-3)
    assert np.all(closures_m2(yawed) > 1.03 * closures_m2(plain))


def test_a_drifting_drag_area_is_found_drifting():
    made = session(cda_drift_m2_per_h=0.02)
    middle_h = np.add(made.truth.lap_start_s, made.truth.lap_end_s) / 2.0 / 3600.0
    assert closures_m2(made) - made.truth.lap_cda_m2 == pytest.approx(0.02 * middle_h, abs=3e-4)


def test_lap_to_lap_scatter_has_the_standard_deviation_asked_for():
    made = session(
        order=("bare",) * 60, cda_lap_sd_m2=0.005, course=replace(OUT_AND_BACK, shape="loop", length_m=400.0)
    )
    assert np.std(made.truth.lap_cda_m2) == pytest.approx(0.005, rel=0.3)
    assert np.mean(made.truth.lap_cda_m2) == pytest.approx(0.262, abs=0.002)


def test_the_road_of_an_out_and_back_course_is_the_same_both_ways():
    truth = session(course=OUT_AND_BACK).truth
    height = np.array(truth.profile_height_m)
    assert height == pytest.approx(height[::-1], abs=1e-6)


@pytest.mark.parametrize("changes", [{}, {"course": OUT_AND_BACK}])
def test_the_road_has_the_height_asked_for_and_closes(changes):
    truth = session(**changes).truth
    height = np.array(truth.profile_height_m)
    assert height[0] == 0.0
    assert height[-1] == pytest.approx(0.0, abs=1e-9)
    assert np.ptp(height) == pytest.approx(8.0, rel=1e-6)
    # The recorded altitude follows it.
    made = session(**changes)
    shown = made.ride.column("altitude_m")
    assert np.ptp(shown) == pytest.approx(8.0, abs=0.1)


def test_positions_move_as_fast_as_the_wheel_turns():
    ride = session().ride
    lat, lon = ride.column("latitude_deg"), ride.column("longitude_deg")
    east, north = LocalFrame(latitude_deg=float(lat[0]), longitude_deg=float(lon[0])).to_metres(lat, lon)
    moved, rolled = np.hypot(np.diff(east), np.diff(north)), np.diff(ride.column("distance_m"))
    # Chords of a bend are shorter than its arc.
    assert np.median(moved / rolled) == pytest.approx(1.0, abs=2e-3)
    assert (moved / rolled).min() > 0.98


def test_truth_becomes_plain_json():
    made = session()
    read = json.loads(json.dumps(made.truth.to_dict()))
    assert read["lap_cda_m2"] == pytest.approx(made.truth.lap_cda_m2, rel=5e-10)
    assert read["crossing_s"] == pytest.approx(made.truth.crossing_s, rel=5e-10)  # half the tenth digit
    assert read["crossing_s"] == [float(f"{time:.10g}") for time in read["crossing_s"]]
    assert read["setup_cda_m2"] == {"bare": 0.262, "faired": 0.248}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"order": ()}, "empty"),
        ({"order": ("bare", "fared")}, 'lap 2: "fared" is no setup'),
        ({"stopped_laps": (5,)}, "no lap 5; allowed is 1 to 4"),
        ({"sample_s": 0}, "whole seconds"),
    ],
)
def test_an_impossible_scenario_is_refused(wrong, said):
    with pytest.raises(RunSheetError, match=said):
        scenario(**wrong)


def test_a_lap_without_setup_is_ridden_in_the_spare_drag_area():
    made = simulate_session(Scenario(setups={"bare": 0.25}, order=("-", "bare"), spare_cda_m2=0.31), seed=1)
    assert made.truth.lap_cda_m2 == (0.31, 0.25)
