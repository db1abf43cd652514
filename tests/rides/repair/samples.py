"""Samples of a recording, made of a few numbers."""

from __future__ import annotations

import numpy as np

from fieldaero.rides.recording import table_of

NAN = float("nan")


def samples(seconds, **columns):
    return table_of({"time_s": np.asarray(seconds, dtype=float), **columns})


def no_breaks(seconds):
    return np.zeros(len(seconds), dtype=bool)
