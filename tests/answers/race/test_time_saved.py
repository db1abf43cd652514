"""The uncertainty of seconds saved, against a Monte Carlo of the whole chain from test to race."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.answers.race.profile import flat_profile
from fieldaero.answers.race.race_time import Race
from fieldaero.answers.race.time_saved import time_saved
from fieldaero.basics.errors import OutOfRangeError
from fieldaero.compare.budget import CommonInput
from fieldaero.physics.flat_road import FlatRoad, seconds_over_distance
from fieldaero.physics.road_power import BEARING_N, BEARING_N_S_M
from fieldaero.physics.system import System
from tests.answers.race.course_times import course_time_s
from tests.answers.race.test_race_time import hilly

ROAD = FlatRoad(system=System(mass_kg=84.0), crr=0.0045, air_density_kg_m3=1.2, gravity_m_s2=9.80665)
FLAT = Race(profile=flat_profile(distance_km=40.0), road=ROAD, power_w=250.0)
SHORT = Race(profile=flat_profile(distance_km=4.0), road=ROAD, power_w=250.0)
HILLS = Race(profile=hilly(length_m=5_000.0), road=ROAD, power_w=250.0)

BARE, FAIRED = 0.26, 0.25
LAPS_SD_M2 = 0.0012  # of either mean
SETUP, VERSUS = np.array([0.5, 0.5, 0.0, 0.0]), np.array([0.0, 0.0, 0.5, 0.5])


def an_input(name, unit, value, u, of_setup, of_versus):
    return CommonInput(
        name=name,
        unit=unit,
        value=value,
        standard_uncertainty=u,
        lap_sensitivity=np.array([of_setup, of_setup, of_versus, of_versus]),
    )


# Sensitivities of about the size that a test at 40 km/h has, and a little unlike between the setups.
INPUTS = (
    an_input("mass", "kg", 84.0, 0.8, -0.0011, -0.0010),
    an_input("power scale", "", 1.0, 0.015, 0.325, 0.335),
    an_input("wheel circumference", "m", 2.105, 0.006, -0.36, -0.37),
    an_input("air density", "kg/m3", 1.2, 0.006, -FAIRED / 1.2, -BARE / 1.2),
    an_input("rolling resistance Crr", "", 0.0045, 0.0004, -10.4, -10.0),
)


def standard_errors(inputs=INPUTS):
    """Of the drag area compared with and of the difference, everything included, as a comparison gives them."""
    a = np.array([VERSUS @ i.lap_sensitivity * i.standard_uncertainty for i in inputs])
    d = np.array([(SETUP - VERSUS) @ i.lap_sensitivity * i.standard_uncertainty for i in inputs])
    return float(np.sqrt(LAPS_SD_M2**2 + a @ a)), float(np.sqrt(2 * LAPS_SD_M2**2 + d @ d))


def saved(race, *, inputs=INPUTS, **what):
    cda_se, delta_se = standard_errors(inputs)
    return time_saved(
        race,
        cda_m2=BARE,
        cda_se_m2=cda_se,
        delta_cda_m2=FAIRED - BARE,
        delta_se_m2=delta_se,
        inputs=inputs,
        setup_weights=SETUP,
        versus_weights=VERSUS,
        **what,
    )


def flat_seconds(mass_kg, crr, density_kg_m3, power_w, cda_m2):
    """Time over four kilometres of flat road, for all worlds at once: the balance of forces by Newton's method."""
    v = np.full(np.shape(mass_kg), 11.0)
    for _ in range(30):
        drag, rolling = 0.5 * density_kg_m3 * cda_m2, crr * mass_kg * 9.80665 + BEARING_N
        missing = v * (drag * v**2 + rolling + BEARING_N_S_M * v) - ROAD.system.efficiency * power_w
        v = v - missing / (3.0 * drag * v**2 + rolling + 2.0 * BEARING_N_S_M * v)
    return 4000.0 / v


