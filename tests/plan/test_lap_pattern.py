"""Patterns as testers write them."""

from __future__ import annotations

import pytest

from fieldaero.basics.errors import RunSheetError
from fieldaero.plan.lap_order import imbalance_laps
from fieldaero.plan.lap_pattern import pattern_of, usual_patterns

SETUPS = ("road bar", "low bar", "B")


@pytest.mark.parametrize("text", ["A B B A", "ABBA", "a b b a", " A  B,B, A".replace(",", " ")])
def test_letters_with_and_without_spaces(text):
    assert pattern_of(text, SETUPS[:2]) == ("road bar", "low bar", "low bar", "road bar")


def test_a_setup_called_like_a_letter_is_that_setup():
    assert pattern_of("A B", SETUPS) == ("road bar", "B")


def test_one_name_with_a_space_is_one_name():
    assert pattern_of("low bar", SETUPS) == ("low bar",)


@pytest.mark.parametrize("text", ["A D", "road bar, high bar"])
def test_what_is_no_setup_is_told_with_the_letters(text):
    with pytest.raises(RunSheetError, match="is no setup; write A for road bar, B for low bar"):
        pattern_of(text, SETUPS)


@pytest.mark.parametrize("text", ["", "  ", ","])
def test_an_empty_pattern_is_told(text):
    with pytest.raises(RunSheetError, match="empty"):
        pattern_of(text, SETUPS)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_the_first_usual_pattern_is_balanced(count):
    first, _ = usual_patterns(["a", "b", "c", "d"][:count])
    assert imbalance_laps(first.split()) == 0.0
