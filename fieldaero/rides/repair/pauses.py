"""Where a recording was interrupted: timer pauses, gaps, and joins between its pieces."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.runs import runs_where
from fieldaero.rides.intervals import is_gap
from fieldaero.rides.ride import Pause

__all__ = ["cut_steps", "find_pauses"]


def find_pauses(time_s: NDArray[np.float64], begins: NDArray[np.bool_], stops: Sequence[Pause]) -> tuple[Pause, ...]:
    """Pauses from sample to sample, ordered by start.

    A pause of the timer (``stops``, as the device tells them) reaches from the last sample
    before it to the first one after. Every other step that is a gap counts too, and so does
    every sample with which the recording starts anew (``begins``, shape (n,)).

    Examples
    --------
    >>> find_pauses(np.array([0.0, 1.0, 9.0]), np.zeros(3, dtype=bool), [])
    (Pause(start_s=1.0, end_s=9.0, cause='gap'),)
    """
    pauses: list[Pause] = []
    timer = np.zeros(len(time_s) - 1, dtype=bool)
    for stop in stops:
        i = int(np.searchsorted(time_s, stop.start_s, side="right")) - 1
        j = int(np.searchsorted(time_s, stop.end_s, side="left"))
        if i >= 0 and j < len(time_s) and j > i:
            timer[i:j] = True
    # Pauses that touch are one.
    for first, last in runs_where(timer, time_s[1:]):
        pauses.append(Pause(start_s=float(time_s[first]), end_s=float(time_s[last + 1]), cause="timer"))
    for k in np.flatnonzero(~timer & (is_gap(time_s) | begins[1:])):
        pauses.append(Pause(start_s=float(time_s[k]), end_s=float(time_s[k + 1])))
    return tuple(sorted(pauses, key=lambda pause: pause.start_s))


def cut_steps(time_s: NDArray[np.float64], pauses: Sequence[Pause]) -> NDArray[np.bool_]:
    """Tell which steps between samples lie in a pause, shape (n - 1,)."""
    cut = np.zeros(len(time_s) - 1, dtype=bool)
    for pause in pauses:
        cut[np.searchsorted(time_s, pause.start_s) : np.searchsorted(time_s, pause.end_s)] = True
    return cut
