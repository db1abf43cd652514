"""What the rider does: how hard to push, and when to brake.

Power is set once a second, in whole watts, and holds for that second; so the mean over a
second is a whole number, and a file that keeps whole watts loses nothing.  For the same
reason the rider stops pushing at the turn of the second before the brakes come on.
"""

from __future__ import annotations

import math

import numpy as np

from fieldaero.simulator.scenario import Scenario

__all__ = ["BRAKE_M_S2", "Rider"]

# How people ride in a test: common practice, no source.
BRAKE_M_S2 = 1.5
STOP_S = 40.0
WANDER_S = 15.0
TRAFFIC_LOSS_M_S = 3.5
SLOWEST_IN_TRAFFIC_M_S = 2.0
TURN_SPEED_M_S = 4.5
TURN_BRAKE_M_S2 = 0.8 * BRAKE_M_S2
TURN_REACHED_M = 4.0  # before the turn the rider is down to its speed
COAST_TO_TURN_M = 60.0


class Rider:
    """Pacing about a target, braking for traffic and turns, and halts.

    ``braked_laps`` and ``stopped_laps`` are numbers, 1-based, of laps with a braking for traffic or a halt; the slow
    turns of an out-and-back course are none.
    """

    def __init__(self, scenario: Scenario, *, step_s: float, rng: np.random.Generator) -> None:
        L, laps = scenario.course.length_m, len(scenario.order)
        powers = scenario.power_w if isinstance(scenario.power_w, tuple) else (scenario.power_w,)
        self._targets = [powers[k % len(powers)] for k in range(laps)]
        self._uphill_share = scenario.uphill_share
        self._keep = math.exp(-1.0 / WANDER_S)
        self._push = scenario.power_wander_w * math.sqrt(1.0 - self._keep**2)
        self._wander = 0.0
        self._half_m = L / 2.0 if scenario.course.shape == "out_and_back" else None
        self._stop_steps = round(STOP_S / step_s)

        many = rng.poisson(scenario.brakings_per_lap * laps)
        brake = rng.uniform(0.0, laps * L, size=many).tolist()
        brake += [(k - 1 + float(rng.uniform(0.3, 0.7))) * L for k in scenario.braked_laps]
        stop = [(k - 1 + float(rng.uniform(0.3, 0.7))) * L for k in scenario.stopped_laps]
        self.braked_laps = tuple(sorted({int(s // L) + 1 for s in brake}))
        self.stopped_laps = tuple(sorted({int(s // L) + 1 for s in stop}))
        self._brake_at, self._stop_at = [*sorted(brake), math.inf], [*sorted(stop), math.inf]
        self._brakings, self._stops = 0, 0
        self._slow_to_m_s: float | None = None
        self._halting = False
        self._standing = 0

    @property
    def halts_s(self) -> float:
        """Time that the rider will stand in all."""
        return STOP_S * (len(self._stop_at) - 1)

    def power_of_second_w(self, *, position_m: float, speed_m_s: float, grade: float, lap: int, noise: float) -> float:
        """Power at the meter for the coming second [W], never negative.

        ``lap`` counts from 0; ``noise`` is a standard normal number.
        """
        self._wander = self._keep * self._wander + self._push * noise
        P = float(max(0, round(self._targets[lap] * (1.0 + self._uphill_share * grade) + self._wander)))
        return 0.0 if self._will_brake(position_m, speed_m_s) else P

    def _will_brake(self, s: float, v: float) -> bool:
        """Whether the brakes are on, or will be within the second."""
        if self._halting or self._slow_to_m_s is not None:
            return True
        reached = s + v
        if (
            reached >= self._stop_at[self._stops] - v * v / (2.0 * BRAKE_M_S2)
            or reached >= self._brake_at[self._brakings]
        ):
            return True
        if self._half_m is None:
            return False
        ahead = self._half_m - s % self._half_m - v
        return v > _safe_m_s(ahead) or (ahead < COAST_TO_TURN_M and v > TURN_SPEED_M_S)

    def brake_m_s2(self, *, position_m: float, speed_m_s: float) -> float:
        """Deceleration by the brakes over the coming step; standing, they are on as well."""
        s, v = position_m, speed_m_s
        if self._halting or s >= self._stop_at[self._stops] - v * v / (2.0 * BRAKE_M_S2):
            return self._halt(v)
        if s >= self._brake_at[self._brakings]:
            if self._slow_to_m_s is None:
                self._slow_to_m_s = max(v - TRAFFIC_LOSS_M_S, SLOWEST_IN_TRAFFIC_M_S)
            if v > self._slow_to_m_s:
                return BRAKE_M_S2
            self._slow_to_m_s, self._brakings = None, self._brakings + 1
        if self._half_m is not None and v > _safe_m_s(self._half_m - s % self._half_m):
            return BRAKE_M_S2
        return 0.0

    def _halt(self, v: float) -> float:
        if not self._halting:
            self._halting, self._standing = True, self._stop_steps
        if v == 0.0:
            self._standing -= 1
            if self._standing < 0:
                self._halting, self._stops = False, self._stops + 1
                return 0.0
        return BRAKE_M_S2


def _safe_m_s(ahead_m: float) -> float:
    """Speed from which the rider still gets down to that of the turn."""
    return math.sqrt(TURN_SPEED_M_S**2 + 2.0 * TURN_BRAKE_M_S2 * max(ahead_m - TURN_REACHED_M, 0.0))
