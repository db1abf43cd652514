"""Notes on what looks wrong in a ride; nothing is changed here."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldaero.basics.formatting import counted, share_of
from fieldaero.basics.quantities import Floats
from fieldaero.rides.repair.distance_and_speed import ground_step_m
from fieldaero.rides.repair.pauses import cut_steps
from fieldaero.rides.ride import Pause
from fieldaero.rides.sensor_faults import MOVING_M_S, frozen, power_without_load

__all__ = ["notes_on"]

# Limits are matters of judgement: common practice, no source.
UNEVEN_SHARE = 0.05
ALTITUDE_JUMP_M = 10.0
LOWEST_ALTITUDE_M = -5.0
COARSE_ALTITUDE_M = 0.9
WHEEL_OFF = 0.015
LEAST_COMPARED_M = 2000.0


def notes_on(samples: pd.DataFrame, pauses: Sequence[Pause]) -> list[str]:
    """Return notes on recording steps, power, altitude and position of a ride table."""
    t = samples["time_s"].to_numpy()
    cut = cut_steps(t, pauses)
    return [
        *_steps(np.diff(t)[~cut]),
        *_power(samples, t, cut),
        *_altitude(samples["altitude_m"].to_numpy(), cut),
        *_position(samples, t, cut),
    ]


def _steps(step: Floats) -> list[str]:
    if not len(step) or np.mean(np.abs(step - 1.0) > 0.1) <= UNEVEN_SHARE:
        return []
    usual, shortest, longest = float(np.median(step)), float(step.min()), float(step.max())
    steps = (
        f"every {usual:.3g} s" if longest - shortest < 0.1 else f"at uneven steps of {shortest:.3g} to {longest:.3g} s"
    )
    return [f"recorded {steps}; set the device to record every second"]


def _power(samples: pd.DataFrame, t: Floats, cut: NDArray[np.bool_]) -> list[str]:
    power = samples["power_w"].to_numpy()
    known = np.isfinite(power)
    if not known.any():
        return ["no power was recorded, so this ride gives no drag area"]
    if not np.any(power[known]):
        return ["power is 0 in all samples: no usable power"]
    notes = []
    if lost := int((~known).sum()):
        notes.append(f"power is missing in {share_of(lost, len(power), 'sample')}")
    cadence, speed = samples["cadence_rpm"].to_numpy(), samples["speed_m_s"].to_numpy()
    idle = power_without_load(power_w=power, cadence_rpm=cadence, speed_m_s=speed)
    if idle.any():
        notes.append(
            f"power is 0 at a cadence of 60 or more in {counted(int(idle.sum()), 'sample')}: no load, or dropouts"
        )
    if lasted := [t[last] - t[first] for first, last in frozen(power, t, steps=~cut)]:
        notes.append(
            f"power stays at one value for {max(lasted):.0f} s, {counted(len(lasted), 'time')} in all: frozen?"
        )
    return notes


def _altitude(altitude: Floats, cut: NDArray[np.bool_]) -> list[str]:
    known = altitude[np.isfinite(altitude)]
    if not len(known):
        return []
    notes = []
    if known.min() < LOWEST_ALTITUDE_M:
        notes.append(f"altitude goes down to {known.min():.0f} m: only its differences are usable")
    step = np.diff(altitude)
    if jumps := int(np.sum((np.abs(step) > ALTITUDE_JUMP_M) & ~cut)):
        notes.append(f"altitude jumps by more than {ALTITUDE_JUMP_M:g} m in one step {counted(jumps, 'time')}")
    moves = np.abs(step[np.isfinite(step) & (step != 0.0)])
    if len(moves) and moves.min() >= COARSE_ALTITUDE_M:
        notes.append(f"altitude is recorded in steps of {moves.min():.2g} m")
    return notes


def _position(samples: pd.DataFrame, t: Floats, cut: NDArray[np.bool_]) -> list[str]:
    latitude, longitude = samples["latitude_deg"].to_numpy(), samples["longitude_deg"].to_numpy()
    missing = int(np.isnan(latitude).sum())
    if missing == len(latitude):
        return ["no position was recorded"]
    notes = []
    if missing:
        notes.append(f"position is missing in {share_of(missing, len(latitude), 'sample')}")
    speed = samples["speed_m_s"].to_numpy()
    rolled = np.diff(t) * (speed[:-1] + speed[1:]) / 2.0
    ground = ground_step_m(latitude, longitude)
    moving = (speed[:-1] > MOVING_M_S) & (speed[1:] > MOVING_M_S) & ~cut
    if held := int(np.sum(moving & (ground == 0.0))):
        notes.append(f"the position stands still while the wheel turns in {counted(held, 'sample')}")
    compared = moving & (ground > 0.0)
    if np.sum(rolled[compared]) > LEAST_COMPARED_M:
        ratio = float(np.sum(ground[compared]) / np.sum(rolled[compared]))
        if abs(ratio - 1.0) > WHEEL_OFF:
            notes.append(
                f"the positions give {ratio:.3f} times the distance that the speed gives: the wheel circumference "
                "is wrong, or the speed comes from satellites"
            )
    return notes
