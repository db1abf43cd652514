"""A ride over time as a picture needs it: a few thousand points that keep every peak.

A trace is thinned by taking the lowest and the highest sample of each stretch of time, so
that nothing short disappears, and it is broken where nothing was recorded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import pandas as pd

from fieldaero.basics.errors import RideError
from fieldaero.basics.quantities import Floats
from fieldaero.estimate.closure import lap_closure, virtual_elevation
from fieldaero.estimate.energy_balance import energy_balance
from fieldaero.laps.lap import Lap
from fieldaero.physics.earth import normal_gravity_m_s2
from fieldaero.physics.system import System
from fieldaero.rides.intervals import is_gap
from fieldaero.rides.ride import Ride

__all__ = [
    "Quantity",
    "Trace",
    "clock_ticks_s",
    "shown_span",
    "thinned",
    "trace_of",
    "virtual_elevation_trace",
]

Quantity = Literal["speed", "power", "elevation"]

POINTS = 2000
HEADROOM = 0.25
NEXT_S = 0.001
STEPS_S = (60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0)
POWER_MEAN_S = 15.0  # shorter, and the strokes of the legs hide the laps


@dataclass(frozen=True, kw_only=True)
class Trace:
    """Values over time.

    The times are on the ride's clock, rising; a value of NaN breaks the trace.  ``note`` is what the reader of the
    picture has to know.
    """

    label: str
    time_s: Floats
    values: Floats
    note: str = ""

    def to_frame(self) -> pd.DataFrame:
        """Return the columns ``time_s`` and ``value``."""
        return pd.DataFrame({"time_s": self.time_s, "value": self.values})


def shown_span(trace: Trace) -> tuple[float, float]:
    """Return from where to where an axis shows a trace, with room above for marks, in the unit of its label."""
    low, high = float(np.nanmin(trace.values)), float(np.nanmax(trace.values))
    room = HEADROOM * max(high - low, 1e-6)
    return low - 0.1 * room, high + room


def thinned(time_s: Floats, values: Floats, *, points: int = POINTS) -> tuple[Floats, Floats]:
    """Keep the lowest and the highest of each stretch, in the order in which they came.

    NaN breaks the trace and stays.  Of ``points``, even and 4 or more, at most two more are kept.

    Examples
    --------
    >>> t = np.arange(1000.0)
    >>> peak = np.where(t == 517.0, 9.0, 1.0)
    >>> kept_s, kept = thinned(t, peak, points=20)
    >>> len(kept) <= 22, float(kept.max()), 517.0 in kept_s
    (True, 9.0, True)
    """
    n = len(time_s)
    if n <= points:
        return time_s, values
    edges = np.linspace(0, n, points // 2 + 1).astype(int)
    keep = {0, n - 1}
    for low, high in pairwise(edges.tolist()):
        part = values[low:high]
        known = np.flatnonzero(np.isfinite(part))
        if len(known) < len(part):
            keep.add(low + int(np.flatnonzero(~np.isfinite(part))[0]))
        if len(known):
            keep |= {low + int(known[np.argmin(part[known])]), low + int(known[np.argmax(part[known])])}
    at = np.array(sorted(keep))
    return time_s[at], values[at]


def clock_ticks_s(ride: Ride, *, most: int = 12) -> tuple[float, ...]:
    """Return moments on the ride's clock at which a clock on the wall shows whole minutes, for an axis.

    The clock of a ride without one begins at 0:00.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from fieldaero.rides.ride import COLUMNS, RideSource
    >>> table = pd.DataFrame({"time_s": [0.0, 3600.0]}).reindex(columns=COLUMNS).astype(float)
    >>> source = RideSource(file="a.csv", format="CSV", sha256="")
    >>> clock_ticks_s(Ride(table=table, source=source, start_time=datetime(2026, 5, 3, 7, 10, 30, tzinfo=UTC)), most=5)
    (270.0, 1170.0, 2070.0, 2970.0)
    """
    start = ride.start_time
    shift = 0.0 if start is None else start.minute * 60.0 + start.second + start.microsecond / 1e6
    first, last = shift + float(ride.time_s[0]), shift + float(ride.time_s[-1])
    step = next((step for step in STEPS_S if (last - first) / step < most), STEPS_S[-1])
    ticks = np.arange(np.ceil(first / step), np.floor(last / step) + 1.0) * step - shift
    return tuple(float(tick) for tick in ticks)


def trace_of(ride: Ride, quantity: Quantity, *, points: int = POINTS) -> Trace:
    """Return speed [km/h], power [W] or recorded elevation [m] of a ride over time."""
    column, label = {
        "speed": ("speed_m_s", "speed [km/h]"),
        "power": ("power_w", f"power, mean of {POWER_MEAN_S:.0f} s [W]"),
        "elevation": ("altitude_m", "recorded elevation [m]"),
    }[quantity]
    if not ride.has(column):
        raise RideError(f"{ride.source.file}: holds no {quantity}; choose another trace")
    t, y = ride.time_s, ride.column(column)
    if quantity == "speed":
        y = y * 3.6
    if quantity == "power":
        y = _mean_over(t, y, POWER_MEAN_S)
    t, y = thinned(*_broken_at_gaps(t, y), points=points)
    return Trace(label=label, time_s=t, values=y)


def virtual_elevation_trace(
    ride: Ride, laps: Sequence[Lap], *, system: System, air_density_kg_m3: float, points: int = POINTS
) -> Trace:
    """Return the virtual elevation of every lap, counted from its own start, in still air.

    All laps are drawn with one drag area, the median of those that close them, so that a
    lap of less drag climbs and one of more drag falls.
    """
    balance = energy_balance(
        ride,
        system=system,
        air_density_kg_m3=air_density_kg_m3,
        gravity_m_s2=float(normal_gravity_m_s2()),
    )
    closed = [
        lap_closure(balance, start_s=lap.start_s, end_s=lap.end_s, crr=system.crr).cda_m2
        for lap in laps
        if lap.duration_s > 0.0
    ]
    if not np.isfinite(closed).any():
        raise RideError(f"{ride.source.file}: no lap with power and speed throughout; choose another trace")
    cda = float(np.nanmedian(closed))
    t: list[Floats] = []
    y: list[Floats] = []
    for lap in laps:
        if lap.duration_s > 0.0:
            found = virtual_elevation(balance, start_s=lap.start_s, end_s=lap.end_s, cda_m2=cda, crr=system.crr)
            # The next lap begins at the moment at which this one ends, and a picture is drawn in order of time.
            t += [found.time_s[:-1], np.array([lap.end_s - 2.0 * NEXT_S, lap.end_s - NEXT_S])]
            y += [found.elevation_m, np.array([np.nan])]
    kept_s, kept = thinned(np.concatenate(t), np.concatenate(y), points=points)
    return Trace(
        label="virtual elevation [m]",
        time_s=kept_s,
        values=kept,
        note=f"Counted from the start of each lap, in still air, with a drag area of {cda:.3f} m² and a Crr of "
        f"{system.crr:.4f} for all laps: a first look, not the result.",
    )


def _mean_over(t: Floats, y: Floats, span_s: float) -> Floats:
    series = pd.Series(y, index=pd.to_timedelta(t, unit="s"))
    return np.asarray(series.rolling(f"{span_s:.0f}s").mean(), dtype=np.float64)


def _broken_at_gaps(t: Floats, y: Floats) -> tuple[Floats, Floats]:
    gaps = np.flatnonzero(is_gap(t)) + 1
    middle = (t[gaps] + t[gaps - 1]) / 2.0
    return np.insert(t, gaps, middle), np.insert(y, gaps, np.nan)
