"""Rides made of a few numbers, for tests that look at single intervals."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fieldaero.rides.ride import COLUMNS, Ride, RideSource

SOURCE = RideSource(file="made.csv", format="CSV", sha256="")


def ride_of(*, time_s, power_w, speed_m_s, **columns) -> Ride:
    """A ride with these columns, the others missing; single numbers hold throughout."""
    table = pd.DataFrame({"time_s": np.asarray(time_s, dtype=float)})
    for name, values in {"power_w": power_w, "speed_m_s": speed_m_s, **columns}.items():
        table[name] = np.broadcast_to(np.asarray(values, dtype=float), len(table)).copy()
    return Ride(table=table.reindex(columns=list(COLUMNS)).astype(np.float64), source=SOURCE)


def varied_ride(seconds: int = 60, *, seed: int = 1) -> Ride:
    """A ride whose power and speed change from second to second, not by any law."""
    rng = np.random.default_rng(seed)
    return ride_of(
        time_s=np.arange(seconds),
        power_w=rng.uniform(100.0, 400.0, size=seconds),
        speed_m_s=rng.uniform(6.0, 14.0, size=seconds),
    )
