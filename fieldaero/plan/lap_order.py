"""In which order the setups are ridden: balanced in time, so that what changes steadily falls on all alike.

Laps come in rounds that hold every setup once, as the rows of a Latin square do.  With an
even number of rounds the second half mirrors the first (A B B A for two setups), and every
setup's mean place is the middle of the session.  With an odd number a mirror leaves its
middle round over; the places inside the rounds are then exchanged until no setup's mean
place is further from the middle than whole laps allow.  For three setups of three laps
that gives Latin squares.  The baseline is ridden first, in the middle and last.
Of several draws the one with the fewest changes of setup is taken: a change costs as much
time as a lap.

R. A. Fisher, The Design of Experiments (1935), chapters IV and V, for rounds, squares and
the draw by lot among them (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.formatting import counted, percent
from fieldaero.plan.ranges import LAPS_PER_SETUP
from fieldaero.run_sheet.schema import USUAL_CHOICES

__all__ = ["Balance", "balance_in_words", "balanced_order", "changes_of_setup", "design_balance", "imbalance_laps"]

Round = list[str]

FEWEST_LAPS, MOST_LAPS = LAPS_PER_SETUP
FEWEST_SETUPS, MOST_SETUPS = 2, 8
RESTARTS = 200
DRAWS = 20  # the one with the fewest changes of setup is taken
AT_ONE_TIME_H = 0.05 / 60.0  # what is told with a tenth of a minute would be 0.0


def balanced_order(setups: Sequence[str], *, laps_per_setup: int, seed: int = 0) -> tuple[str, ...]:
    """Return the setup of each lap, drawn by lot among the balanced orders; the same seed, the same order.

    The baseline comes first in ``setups``, 2 to 8 different names, with 2 to 60 laps each.  With two laps per setup the
    baseline gets a third, for the middle.

    Examples
    --------
    >>> balanced_order(["A", "B"], laps_per_setup=4)
    ('A', 'B', 'B', 'A', 'A', 'B', 'B', 'A')
    >>> balanced_order(["A", "B"], laps_per_setup=2)
    ('A', 'B', 'A', 'B', 'A')
    """
    names = list(setups)
    _check(names, laps_per_setup)
    rng = np.random.default_rng(seed)
    drawn = [_drawn(names, laps_per_setup, rng) for _ in range(DRAWS)]
    return min(drawn, key=lambda order: (round(imbalance_laps(order), 6), changes_of_setup(order)))


def imbalance_laps(order: Sequence[str]) -> float:
    """Return how far the mean place of a setup lies from the middle of the session at most [laps].

    Examples
    --------
    >>> imbalance_laps("ABBA"), imbalance_laps("AABB")
    (0.0, 1.0)
    """
    middle = (len(order) - 1) / 2.0
    return max(abs(float(np.mean(_places(order, name))) - middle) for name in set(order))


def changes_of_setup(order: Sequence[str]) -> int:
    """Return how often the setup is changed on the way.

    Examples
    --------
    >>> changes_of_setup("ABBAABBA")
    4
    """
    return sum(a != b for a, b in pairwise(order))


def _check(names: list[str], laps_per_setup: int) -> None:
    if not FEWEST_SETUPS <= len(names) <= MOST_SETUPS:
        raise OutOfRangeError(
            f"{counted(len(names), 'setup')} given; allowed is {FEWEST_SETUPS} to {MOST_SETUPS}, "
            "the baseline and what is compared with it"
        )
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise OutOfRangeError(f'the setup "{twice}" is given twice; each needs a name of its own')
    if not FEWEST_LAPS <= laps_per_setup <= MOST_LAPS:
        raise OutOfRangeError(
            f"{counted(laps_per_setup, 'lap')} per setup; allowed is {FEWEST_LAPS} to {MOST_LAPS}: "
            "without a repeat nobody knows the scatter"
        )


def _drawn(names: list[str], laps_per_setup: int, rng: np.random.Generator) -> tuple[str, ...]:
    if laps_per_setup == 2:
        row = _round(names, 0, rng)
        return (*row, names[0], *row[::-1])
    if laps_per_setup % 2:
        return _odd_rounds(names, laps_per_setup, rng)
    half = laps_per_setup // 2
    held = {0: 0, half - 1: len(names) - 1}
    rows = [_round(names, held.get(k), rng) for k in range(half)]
    first = [name for row in rows for name in row]
    return (*first, *first[::-1])


def _places(order: Sequence[str], name: str) -> list[int]:
    return [k for k, own in enumerate(order) if own == name]


def _round(names: list[str], baseline_at: int | None, rng: np.random.Generator) -> Round:
    """Every setup once, by lot; the baseline at a given place if one is given."""
    if baseline_at is None:
        return [names[k] for k in rng.permutation(len(names))]
    others = [names[1:][k] for k in rng.permutation(len(names) - 1)]
    return [*others[:baseline_at], names[0], *others[baseline_at:]]


def _odd_rounds(names: list[str], rounds: int, rng: np.random.Generator) -> tuple[str, ...]:
    m, middle = len(names), rounds // 2
    # Sums of places are whole numbers: where their goal is a half, half a lap each is what must be left.
    attainable = 0.0 if m % 2 else 0.25 * m
    best: list[Round] = []
    least = np.inf
    for _ in range(RESTARTS):
        centre = (m - 1) // 2 if m % 2 else int(rng.integers(m // 2 - 1, m // 2 + 1))
        held = {0: 0, middle: centre, rounds - 1: m - 1}
        rows = [_round(names, held.get(k), rng) for k in range(middle + 1)]
        rows += [row[::-1] for row in rows[middle - 1 :: -1]]
        off = _evened_out(rows, held, names)
        if off < least:
            best, least = rows, off
        if least <= attainable:
            break
    return tuple(name for row in best for name in row)


def _evened_out(rows: list[Round], held: dict[int, int], names: list[str]) -> float:
    """Exchange places inside rounds while that brings the setups closer to the middle; return what is left."""
    m = len(names)
    order = [name for row in rows for name in row]
    goal = len(rows) * (len(order) - 1) / 2.0
    # Squared, so that one setup two laps off is worse than two setups one lap off.
    off = {name: sum(_places(order, name)) - goal for name in names}
    better = True
    while better:
        better = False
        for k, row in enumerate(rows):
            for i, j in combinations(range(m), 2):
                a, b, step = row[i], row[j], j - i
                if (
                    held.get(k) not in (i, j)
                    and (off[a] + step) ** 2 + (off[b] - step) ** 2 < off[a] ** 2 + off[b] ** 2
                ):
                    row[i], row[j] = b, a
                    off[a], off[b] = off[a] + step, off[b] - step
                    better = True
    return sum(left**2 for left in off.values())


@dataclass(frozen=True, kw_only=True)
class Balance:
    """How the laps are spread: their number per setup, and the setups in the order ridden.

    ``middle_h`` is the mean time of each setup's laps, from the mean of all [h]: a steady drift adds to a difference
    the drift per hour times how far two of these lie apart.
    """

    laps: Mapping[str, int]
    order: tuple[str, ...]
    middle_h: Mapping[str, float]


def design_balance(ridden_h: Sequence[tuple[str, float]], *, setups: Sequence[str]) -> Balance:
    """Say how laps are spread, from the setup and the middle [h] of each in the order ridden.

    Examples
    --------
    >>> found = design_balance([("A", 0.0), ("B", 0.1), ("B", 0.2), ("A", 0.3)], setups=["A", "B"])
    >>> dict(found.laps), round(found.middle_h["B"] - found.middle_h["A"], 9)
    ({'A': 2, 'B': 2}, 0.0)
    """
    names = np.array([name for name, _ in ridden_h])
    times = np.array([time for _, time in ridden_h])
    centre = float(times.mean()) if len(times) else 0.0
    return Balance(
        laps={name: int(np.count_nonzero(names == name)) for name in setups},
        order=tuple(name for name, _ in ridden_h),
        middle_h={name: float(times[names == name].mean()) - centre for name in setups if name in names},
    )


def balance_in_words(
    balance: Balance, *, baseline: str, drift_sd_per_h: float = USUAL_CHOICES.drift_sd_per_h
) -> tuple[str, ...]:
    """Say in one sentence per setup what a steady drift would do to its difference from the baseline.

    ``drift_sd_per_h`` is a bare fraction per hour: position, drink, wear of the day.

    Examples
    --------
    >>> print(*balance_in_words(design_balance([("A", 0.0), ("B", 0.5)], setups=["A", "B"]), baseline="A"))
    B is ridden on average 30.0 min after A: a drift of 1 % an hour would move the difference by 0.50 %.
    >>> mirrored = design_balance([("A", 0.0), ("B", 0.1), ("B", 0.2), ("A", 0.3)], setups=["A", "B"])
    >>> print(*balance_in_words(mirrored, baseline="A"))
    B is ridden on average at the same time as A: a steady drift cancels.
    """
    if baseline not in balance.middle_h:
        return ()
    said = []
    for name, middle in balance.middle_h.items():
        if name == baseline:
            continue
        apart = middle - balance.middle_h[baseline]
        if abs(apart) < AT_ONE_TIME_H:
            said.append(f"{name} is ridden on average at the same time as {baseline}: a steady drift cancels.")
            continue
        when = "after" if apart > 0.0 else "before"
        said.append(
            f"{name} is ridden on average {abs(apart) * 60.0:.1f} min {when} {baseline}: a drift of "
            f"{100.0 * drift_sd_per_h:.3g} % an hour would move the difference by "
            f"{percent(abs(apart) * drift_sd_per_h, places=2)}."
        )
    return tuple(said)
