"""Claims: what a saving amounts to, and what an interval says of it."""

from __future__ import annotations

import pytest

from fieldaero.answers.cross_checks.claims import (
    FELL_SHORT,
    MET,
    NOT_COMPARABLE,
    NOT_TESTED,
    UNDECIDED,
    claim_results,
    judge_claim,
)
from fieldaero.answers.rows import ComparisonResult, SetupResult
from fieldaero.basics.errors import RunSheetError
from fieldaero.physics.flat_road import FlatRoad, seconds_over_distance, watts_at_speed
from fieldaero.physics.system import System
from tests.whole_sessions import sample_result, sheet

ROAD = FlatRoad(system=System(mass_kg=80.0), crr=0.004, air_density_kg_m3=1.2, gravity_m_s2=9.81)
BARE_M2 = 0.250
SETUPS = (
    SetupResult(setup="bare", laps=6, cda_m2=BARE_M2, se_m2=0.004, interval95_m2=(0.242, 0.258)),
    SetupResult(setup="faired", laps=6, cda_m2=0.240, se_m2=0.004, interval95_m2=(0.232, 0.248)),
)
# t is 2.228 at 97.5 % for ten degrees of freedom in every printed table
SE_M2, DF, T = 0.001, 10.0, 2.228


def compared(delta_m2: float = -0.010, **changes) -> ComparisonResult:
    half = T * SE_M2
    known = {
        "setup": "faired", "versus": "bare", "delta_cda_m2": delta_m2, "se_m2": SE_M2, "df": DF,
        "interval95_m2": (delta_m2 - 2 * half, delta_m2 + 2 * half),
        "interval95_alone_m2": (delta_m2 - half, delta_m2 + half), "p_value": 0.01, "verdict": "lower drag",
    }  # fmt: skip
    return ComparisonResult(**(known | changes))


def claimed(*comparisons: ComparisonResult, setups=SETUPS, analysis=None, **claim):
    table = {"setup": "faired", "versus": "bare"} | claim
    run_sheet = sheet(claims=[table], **({} if analysis is None else {"analysis": analysis}))
    (row,) = claim_results(run_sheet, comparisons=comparisons or (compared(),), setups=setups, road=ROAD)
    return row


def judged(claim_m2: float, *, delta_m2: float = -0.010, laps: int = 12):
    half = T * SE_M2
    return judge_claim(
        claim_m2,
        delta_cda_m2=delta_m2,
        se_m2=SE_M2,
        df=DF,
        interval95_m2=(delta_m2 - half, delta_m2 + half),
        laps=laps,
    )


# the verdict on a difference


@pytest.mark.parametrize(
    ("claim_m2", "says"),
    [(-0.0077, MET), (-0.0078, UNDECIDED), (-0.0122, UNDECIDED), (-0.0123, FELL_SHORT), (0.005, MET)],
)
def test_a_claim_is_met_where_the_whole_interval_saves_as_much(claim_m2, says):
    assert judged(claim_m2).verdict == says


@pytest.mark.parametrize(
    ("delta_m2", "against_zero"), [(-0.010, "lower drag"), (0.010, "higher drag"), (-0.001, "not resolved")]
)
def test_a_claim_that_fell_short_may_still_be_faster_or_slower_or_neither(delta_m2, against_zero):
    said = judged(-0.030, delta_m2=delta_m2)
    assert (said.verdict, said.against_zero) == (FELL_SHORT, against_zero)


@pytest.mark.parametrize(("sds", "probability"), [(0.0, 0.5), (T, 0.975), (-T, 0.025), (-1.812, 0.05), (2.764, 0.99)])
def test_the_probability_is_that_of_printed_t_tables(sds, probability):
    assert judged(-0.010 + sds * SE_M2).probability == pytest.approx(probability, abs=5e-5)


def test_only_an_undecided_claim_asks_for_laps_and_a_closer_one_for_more():
    assert judged(-0.005).further_laps is None
    assert judged(-0.020).further_laps is None
    near, nearer = judged(-0.0115).further_laps, judged(-0.0112).further_laps
    assert near is not None
    assert nearer is not None
    assert 0 < near < nearer
    assert judged(-0.010).further_laps is None  # no number of laps tells a claim from what it exactly is


def test_laps_that_decide_depend_on_the_distance_to_the_claim_alone():
    assert judged(-0.0115).further_laps == judged(0.0015, delta_m2=0.003).further_laps


# units and conditions


def test_square_metres_are_taken_as_they_are():
    row = claimed(saves=0.0075, unit="m2")
    assert row.claimed_delta_cda_m2 == -0.0075
    assert row.found == pytest.approx(0.010)
    assert row.interval95 == pytest.approx((0.010 - T * SE_M2, 0.010 + T * SE_M2))
    assert row.verdict == MET


def test_per_cent_are_of_the_setup_it_is_claimed_against():
    row = claimed(saves=5.0, unit="percent")
    assert row.claimed_delta_cda_m2 == pytest.approx(-0.0125)
    assert row.found == pytest.approx(4.0)
    assert row.verdict == FELL_SHORT
    assert row.against_zero == "lower drag"


