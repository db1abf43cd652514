"""A lap: where it begins and ends, what is odd about it, and its mean speed and power."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fieldaero.rides.intervals import interval_power_w, is_gap
from fieldaero.rides.ride import Ride

__all__ = ["Flag", "FlagName", "Lap", "LapSource", "flag_words", "mean_power_w", "moment_in_words"]

LapSource = Literal["button", "line", "repeat"]
FlagName = Literal[
    "incomplete",
    "stopped",
    "braked",
    "power_dropout",
    "speed_dropout",
    "off_course",
    "length_off",
    "speed_outside",
]


@dataclass(frozen=True, kw_only=True)
class Flag:
    """Something about a lap that the reader should know; it never drops the lap.

    Attributes
    ----------
    sentence
        What was found, when, and with which evidence.
    start_s, end_s
        On the ride's clock [s]; None where the flag concerns the whole lap.
    """

    name: FlagName
    sentence: str
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Lap:
    """One round of the course, or what a device marked as one.

    Attributes
    ----------
    number
        1-based, in the order of the ride.
    start_s, end_s
        Crossing times on the ride's clock [s], interpolated between samples.  Where the
        rider halted at the line the one lap ends before and the next begins after the halt.
    distance_m
        Wheel distance between the crossings.
    start_m
        Wheel distance since the first sample of the ride at the start of the lap; NaN
        means where the ride was at ``start_s``.
    trigger
        How the lap was marked, in the device's word, or "line" or "repeat".
    note
        What is particular about its start or end, else empty.
    flags
        Filled by :func:`fieldaero.laps.flags.flag_laps`.
    """

    number: int
    start_s: float
    end_s: float
    distance_m: float
    start_m: float = math.nan
    trigger: str = "unknown"
    note: str = ""
    flags: tuple[Flag, ...] = ()

    @property
    def duration_s(self) -> float:
        """Time from crossing to crossing [s], standstills included."""
        return self.end_s - self.start_s

    @property
    def speed_m_s(self) -> float:
        """Mean speed from crossing to crossing [m/s], standstills included; NaN for a lap of no duration."""
        return self.distance_m / self.duration_s if self.duration_s > 0.0 else math.nan

    @property
    def flag_names(self) -> tuple[FlagName, ...]:
        """The kinds of its flags, each once."""
        return tuple(dict.fromkeys(flag.name for flag in self.flags))


def moment_in_words(ride: Ride, time_s: float) -> str:
    """Return the clock time, or seconds into the ride where it has no clock."""
    clock = ride.clock(time_s)
    return f"{time_s:.0f} s into the ride" if clock is None else f"{clock:%H:%M:%S} UTC"


def mean_power_w(ride: Ride, lap: Lap, *, false_power: NDArray[np.bool_] | None = None) -> float:
    """Return the mean recorded power of a lap [W], NaN where none is known.

    It is the work divided by the time that it took: an interval between samples that reaches over the start or
    end of the lap counts by its share, and time without known power (a gap, a missing sample, or one for which
    ``false_power``, shape (n,), says that the sensor told nothing true) is left out of both.
    """
    t, power = ride.time_s, ride.column("power_w")
    if false_power is not None:
        power = np.where(false_power, np.nan, power)
    power = interval_power_w(t, power)
    duration = np.where(np.isfinite(power) & ~is_gap(t), np.diff(t), 0.0)
    known_s, work_j = (
        float(np.diff(np.interp([lap.start_s, lap.end_s], t, np.concatenate([[0.0], np.cumsum(part)])))[0])
        for part in (duration, np.nan_to_num(power) * duration)
    )
    return work_j / known_s if known_s > 0.0 else math.nan


def flag_words(flags: Iterable[str]) -> tuple[str, ...]:
    """Return the names of flags in words, each once."""
    return tuple(dict.fromkeys(flag.replace("_", " ") for flag in flags))
