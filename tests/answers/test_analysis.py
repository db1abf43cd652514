"""The whole analysis on simulated folders: answers, and sensible ones where there is little to go by."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize

import fieldaero as fa
from fieldaero.answers.result import Result
from fieldaero.basics.errors import CannotAnswerError
from fieldaero.compare.verdict import LOWER, NO_DIFFERENCE, NOT_RESOLVED, verdict
from fieldaero.simulator import CourseShape
from fieldaero.simulator.session_files import write_session
from tests.written_sessions import halt_row, held_at, later_from, scenario, without_wind, written


def sensible(result: Result) -> Result:
    """The result, once everything in it that has laps behind it was found finite and in order."""
    for row in result.setup_results:
        if row.laps:
            low, high = row.interval95_m2
            assert np.isfinite([row.cda_m2, row.se_m2, low, high]).all()
            assert low < row.cda_m2 < high
    for row in result.comparison_results:
        if row.delta_cda_m2 is not None:
            low, high = row.interval95_m2
            assert np.isfinite([row.delta_cda_m2, row.se_m2, row.df, low, high]).all()
            assert low < row.delta_cda_m2 < high
            assert 0.0 <= row.p_value <= 1.0
            assert row.verdict == verdict((low, high), smallest_difference_m2=row.smallest_difference_m2)
    text = result.summary()
    assert all(" ".join(w.split()) in " ".join(text.split()) for w in result.warnings)
    json.dumps(result.to_dict(), allow_nan=False)
    return result


def says(result: Result, *words: str) -> bool:
    """Whether one warning holds all of these words."""
    return any(all(word in warning for word in words) for warning in result.warnings)


def setup(result: Result, name: str):
    return next(row for row in result.setup_results if row.setup == name)


# An ordinary session


@pytest.mark.parametrize("seed", [1, 2])
def test_an_ordinary_session_is_answered_without_a_warning(tmp_path, seed):
    result = sensible(fa.analyse(written(tmp_path, scenario(laps=6, lap_length_m=1500.0), seed=seed)))
    assert result.warnings == ()
    one = result.comparison_results[0]
    assert (one.setup, one.versus) == ("aero bar", "road bar")
    assert abs(one.delta_cda_m2 + 0.010) < 4.0 * one.se_m2
    assert abs(setup(result, "road bar").cda_m2 - 0.250) < 4.0 * setup(result, "road bar").se_m2
    assert [row.laps for row in result.setup_results] == [3, 3]


def test_watts_and_seconds_follow_from_the_drag_area_by_the_power_equation(tmp_path):
    result = fa.analyse(written(tmp_path, scenario()))
    one, system = result.comparison_results[0], result.session.run_sheet.system
    rho = float(np.mean([row.air_density_kg_m3 for row in result.lap_results if row.used]))
    v = 45.0 / 3.6
    assert one.watts.value == pytest.approx(0.5 * rho * one.delta_cda_m2 * v**3 / system.efficiency, rel=1e-3)
    base = setup(result, "road bar").cda_m2

    def speed(cda):
        # b0 + b1 v of the bearings after Martin et al. 1998.
        def power(v):
            rolling = result.crr.value * system.mass_kg * result.session.gravity_m_s2
            return (0.5 * rho * cda * v**2 + rolling + 0.091 + 0.0087 * v) * v / system.efficiency

        return optimize.brentq(lambda v: power(v) - 250.0, 1.0, 30.0)

    expected = 40_000.0 / speed(base + one.delta_cda_m2) - 40_000.0 / speed(base)
    assert one.seconds.value == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize(("key", "amount"), [("w", 4.8), ("s", 17.0)])
def test_the_smallest_difference_that_matters_may_be_given_in_watts_or_seconds(tmp_path, key, amount):
    def asked(sheet):
        sheet["analysis"] = {f"smallest_difference_{key}": amount}

    result = fa.analyse(written(tmp_path, scenario(), edit=asked))
    one = result.comparison_results[0]
    # What the difference itself is worth in this currency, in proportion.
    worth = abs({"w": one.watts, "s": one.seconds}[key].value / one.delta_cda_m2)
    assert one.smallest_difference_m2 == pytest.approx(amount / worth, rel=0.03)


def test_a_difference_that_does_not_matter_is_called_so(tmp_path):
    def asked(sheet):
        sheet["analysis"] = {"smallest_difference_m2": 0.05}

    one = fa.analyse(written(tmp_path, scenario(), edit=asked)).comparison_results[0]
    assert (one.smallest_difference_m2, one.verdict, one.further_laps) == (0.05, NO_DIFFERENCE, None)


def test_each_laps_influence_is_told_with_its_number(tmp_path):
    one = fa.analyse(written(tmp_path, scenario())).comparison_results[0]
    assert [(shift.ride, shift.lap) for shift in one.lap_shifts] == [("ride.csv", n) for n in (3, 4, 5, 6)]
    assert all(math.isfinite(shift.shift_m2) and abs(shift.shift_m2) < 0.02 for shift in one.lap_shifts)


def test_the_steps_are_told(tmp_path):
    told: list[str] = []
    fa.analyse(written(tmp_path, scenario()), progress=told.append)
    assert told[0] == "reading ride.csv"
    assert told[-1] == "fitting all laps together"


def test_a_session_in_fit_and_in_csv_is_the_same_session(tmp_path):
    write_session(scenario(), tmp_path / "fit", seed=3)
    fit = fa.analyse(tmp_path / "fit" / "runsheet.toml").comparison_results[0]
    csv = fa.analyse(written(tmp_path / "csv", scenario())).comparison_results[0]
    assert fit.delta_cda_m2 == pytest.approx(csv.delta_cda_m2, abs=0.1 * csv.se_m2)


# The two estimators against each other


def test_estimators_that_disagree_are_reported(tmp_path):
    # The rider brakes in every lap with the aero bar: plain closure takes that for drag.
    laps = scenario(laps=8, brakings_per_lap=0.0)
    braked = tuple(k for k, name in enumerate(laps.order, start=1) if name == "aero bar")
    result = sensible(fa.analyse(written(tmp_path, replace(laps, braked_laps=braked), seed=6)))
    one = result.comparison_results[0]
    assert one.closure_delta_cda_m2 > 0.0 > one.delta_cda_m2
    assert says(result, "aero bar against road bar", "joint fit", "plain closure", "further apart")


def test_estimators_that_agree_are_not(tmp_path):
    result = fa.analyse(written(tmp_path, scenario(laps=8), seed=6))
    one = result.comparison_results[0]
    assert abs(one.closure_delta_cda_m2 - one.delta_cda_m2) < 3.0 * math.hypot(one.se_m2, one.closure_se_m2)
    assert not says(result, "plain closure")


# Little to go by


@pytest.mark.parametrize("seed", [3, 4])
def test_one_lap_per_setup_says_that_scatter_is_unknown(tmp_path, seed):
    result = sensible(fa.analyse(written(tmp_path, scenario(laps=2), seed=seed)))
    assert [row.laps for row in result.setup_results] == [1, 1]
    assert says(result, "No setup has two laps", "nothing shows how much laps scatter")
    assert result.lap_scatter_m2 is None
    one = result.comparison_results[0]
    assert one.interval95_m2[0] < -0.010 < one.interval95_m2[1]
    assert one.closure_se_m2 is None or math.isnan(one.closure_se_m2)


def test_a_setup_with_one_lap_borrows_the_scatter_of_the_others(tmp_path):
    result = sensible(fa.analyse(written(tmp_path, scenario(laps=3))))
    assert [row.laps for row in result.setup_results] == [1, 2]
    assert says(result, "road bar: a single lap")
    assert not says(result, "aero bar: a single lap")
    assert not says(result, "No setup has two laps")


def test_one_setup_leaves_nothing_to_compare(tmp_path):
    result = sensible(fa.analyse(written(tmp_path, scenario(setups={"road bar": 0.25}))))
    assert result.comparison_results == ()
    assert says(result, "Only one setup", "nothing to compare")
    assert abs(setup(result, "road bar").cda_m2 - 0.25) < 3.0 * setup(result, "road bar").se_m2


def test_two_laps_of_the_baseline_alone_say_that_the_other_setup_has_none(tmp_path):
    result = sensible(fa.analyse(written(tmp_path, scenario(order=("-", "road bar", "road bar", "-")))))
    assert says(result, "Only one setup")
    one = result.comparison_results[0]
    assert (one.setup, one.delta_cda_m2, one.verdict) == ("aero bar", None, NOT_RESOLVED)
    assert setup(result, "aero bar").laps == 0


def test_a_single_lap_in_all_still_has_a_drag_area(tmp_path):
    result = sensible(fa.analyse(written(tmp_path, scenario(order=("-", "aero bar", "-")))))
    low, high = setup(result, "aero bar").interval95_m2
    assert low < 0.24 < high
    assert says(result, "Only one setup")


def test_no_lap_for_any_setup_cannot_be_answered(tmp_path):
    def none_used(sheet):
        sheet["rides"][0]["laps"] = ["-"] * len(sheet["rides"][0]["laps"])

    with pytest.raises(CannotAnswerError, match="Name at least one whole lap"):
        fa.analyse(written(tmp_path, scenario(), edit=none_used))


def test_crr_unknown_at_one_speed_leaves_drag_areas_open_and_differences_not(tmp_path):
    def unknown(sheet):
        sheet["system"]["crr_sd"] = 0.005

    steady = scenario(power_wander_w=3.0, uphill_share=0.0, course=CourseShape(length_m=1200.0, height_m=1.0))
    known = sensible(fa.analyse(written(tmp_path / "known", steady)))
    result = sensible(fa.analyse(written(tmp_path / "unknown", steady, edit=unknown)))
    assert says(result, "Crr is only known to")
    assert not says(known, "Crr is only known to")
    assert result.crr.se > 0.0015
    row, before = setup(result, "road bar"), setup(known, "road bar")
    assert row.se_m2 > 2.0 * before.se_m2
    assert row.interval95_m2[0] < 0.25 < row.interval95_m2[1]
    one = result.comparison_results[0]
    assert one.se_m2 < 2.0 * known.comparison_results[0].se_m2
    assert one.interval95_m2[0] < -0.010 < one.interval95_m2[1]


@pytest.mark.parametrize("height_m", [0.5, 8.0])
def test_laps_of_300_m_are_laps(tmp_path, height_m):
    short = scenario(lap_length_m=300.0, laps=8, course=CourseShape(length_m=300.0, height_m=height_m))
    result = sensible(fa.analyse(written(tmp_path, short)))
    assert [row.laps for row in result.setup_results] == [4, 4]
    one = result.comparison_results[0]
    assert one.interval95_m2[0] < -0.010 < one.interval95_m2[1]
    assert setup(result, "road bar").interval95_m2[0] < 0.25 < setup(result, "road bar").interval95_m2[1]


@pytest.mark.parametrize("recorded", [False, True])
def test_a_stop_of_an_hour_within_a_lap_takes_time_and_no_drag(tmp_path, recorded):
    halted = scenario(stopped_laps=(3,))
    stop = held_at if recorded else later_from
    brief = sensible(fa.analyse(written(tmp_path / "brief", halted)))
    result = sensible(fa.analyse(written(tmp_path / "hour", halted, spoil=lambda r: stop(r, halt_row(r), 3600))))
    assert result.lap_results[3].duration_s == pytest.approx(brief.lap_results[3].duration_s + 3600.0, abs=1.5)
    assert "stopped" in result.lap_results[3].flags
    assert [row.laps for row in result.setup_results] == [2, 2]
    one, before = result.comparison_results[0], brief.comparison_results[0]
    assert one.delta_cda_m2 == pytest.approx(before.delta_cda_m2, abs=before.se_m2)
    assert one.interval95_m2[0] < -0.010 < one.interval95_m2[1]
    assert says(result, "after the last weather observation")


def test_weather_without_wind_leaves_the_wind_to_the_laps_and_says_so(tmp_path):
    told = sensible(fa.analyse(written(tmp_path / "told", scenario(wind_m_s=1.5))))
    result = sensible(fa.analyse(written(tmp_path / "untold", scenario(wind_m_s=1.5), edit=without_wind)))
    assert says(result, "No observation gives the wind's speed and direction")
    assert not says(told, "No observation gives the wind's speed and direction")
    one = result.comparison_results[0]
    assert one.interval95_m2[0] < -0.010 < one.interval95_m2[1]


def test_a_storm_reported_over_a_calm_ride_is_doubted(tmp_path):
    def storm(sheet):
        sheet["weather"][0]["wind_speed_m_s"] = 12.0

    result = sensible(fa.analyse(written(tmp_path, scenario(), edit=storm)))
    assert says(result, "The weather puts the wind at 7.2 m/s")  # 12 m/s at 10 m by the log law over grass
    assert says(result, "scatter by 5 %")
    assert says(result, "road bar: the joint fit", "plain closure")
    for name, true in (("road bar", 0.25), ("aero bar", 0.24)):
        low, high = setup(result, name).interval95_m2
        assert low < true < high
    one = result.comparison_results[0]
    assert one.interval95_m2[0] < -0.010 < one.interval95_m2[1]


def test_a_strong_wind_that_blew_is_called_strong_and_not_doubted(tmp_path):
    result = sensible(fa.analyse(written(tmp_path, scenario(laps=6, wind_m_s=4.0))))
    assert says(result, "m/s at the rider's height", "scatter by 5 %")
    assert not says(result, "The weather puts the wind")
    calm = fa.analyse(written(tmp_path / "calm", scenario(laps=6)))
    assert result.comparison_results[0].se_m2 > calm.comparison_results[0].se_m2


def one_way(rise_m):
    road = scenario(course=CourseShape(shape="one_way", length_m=1500.0, rise_m=5.0))

    def edit(sheet):
        sheet["rides"][0]["laps"] = [*(name for lap in road.order for name in ("-", lap)), "-"]
        if rise_m is not None:
            sheet["course"] = {"height_difference_m": rise_m}

    return road, edit


def test_a_road_ridden_one_way_only_is_uncertain_by_its_rise(tmp_path):
    road, edit = one_way(None)
    result = sensible(fa.analyse(written(tmp_path / "unknown", road, edit=edit, seed=6)))
    assert says(result, "height_difference_m", "altimeter")
    stated = sensible(fa.analyse(written(tmp_path / "known", road, edit=one_way(5.0)[1], seed=6)))
    assert not says(stated, "height_difference_m")
    assert setup(stated, "road bar").se_m2 < setup(result, "road bar").se_m2
    one = result.comparison_results[0]
    assert one.interval95_m2[0] < -0.010 < one.interval95_m2[1]
    assert one.delta_cda_m2 == pytest.approx(stated.comparison_results[0].delta_cda_m2, abs=one.se_m2)


def test_three_setups_hold_together(tmp_path):
    three = scenario(laps=9, setups={"road bar": 0.25, "aero bar": 0.24, "ski bend": 0.235})
    result = sensible(fa.analyse(written(tmp_path, three)))
    for one in result.comparison_results:
        together, alone = one.interval95_m2, one.interval95_alone_m2
        assert together[0] < alone[0] < alone[1] < together[1]
    assert [c.verdict for c in result.comparison_results] == [LOWER, LOWER]
