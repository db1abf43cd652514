"""Values that no ride can have become missing, with a note; nothing else is judged here."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fieldaero.basics.formatting import counted

__all__ = ["LIMITS", "without_absurd_values"]

# What a sensor can have measured on a bicycle; beyond it, it failed.  Common practice, no source.
LIMITS: dict[str, tuple[float, float]] = {
    "power_w": (0.0, 2500.0),
    "speed_m_s": (0.0, 40.0),
    "distance_m": (0.0, 5e6),
    "altitude_m": (-450.0, 9000.0),
    "latitude_deg": (-90.0, 90.0),
    "longitude_deg": (-180.0, 180.0),
    "temperature_c": (-50.0, 60.0),
    "cadence_rpm": (0.0, 250.0),
    "air_speed_m_s": (-10.0, 60.0),
}
"""Lowest and highest value of each column; outside is taken as missing."""


def without_absurd_values(samples: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Return the samples with impossible values as NaN, and a note for each kind of them.

    A position of which one coordinate is missing, or at latitude and longitude 0 both, is none.
    """
    samples = samples.copy()
    notes = []
    for name, (low, high) in LIMITS.items():
        x = samples[name].to_numpy(copy=True)
        with np.errstate(invalid="ignore"):
            absurd = (x < low) | (x > high)
        if absurd.any():
            worst = x[absurd][np.argmax(np.abs(x[absurd]))]
            notes.append(
                f"{name}: {counted(int(absurd.sum()), 'value')} outside {low:g} to {high:g} "
                f"(up to {worst:.6g}) taken as missing"
            )
            x[absurd] = np.nan
            samples[name] = x
    latitude, longitude = samples["latitude_deg"].to_numpy(copy=True), samples["longitude_deg"].to_numpy(copy=True)
    null = (latitude == 0.0) & (longitude == 0.0)
    if null.any():
        notes.append(f"position: {counted(int(null.sum()), 'sample')} at latitude 0, longitude 0 taken as missing")
    gone = null | np.isnan(latitude) | np.isnan(longitude)
    latitude[gone] = longitude[gone] = np.nan
    samples["latitude_deg"], samples["longitude_deg"] = latitude, longitude
    return samples, notes