def test_watts_at_a_speed_by_hand():
    # 1/2 x 1.2 kg/m3 x 0.01 m2 x (12 m/s)^3 / 0.976 = 10.623 W
    row = claimed(saves=10.623, unit="W", speed_km_h=43.2)
    assert row.claimed_delta_cda_m2 == pytest.approx(-0.010, rel=1e-4)
    assert row.found == pytest.approx(10.623, rel=1e-4)
    assert row.filled_in == ()
    assert row.probability == pytest.approx(0.5, abs=1e-3)


def test_seconds_over_a_distance_come_back_as_the_saving_of_the_drag_area():
    row = claimed(saves=40.0, unit="s", distance_km=40, power_w=250)
    back = seconds_over_distance(row.claimed_delta_cda_m2, cda_m2=BARE_M2, road=ROAD, distance_km=40.0, power_w=250.0)
    assert float(back) == pytest.approx(-40.0, abs=1e-4)
    low, high = row.interval95
    assert low < row.found < high


def test_conditions_that_are_not_stated_are_those_of_the_report_and_said():
    report = {"report_distance_km": 90.0, "report_power_w": 210.0, "report_speed_km_h": 38.0}
    row = claimed(saves=60.0, unit="s", analysis=report)
    assert (row.distance_km, row.power_w) == (90.0, 210.0)
    assert "90 km" in row.filled_in[0]
    assert "210 W" in row.filled_in[1]
    row = claimed(saves=6.0, unit="W", analysis=report)
    assert row.speed_km_h == 38.0
    assert len(row.filled_in) == 1
    assert "38 km/h" in row.filled_in[0]


def test_stated_conditions_are_not_said_to_be_filled_in():
    assert claimed(saves=30.0, unit="s", distance_km=40, power_w=250).filled_in == ()


def test_seconds_at_a_speed_are_at_the_power_that_this_speed_takes_without_the_saving():
    row = claimed(saves=30.0, unit="s", distance_km=40, speed_km_h=40)
    without = 40.0 / 40.0 * 3600.0
    with_it = without + float(
        seconds_over_distance(
            row.claimed_delta_cda_m2, cda_m2=BARE_M2, road=ROAD, distance_km=40.0, power_w=row.power_w
        )
    )
    assert with_it == pytest.approx(without - 30.0, abs=1e-3)
    assert "40 km/h" in row.filled_in[0]


def test_watts_at_a_power_are_at_the_speed_that_this_power_gives_without_the_saving():
    row = claimed(saves=6.0, unit="W", power_w=250)
    assert "250 W" in row.filled_in[0]
    assert float(watts_at_speed(row.claimed_delta_cda_m2, road=ROAD, speed_km_h=row.speed_km_h)) == pytest.approx(-6.0)


def test_a_claim_to_cost_is_met_by_costing_less():
    cheap, dear = compared(0.002), compared(0.012)
    assert claimed(cheap, saves=-0.006, unit="m2").verdict == MET
    row = claimed(dear, saves=-0.006, unit="m2")
    assert (row.verdict, row.against_zero) == (FELL_SHORT, "higher drag")
    assert row.found == pytest.approx(-0.012)


# what cannot be judged


def test_a_claim_under_other_conditions_is_not_judged():
    row = claimed(saves=0.001, unit="m2", comparable=False, note="another mounting angle")
    assert row.verdict == NOT_COMPARABLE
    assert row.probability is None
    assert row.further_laps is None
    assert row.note == "another mounting angle"


def test_a_claim_of_a_setup_without_laps_is_not_tested():
    empty = (SETUPS[0], SetupResult(setup="faired", laps=0, cda_m2=None, se_m2=None, interval95_m2=None))
    nothing = ComparisonResult(setup="faired", versus="bare", verdict="not resolved")
    row = claimed(nothing, setups=empty, saves=0.001, unit="m2")
    assert row.verdict == NOT_TESTED
    assert row.probability is None


def test_a_claim_against_the_baseline_turned_round_has_the_sign_turned_too():
    (row,) = claim_results(
        sheet(claims=[{"setup": "bare", "versus": "faired", "saves": -0.012, "unit": "m2"}]),
        comparisons=(compared(),),
        setups=SETUPS,
        road=ROAD,
    )
    assert row.delta_cda_m2 == 0.010
    assert row.interval95_m2 == pytest.approx((0.010 - T * SE_M2, 0.010 + T * SE_M2))
    assert row.found == pytest.approx(-0.010)


@pytest.mark.parametrize(
    "claim",
    [
        {"saves": 5000.0, "unit": "s", "distance_km": 10},
        {"saves": 100.0, "unit": "percent"},
        {"saves": 2000.0, "unit": "W"},
        {"saves": 12.0, "unit": "m2"},
    ],
    ids=lambda claim: claim["unit"],
)
def test_a_saving_that_no_drag_area_makes_is_refused(claim):
    with pytest.raises(RunSheetError, match=r"^test.toml: \[\[claims\]\] no. 1: saves is .*check saves and unit$"):
        claimed(**claim)


def test_the_sample_meets_its_claim():
    # Simulated with 0.298 against 0.255 m2.
    row = sample_result().claim_results[0]
    assert (row.setup, row.versus) == ("narrow extensions", "road bar")
    assert row.interval95_m2[0] < 0.255 - 0.298 < row.interval95_m2[1]
    assert row.verdict == MET
