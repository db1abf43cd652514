"""What is weak about a ride's recording, one plain sentence each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldaero.estimate.energy_balance import EnergyBalance
from fieldaero.laps.lap import Lap
from fieldaero.rides.intervals import is_gap
from fieldaero.rides.ride import Ride

__all__ = ["recording_warnings"]

SPEED_SOURCES_DIFFER = 0.015


def recording_warnings(ride: Ride, laps: Sequence[Lap], *, balance: EnergyBalance, power_lag_s: float) -> list[str]:
    """Return what is weak about a ride and its used laps."""
    found, file = [], ride.source.file
    if power_lag_s:
        found.append(
            f"{file}: the recorded power is {abs(power_lag_s):.1f} s {'behind' if power_lag_s > 0 else 'ahead of'} "
            "the speed; this was corrected."
        )
    if ride.speed_from != "recorded":
        found.append(
            f"{file}: speed was worked out from {ride.speed_from}, which is coarser than a wheel sensor; "
            "drag areas scatter more."
        )
    return [*found, *_speed_against_satellites(ride), *_false_stretches(file, laps, balance)]


def _speed_against_satellites(ride: Ride) -> list[str]:
    v, d, t = ride.column("speed_m_s"), ride.column("distance_m"), ride.time_s
    if ride.speed_from != "recorded" or not np.isfinite(d).any():
        return []
    dt = np.diff(t)
    fine = np.isfinite(np.diff(d)) & np.isfinite(v[:-1] + v[1:]) & ~is_gap(t)
    if not fine.any():
        return []
    by_speed = float(np.sum(((v[:-1] + v[1:]) / 2.0 * dt)[fine]))
    by_distance = float(np.sum(np.diff(d)[fine]))
    if by_speed <= 0.0 or abs(by_distance / by_speed - 1.0) <= SPEED_SOURCES_DIFFER:
        return []
    return [
        f"{ride.source.file}: distance and speed disagree by {by_distance / by_speed - 1.0:+.1%}; one of them comes "
        "from satellites or a wrong wheel circumference. A speed wrong by 1 % makes the drag area wrong by about 3 %."
    ]


def _false_stretches(file: str, laps: Sequence[Lap], balance: EnergyBalance) -> list[str]:
    lost = {lap.number: balance.distrusted_s(lap.start_s, lap.end_s) for lap in laps}
    numbers = [str(number) for number, seconds in lost.items() if seconds > 0.0]
    if not numbers:
        return []
    return [
        f"{file}: power or speed is zero or frozen for {sum(lost.values()):.0f} s of "
        f"lap{'' if len(numbers) == 1 else 's'} {', '.join(numbers)}; the joint fit leaves these stretches out, and "
        "plain closure has no number for such a lap."
    ]
