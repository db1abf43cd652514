"""The joint fit on simulated sessions, where the truth is known, and on segments that obey the equation exactly."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fieldaero.compare.session_comparison import estimate_session
from fieldaero.estimate.cut_laps import fittable_laps
from fieldaero.estimate.joint_fit import noise
from fieldaero.estimate.joint_fit.equations import AIR_SCALE, CELLS
from fieldaero.estimate.joint_fit.gauss_newton import SETTLED_M2
from fieldaero.estimate.joint_fit.noise import PARAMETERS
from fieldaero.estimate.joint_fit.noise_search import cda_covariance
from fieldaero.estimate.joint_fit.priors import (
    AIR_SCALE_SD,
    TWINS_DIFFER_M,
    KnownBefore,
    mean_wind_sd_m_s,
    shared_prior,
)
from fieldaero.estimate.joint_fit.segments import RoadCells, road_cells
from fieldaero.simulator import Sensors
from tests.estimate.joint_fit.fitted_sessions import (
    BREEZE,
    CALM,
    CRR,
    CRR_SD,
    difference,
    estimated,
    fit_of,
    fitted,
    opened,
    plain_session,
    segments_of,
    simulated,
)
from tests.estimate.joint_fit.small_sessions import noise_parameters, obeying_segments, random_segments
from tests.simulator.sessions import LEVEL, LOOP, ORDER, OUT_AND_BACK

TRUE_DIFFERENCE = 0.248 - 0.262
BREEZY = {"wind": BREEZE, "sensors": Sensors()}
WITH_AIR_SPEED = {"wind": BREEZE, "sensors": Sensors(air_speed=True, air_speed_scale=1.03)}


def se(fit):
    return np.sqrt(np.diag(fit.covariance_m4))


# What comes out, where the truth is known.


@pytest.mark.parametrize("course", [LOOP, LEVEL, OUT_AND_BACK])
@pytest.mark.parametrize("seed", [1, 2])
def test_without_noise_the_difference_is_the_true_one(course, seed):
    fit = estimated(seed, course=course).fit
    found, found_se = difference(fit, ORDER)
    assert found == pytest.approx(TRUE_DIFFERENCE, abs=3e-4)
    assert found_se < 5e-4


@pytest.mark.parametrize("course", [LOOP, LEVEL, OUT_AND_BACK])
@pytest.mark.parametrize("seed", [1, 2])
def test_without_noise_the_drag_areas_are_as_good_as_they_claim(course, seed):
    fit, truth = estimated(seed, course=course).fit, simulated(seed, course=course).truth
    assert np.all(np.abs(fit.cda_m2 - truth.lap_cda_m2) < 3.0 * se(fit))
    assert abs(fit.crr - truth.crr) < 3.0 * fit.crr_se
    assert np.all(np.abs(fit.mean_wind_m_s) < 3.0 * fit.mean_wind_sd_m_s)


def test_the_road_comes_out_as_it_is():
    fit, truth = estimated(1).fit, simulated(1).truth
    heights = np.interp(fit.segments.cells.edge_m, truth.profile_position_m, truth.profile_height_m)
    found = np.concatenate([[0.0], np.cumsum(fit.cell_height_m)])
    assert np.ptp(heights) > 5.0
    assert found == pytest.approx(heights - heights[0], abs=0.25)
    assert found[-1] == pytest.approx(0.0, abs=0.02)


def test_noise_of_sensors_and_wind_is_found_to_within_a_factor():
    noise = estimated(2, **BREEZY).fit.noise
    assert list(noise) == [p.name for p in PARAMETERS]
    assert 0.2 < noise["gust_sd_m_s"] < 0.8  # true 0.4
    assert 3.0 < noise["gust_s"] < 15.0  # true 60 m at some 10 m/s
    assert 0.01 < noise["level_sd_m"] < 0.04  # v times its noise over g: 10 x 0.02 / 9.8


def test_gusty_wind_makes_the_fit_less_certain_and_it_says_so():
    calm, breezy = (difference(estimated(2, wind=w, sensors=Sensors()).fit, ORDER) for w in (CALM, BREEZE))
    assert breezy[1] > 2.0 * calm[1]
    for found, found_se in (calm, breezy):
        assert abs(found - TRUE_DIFFERENCE) < 3.0 * found_se


# What must not matter.


def test_names_of_the_setups_leave_the_numbers():
    plain = estimated(2, **BREEZY)
    swapped = {"bare": "faired", "faired": "bare"}
    other = estimate_session(opened(2, sheet={"names": swapped}, **BREEZY), hyper_uncertainty=False)
    assert np.array_equal(other.fit.cda_m2, plain.fit.cda_m2)
    assert np.array_equal(other.fit.covariance_m4, plain.fit.covariance_m4)
    ours, theirs = plain.comparison.contrasts[0], other.comparison.contrasts[0]
    assert (theirs.setup, theirs.versus) == (ours.versus, ours.setup)
    assert theirs.delta_cda_m2 == ours.delta_cda_m2
    assert theirs.se_m2 == ours.se_m2


def test_an_altimeter_that_reads_high_throughout_changes_nothing():
    def higher(table):
        table["altitude_m"] += 437.0
        return table

    plain = estimated(2, **BREEZY).fit
    other = estimate_session(opened(2, edit=higher, **BREEZY), hyper_uncertainty=False).fit
    # But for gravity, which is 0.014 % less so much higher up.
    assert other.cda_m2 == pytest.approx(plain.cda_m2, rel=1.4e-4)
    assert difference(other, ORDER) == pytest.approx(difference(plain, ORDER), rel=1e-3)


def test_the_session_may_begin_at_any_hour():
    segments = segments_of(2, **BREEZY)
    later = replace(
        segments,
        **{name: getattr(segments, name) + 5000.0 for name in ("start_s", "middle_s", "end_s")},
    )
    assert fit_of(later).cda_m2 == pytest.approx(fitted(2, **BREEZY).cda_m2, abs=1e-6)


@pytest.mark.parametrize("turn", ["by 60 degrees", "mirrored east and west"])
def test_a_world_turned_round_has_the_same_drag(turn):
    a = math.radians(60.0)
    M = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    if turn != "by 60 degrees":
        M = np.diag([-1.0, 1.0])
    segments = replace(
        segments_of(2, **BREEZY), expected_wind_m_s=np.full((4, segments_of(2, **BREEZY).per_lap, 2), 0.5)
    )
    turned = replace(
        segments,
        **{name: getattr(segments, name) @ M.T for name in ("wind_first", "heading", "expected_wind_m_s")},
    )
    plain, other = fit_of(segments, wind_sd_m_s=1.0), fit_of(turned, wind_sd_m_s=1.0)
    assert other.cda_m2 == pytest.approx(plain.cda_m2, abs=SETTLED_M2)
    assert other.mean_wind_m_s == pytest.approx(M @ plain.mean_wind_m_s, abs=0.01)
    assert se(other) == pytest.approx(se(plain), rel=1e-3)


def test_air_twice_as_dense_means_half_the_drag_area():
    segments = segments_of(2, **BREEZY)
    dense = replace(
        segments,
        **{name: 2.0 * getattr(segments, name) for name in ("still_air_m_per_m2", "wind_first", "wind_second")},
    )
    plain, other = fitted(2, **BREEZY), fit_of(dense)
    assert 2.0 * other.cda_m2 == pytest.approx(plain.cda_m2, abs=4.0 * SETTLED_M2)
    assert 2.0 * se(other) == pytest.approx(se(plain), rel=0.01)


# Refits.


@pytest.mark.parametrize("seed", [1, 2])
def test_a_refit_from_the_former_one_ends_where_it_did(seed):
    cold = fitted(seed, **BREEZY)
    again = fit_of(segments_of(seed, **BREEZY), start=cold)
    assert again.cda_m2 == pytest.approx(cold.cda_m2, abs=SETTLED_M2)
    assert se(again) == pytest.approx(se(cold), rel=1e-3)
    assert again.crr == pytest.approx(cold.crr, abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_refit_without_a_lap_is_the_fit_of_the_others(seed):
    session, full = plain_session(seed, **BREEZY), estimated(seed, **BREEZY).fit
    laps = fittable_laps(session)
    others = (laps[0], *laps[2:])
    warm = estimate_session(session, laps=others, start=full, hyper_uncertainty=False).fit
    cold = estimate_session(session, laps=others, theta=full.theta, hyper_uncertainty=False).fit
    assert warm.cda_m2 == pytest.approx(cold.cda_m2, abs=0.02 * se(cold).min())
    assert se(warm) == pytest.approx(se(cold), rel=0.01)


def test_a_lap_left_out_is_as_if_the_run_sheet_did_not_use_it():
    session = plain_session(2, **BREEZY)
    laps = fittable_laps(session)
    left_out = estimate_session(session, laps=(laps[0], *laps[2:]), hyper_uncertainty=False)
    unused = estimate_session(opened(2, sheet={"skipped": (2,)}, **BREEZY), hyper_uncertainty=False)
    assert [lap.lap.number for lap in unused.laps] == [lap.lap.number for lap in left_out.laps]
    assert unused.fit.cda_m2 == pytest.approx(left_out.fit.cda_m2, abs=1e-9)
    assert unused.comparison.contrasts[0].se_m2 == pytest.approx(left_out.comparison.contrasts[0].se_m2, rel=1e-6)


def test_a_former_fit_of_other_laps_is_no_hindrance():
    elsewhere = fitted(2, course=OUT_AND_BACK)
    here = segments_of(2, **BREEZY)
    carried = fit_of(here, start=elsewhere)
    assert carried.cda_m2 == pytest.approx(fit_of(here, theta=elsewhere.theta).cda_m2, abs=SETTLED_M2)


# What is known of the air.


@pytest.mark.parametrize("seed", [1, 2])
def test_an_air_speed_channel_makes_the_difference_several_times_more_certain(seed):
    without, known = (difference(estimated(seed, **what).fit, ORDER) for what in (BREEZY, WITH_AIR_SPEED))
    assert known[1] < without[1] / 4.0
    assert abs(known[0] - TRUE_DIFFERENCE) < 3.0 * known[1]


@pytest.mark.parametrize("scale", [0.98, 1.03])
def test_scale_of_the_air_speed_is_found(scale):
    fit = estimated(2, wind=BREEZE, sensors=Sensors(air_speed=True, air_speed_scale=scale)).fit
    best = fit.components[int(np.argmax(fit.weights))].estimate
    found, found_se = best.shared[AIR_SCALE], math.sqrt(best.factors.border[AIR_SCALE, AIR_SCALE])
    assert found_se < AIR_SCALE_SD / 4.0
    assert found == pytest.approx(scale - 1.0, abs=3.0 * found_se)


def test_a_known_wind_makes_the_drag_area_itself_more_certain():
    segments, truth = segments_of(2, **BREEZY), simulated(2, **BREEZY).truth
    mean = np.array([truth.wind_east_m_s, truth.wind_north_m_s])
    told = replace(segments, expected_wind_m_s=np.broadcast_to(mean, segments.expected_wind_m_s.shape).copy())
    wide, given = fit_of(segments, wind_sd_m_s=3.0), fit_of(told, wind_sd_m_s=0.2)
    assert np.all(se(given) < 0.7 * se(wide))
    for fit in (wide, given):
        assert np.all(np.abs(fit.cda_m2 - truth.lap_cda_m2) < 3.0 * se(fit))
        assert np.all(np.abs(fit.mean_wind_m_s - mean) < 3.0 * fit.mean_wind_sd_m_s)
    assert np.all(given.mean_wind_sd_m_s <= 0.2)
    # A road whose height nobody knows passes for a mean wind, so the laps say next to nothing of it.
    assert np.all(wide.mean_wind_sd_m_s > 1.0)


def test_without_an_observed_wind_its_spread_follows_from_how_much_it_varies():
    unknown, known = KnownBefore(crr=CRR, crr_sd=CRR_SD), KnownBefore(crr=CRR, crr_sd=CRR_SD, wind_sd_m_s=0.7)
    slow, twice, none = (noise_parameters(slow_wind_sd_m_s=s) for s in (0.5, 1.0, 1e-6))
    assert mean_wind_sd_m_s(known, slow) == mean_wind_sd_m_s(known, twice) == 0.7
    assert mean_wind_sd_m_s(unknown, twice) == pytest.approx(2.0 * mean_wind_sd_m_s(unknown, slow))
    assert 2.0 <= mean_wind_sd_m_s(unknown, slow) / 0.5 <= 3.0
    assert mean_wind_sd_m_s(unknown, none) > 0.0


def test_mean_winds_tried_have_the_moments_of_the_prior():
    # A rule of degree five in the plane: centre, spread and flatness of a normal distribution.
    fit = fit_of(segments_of(2, **BREEZY), wind_sd_m_s=1.5)
    assert len(fit.components) == 7
    tried = np.array([c.mean_m_s for c in fit.components])
    rule = np.array([1.0 / 2.0, *([1.0 / 12.0] * 6)])
    within = fit.components[0].problem.prior.sd[0] ** 2
    spread = tried.T @ (rule[:, None] * tried)
    assert rule @ tried == pytest.approx(np.zeros(2), abs=1e-12)
    assert spread + within * np.eye(2) == pytest.approx(1.5**2 * np.eye(2), abs=1e-9)
    assert rule @ tried**4 == pytest.approx(3.0 * np.diag(spread) ** 2)
    assert rule @ (tried[:, 0] ** 2 * tried[:, 1] ** 2) == pytest.approx(spread[0, 0] * spread[1, 1])
    assert fit.weights.sum() == pytest.approx(1.0)


def test_mean_winds_that_the_air_speed_speaks_against_weigh_less():
    truth = simulated(2, **WITH_AIR_SPEED).truth
    fit = fit_of(segments_of(2, **WITH_AIR_SPEED), wind_sd_m_s=3.0)
    tried = np.array([c.mean_m_s for c in fit.components])[1:]
    towards = tried @ [truth.wind_east_m_s, truth.wind_north_m_s]
    weights = fit.weights[1:]
    assert np.sum(weights[towards > 0.0]) > 5.0 * np.sum(weights[towards < 0.0])


def test_the_result_is_the_mixture_of_the_fits_about_each_mean_wind():
    fit = fit_of(segments_of(2, **BREEZY), wind_sd_m_s=3.0)
    cda = np.array([c.estimate.local[:, -1] for c in fit.components])
    within = np.array([cda_covariance(c.estimate)[0] for c in fit.components])
    mean = fit.weights @ cda
    square = np.sum(fit.weights[:, None, None] * (within + cda[:, :, None] * cda[:, None, :]), axis=0)
    assert fit.cda_m2 == pytest.approx(mean, abs=1e-12)
    assert fit.covariance_m4 == pytest.approx(square - np.outer(mean, mean), rel=1e-6)
    # How far the mean winds are from agreeing counts.
    alone = np.tensordot(fit.weights, within, axes=1)
    assert np.all(se(fit) > 1.01 * np.sqrt(np.diag(alone)))


# What is known of the road and of Crr.


def test_laps_at_two_speeds_tell_crr_and_laps_at_one_speed_do_not():
    one, two = (
        fit_of(segments_of(1, wind=CALM, sensors=Sensors(), course=LEVEL, power_w=power))
        for power in (230.0, (180.0, 300.0))
    )
    assert one.crr_se > 0.93 * CRR_SD
    assert two.crr_se < 0.86 * CRR_SD


@pytest.mark.parametrize("seed", [1, 2])
def test_laps_at_two_speeds_find_crr_where_the_run_sheet_was_wrong(seed):
    segments = segments_of(seed, wind=CALM, sensors=Sensors(), course=LEVEL, power_w=(180.0, 300.0))
    fit = fit_of(segments, crr=0.0075, crr_sd=0.003)
    assert fit.crr_se < 0.0012
    assert fit.crr == pytest.approx(CRR, abs=3.0 * fit.crr_se)


def exact(*, rise_m, cda_m2=(0.25, 0.27, 0.26), twins=None):
    """Segments that obey the equation to the last digit, in the very wind that is expected.

    Every lap is ridden alike, so that nothing but the height of the finish tells the drag area.
    """
    segments = random_segments(np.random.default_rng(41), per_lap=len(rise_m))
    alike = ("still_air_m_per_m2", "roll_m", "wind_first", "wind_second", "kinetic_m", "duration_s", "speed_m_s")
    segments = replace(
        segments,
        cells=RoadCells(edge_m=segments.cells.edge_m, twins=twins),
        **{name: np.repeat(getattr(segments, name)[:1], segments.laps, axis=0) for name in alike},
    )
    return obeying_segments(
        segments,
        cda_m2=np.array(cda_m2),
        crr=CRR,
        rise_m=np.array(rise_m),
        wind_m_s=segments.expected_wind_m_s,
    )


QUIET = {"theta": noise_parameters(slow_wind_sd_m_s=0.01, gust_sd_m_s=0.01), "wind_sd_m_s": 1e-3}
CLOSED = (2.0, 1.0, -4.0, 3.0, -1.5, -0.5)


def test_laps_that_obey_the_equation_give_back_what_they_were_made_with():
    fit = fit_of(exact(rise_m=CLOSED), **QUIET)
    assert fit.cda_m2 == pytest.approx([0.25, 0.27, 0.26], abs=1e-5)
    assert fit.cell_height_m == pytest.approx(CLOSED, abs=1e-3)
    assert fit.crr == pytest.approx(CRR, abs=1e-7)
    assert fit.residual_m == pytest.approx(np.zeros((3, 6)), abs=1e-3)
    assert fit.wind_m_s == pytest.approx(fit.segments.expected_wind_m_s, abs=1e-3)


UPHILL = (2.0, 1.0, -1.0, 3.0, 0.5, -0.5)


def test_a_finish_above_the_start_is_taken_off():
    uphill = exact(rise_m=UPHILL)
    assert fit_of(uphill, height_gain_m=5.0, **QUIET).cda_m2 == pytest.approx([0.25, 0.27, 0.26], abs=1e-5)
    taken_for_closed = fit_of(uphill, **QUIET)
    drag = uphill.still_air_m_per_m2.sum(axis=1)
    assert taken_for_closed.cda_m2 - [0.25, 0.27, 0.26] == pytest.approx(5.0 / drag, rel=0.1)


def test_a_finish_of_doubtful_height_leaves_the_differences():
    uphill = exact(rise_m=UPHILL)
    doubtful = fit_of(uphill, height_gain_m=5.0, height_gain_sd_m=1.0, **QUIET)
    known = fit_of(uphill, height_gain_m=5.0, **QUIET)
    drag = uphill.still_air_m_per_m2.sum(axis=1)
    assert se(doubtful) == pytest.approx(np.hypot(se(known), 1.0 / drag), rel=0.1)
    c = np.array([-1.0, 1.0, 0.0])
    assert c @ doubtful.cda_m2 == pytest.approx(0.02, abs=1e-5)
    assert c @ doubtful.covariance_m4 @ c < 1.1 * c @ known.covariance_m4 @ c


def test_an_altimeter_stands_in_for_a_closed_course():
    precision = np.eye(6) / 0.01**2
    fit = fit_of(
        exact(rise_m=UPHILL),
        height_gain_sd_m=np.inf,
        height_precision=precision,
        height_information=precision @ UPHILL,
        **QUIET,
    )
    assert fit.cda_m2 == pytest.approx([0.25, 0.27, 0.26], abs=1e-4)


def test_twins_add_up_to_what_the_levels_of_their_edges_differ_by():
    cells = road_cells(length_m=600.0, segments=6, turn_position_m=300.0)
    segments = replace(random_segments(np.random.default_rng(1), per_lap=6), cells=cells)
    settings = KnownBefore(crr=CRR, crr_sd=CRR_SD, height_gain_sd_m=np.inf)
    P = shared_prior(segments, settings, mean=np.zeros(2), sd=1.0).height_precision
    # Independent levels at the four edges of three stretches; a twin's sum is the difference of two.
    differ = np.diff(np.eye(4), axis=0)
    expected = cells.twins.T @ np.linalg.inv(TWINS_DIFFER_M**2 * differ @ differ.T) @ cells.twins
    assert P - expected == pytest.approx(np.zeros((6, 6)), abs=1e-5)


def test_twins_tell_the_drag_area_of_a_road_with_a_doubtful_end():
    there_and_back = (2.0, 1.0, -4.0, 4.0, -1.0, -2.0)
    twins = np.hstack([np.eye(3), np.eye(3)[::-1]])
    doubtful, pinned = (
        fit_of(exact(rise_m=there_and_back, twins=t), height_gain_m=0.8, height_gain_sd_m=1.0, **QUIET)
        for t in (None, twins)
    )
    assert np.all(se(pinned) < 0.5 * se(doubtful))
    assert np.all(doubtful.cda_m2 < np.array([0.25, 0.27, 0.26]) - 0.01)
    assert pinned.cda_m2 == pytest.approx([0.25, 0.27, 0.26], abs=1e-3)


# Brakes.


@pytest.mark.parametrize("seed", [1, 2])
def test_a_braking_does_not_pass_for_drag(seed):
    plain, braked = (estimated(seed, **what).fit for what in ({}, {"braked_laps": (2,)}))
    assert braked.segments.braked_s[1].sum() > 1.0
    others = np.array([-1.0, 0.0, 0.0, 1.0]) / 2.0  # nothing but a check that the laps around stay put
    second = np.array([-1.0, 1.0, 1.0, -1.0]) / 2.0
    for c in (others, second):
        assert c @ braked.cda_m2 == pytest.approx(c @ plain.cda_m2, abs=2e-4)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_work_of_the_brakes_is_found(seed):
    made, session = simulated(seed, braked_laps=(2,)), plain_session(seed, braked_laps=(2,))
    fit = estimated(seed, braked_laps=(2,)).fit
    braked_m = fit.segments.braked_m
    places = np.flatnonzero(braked_m.sum(axis=0))
    lost = fit.components[0].estimate.shared[CELLS + fit.segments.per_lap :]
    work = made.motion.brake_work_j.sum() / (session.run_sheet.system.mass_kg * session.gravity_m_s2)
    assert np.sum(lost * braked_m[1, places]) == pytest.approx(work, rel=0.1)


def test_a_braking_that_nobody_notices_would_pass_for_drag():
    segments = segments_of(1, braked_laps=(2,))
    nothing = np.zeros_like(segments.braked_s)
    noticed, unnoticed = fit_of(segments), fit_of(replace(segments, braked_s=nothing, braked_m=nothing))
    assert unnoticed.cda_m2[1] - noticed.cda_m2[1] > 0.002


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_braked_lap_is_as_good_as_it_claims_in_wind(seed):
    what = {"wind": CALM, "sensors": Sensors(), "braked_laps": (2,)}
    fit, truth = estimated(seed, **what).fit, simulated(seed, **what).truth
    c = np.array([-1.0, 3.0, -1.0, -1.0]) / 3.0
    assert abs(c @ (fit.cda_m2 - truth.lap_cda_m2)) < 3.0 * math.sqrt(c @ fit.covariance_m4 @ c)


# Settings.


@pytest.mark.parametrize("value", [0.0, -0.001, math.nan])
@pytest.mark.parametrize("name", ["crr_sd", "height_gain_sd_m"])
def test_an_uncertainty_that_is_none_is_refused(name, value):
    with pytest.raises(ValueError, match="above zero"):
        KnownBefore(**{"crr": 0.0045, "crr_sd": 0.0007, name: value})


def test_uncertainty_of_the_noise_is_worked_out_on_demand_alone():
    full = estimate_session(plain_session(2, **BREEZY)).fit
    bare = estimated(2, **BREEZY).fit
    assert not bare.theta_covariance.any()
    assert not bare.covariance_slopes.any()
    assert np.all(np.linalg.eigvalsh(full.theta_covariance) > -1e-9)
    assert full.covariance_slopes.any()
    assert np.array_equal(full.cda_m2, bare.cda_m2)
    assert np.linalg.eigvalsh(full.covariance_m4).min() > 0.0


# A line crossed a metre or two away from where satellites saw it, on a steep road.

WAVES, HEIGHT_M = 6, 2.5  # on a lap of the course: grades of some 5 %


def on_a_steep_road(segments, *, shift_m):
    """The same laps over waves of road, each lap seen as much too far along it."""
    edge = segments.cells.edge_m
    k = 2.0 * np.pi * WAVES / edge[-1]
    height = HEIGHT_M * np.sin(k * (edge[None, :] + np.asarray(shift_m)[:, None]))
    return replace(segments, base_m=segments.base_m + np.diff(height, axis=1))


@pytest.mark.parametrize("seed", [4, 5])
def test_a_shift_along_a_steep_road_does_not_pass_for_wind(seed, monkeypatch):
    even = segments_of(seed, course=LEVEL, wind=CALM)
    shift = 3.0 * np.random.default_rng(seed).normal(size=even.laps)
    shifted = on_a_steep_road(even, shift_m=shift)
    (clean, clean_se), (found, se) = (difference(fit_of(s), ORDER) for s in (even, shifted))
    assert found == pytest.approx(clean, abs=0.5 * clean_se)
    assert se == pytest.approx(clean_se, rel=0.25)
    monkeypatch.setattr(noise, "SHIFT_SD_M", 1e-6)
    _, mistaken_se = difference(fit_of(shifted), ORDER)
    assert mistaken_se > 2.0 * clean_se