def drawn(race, count, *, race_density_sd=None, power_sd=0.0, seed=0):
    """True seconds saved in worlds that all show the same test: what the inputs may have been, and the laps' errors."""
    rng = np.random.default_rng(seed)
    error = {i.name: rng.normal(size=count) * i.standard_uncertainty for i in INPUTS}
    faired, bare = (
        area + sum(weights @ i.lap_sensitivity * error[i.name] for i in INPUTS) + rng.normal(size=count) * LAPS_SD_M2
        for weights, area in ((SETUP, FAIRED), (VERSUS, BARE))
    )
    density_error = error["air density"] if race_density_sd is None else rng.normal(size=count) * race_density_sd
    mass, crr, density = 84.0 + error["mass"], 0.0045 + error["rolling resistance Crr"], 1.2 + density_error
    power = (race.power_w + rng.normal(size=count) * power_sd) * (1.0 + error["power scale"])
    if race is SHORT:
        return flat_seconds(mass, crr, density, power, faired) - flat_seconds(mass, crr, density, power, bare)
    out = np.empty(count)
    for n in range(count):
        road = replace(ROAD, system=replace(ROAD.system, mass_kg=mass[n]), crr=crr[n], air_density_kg_m3=density[n])
        with_it, without = course_time_s(replace(race, road=road, power_w=power[n]), cda_m2=[faired[n], bare[n]])
        out[n] = with_it - without
    return out


@pytest.mark.parametrize(
    ("race", "count", "what"),
    [
        (SHORT, 4000, {}),
        (SHORT, 4000, {"air_density_sd_kg_m3": 0.03, "power_sd_w": 10.0}),
        (HILLS, 1500, {}),
    ],
    ids=["flat", "flat, other air, power not held", "hills"],
)
def test_first_order_agrees_with_a_monte_carlo(race, count, what):
    found = saved(race, **what)
    worlds = drawn(race, count, race_density_sd=what.get("air_density_sd_kg_m3"), power_sd=what.get("power_sd_w", 0.0))
    spread = float(np.std(worlds))
    # Four standard errors of the Monte Carlo's own mean and standard deviation.
    assert found.seconds_s == pytest.approx(float(np.mean(worlds)), abs=4.0 * spread / np.sqrt(count))
    assert found.standard_uncertainty_s == pytest.approx(spread, rel=4.0 / np.sqrt(2.0 * count))
    low, high = found.interval()
    inside = np.mean((worlds > low) & (worlds < high))
    assert inside == pytest.approx(0.95, abs=4.0 * np.sqrt(0.95 * 0.05 / count))


def test_the_drag_area_and_the_difference_share_errors_that_matter():
    # Taken as independent of the baseline and of one another the parts would not give the Monte Carlo's spread.
    blind = tuple(replace(i, lap_sensitivity=np.zeros(4)) for i in INPUTS)
    cda_se, delta_se = standard_errors()
    apart = time_saved(
        FLAT,
        cda_m2=BARE,
        cda_se_m2=cda_se,
        delta_cda_m2=FAIRED - BARE,
        delta_se_m2=delta_se,
        inputs=blind,
        setup_weights=SETUP,
        versus_weights=VERSUS,
    )
    assert abs(apart.standard_uncertainty_s / saved(FLAT).standard_uncertainty_s - 1.0) > 0.003


@pytest.mark.parametrize("shared_sd", [0.0, 0.004])
def test_laps_that_share_an_error_are_told_so_by_their_covariance(shared_sd):
    # A wind that all laps share moves both means alike: to the drag area it adds, to the difference nothing.
    laps = 2.0 * LAPS_SD_M2**2 * np.eye(4) + shared_sd**2
    for each in INPUTS:
        laps += np.outer(each.lap_sensitivity, each.lap_sensitivity) * each.standard_uncertainty**2
    cda_se, delta_se = np.sqrt(VERSUS @ laps @ VERSUS), np.sqrt((SETUP - VERSUS) @ laps @ (SETUP - VERSUS))
    found = time_saved(
        SHORT,
        cda_m2=BARE,
        cda_se_m2=float(cda_se),
        delta_cda_m2=FAIRED - BARE,
        delta_se_m2=float(delta_se),
        inputs=INPUTS,
        setup_weights=SETUP,
        versus_weights=VERSUS,
        lap_covariance_m4=laps,
    )
    # As a law of propagation with a shared input of that size and independent laps.
    shared = an_input("wind", "", 0.0, shared_sd, 1.0, 1.0)
    expected = time_saved(
        SHORT,
        cda_m2=BARE,
        cda_se_m2=float(cda_se),
        delta_cda_m2=FAIRED - BARE,
        delta_se_m2=float(delta_se),
        inputs=(*INPUTS, shared),
        setup_weights=SETUP,
        versus_weights=VERSUS,
    )
    assert found.standard_uncertainty_s == pytest.approx(expected.standard_uncertainty_s, rel=1e-9)


