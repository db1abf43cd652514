"""From a recording to a ride: the steps that all formats share, each with its note.

Order in time, one sample per stamp, one outing; impossible values; a distance that
never falls; pauses; speed where none was recorded; laps within the ride. No value is
interpolated or smoothed.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldaero.basics.errors import RideError
from fieldaero.basics.formatting import counted
from fieldaero.rides.recording import Recording
from fieldaero.rides.repair.distance_and_speed import ground_step_m, rate_m_s, rising
from fieldaero.rides.repair.notes import notes_on
from fieldaero.rides.repair.pauses import cut_steps, find_pauses
from fieldaero.rides.repair.time_order import in_order, one_outing, one_sample_per_stamp
from fieldaero.rides.ride import LapMark, Pause, Ride, RideSource

__all__ = ["ride_of", "without_absurd_values"]

LEAST_STAMPS = 0.1  # some devices write three samples per stamp; where ten share one, there is no time
NEXT_SAMPLE_S = 1.0
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

MICROSECONDS = 6  # the finest step that a date and time can be written in


def ride_of(recording: Recording, source: RideSource) -> Ride:
    """Make a ride of a recording; an error if fewer than two samples are left."""
    notes = list(recording.notes)
    begins = np.zeros(len(recording.samples), dtype=bool)
    begins[[row for row in recording.breaks if row < len(begins)]] = True
    timed = np.isfinite(recording.samples["time_s"].to_numpy())
    begins = _carried(begins, timed)
    samples = recording.samples.loc[timed].reset_index(drop=True)
    for step in (in_order, one_outing, one_sample_per_stamp):
        if len(samples):
            samples, begins, said = step(samples, begins)
            notes += said
    if stalled := len(samples) < LEAST_STAMPS * timed.sum():
        notes.append("the clock of the recording stood still")
    if len(samples) < 2 or stalled:
        why = f" ({'; '.join(notes)})" if notes else ""
        raise RideError(
            f"{source.file}: {counted(len(samples), 'usable sample')} in this {recording.format} file; "
            f"a ride needs at least 2, each with its own time{why}"
        )
    samples, said = without_absurd_values(samples)
    notes += said
    t = samples["time_s"].to_numpy()
    samples["distance_m"], said = rising(
        samples["distance_m"].to_numpy(), time_s=t, speed_m_s=samples["speed_m_s"].to_numpy()
    )
    notes += said
    pauses = find_pauses(t, begins, recording.timer_stops)
    samples, speed_from, said = _with_speed(samples, pauses, recording.speed_from)
    notes += said
    marks, said = _within(recording.lap_marks, float(t[0]), float(t[-1]))
    notes += said + notes_on(samples, pauses)
    if recording.sport not in (None, "cycling"):
        notes.append(f"recorded as {recording.sport}, not as cycling")

    # The ride begins at its first sample; only the seconds of a CSV stay as they are.
    as_written = recording.clock_zero is None and recording.format == "CSV"
    shift = 0.0 if as_written else float(t[0])
    start_time = None if recording.clock_zero is None else recording.clock_zero + timedelta(seconds=shift)
    samples["time_s"] = np.round(t - shift, MICROSECONDS) if shift else t
    return Ride(
        table=samples,
        source=source,
        start_time=start_time,
        lap_marks=tuple(replace(m, start_s=_on(m.start_s, shift), end_s=_on(m.end_s, shift)) for m in marks),
        pauses=tuple(replace(p, start_s=_on(p.start_s, shift), end_s=_on(p.end_s, shift)) for p in pauses),
        device=recording.device,
        sport=recording.sport,
        speed_from=speed_from,
        notes=tuple(notes),
    )


def _carried(begins: NDArray[np.bool_], kept: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell the breaks among the kept samples; the break of a dropped sample passes to the next kept one."""
    count = np.cumsum(begins)[kept]
    return np.diff(count, prepend=0) > 0


def _on(time_s: float, shift_s: float) -> float:
    return round(time_s - shift_s, MICROSECONDS) if shift_s else time_s


def _with_speed(
    samples: pd.DataFrame, pauses: tuple[Pause, ...], speed_from: str
) -> tuple[pd.DataFrame, str, list[str]]:
    """Take the recorded speed where there is any, else from the distance, else from the positions."""
    if samples["speed_m_s"].notna().any():
        return samples, speed_from, []
    t = samples["time_s"].to_numpy()
    latitude, longitude = samples["latitude_deg"].to_numpy(), samples["longitude_deg"].to_numpy()
    sources = (
        ("distance", np.diff(samples["distance_m"].to_numpy())),
        ("position", ground_step_m(latitude, longitude)),
    )
    for name, step in sources:
        speed = rate_m_s(step, time_s=t, cut=cut_steps(t, pauses))
        if np.nansum(speed) > 0.0:
            samples["speed_m_s"] = speed
            samples, said = without_absurd_values(samples)
            return samples, name, [f"no speed was recorded; it was derived from the {name}", *said]
    return samples, speed_from, ["no speed was recorded, and neither distance nor position gives it"]


def _within(marks: tuple[LapMark, ...], first_s: float, last_s: float) -> tuple[list[LapMark], list[str]]:
    """Laps ordered by start and cut to the ride; those outside it are left out.

    A lap may end between the last sample and the one that would have come next.
    """
    held = [
        replace(mark, start_s=max(mark.start_s, first_s), end_s=min(mark.end_s, last_s + NEXT_SAMPLE_S))
        for mark in sorted(marks, key=lambda mark: mark.start_s)
    ]
    kept = [mark for mark in held if mark.end_s > mark.start_s and mark.start_s < last_s]
    lost = len(held) - len(kept)
    return kept, [f"{counted(lost, 'lap')} outside the recorded time, or without length, left out"] if lost else []


def without_absurd_values(samples: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Return the samples with impossible values as NaN, and a note for each kind.

    A position with one coordinate missing, or at latitude 0 and longitude 0, is missing.
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
