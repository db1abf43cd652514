"""Known drag: recovered against known, by hand and in a simulated session."""

from __future__ import annotations

import pytest

from fieldaero.answers.analysis import analyse_session
from fieldaero.answers.cross_checks.known_drag import known_drag_results
from fieldaero.answers.rows import ComparisonResult
from fieldaero.basics.errors import RunSheetError
from tests.simulator.sessions import session
from tests.whole_sessions import brought_together, sheet


def compared(delta_m2: float = 0.016, half_m2: float = 0.003) -> ComparisonResult:
    return ComparisonResult(
        setup="faired", versus="bare", delta_cda_m2=delta_m2, se_m2=half_m2 / 2.4, df=7.0,
        interval95_m2=(delta_m2 - 2 * half_m2, delta_m2 + 2 * half_m2),
        interval95_alone_m2=(delta_m2 - half_m2, delta_m2 + half_m2), p_value=0.001, verdict="lower drag",
    )  # fmt: skip


def recovered(*comparisons: ComparisonResult, **known):
    setups = [{"name": "bare"}, {"name": "faired"} | known]
    return known_drag_results(sheet(setups=setups), comparisons=comparisons or (compared(),))


def test_en_by_hand():
    # Recovered 0.016 with U 0.003, known 0.011 with sd 0.002, U 0.004: En = 0.005 / 0.005 = 1.
    (row,) = recovered(known_added_cda_m2=0.011, known_added_cda_sd_m2=0.002)
    assert row.gap_m2 == pytest.approx(0.005)
    assert row.normalised_error == pytest.approx(1.0)
    (row,) = recovered(known_added_cda_m2=0.012, known_added_cda_sd_m2=0.002)
    assert row.normalised_error == pytest.approx(0.8)
    assert row.agrees is True


def test_a_known_drag_outside_both_uncertainties_disagrees():
    (row,) = recovered(known_added_cda_m2=0.010, known_added_cda_sd_m2=0.002)
    assert row.normalised_error == pytest.approx(1.2)
    assert row.agrees is False


def test_without_a_stated_sd_the_known_drag_counts_as_exact():
    (row,) = recovered(known_added_cda_m2=0.0145)
    assert row.known_sd_m2 is None
    assert row.normalised_error == pytest.approx(0.5)


def test_too_little_drag_recovered_is_a_negative_error():
    assert recovered(known_added_cda_m2=0.030)[0].normalised_error < -1.0


def test_setups_without_a_known_drag_are_not_asked():
    assert recovered() == ()


def test_the_baseline_cannot_have_a_drag_known_against_itself():
    with pytest.raises(RunSheetError, match="known_added_cda_m2 is given for the baseline"):
        sheet(setups=[{"name": "bare", "known_added_cda_m2": 0.01}, {"name": "faired"}])


def test_an_uncertainty_of_no_known_drag_is_refused():
    with pytest.raises(RunSheetError, match=r"\[\[setups\]\] no. 2: known_added_cda_sd_m2 is given without"):
        recovered(known_added_cda_sd_m2=0.001)


def test_without_laps_there_is_no_number():
    nothing = ComparisonResult(setup="faired", versus="bare", verdict="not resolved")
    (row,) = recovered(nothing, known_added_cda_m2=0.01)
    assert row.recovered_m2 is None
    assert row.agrees is None


@pytest.mark.parametrize(("claimed_m2", "agrees"), [(0.262 - 0.248, True), (0.262 - 0.248 + 0.02, False)])
def test_a_simulated_addition_is_recovered_and_a_false_one_is_not(claimed_m2, agrees):
    made = session()
    setups = [{"name": "faired"}, {"name": "bare", "known_added_cda_m2": claimed_m2, "known_added_cda_sd_m2": 0.0005}]
    result = analyse_session(brought_together(made.ride, setups=setups, baseline="faired"))
    (row,) = result.known_drag_results
    assert (row.setup, row.versus) == ("bare", "faired")
    assert row.interval95_m2[0] < 0.262 - 0.248 < row.interval95_m2[1]
    assert row.agrees is agrees