def test_only_the_difference_is_uncertain_without_inputs():
    found = time_saved(FLAT, cda_m2=0.26, cda_se_m2=0.0, delta_cda_m2=-0.01, delta_se_m2=0.002, df=7.0)
    step = [float(seconds_over_distance(d, cda_m2=0.26, road=ROAD, distance_km=40.0, power_w=250.0))
            for d in (-0.0101, -0.0099)]  # fmt: skip
    assert found.standard_uncertainty_s == pytest.approx(0.002 * (step[1] - step[0]) / 2e-4, rel=1e-4)
    assert found.budget.df == pytest.approx(7.0)
    assert found.baseline_s == pytest.approx(float(course_time_s(FLAT, cda_m2=0.26)), abs=1e-6)
    low, high = found.interval(level=0.9)
    # Student's t with 7 degrees of freedom, 90 % two-sided: 1.895 in the tables.
    assert (high - low) / 2.0 == pytest.approx(1.895 * found.standard_uncertainty_s, rel=3e-4)


def test_degrees_of_freedom_are_those_of_the_difference_where_it_is_all_there_is():
    silent = tuple(replace(i, standard_uncertainty=0.0) for i in INPUTS)
    found = time_saved(
        FLAT,
        cda_m2=BARE,
        cda_se_m2=0.0,
        delta_cda_m2=-0.01,
        delta_se_m2=0.001,
        df=5.5,
        inputs=silent,
        setup_weights=SETUP,
        versus_weights=VERSUS,
    )
    assert found.budget.df == pytest.approx(5.5)


def test_an_error_of_the_scales_cancels_where_test_and_race_share_it():
    # Mass, Crr and the meter of a flat race in the test's own air: the drag area answers to each so that the speed
    # at the tested power stays what was measured, and the race at that power has the baseline's time exactly.
    v, m, g, eta, rho = 11.0, 84.0, 9.80665, 0.976, 1.2
    system = ROAD.system
    power = v * (0.5 * rho * BARE * v**2 + 0.0045 * m * g + 0.091 + 0.0087 * v) / eta
    per_power, per_crr = 2.0 * eta * power / (rho * v**3), -2.0 * m * g / (rho * v**2)
    for change in (
        {"power_w": power * 1.01},
        {"road": replace(ROAD, crr=0.0046)},
        {"road": replace(ROAD, air_density_kg_m3=1.2 * 1.01)},
    ):
        area = BARE + {"power_w": 0.01 * per_power, "road": 0.0}[next(iter(change))]
        if "road" in change:
            area += 1e-4 * per_crr if change["road"].crr != 0.0045 else BARE / 1.01 - BARE
        race = replace(FLAT, power_w=power)
        assert float(course_time_s(replace(race, **change), cda_m2=area)) == pytest.approx(40_000.0 / v, abs=1e-3)
    assert system.efficiency == eta


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"cda_se_m2": -1.0}, "cda_se_m2 is -1"),
        ({"delta_se_m2": float("nan")}, "delta_se_m2 is nan"),
        ({"power_sd_w": -1.0}, "power_sd_w is -1"),
        ({"inputs": INPUTS}, "without setup_weights"),
        ({"air_density_sd_kg_m3": -0.1}, "air density of the race is -0.1"),
        ({"delta_cda_m2": -0.3}, "drag area is"),
    ],
)
def test_bad_input_is_refused(change, says):
    usual = {"cda_m2": 0.26, "cda_se_m2": 0.003, "delta_cda_m2": -0.01, "delta_se_m2": 0.002}
    with pytest.raises(OutOfRangeError, match=says):
        time_saved(FLAT, **(usual | change))
