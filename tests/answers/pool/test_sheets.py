"""Which run sheets can be pooled, and what is said of those that cannot."""

from __future__ import annotations

import pytest

from fieldaero.answers.pool.sheets import check_related, near_misses
from fieldaero.basics.errors import RunSheetError


def test_sheets_linked_by_a_chain_belong_together():
    check_related({"a": ["bare", "low"], "b": ["wide", "lowest"], "c": ["low", "wide"]})


def test_the_sheet_that_shares_nothing_is_named_with_what_there_is():
    with pytest.raises(RunSheetError) as caught:
        check_related({"june": ["disc", "spokes"], "may": ["bare", "low"], "july": ["low", "wide"]})
    said = str(caught.value)
    assert said.startswith('june: shares no setup with the other sheets. It has "disc", "spokes"')
    assert 'the others have "bare", "low", "wide"' in said


def test_of_two_the_second_is_the_stranger():
    with pytest.raises(RunSheetError, match=r"^june: shares no setup"):
        check_related({"may": ["bare", "low"], "june": ["disc", "spokes"]})


@pytest.mark.parametrize("name", ["Low bar", "low  bar", "low-bar", "LOW_BAR", "lowbar"])
def test_a_near_miss_is_pointed_out(name):
    with pytest.raises(RunSheetError, match=r'"low bar" \(may\).*differ only in capitals, spaces or hyphens'):
        check_related({"may": ["bare", "low bar"], "june": ["disc", name]})


def test_other_names_are_no_near_miss():
    assert near_misses({"may": ["low bar", "bare"], "june": ["low bars", "bare"]}) == ()
