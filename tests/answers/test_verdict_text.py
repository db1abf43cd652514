"""A verdict told in one sentence says what it is, how sure, and what to do when it is none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldaero.answers.verdict_text import comparison_cells, is_resolved, verdict_sentence
from tests.whole_sessions import sample_result


@pytest.fixture(scope="module")
def result():
    return sample_result()


def test_a_resolved_difference_is_told_with_interval_and_what_it_is_worth(result):
    row = result.comparison_results[0]
    told = verdict_sentence(row)
    assert told.startswith("low extensions against road bar: lower drag. Drag area −0.0")
    assert "95 % interval" in told
    assert "W at 45 km/h" in told
    assert "s over 40 km at 250 W" in told
    assert is_resolved(row)


def test_an_unresolved_one_says_how_many_laps_would_settle_it(result):
    row = replace(result.comparison_results[0], verdict="not resolved", further_laps=6)
    assert "this test cannot tell" in verdict_sentence(row)
    assert verdict_sentence(row).endswith("About 6 further laps like these would settle it.")
    assert "No reasonable number" in verdict_sentence(replace(row, further_laps=None))
    assert not is_resolved(row)


def test_a_setup_without_laps_is_told_as_such(result):
    row = replace(result.comparison_results[0], delta_cda_m2=None, verdict="not resolved")
    assert verdict_sentence(row) == (
        "low extensions against road bar: not resolved, for one of the two has no lap that can be used."
    )


def test_the_cells_carry_units_in_their_headings(result):
    cells = comparison_cells(result.comparison_results[0], result)
    assert [heading for heading in cells if "[" in heading] == [
        "ΔCdA ± s.e. [m²]",
        "95 % interval [m²]",
        "difference [%]",
        "power at 45 km/h [W]",
        "time over 40 km at 250 W [s]",
        "by plain closure [m²]",
    ]
