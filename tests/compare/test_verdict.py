"""The verdict from an interval, and how many laps would settle an open one."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from fieldaero.compare.verdict import HIGHER, LOWER, NO_DIFFERENCE, NOT_RESOLVED, further_laps, verdict

DIFFERENCES = st.floats(-0.05, 0.05)
HALVES = st.floats(0.0, 0.05)
SMALLEST = st.one_of(st.none(), st.floats(1e-5, 0.02))
MIRROR = {LOWER: HIGHER, HIGHER: LOWER, NO_DIFFERENCE: NO_DIFFERENCE, NOT_RESOLVED: NOT_RESOLVED}


@pytest.mark.parametrize(
    ("interval", "smallest", "expected"),
    [
        ((-0.009, -0.003), None, LOWER),
        ((0.003, 0.009), None, HIGHER),
        ((-0.004, 0.001), None, NOT_RESOLVED),
        ((-0.0001, 0.0001), None, NOT_RESOLVED),  # nobody said what matters
        ((-0.0009, 0.0011), 0.002, NO_DIFFERENCE),
        ((-0.0015, -0.0005), 0.002, NO_DIFFERENCE),  # certain, and too small to matter
        ((-0.009, -0.003), 0.002, LOWER),
        ((-0.003, -0.001), 0.002, LOWER),  # whether it matters is open, that it is lower is not
        ((0.001, 0.003), 0.002, HIGHER),
        ((-0.003, 0.001), 0.002, NOT_RESOLVED),
        ((-0.02, 0.02), 0.002, NOT_RESOLVED),
    ],
)
def test_verdict_from_interval_and_smallest_difference(interval, smallest, expected):
    assert verdict(interval, smallest_difference_m2=smallest) == expected


def test_boundaries_are_those_of_the_unrounded_values():
    # All of these print as the same number at any number of places that a person reads.
    just = math.nextafter(0.0, 1.0)
    assert verdict((-0.01, -just)) == LOWER
    assert verdict((just, 0.01)) == HIGHER
    assert verdict((-0.01, 0.0)) == verdict((0.0, 0.01)) == NOT_RESOLVED
    below = math.nextafter(0.002, 0.0)
    assert verdict((-below, below), smallest_difference_m2=0.002) == NO_DIFFERENCE
    assert verdict((-0.002, 0.001), smallest_difference_m2=0.002) == NOT_RESOLVED
    assert verdict((-0.001, 0.002), smallest_difference_m2=0.002) == NOT_RESOLVED
    assert verdict((0.001, 0.002), smallest_difference_m2=0.002) == HIGHER


def test_an_unknown_interval_resolves_nothing():
    nan = math.nan
    for interval in ((nan, nan), (-0.02, nan), (nan, 0.02)):
        assert verdict(interval, smallest_difference_m2=0.01) == NOT_RESOLVED


@given(DIFFERENCES, HALVES, SMALLEST)
def test_swapping_setup_and_baseline_swaps_lower_and_higher(delta, half, smallest):
    here = verdict((delta - half, delta + half), smallest_difference_m2=smallest)
    there = verdict((-delta - half, -delta + half), smallest_difference_m2=smallest)
    assert there == MIRROR[here]


@given(DIFFERENCES, HALVES, st.floats(1.0, 10.0), SMALLEST)
def test_a_wider_interval_is_never_more_decided(delta, half, factor, smallest):
    narrow = verdict((delta - half, delta + half), smallest_difference_m2=smallest)
    wide = verdict((delta - factor * half, delta + factor * half), smallest_difference_m2=smallest)
    if narrow == NOT_RESOLVED:
        assert wide == NOT_RESOLVED
    elif narrow in (LOWER, HIGHER):
        assert wide in (narrow, NOT_RESOLVED)


@given(DIFFERENCES, HALVES, st.floats(1e-5, 0.02), st.floats(1.0, 10.0))
def test_what_does_not_matter_does_not_matter_to_the_less_demanding_either(delta, half, smallest, factor):
    interval = (delta - half, delta + half)
    if verdict(interval, smallest_difference_m2=smallest) == NO_DIFFERENCE:
        assert verdict(interval, smallest_difference_m2=factor * smallest) == NO_DIFFERENCE
    else:
        assert verdict(interval, smallest_difference_m2=smallest) == verdict(interval)


@given(DIFFERENCES, HALVES, SMALLEST, st.floats(0.1, 10.0))
def test_the_unit_of_area_does_not_matter(delta, half, smallest, factor):
    assume(half > 1e-9)
    low, high = delta - half, delta + half
    assume(min(abs(low), abs(high)) > 1e-9)
    assume(smallest is None or min(abs(abs(low) - smallest), abs(abs(high) - smallest)) > 1e-9)
    scaled = None if smallest is None else factor * smallest
    assert verdict((factor * low, factor * high), smallest_difference_m2=scaled) == verdict(
        (low, high), smallest_difference_m2=smallest
    )


def interval_after(more, *, delta, se, df, laps, level=0.95):
    """Interval if so many laps were added: the variance falls as one over laps, each lap adds a degree of freedom."""
    t = stats.t(df + more)
    half = t.ppf((1.0 + level) / 2.0) * math.sqrt(se**2 * laps / (laps + more))
    return delta - half, delta + half


@given(
    delta=st.floats(0.0005, 0.02),
    se=st.floats(0.0005, 0.01),
    df=st.floats(1.0, 30.0),
    laps=st.integers(2, 30),
    smallest=SMALLEST,
    level=st.floats(0.95, 0.999),
)
def test_so_many_laps_are_enough_and_two_fewer_are_not(delta, se, df, laps, smallest, level):
    given_now = {"delta": delta, "se": se, "df": df, "laps": laps, "level": level}
    assume(verdict(interval_after(0, **given_now), smallest_difference_m2=smallest) == NOT_RESOLVED)
    more = further_laps(delta_cda_m2=delta, se_m2=se, df=df, laps=laps, smallest_difference_m2=smallest, level=level)
    if more is None:
        assert verdict(interval_after(200, **given_now), smallest_difference_m2=smallest) == NOT_RESOLVED
        return
    assert more % 2 == 0
    assert verdict(interval_after(more, **given_now), smallest_difference_m2=smallest) != NOT_RESOLVED
    assert verdict(interval_after(more - 2, **given_now), smallest_difference_m2=smallest) == NOT_RESOLVED


def test_a_higher_level_asks_for_more_laps():
    usual = {"delta_cda_m2": -0.004, "se_m2": 0.003, "df": 6.0, "laps": 8}
    alone, among_others = further_laps(**usual), further_laps(**usual, level=0.99)
    assert alone is not None
    assert among_others is not None
    assert among_others > alone


def test_the_sign_of_the_difference_does_not_matter():
    usual = {"se_m2": 0.003, "df": 6.0, "laps": 8, "smallest_difference_m2": 0.002}
    assert further_laps(delta_cda_m2=0.0015, **usual) == further_laps(delta_cda_m2=-0.0015, **usual)


def test_no_difference_at_all_is_told_only_from_one_that_matters():
    usual = {"delta_cda_m2": 0.0, "se_m2": 0.002, "df": 6.0, "laps": 8}
    assert further_laps(**usual) is None
    assert further_laps(**usual, smallest_difference_m2=0.003) is not None


@pytest.mark.parametrize("unknown", [{"se_m2": math.nan}, {"se_m2": 0.0}, {"df": math.nan}, {"laps": 0}])
def test_an_unknown_scatter_promises_nothing(unknown):
    assert further_laps(**({"delta_cda_m2": -0.004, "se_m2": 0.003, "df": 6.0, "laps": 8} | unknown)) is None
