"""From a session to estimates: priors, chosen laps, a former result to start from."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from fieldaero.compare.budget import common_covariance_m4
from fieldaero.compare.session_comparison import Estimates, estimate_session
from fieldaero.estimate.cut_laps import fittable_laps
from fieldaero.estimate.session_fit import crr_prior_sd
from tests.estimate.joint_fit.small_sessions import noise_parameters
from tests.simulator.sessions import ONE_WAY, Sensors, session
from tests.simulator.sessions import session as simulated
from tests.whole_sessions import AIR, SYSTEM, brought_together, usual, with_columns

CALM = noise_parameters(gust_sd_m_s=0.03, slow_wind_sd_m_s=0.03)
ONE_WAY_LAPS = ("-", "bare", "-", "faired", "-", "faired", "-", "bare", "-")


@cache
def estimates(*, hyper_uncertainty: bool = True) -> Estimates:
    return estimate_session(usual()[1], hyper_uncertainty=hyper_uncertainty)


def se_m2(found: Estimates) -> np.ndarray:
    return np.sqrt(np.diag(found.covariance_m4))


# What is found


def test_laps_in_still_air_find_their_true_drag_areas():
    made, _ = usual()
    found = estimates()
    assert found.fit.cda_m2 == pytest.approx(made.truth.lap_cda_m2, rel=0.01)
    one = found.comparison.contrasts[0]
    assert one.interval95_m2[0] < 0.248 - 0.262 < one.interval95_m2[1]
    assert abs(found.fit.crr - made.truth.crr) < 2.0 * found.fit.crr_se


def test_covariance_is_the_fits_and_what_all_laps_have_in_common():
    found = estimates()
    assert found.covariance_m4 == pytest.approx(found.fit.covariance_m4 + common_covariance_m4(found.inputs), rel=1e-12)
    # Power scale 1.5 %, mass, wheel and air: some two per cent of the drag area at the least, alike in all laps.
    se = se_m2(found)
    assert np.min(se / found.fit.cda_m2) > 0.015
    assert np.min(found.covariance_m4 / np.outer(se, se)) > 0.9


def test_everything_has_one_entry_per_lap():
    _, whole = usual()
    found = estimates()
    assert found.laps == fittable_laps(whole)
    assert [lap.setup for lap in found.laps] == ["bare", "faired", "faired", "bare"]
    assert found.fit.cda_m2.shape == (4,)
    assert found.covariance_m4.shape == (4, 4)
    assert found.comparison.influence.outlier_z.shape == (4,)
    assert found.comparison.weights.shape == (2, 4)
    assert found.comparison.weights.sum(axis=1) == pytest.approx([1.0, 1.0], abs=1e-9)
    assert all(i.lap_sensitivity.shape == (4,) for i in found.inputs)
    assert found.warnings == ()


def test_without_a_budget_for_a_comparison_that_nobody_can_make():
    _, whole = usual()
    bare = [lap for lap in fittable_laps(whole) if lap.setup == "bare"]
    found = estimate_session(whole, laps=bare, hyper_uncertainty=False)
    assert (found.comparison.contrasts, found.budget) == ((), ())
    assert found.comparison.setups[0].cda_m2 == pytest.approx(0.262, rel=0.02)


# Chosen laps, a former result


def test_chosen_laps_alone_are_fitted():
    _, whole = usual()
    chosen = fittable_laps(whole)[:3]
    found = estimate_session(whole, laps=chosen, hyper_uncertainty=False)
    assert found.laps == chosen
    assert {m.setup: m.laps for m in found.comparison.setups} == {"bare": 1, "faired": 2}
    assert found.fit.cda_m2 == pytest.approx(estimates().fit.cda_m2[:3], abs=0.5 * float(np.min(se_m2(found))))


def test_noise_that_is_given_is_kept():
    _, whole = usual()
    theta = estimates().fit.theta + 0.3
    found = estimate_session(whole, theta=theta, hyper_uncertainty=False)
    assert found.fit.theta.tolist() == theta.tolist()


def test_a_former_result_leads_to_itself():
    # With another noise than the laps themselves would tell, so that it can only come from the former result.
    _, whole = usual()
    former = estimate_session(whole, theta=estimates().fit.theta + 0.3, hyper_uncertainty=False)
    again = estimate_session(whole, start=former.fit, hyper_uncertainty=False)
    assert again.fit.theta.tolist() == former.fit.theta.tolist()
    assert again.fit.cda_m2 == pytest.approx(former.fit.cda_m2, abs=1e-5)
    assert se_m2(again) == pytest.approx(se_m2(former), rel=0.01)


def test_a_former_result_serves_fewer_laps_too():
    _, whole = usual()
    chosen = fittable_laps(whole)[1:]
    former = estimates()
    there = estimate_session(whole, laps=chosen, start=former.fit, hyper_uncertainty=False)
    fresh = estimate_session(whole, laps=chosen, theta=former.fit.theta, hyper_uncertainty=False)
    assert there.fit.cda_m2 == pytest.approx(fresh.fit.cda_m2, abs=0.02 * float(np.min(se_m2(fresh))))


def test_a_former_result_lends_how_uncertain_its_noise_is():
    _, whole = usual()
    chosen, former = fittable_laps(whole)[1:], estimates()
    lent = estimate_session(whole, laps=chosen, start=former.fit)
    anew = estimate_session(whole, laps=chosen, theta=former.fit.theta)
    assert lent.fit.theta_covariance.tolist() == former.fit.theta_covariance.tolist()
    assert lent.comparison.contrasts[0].df == pytest.approx(anew.comparison.contrasts[0].df, rel=0.1)
    assert lent.comparison.contrasts[0].interval95_m2 == pytest.approx(
        anew.comparison.contrasts[0].interval95_m2, abs=0.02 * anew.comparison.contrasts[0].se_m2
    )


def test_uncertain_noise_costs_degrees_of_freedom_and_moves_no_lap():
    sure, unsure = estimates(hyper_uncertainty=False), estimates()
    assert sure.fit.cda_m2 == pytest.approx(unsure.fit.cda_m2, abs=1e-12)
    assert not sure.fit.covariance_slopes.any()
    assert unsure.fit.covariance_slopes.any()
    assert unsure.comparison.contrasts[0].df < sure.comparison.contrasts[0].df


# What is known before


def test_observed_wind_narrows_the_mean_wind():
    made = session()
    wind = {"wind_speed_m_s": 3.0, "wind_from_deg": 270.0, "wind_height_m": 1.0}
    told = brought_together(made.ride, weather=[{**AIR, **wind}])
    found = estimate_session(told, hyper_uncertainty=False)
    # The prior: 0.3 m/s and 0.3 of the speed, either component, and the ride can only narrow it.
    assert np.max(found.fit.mean_wind_sd_m_s) <= np.hypot(0.3, 0.9) + 1e-9
    east, north = np.mean(found.fit.segments.expected_wind_m_s, axis=(0, 1))
    assert north == pytest.approx(0.0, abs=1e-9)
    assert 1.5 < east < 3.0 + 1e-9  # from the west, and never stronger than observed
    unknown = estimates(hyper_uncertainty=False)
    assert not unknown.fit.segments.expected_wind_m_s.any()


def test_crr_is_as_uncertain_as_the_run_sheet_says_or_wide_where_it_is_to_be_found():
    made, whole = usual()
    assert crr_prior_sd(whole) == 0.0005
    wide = brought_together(made.ride, analysis={"estimate_crr": True})
    assert crr_prior_sd(wide) > 0.002
    exact = brought_together(made.ride, system=SYSTEM | {"crr_sd": 1e-6})
    assert crr_prior_sd(exact) > 0.0
    spread = {name: estimate_session(s, hyper_uncertainty=False) for name, s in (("wide", wide), ("exact", exact))}
    assert spread["exact"].fit.crr == pytest.approx(0.0045, abs=1e-5)
    assert spread["exact"].crr_se < estimates().crr_se == 0.0005
    assert spread["exact"].crr_se < spread["wide"].crr_se < crr_prior_sd(wide)
    # Whoever knows Crr knows the drag area better.
    assert spread["exact"].covariance_m4[0, 0] < estimates().covariance_m4[0, 0]


def test_laps_at_about_one_speed_have_no_say_in_crr_and_laps_at_two_have():
    assert not estimates().crr_estimated
    assert estimates().fit.crr == pytest.approx(0.0045, abs=1e-5)
    order_at_two = (170.0, 170.0, 290.0, 290.0)  # of the laps bare, faired, faired, bare
    at_two = brought_together(simulated(power_w=order_at_two).ride)
    found = estimate_session(at_two, hyper_uncertainty=False)
    assert found.crr_estimated
    assert found.crr_se < 0.9 * crr_prior_sd(at_two)


def test_setups_at_a_speed_each_have_no_say_in_crr_either():
    each = estimate_session(
        brought_together(simulated(power_w=(170.0, 290.0, 290.0, 170.0)).ride), hyper_uncertainty=False
    )
    assert not each.crr_estimated
    assert each.crr_se == 0.0005


# The altimeter, a weak witness


def test_an_altimeter_that_bends_by_metres_hardly_moves_a_closed_course():
    made, _ = usual()
    straight = estimates(hyper_uncertainty=False)
    ride = made.ride
    wander = 3.0 * np.sin(2.0 * np.pi * ride.column("distance_m") / 1700.0)
    bent = brought_together(with_columns(ride, altitude_m=ride.column("altitude_m") + wander))
    found = estimate_session(bent, hyper_uncertainty=False)
    assert found.fit.cda_m2 == pytest.approx(straight.fit.cda_m2, abs=0.25 * float(np.min(se_m2(straight))))
    moved = found.comparison.contrasts[0].delta_cda_m2 - straight.comparison.contrasts[0].delta_cda_m2
    assert abs(moved) < 0.5 * straight.comparison.contrasts[0].se_m2


def test_a_course_without_altitude_is_fitted_all_the_same():
    made, _ = usual()
    blind = brought_together(with_columns(made.ride, altitude_m=np.nan))
    found = estimate_session(blind, hyper_uncertainty=False)
    assert found.fit.cda_m2 == pytest.approx(made.truth.lap_cda_m2, rel=0.02)


@cache
def one_way(*, altitude: bool = True, rise_m: float | None = None) -> Estimates:
    ride = session(course=ONE_WAY, sensors=Sensors(button_sd_s=0.0, altitude_sd_m=0.5)).ride
    ride = ride if altitude else with_columns(ride, altitude_m=np.nan)
    course = {} if rise_m is None else {"course": {"height_difference_m": rise_m}}
    whole = brought_together(ride, rides=({"laps": ONE_WAY_LAPS},), **course)
    # The noise of calm air is given, so that nothing but what is known of the rise differs.
    return estimate_session(whole, theta=CALM, hyper_uncertainty=False)


def test_a_stated_rise_an_altimeter_and_nothing_tell_a_one_way_road_less_and_less():
    stated, measured, unknown = one_way(rise_m=ONE_WAY.rise_m), one_way(), one_way(altitude=False)
    assert se_m2(stated).max() < se_m2(measured).min() < se_m2(measured).max() < se_m2(unknown).min()
    for found in (stated, measured, unknown):
        assert np.all(np.abs(found.fit.cda_m2 - [0.262, 0.248, 0.248, 0.262]) < 3.0 * se_m2(found))
        # The rise is the same in every lap, so the difference does not need it.
        one = found.comparison.contrasts[0]
        assert one.interval95_m2[0] < -0.014 < one.interval95_m2[1]
        assert one.se_m2 < 0.006


def test_a_one_way_road_of_unknown_rise_says_what_stands_in_for_it():
    assert one_way(rise_m=ONE_WAY.rise_m).warnings == ()
    for found, words in ((one_way(), "The altimeter's is used"), (one_way(altitude=False), "do not give it either")):
        assert len(found.warnings) == 1
        assert words in found.warnings[0]
        assert "height_difference_m" in found.warnings[0]
