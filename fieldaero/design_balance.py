"""How the laps of a test are spread over setups and time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["Balance", "design_balance"]


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


def design_balance(ridden: Sequence[tuple[str, float]], *, setups: Sequence[str]) -> Balance:
    """Say how laps are spread.

    Parameters
    ----------
    ridden
        Setup and middle [h] of each lap, in the order ridden.
    setups
        Names in the order of the result.

    Examples
    --------
    >>> found = design_balance([("A", 0.0), ("B", 0.1), ("B", 0.2), ("A", 0.3)], setups=["A", "B"])
    >>> dict(found.laps), round(found.middle_h["B"] - found.middle_h["A"], 9)
    ({'A': 2, 'B': 2}, 0.0)
    """
    names = np.array([name for name, _ in ridden])
    times = np.array([time for _, time in ridden])
    centre = float(times.mean()) if len(times) else 0.0
    return Balance(
        laps={name: int(np.count_nonzero(names == name)) for name in setups},
        order=tuple(name for name, _ in ridden),
        middle_h={name: float(times[names == name].mean()) - centre for name in setups if name in names},
    )
