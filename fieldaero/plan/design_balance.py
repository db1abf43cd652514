"""How the laps of a test are spread over setups and time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["Balance", "balance_in_words", "design_balance"]

AT_ONE_TIME_H = 0.05 / 60.0  # what is told with a tenth of a minute would be 0.0


@dataclass(frozen=True, kw_only=True)
class Balance:
    """What the choice of laps does to the design.

    Attributes
    ----------
    laps
        Number of laps per setup, in the order of the setups.
    order
        Setups in the order ridden.
    middle_h
        Mean time of each setup's laps, from the mean of all [h]: what a steady drift adds to a difference
        is the drift per hour times how far two of these lie apart.
    """

    laps: Mapping[str, int]
    order: tuple[str, ...]
    middle_h: Mapping[str, float]


def design_balance(ridden_h: Sequence[tuple[str, float]], *, setups: Sequence[str]) -> Balance:
    """Say how laps are spread.

    Parameters
    ----------
    ridden_h
        Setup and middle [h] of each lap, in the order ridden.
    setups
        Names in the order of the result.

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


def balance_in_words(balance: Balance, *, baseline: str, drift_sd_per_h: float = 0.01) -> tuple[str, ...]:
    """Say what a steady drift would do to each setup's difference from the baseline.

    Parameters
    ----------
    balance
        How the laps are spread.
    baseline
        Name of the setup that the others are compared with.
    drift_sd_per_h
        Drift of the drag area, bare fraction per hour: position, drink, wear of the day.

    Returns
    -------
    One sentence for each setup with laps; none for the baseline, or if that has no laps.

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
            f"{100.0 * abs(apart) * drift_sd_per_h:.2f} %."
        )
    return tuple(said)
