"""Power and speed that the sensors did not deliver: missing, zero at work, or frozen.

Several stretches of one kind on a lap make one flag, with their number, their sum
and the longest of them.  What is zero or frozen is a number all the same, and a false one:
:func:`false_samples` says where, so that nothing is worked out with it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats
from fieldaero.basics.runs import runs_where
from fieldaero.laps.lap import Flag, FlagName, Lap, moment_in_words
from fieldaero.laps.track import Track
from fieldaero.rides.ride import Ride
from fieldaero.rides.sensor_faults import frozen, power_without_load

__all__ = ["false_samples", "power_dropouts", "speed_dropouts"]

# Limits are matters of judgement: common practice, no source.
MISSING_S = 2.0
NO_LOAD_S = 3.0
MOSTLY = 0.25  # of the laps
COARSE_M_S = 0.02  # speeds rounded to more than this repeat by chance
STANDING_M_S = 0.3
STANDING_S = 3.0

Runs = list[tuple[int, int]]


def power_dropouts(ride: Ride, inside: NDArray[np.bool_]) -> list[Flag]:
    """Return flags for power that is missing, 0 W at a turning crank, or frozen, where ``inside`` a lap, shape (n,)."""
    t, power = ride.time_s, ride.column("power_w")
    if inside.any() and not np.isfinite(power[inside]).any():
        return [Flag(name="power_dropout", sentence="Power is missing on the whole lap.")]
    missing = runs_where(inside & np.isnan(power), t, least_s=MISSING_S)
    idle = _idle(ride, inside)
    kinds = [
        (missing, "Power is missing"),
        (idle, "Power 0 W at a cadence of 60 or more while moving (a dropout, or pedalling without load)"),
    ]
    steady = frozen(power, t, steps=inside[:-1] & inside[1:])
    if steady:
        kinds.append((steady, f"Power stayed at exactly {power[_longest(steady, t)[0]]:.0f} W, as if frozen"))
    return [_flag("power_dropout", runs, ride, what) for runs, what in kinds if runs]


def speed_dropouts(ride: Ride, inside: NDArray[np.bool_], track: Track) -> list[Flag]:
    """Return flags for speed that is missing, frozen, or zero while the satellites saw the bike move.

    ``inside`` says which of the ride's n samples lie in the lap, shape (n,).
    """
    t, speed = ride.time_s, ride.column("speed_m_s")
    if inside.any() and not np.isfinite(speed[inside]).any():
        return [Flag(name="speed_dropout", sentence="Speed is missing on the whole lap.")]
    kinds = [
        (runs_where(inside & np.isnan(speed), t, least_s=MISSING_S), "Speed is missing"),
        (_zero_in_motion(ride, inside, track), "Speed 0 while the position moved on"),
    ]
    steady = _frozen_speed(ride, inside)
    if steady:
        kinds.append((steady, f"Speed stayed at exactly {speed[_longest(steady, t)[0]]:.3f} m/s, as if frozen"))
    return [_flag("speed_dropout", runs, ride, what) for runs, what in kinds if runs]


def false_samples(ride: Ride, laps: Sequence[Lap], track: Track) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return where power, and where speed, is recorded but flagged as zero or frozen, shape (n,) each.

    The laps carry their flags. A value that stands still for much of the ride is no frozen sensor: a trainer holds
    it, or it is computed.
    """
    t, n = ride.time_s, len(ride.time_s)
    power, speed, steady_power, steady_speed, ridden = np.zeros((5, n), dtype=bool)
    for lap in laps:
        inside, names = (t >= lap.start_s) & (t <= lap.end_s), {flag.name for flag in lap.flags}
        ridden |= inside
        if "power_dropout" in names:
            power |= _covered(_idle(ride, inside), n)
            steady_power |= _covered(frozen(ride.column("power_w"), t, steps=inside[:-1] & inside[1:]), n)
        if "speed_dropout" in names:
            speed |= _covered(_zero_in_motion(ride, inside, track), n)
            steady_speed |= _covered(_frozen_speed(ride, inside), n)
    for false, steady in ((power, steady_power), (speed, steady_speed)):
        if np.count_nonzero(steady) <= MOSTLY * np.count_nonzero(ridden):
            false |= steady
    return power, speed


def _covered(runs: Runs, n: int) -> NDArray[np.bool_]:
    covered = np.zeros(n, dtype=bool)
    for first, last in runs:
        covered[first : last + 1] = True
    return covered


def _idle(ride: Ride, inside: NDArray[np.bool_]) -> Runs:
    power, cadence, speed = (ride.column(name) for name in ("power_w", "cadence_rpm", "speed_m_s"))
    no_load = power_without_load(power_w=power, cadence_rpm=cadence, speed_m_s=speed)
    return runs_where(inside & no_load, ride.time_s, least_s=NO_LOAD_S)


def _zero_in_motion(ride: Ride, inside: NDArray[np.bool_], track: Track) -> Runs:
    still = runs_where(inside & (ride.column("speed_m_s") < STANDING_M_S), ride.time_s, least_s=STANDING_S)
    return [run for run in still if track.moved(*run)]


def _frozen_speed(ride: Ride, inside: NDArray[np.bool_]) -> Runs:
    speed = ride.column("speed_m_s")
    steps = np.abs(np.diff(speed[np.isfinite(speed)]))
    coarse = float(np.min(steps[steps > 0.0], initial=np.inf)) > COARSE_M_S
    return [] if coarse else frozen(speed, ride.time_s, steps=inside[:-1] & inside[1:])


def _longest(runs: Runs, t: Floats) -> tuple[int, int]:
    return max(runs, key=lambda run: float(t[run[1]] - t[run[0]]))


def _flag(name: FlagName, runs: Runs, ride: Ride, what: str) -> Flag:
    t = ride.time_s
    i, j = _longest(runs, t)
    sentence = f"{what}, for {t[j] - t[i]:.0f} s from {moment_in_words(ride, t[i])}"
    if len(runs) > 1:
        total = sum(float(t[b] - t[a]) for a, b in runs)
        sentence += f"; {len(runs)} such stretches, {total:.0f} s in all"
    return Flag(name=name, sentence=sentence + ".", start_s=float(t[i]), end_s=float(t[j]))
