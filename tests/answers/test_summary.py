"""The result in plain text: what weakens it stands first, what is not known is not told as a number."""

from __future__ import annotations

from dataclasses import replace

from fieldaero.answers.rows import ComparisonResult, SecondsResult, SetupResult, WattsResult
from tests.answers.test_result import lap, little, unknown_comparison
from tests.whole_sessions import sample_result

SHAKY = "Only one setup has laps that can be used, so there is nothing to compare."


def compared(**changes) -> ComparisonResult:
    known = {"delta_cda_m2": -0.0125, "se_m2": 0.002, "df": 9.0, "interval95_m2": (-0.017, -0.008), "p_value": 0.0002}
    return unknown_comparison(**(known | {"verdict": "lower drag"} | changes))


def test_warnings_stand_first_below_the_title():
    text = little(warnings=(SHAKY, "The rider stopped.")).summary()
    head = f"Little\n======\n\nWarnings\n- {SHAKY}\n- The rider stopped.\n\nWhat the laps say\n"
    assert text.startswith(head)


def test_without_warnings_none_are_headed():
    assert "Warnings" not in little().summary()


def test_the_same_result_is_told_the_same():
    assert sample_result().summary() == sample_result().summary()
    assert little().summary() == little().summary()


def test_a_comparison_is_a_sentence_with_its_interval_and_verdict():
    text = little(comparison_results=(compared(),)).summary().replace("\n  ", " ")
    assert (
        "- aero against bare: lower drag. The drag area differs by −0.0125 ± 0.0020 m² (−5.00 %), 95 % interval "
        "−0.0170 to −0.0080 m², p < 0.001.\n"
    ) in text


def test_a_difference_is_told_in_watts_and_seconds_with_their_intervals():
    watts = WattsResult(speed_km_h=45.0, value=-15.2, interval95=(-20.7, -9.7))
    seconds = SecondsResult(distance_km=90.0, power_w=210.0, value=-118.4, interval95=(-162.0, -75.0))
    text = little(comparison_results=(compared(watts=watts, seconds=seconds),)).summary().replace("\n  ", " ")
    assert (
        "p < 0.001. That is −15.2 W (−20.7 to −9.7) at 45 km/h and −118 s (−162 to −75) over 90 km at 210 W.\n"
    ) in text


def test_seconds_without_an_interval_say_so():
    seconds = SecondsResult(distance_km=90.0, power_w=210.0, value=-118.4, interval95=None)
    text = little(comparison_results=(compared(seconds=seconds),)).summary().replace("\n  ", " ")
    assert "That is −118.4 s (no interval) over 90 km at 210 W.\n" in text


def test_a_setup_without_laps_is_told_in_words():
    text = little().summary()
    assert "- aero against bare: not resolved. One of the two setups has no usable lap." in text


def test_one_setup_alone_is_nothing_to_compare():
    assert "nothing to compare" in little(comparison_results=()).summary()


def test_every_lap_and_setup_of_the_result_is_told():
    result, text = sample_result(), sample_result().summary()
    for row in result.setup_results:
        assert any(line.startswith(row.setup) for line in text.splitlines())
    laps = [line.split()[0] for line in text.split("\nLaps\n")[1].splitlines() if line[:1].isdigit()]
    assert laps == [str(row.lap) for row in result.lap_results]


def test_flags_stand_beside_their_lap_and_their_sentence_below():
    text = little(
        lap_results=(lap(4, flags=("power_dropout",), flag_sentences=("Power was lost for 12 s.",)),)
    ).summary()
    row = next(line for line in text.splitlines() if line.startswith("4 "))
    assert row.endswith("power dropout")
    assert "- Lap 4: Power was lost for 12 s." in text


def test_flags_of_laps_that_are_not_used_are_not_explained():
    unused = lap(4, setup="-", used=False, flags=("stopped",), flag_sentences=("Stood for 40 s.",))
    text = little(lap_results=(lap(3), unused)).summary()
    assert "Stood for 40 s." not in text
    assert next(line for line in text.splitlines() if line.startswith("4 ")).endswith("left out: stopped")


def test_laps_of_several_rides_are_told_apart():
    text = little(lap_results=(lap(1), lap(1, ride="evening.csv"))).summary()
    assert "ride.csv 1" in text
    assert "evening.csv 1" in text


def test_what_was_taken_and_found_is_told():
    result = little(lap_scatter_m2=0.0013)
    text = result.summary()
    told = text.replace("\n  ", " ")
    assert "- Crr 0.00450 ± 0.00050, as in the run sheet, because laps at about one speed do not show it." in told
    assert "- Wind at the rider's height 1.2 m/s from 231°." in text
    assert "- Scatter from lap to lap 0.0013 m²." in text
    assert "sheet.toml (ab); fieldaero 0." in text
    assert (
        "from the run sheet's 0.00450 ± 0.00050 and the laps"
        in replace(little(), crr=replace(little().crr, estimated=True)).summary()
    )


def test_a_setup_that_was_not_ridden_has_no_number():
    result = little()
    setups = (*result.setup_results, SetupResult(setup="aero", laps=0, cda_m2=None, se_m2=None, interval95_m2=None))
    row = next(line for line in little(setup_results=setups).summary().splitlines() if line.startswith("aero "))
    assert row.split()[1:] == ["0", "—"]


def test_sentences_are_wrapped_for_a_terminal():
    long = "This sentence goes on and on, " * 8
    lines = little(warnings=(long,)).summary().splitlines()
    assert max(len(line) for line in lines if line.startswith(("- ", "  "))) <= 100
