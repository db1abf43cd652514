"""The plan: its answer, its number of laps, and what it says of time, wind and reach."""

from __future__ import annotations

import json
from itertools import pairwise

import pytest

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.plan.assumptions import power_at_speed_w, smallest_m2, wind_at_rider_m_s
from fieldaero.plan.expected_error import ExpectedError, PlannedRide
from fieldaero.plan.plan import STEPS, plan_test
from fieldaero.plan.printed_page import printed_page
from fieldaero.plan.text import plan_text
from fieldaero.run_sheet.schema import AnalysisChoices
from fieldaero.simulator import CourseShape

RIDE = PlannedRide(course=CourseShape(length_m=2000.0), power_w=240.0, wind_m_s=0.0)
SE_PER_M_S = 0.002  # of the stand-in below, with four laps each


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    """An expected error proportional to the wind, in place of the simulated one."""

    def stand_in(ride, *, order, difference_m2):
        own = order.count(order[0])
        others = (len(order) - own) // (len(set(order)) - 1)
        per_lap = (2.0 * (1.0 / own + 1.0 / others)) ** 0.5
        return ExpectedError(
            se_m2=SE_PER_M_S * ride.wind_m_s * per_lap, setup_laps=others, baseline_laps=own, lap_s=180.0
        )

    monkeypatch.setattr("fieldaero.plan.plan.expected_error", stand_in)


def planned(**changes):
    usual = {"setups": ("bare", "hat"), "smallest_difference_m2": 0.006, "wind_m_s": 1.0, "wind_height_m": 1.0}
    return plan_test(RIDE, **(usual | changes))


def test_it_takes_as_few_laps_as_are_enough():
    plan = planned()
    assert plan.answer == "go"
    assert plan.probability >= 0.8
    before = [p for p in plan.curve if p.laps_per_setup == plan.laps_per_setup - 1]
    assert before[0].probability < 0.8 or before[0].laps_per_setup < 3


def test_every_step_is_told_before_it_is_taken():
    told = []
    assert planned(progress=told.append) == planned()
    assert len(set(told)) == len(told) == STEPS


def test_probability_rises_and_error_falls_with_laps():
    curve = planned().curve
    assert all(a.se_m2 > b.se_m2 and a.probability <= b.probability for a, b in pairwise(curve))


def test_what_does_not_fit_into_the_time_is_not_planned():
    plan = planned(wind_m_s=1.6, available_min=85.0)
    assert plan.ride_min <= 85.0
    assert plan.answer == "marginal"
    assert "85 min" in plan.reason
    assert "would be enough" in plan.reason


def test_a_small_difference_in_wind_is_no_go():
    plan = planned(smallest_difference_m2=0.002, wind_m_s=3.0)
    assert plan.answer == "no-go"
    assert plan.probability < 0.5


def test_fewer_laps_than_needed_are_marginal_or_no_go_and_more_are_go():
    answers = [planned(wind_m_s=1.5, laps_per_setup=n).answer for n in (2, 6, 12)]
    assert answers == ["no-go", "marginal", "go"]


def test_laps_that_take_longer_than_there_is_time_are_no_go():
    plan = planned(laps_per_setup=30)
    assert plan.answer == "no-go"
    assert "take fewer laps" in plan.reason


def test_one_or_two_seconds_are_out_of_reach_however_calm():
    plan = planned(smallest_difference_m2=smallest_m2(RIDE, difference_s=1.5), wind_m_s=0.05)
    assert plan.answer == "no-go"
    assert "need a tunnel or an air-speed sensor" in plan.reason


def test_a_reason_has_no_full_stop_and_a_caution_has_one():
    out_of_reach = smallest_m2(RIDE, difference_s=1.5)
    for plan in (planned(), planned(laps_per_setup=30), planned(smallest_difference_m2=out_of_reach, wind_m_s=6.0)):
        assert not plan.reason.endswith(".")
        assert all(caution.endswith(".") for caution in plan.cautions)


def test_every_plan_says_what_is_out_of_reach_in_these_words():
    words = "Differences of one or two seconds over 40 km, such as small accessories give, are out of reach outdoors"
    assert words in plan_text(planned())


def test_ride_time_is_laps_warm_up_and_changes():
    plan = planned(laps_per_setup=4)
    assert "".join(name[0] for name in plan.order) == "bhhbbhhb"
    assert plan.changes == 4
    assert plan.ride_min == pytest.approx((8 + plan.warm_up_laps) * 3.0 + 4 * 3.0)


def test_less_wind_is_better_and_more_is_worse():
    plan = planned()
    calmer, windier = plan.other_winds
    assert calmer.wind_m_s < plan.wind_m_s < windier.wind_m_s
    assert calmer.probability > plan.probability > windier.probability


def test_wind_that_moves_a_bike_is_warned_of():
    assert any("gusts that move a bike" in line for line in planned(wind_m_s=4.0).cautions)
    assert not any("gusts" in line for line in planned(wind_m_s=1.0).cautions)


