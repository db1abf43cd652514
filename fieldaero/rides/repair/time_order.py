"""Order in time, where the stamps of a recording run back or repeat.

Samples are never sorted one by one. Pieces that do not overlap (chained files, tracks in
another order) change places whole; a stray stamp or a clock set back by a little costs the
samples that overlap; of two recordings of the same time the longer is kept.
"""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldaero.basics.formatting import counted

__all__ = ["in_order", "one_outing", "one_sample_per_stamp"]

STRAY_SHARE = 0.02  # overlap up to this share of the samples is a stray stamp or a corrected clock
STRAY_SAMPLES = 5
LONGEST_HOLE_S = 86_400.0

Begins = NDArray[np.bool_]
"""For each sample whether the recording starts anew with it."""


def in_order(samples: pd.DataFrame, begins: Begins) -> tuple[pd.DataFrame, Begins, list[str]]:
    """Return the samples with times that do not fall, a break at every join, and notes."""
    t = samples["time_s"].to_numpy()
    back = np.flatnonzero(np.diff(t) < 0.0) + 1
    if not len(back):
        return samples, begins, []
    runs = np.split(np.arange(len(t)), back)
    runs.sort(key=lambda run: float(t[run[0]]))
    apart = all(t[a[-1]] < t[b[0]] for a, b in pairwise(runs))
    where = f"time runs back {counted(len(back), 'time')}"
    if apart:
        kept, did = np.concatenate(runs), f"{counted(len(runs), 'piece')} put in order of time"
    else:
        kept = _longest_rising(t)
        did = "the recording was split there"
        if len(t) - len(kept) > max(STRAY_SAMPLES, STRAY_SHARE * len(t)):
            kept = _longest_runs(t, runs)
            did = "of pieces that overlap in time the longest was kept"
    new = begins[kept]
    new[1:] |= np.diff(kept) != 1
    if lost := len(t) - len(kept):
        did += f", {counted(lost, 'sample')} left out"
    return samples.iloc[kept].reset_index(drop=True), new, [f"{where}; {did}"]


def _longest_rising(t: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the longest selection of samples, in their order, whose times do not fall (patience sorting)."""
    tails: list[float] = []
    ends: list[int] = []
    before = np.full(len(t), -1)
    for i, time in enumerate(t.tolist()):
        place = bisect_right(tails, time)
        before[i] = ends[place - 1] if place else -1
        tails[place : place + 1] = [time]
        ends[place : place + 1] = [i]
    chosen, i = [], ends[-1]
    while i >= 0:
        chosen.append(i)
        i = int(before[i])
    return np.array(chosen[::-1], dtype=np.intp)


def _longest_runs(t: NDArray[np.float64], runs: list[NDArray[np.intp]]) -> NDArray[np.intp]:
    starts: list[float] = []
    kept: list[NDArray[np.intp]] = []
    for run in sorted(runs, key=len, reverse=True):
        start, end = float(t[run[0]]), float(t[run[-1]])
        place = bisect_right(starts, start)
        after_one = place == 0 or t[kept[place - 1][-1]] < start
        before_next = place == len(kept) or end < starts[place]
        if after_one and before_next:
            starts.insert(place, start)
            kept.insert(place, run)
    return np.concatenate(kept)


def one_outing(samples: pd.DataFrame, begins: Begins) -> tuple[pd.DataFrame, Begins, list[str]]:
    """Keep the longest piece where two samples lie more than a day apart."""
    t = samples["time_s"].to_numpy()
    pieces = np.split(np.arange(len(t)), np.flatnonzero(np.diff(t) > LONGEST_HOLE_S) + 1)
    if len(pieces) == 1:
        return samples, begins, []
    kept = max(pieces, key=len)
    note = (
        f"the samples lie more than a day apart in {counted(len(pieces), 'piece')} (a clock set on the way?); "
        f"the longest was kept, {counted(len(t) - len(kept), 'sample')} left out"
    )
    return samples.iloc[kept].reset_index(drop=True), begins[kept], [note]


def one_sample_per_stamp(samples: pd.DataFrame, begins: Begins) -> tuple[pd.DataFrame, Begins, list[str]]:
    """Spread two samples of one stamp over a step of twice the usual length, else merge them.

    The sample with most values is kept; what it lacks is filled in from the others of the same stamp.
    """
    t = samples["time_s"].to_numpy(copy=True)
    step = np.diff(t)
    if not np.any(step == 0.0):
        return samples, begins, []
    usual = float(np.median(step[step > 0.0])) if np.any(step > 0.0) else 1.0
    cells = samples.to_numpy(copy=True)
    kept = np.ones(len(t), dtype=bool)
    new = begins.copy()
    spread = merged = 0
    edges = np.flatnonzero(np.concatenate([[True], step != 0.0, [True]]))
    for first, end in pairwise(edges.tolist()):
        size = end - first
        if size == 1:
            continue
        # Two samples, one of them stamped a second early; two halves of one sample share no column but the time.
        follows = end < len(t) and not new[first + 1 : end + 1].any()
        follows = follows and int(np.isfinite(cells[first:end]).all(axis=0).sum()) > 1
        if size == 2 and follows and abs(t[end] - t[first] - 2.0 * usual) < 0.01 * usual:
            t[first + 1] += usual
            spread += 1
            continue
        group = cells[first:end]
        fullest = int(np.argmax(np.isfinite(group).sum(axis=1)))
        best = group[fullest].copy()
        for other in group:
            best = np.where(np.isfinite(best), best, other)
        cells[first] = best
        kept[first + 1 : end] = False
        new[first] = new[first:end].any()
        merged += size - 1
    cells[:, samples.columns.get_loc("time_s")] = t
    parts = [f"{spread} spread over the missing step that follows"] if spread else []
    parts += [f"{merged} left out in favour of the fuller sample"] if merged else []
    note = f"{counted(spread + merged, 'repeated time stamp')}: {', '.join(parts)}"
    table = pd.DataFrame(cells[kept], columns=samples.columns)
    return table, new[kept], [note]
