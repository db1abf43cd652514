"""The order of laps: balanced in time, the baseline at the ends and in the middle, drawn by lot."""

from __future__ import annotations

import numpy as np
import pytest

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.plan.lap_order import balanced_order, changes_of_setup, imbalance_laps

NAMES = tuple("ABCDEFGH")
SIZES = pytest.mark.parametrize("m", range(2, 9))


def orders(m):
    """Orders of m setups by number of laps and seed."""
    return {
        (n, seed): balanced_order(NAMES[:m], laps_per_setup=n, seed=seed)
        for n in (2, 3, 4, 5, 6, 7, 8, 11, 12)
        for seed in (0, 1, 7)
    }


@SIZES
def test_orders_are_balanced_hold_every_lap_and_keep_the_baseline_at_the_ends_and_in_the_middle(m):
    for (n, _), order in orders(m).items():
        # The mean place is a sum of whole numbers over n; the middle of an even number of laps lies between two.
        left = 0.5 / n if n % 2 and len(order) % 2 == 0 else 0.0
        assert imbalance_laps(order) <= left + 1e-9
        assert {name: order.count(name) for name in NAMES[1:m]} == dict.fromkeys(NAMES[1:m], n)
        assert order.count("A") == (3 if n == 2 else n)
        last = len(order) - 1
        assert order[0] == order[last] == "A"
        assert "A" in {order[last // 2], order[(last + 1) // 2]}


@pytest.mark.parametrize("n", [4, 6, 8])
def test_a_steady_drift_moves_no_difference(n):
    order = np.array(balanced_order(NAMES[:3], laps_per_setup=n, seed=5))
    drift = 0.3 * np.arange(len(order))
    assert np.mean(drift[order == "B"]) == pytest.approx(np.mean(drift[order == "A"]))


def test_two_setups_of_four_laps_are_mirrored():
    assert "".join(balanced_order("AB", laps_per_setup=4)) == "ABBAABBA"


def test_three_setups_of_three_laps_are_latin_squares():
    for seed in range(10):
        order = balanced_order("ABC", laps_per_setup=3, seed=seed)
        square = [order[:3], order[3:6], order[6:]]
        assert all(len(set(line)) == 3 for line in square)
        assert all(len(set(line)) == 3 for line in zip(*square, strict=True))


def test_the_same_seed_gives_the_same_order_and_another_another():
    orders = [balanced_order(NAMES[:4], laps_per_setup=6, seed=seed) for seed in (0, 0, 1, 2, 3)]
    assert orders[0] == orders[1]
    assert len(set(orders)) > 2


def test_an_unbalanced_order_is_told():
    assert imbalance_laps("AAABBB") == pytest.approx(1.5)
    assert changes_of_setup("AAABBB") == 1
    assert changes_of_setup("ABABAB") == 5


@pytest.mark.parametrize(
    ("names", "laps", "about"),
    [
        (["A"], 4, "1 setup given; allowed is 2 to 8"),
        ([], 4, "0 setups given"),
        (list("ABCDEFGHI"), 4, "9 setups given"),
        (["A", "A"], 4, '"A" is given twice'),
        (["A", "B"], 0, "0 laps per setup; allowed is 2 to 60"),
        (["A", "B"], -3, "-3 laps per setup"),
        (["A", "B"], 1, "1 lap per setup"),
        (["A", "B"], 61, "61 laps per setup"),
    ],
)
def test_what_has_no_order_is_refused(names, laps, about):
    with pytest.raises(OutOfRangeError, match=r"allowed|twice") as error:
        balanced_order(names, laps_per_setup=laps)
    assert about in str(error.value)
