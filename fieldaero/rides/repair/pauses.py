"""Where a recording was interrupted: timer pauses, gaps, and joins between its pieces."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.runs import runs_where
from fieldaero.rides.ride import Pause

__all__ = ["cut_steps", "find_pauses"]

LONGEST_STEP_S = 5.0
USUAL_STEPS = 1.5  # a recording that is coarser than that throughout has gaps beyond this many usual steps ...
USUAL = 0.9  # ... "usual" being longer than this share of the steps: some devices record when they see fit ...
COARSEST_STEP_S = 30.0  # ... but beyond this it is a gap in any recording


def find_pauses(time_s: NDArray[np.float64], begins: NDArray[np.bool_], stops: Sequence[Pause]) -> tuple[Pause, ...]:
    """Pauses from sample to sample, ordered by start.

    A pause of the timer reaches from the last sample before it to the first one after.
    Every other step of more than 5 s (or of 1.5 times the longer ones of the usual
    steps, where that is more) is a gap, and so is every join of pieces.

    Parameters
    ----------
    time_s
        Rising, shape (n,).
    begins
        Samples with which the recording starts anew, shape (n,).
    stops
        Timer stops on the same clock, as the device tells them.

    Examples
    --------
    >>> find_pauses(np.array([0.0, 1.0, 9.0]), np.zeros(3, dtype=bool), [])
    (Pause(start_s=1.0, end_s=9.0, cause='gap'),)
    """
    step = np.diff(time_s)
    pauses: list[Pause] = []
    timer = np.zeros(len(step), dtype=bool)
    for stop in stops:
        i = int(np.searchsorted(time_s, stop.start_s, side="right")) - 1
        j = int(np.searchsorted(time_s, stop.end_s, side="left"))
        if i >= 0 and j < len(time_s) and j > i:
            timer[i:j] = True
    # Pauses that touch are one.
    for first, last in runs_where(timer, time_s[1:]):
        pauses.append(Pause(start_s=float(time_s[first]), end_s=float(time_s[last + 1]), cause="timer"))
    longest = float(np.clip(USUAL_STEPS * np.quantile(step, USUAL, method="lower"), LONGEST_STEP_S, COARSEST_STEP_S))
    for k in np.flatnonzero(~timer & ((step > longest) | begins[1:])):
        pauses.append(Pause(start_s=float(time_s[k]), end_s=float(time_s[k + 1])))
    return tuple(sorted(pauses, key=lambda pause: pause.start_s))


def cut_steps(time_s: NDArray[np.float64], pauses: Sequence[Pause]) -> NDArray[np.bool_]:
    """Tell which steps between samples lie in a pause, shape (n - 1,)."""
    cut = np.zeros(len(time_s) - 1, dtype=bool)
    for pause in pauses:
        cut[np.searchsorted(time_s, pause.start_s) : np.searchsorted(time_s, pause.end_s)] = True
    return cut
