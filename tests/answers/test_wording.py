"""Verdicts, claims, tunnel, known drag and yaw in sentences, the bad cases first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldaero.answers.rows import ClaimResult, KnownDragResult, TunnelResult, YawResult
from fieldaero.answers.wording import (
    claim_sentence,
    is_resolved,
    known_drag_sentence,
    tunnel_sentence,
    verdict_head,
    verdict_reasons,
    yaw_sentence,
)
from tests.answers.test_result import little
from tests.whole_sessions import sample_result

CLAIM = ClaimResult(
    setup="aero", versus="bare", saves=12.0, unit="s", comparable=True, note="", distance_km=40.0, power_w=250.0,
    speed_km_h=None, filled_in=(), claimed_delta_cda_m2=-0.003, delta_cda_m2=-0.001, se_m2=0.001, df=9.0,
    interval95_m2=(-0.0033, 0.0013), found=4.1, interval95=(-5.0, 13.2), verdict="undecided",
    against_zero="not resolved", probability=0.038, further_laps=14,
)  # fmt: skip
TUNNEL = TunnelResult(
    setup="aero", versus=None, field_m2=0.25, field_se_m2=0.004, field_expanded_m2=0.009, tunnel_m2=0.23,
    tunnel_se_m2=0.001, gap_m2=0.02, interval95_m2=(0.0108, 0.0292), normalised_error=2.17, agrees=False,
    beyond_share=0.0, yaw_rms_deg=4.0, mirrored=False, file=None, note="", reasons=("no rider in the tunnel", "floor"),
)  # fmt: skip
KNOWN = KnownDragResult(
    setup="disc", versus="bare", known_m2=0.0132, known_sd_m2=0.0006, recovered_m2=0.0201, se_m2=0.0016, df=9.0,
    interval95_m2=(0.0165, 0.0237), gap_m2=0.0069, normalised_error=1.82, agrees=False,
)  # fmt: skip
YAW = YawResult(
    enough_spread=True, yaw_rms_deg=9.24, yaw_spread_deg2=90.0, needed_spread_deg2=30.0,
    change_per_yaw_deg2=-0.0003, se_per_yaw_deg2=0.0004, interval95_per_yaw_deg2=(-0.0011, 0.0005),
    change_at_10_deg=-0.03, interval95_change_at_10_deg=(-0.11, 0.05),
)  # fmt: skip
NOTHING = dict.fromkeys(
    ("claimed_delta_cda_m2", "delta_cda_m2", "se_m2", "df", "interval95_m2", "found", "interval95", "probability",
     "against_zero", "further_laps", "distance_km", "power_w")
)  # fmt: skip


def test_a_setup_without_laps_is_told_as_such():
    result = sample_result()
    row = replace(result.comparison_results[0], delta_cda_m2=None, verdict="not resolved")
    assert verdict_head(row) == "low extensions against road bar: not resolved."
    assert verdict_reasons(row, result) == "One of the two setups has no usable lap."


def test_an_unresolved_difference_says_how_many_laps_would_settle_it():
    result = sample_result()
    row = replace(result.comparison_results[0], verdict="not resolved", further_laps=6)
    assert verdict_reasons(row, result).endswith("About 6 further laps like these would settle it.")
    assert "Even 200 further laps" in verdict_reasons(replace(row, further_laps=None), result)
    assert not is_resolved(row)


def test_no_difference_that_matters_says_what_would():
    result = sample_result()
    row = replace(result.comparison_results[0], verdict="no difference that matters")
    assert verdict_reasons(row, result).endswith("the smallest difference that matters, 0.0020 m².")


def test_a_resolved_difference_is_told_with_interval_and_what_it_is_worth():
    result = sample_result()
    row = result.comparison_results[0]
    assert verdict_head(row) == "low extensions against road bar: lower drag."
    told = verdict_reasons(row, result)
    assert told.startswith("The drag area differs by −0.0")
    assert "95 % interval" in told
    assert "at 45 km/h and" in told
    assert told.endswith("over 40 km at 250 W.")
    assert is_resolved(row)


def test_a_claim_under_other_conditions():
    row = replace(CLAIM, comparable=False, verdict="not comparable", note="other mount.", **NOTHING)
    assert claim_sentence(row) == (
        "aero saves 12 s against bare: not comparable. The run sheet says that the claim was made under other "
        "conditions than tested. other mount."
    )


def test_a_claim_without_laps():
    row = replace(CLAIM, verdict="not tested", **NOTHING)
    assert claim_sentence(row) == "aero saves 12 s against bare: not tested. One of the two setups has no usable lap."


@pytest.mark.parametrize(
    ("against_zero", "words"),
    [
        ("lower drag", "fell short, still lower drag."),
        ("higher drag", "fell short, in truth higher drag."),
        ("not resolved", "fell short, and no difference at all is shown."),
    ],
)
def test_a_claim_that_fell_short_says_whether_it_is_still_faster(against_zero, words):
    assert words in claim_sentence(replace(CLAIM, verdict="fell short", against_zero=against_zero))


def test_an_undecided_claim_says_how_many_laps_would_decide():
    assert claim_sentence(CLAIM) == (
        "aero saves 12 s against bare over 40 km at 250 W: undecided. Found: 4.1 s, 95 % interval −5.0 to 13.2 s; "
        "probability of at least the claim 4 %. About 14 further laps would decide it."
    )
    assert "Even 200 further laps" in claim_sentence(replace(CLAIM, further_laps=None))


def test_what_was_filled_in_is_said():
    row = replace(CLAIM, filled_in=("The claim states no power.",), note="a leaflet")
    assert claim_sentence(row).endswith("would decide it. The claim states no power. a leaflet.")


@pytest.mark.parametrize(("p", "words"), [(0.0004, "below 1 %"), (0.9996, "above 99 %"), (0.5, "50 %")])
def test_a_probability_is_never_certainty(p, words):
    assert f"at least the claim {words}" in claim_sentence(replace(CLAIM, probability=p))


def test_a_claim_to_cost_and_one_in_watts():
    row = replace(CLAIM, saves=-3.0, unit="W", speed_km_h=45.0, verdict="met")
    assert claim_sentence(row).startswith("aero costs no more than 3 W against bare at 45 km/h: met.")


def test_a_gap_to_the_tunnel():
    assert tunnel_sentence(TUNNEL) == (
        "aero: field 0.2500 ± 0.0040 m², tunnel weighted with the yaw ridden 0.2300 ± 0.0010 m²; gap +0.0108 to "
        "+0.0292 m², En 2.17: they differ by more than either states."
    )


def test_a_sweep_without_a_field_result_gives_its_remark():
    row = replace(TUNNEL, gap_m2=None, normalised_error=None, agrees=None, remarks=("It has no laps.",))
    assert tunnel_sentence(row) == "aero: no comparison. It has no laps."


def test_a_difference_names_both_setups_and_shows_signs():
    text = tunnel_sentence(replace(TUNNEL, versus="bare", field_m2=-0.01, tunnel_m2=-0.012, agrees=True))
    assert text.startswith("aero against bare: field −0.0100 ± 0.0040 m²")
    assert text.endswith("they agree.")


def test_a_known_drag_that_is_not_recovered():
    assert known_drag_sentence(KNOWN) == (
        "disc against bare: known +0.0132 ± 0.0006 m², recovered +0.0201 ± 0.0016 m², 95 % interval +0.0165 to +0.0237 "
        "m², En 1.82: the chain from meter to verdict does not recover it; look for the reason before believing other "
        "numbers."
    )
    assert "recovers it." in known_drag_sentence(replace(KNOWN, agrees=True, normalised_error=0.4))


def test_a_known_drag_without_laps_has_no_number():
    row = replace(KNOWN, known_sd_m2=None, normalised_error=None, recovered_m2=None, agrees=None)
    assert known_drag_sentence(row) == "disc against bare: known +0.0132 m². One of the two setups has no usable lap."


def test_too_little_yaw_is_said():
    row = replace(YAW, enough_spread=False, change_at_10_deg=None)
    assert "varied too little to show how drag area changes" in yaw_sentence(row)
    unknown = "Without positions in the rides, neither yaw nor its effect on drag area is known."
    assert yaw_sentence(replace(row, yaw_rms_deg=None)) == unknown


def test_a_change_with_yaw_is_told_with_its_interval():
    assert yaw_sentence(YAW) == (
        "From 0° to 10° of yaw drag area changes by −3.0 %, 95 % interval −11.0 to +5.0 %, which includes no change; "
        "yaw was 9.2° (root mean square)."
    )
    clear = replace(YAW, interval95_change_at_10_deg=(-0.05, -0.01))
    assert "which includes no change" not in yaw_sentence(clear)


def test_the_summary_has_a_section_for_each_and_none_that_is_empty():
    full = little(
        claim_results=(CLAIM,), tunnel_results=(TUNNEL,), known_drag_results=(KNOWN,), yaw_result=YAW
    ).summary()
    for title in ("Claims", "Tunnel", "Known drag", "Yaw"):
        assert f"\n\n{title}\n- " in full
        assert (f"\n\n{title}\n" in little().summary()) == (title == "Yaw")


def test_reasons_for_a_gap_are_marked_as_common_practice():
    text = little(tunnel_results=(TUNNEL,)).summary().replace("\n  ", " ")
    assert "- What commonly explains such a gap (common practice, no source): no rider in the tunnel; floor." in text
    agreed = replace(TUNNEL, agrees=True, reasons=())
    assert "commonly explains" not in little(tunnel_results=(agreed,)).summary()