def test_wind_of_a_station_is_brought_to_the_rider():
    # Log law over open ground, roughness 0.03 m: ln(1/0.03) / ln(10/0.03) = 0.604.
    assert wind_at_rider_m_s(wind_m_s=2.0, wind_height_m=10.0) == pytest.approx(2.0 * 0.6036, rel=1e-3)


def test_the_sheet_s_rough_ground_brings_less_of_it_to_the_rider():
    # ln(1/0.25) / ln(10/0.25) = 0.376.
    plan = planned(wind_m_s=2.0, wind_height_m=10.0, choices=AnalysisChoices(roughness_length_m=0.25))
    assert plan.wind_m_s == pytest.approx(2.0 * 0.3758, rel=1e-3)


def test_m2_watts_and_seconds_are_one_difference():
    # 1/2 rho dCdA v^3 / eta with rho = 1.207 kg/m3, 12.5 m/s and 0.976.
    assert smallest_m2(RIDE, difference_w=5.0) == pytest.approx(5.0 * 0.976 / (0.5 * 1.207 * 12.5**3), rel=2e-3)
    plan = planned(smallest_difference_m2=smallest_m2(RIDE, difference_s=15.0))
    assert plan.smallest_difference_s == pytest.approx(15.0, abs=1e-3)


REPORT = AnalysisChoices(report_speed_km_h=36.0, report_distance_km=20.0, report_power_w=180.0)


def test_a_sheet_s_own_report_conditions_reach_every_word_of_its_plan():
    plan = planned(smallest_difference_m2=0.006, choices=REPORT)
    # 1/2 rho dCdA v^3 / eta with rho = 1.207 kg/m3, 10 m/s and 0.976.
    assert plan.smallest_difference_w == pytest.approx(0.5 * 1.207 * 0.006 * 10.0**3 / 0.976, rel=2e-3)
    assert smallest_m2(RIDE, difference_w=plan.smallest_difference_w, choices=REPORT) == pytest.approx(0.006)
    assert smallest_m2(RIDE, difference_s=plan.smallest_difference_s, choices=REPORT) == pytest.approx(0.006, rel=1e-4)
    for told in (plan_text(plan), printed_page(plan)):
        assert "s over 20 km at 180 W" in told
        assert "45 km/h" not in told
        assert "250 W" not in told
    assert "W at 36 km/h" in plan_text(plan)
    assert plan.to_dict()["report_distance_km"] == 20.0


def test_what_is_out_of_reach_does_not_depend_on_the_distance_that_is_reported():
    short = planned(choices=AnalysisChoices(report_distance_km=2.0))
    assert short.smallest_difference_s < 2.0
    assert short.answer == planned().answer == "go"


def test_power_for_a_speed_is_that_of_the_steady_balance():
    # 0.5 1.207 0.25 v^3 + (0.0045 84 9.80665 + 0.091) v + 0.0087 v^2, over 0.976, at 40 km/h.
    v = 40.0 / 3.6
    by_hand = (0.5 * 1.207 * 0.25 * v**3 + (0.0045 * 84 * 9.80665 + 0.091) * v + 0.0087 * v**2) / 0.976
    assert power_at_speed_w(RIDE, speed_km_h=40.0) == pytest.approx(by_hand, rel=2e-3)


def test_what_would_leave_no_drag_has_no_seconds(monkeypatch):
    # An error of 0.3 m2 with four laps resolves nothing below 0.25 m2, more than all the drag there is.
    plan = planned(wind_m_s=9.9, laps_per_setup=2)
    assert plan.resolvable_s is not None
    monkeypatch.setattr(
        "fieldaero.plan.plan.expected_error",
        lambda ride, *, order, difference_m2: ExpectedError(se_m2=0.3, setup_laps=4, baseline_laps=4, lap_s=180.0),
    )
    monstrous = planned()
    assert monstrous.resolvable_m2 > 0.25
    assert monstrous.resolvable_s is None
    json.dumps(monstrous.to_dict(), allow_nan=False)


def test_json_holds_the_order_and_the_curve():
    told = json.loads(json.dumps(planned().to_dict(), allow_nan=False))
    assert told["order"][0] == "bare"
    assert {"laps_per_setup", "laps", "ride_min", "se_m2", "probability"} == set(told["curve"][0])


@pytest.mark.parametrize(
    ("changes", "about"),
    [
        ({"laps_per_setup": 0}, "0 laps per setup"),
        ({"wind_m_s": -1.0}, "wind_m_s is -1"),
        ({"wind_m_s": 60.0}, "give m/s"),
        ({"setups": ("bare",)}, "1 setup given"),
        ({"available_min": 0.0}, "available_min is 0"),
        ({"wind_height_m": 0.0}, "wind_height_m is 0"),
    ],
)
def test_what_cannot_be_planned_is_refused(changes, about):
    with pytest.raises(OutOfRangeError) as error:
        planned(**changes)
    assert about in str(error.value)


@pytest.mark.parametrize("given", [{}, {"difference_w": 3.0, "difference_s": 10.0}, {"difference_m2": 0.0}])
def test_the_smallest_difference_is_given_once_and_above_zero(given):
    with pytest.raises(OutOfRangeError, match="smallest difference"):
        smallest_m2(RIDE, **given)
