"""Wind at the rider's height: a mean, a slow change, and gusts that are carried past the rider.

Both changes are Ornstein-Uhlenbeck processes, each component on its own.  The slow one runs by
the clock.  A gust fades over a length of air, so the faster the rider meets the air the sooner
it is gone: its time scale is the length over the relative air speed.  How much of the wind is left
behind hedges and houses belongs to the course (:mod:`fieldaero.simulator.course_shape`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.physics.wind import wind_east_north_m_s

__all__ = ["PassingWind", "Wind"]

SLOWEST_AIR_M_S = 2.0  # with the air standing still about the rider a gust would last for ever


@dataclass(frozen=True, kw_only=True)
class Wind:
    """Wind at the rider's height: its mean, and either component of its slow change and of its gusts.

    ``gust_length_m`` is the length over which gusts fade in the air that passes the rider.
    """

    speed_m_s: float = 0.0
    from_deg: float = 270.0
    slow_sd_m_s: float = 0.0
    slow_s: float = 400.0
    gust_sd_m_s: float = 0.0
    gust_length_m: float = 60.0

    @property
    def mean_m_s(self) -> tuple[float, float]:
        """Where the mean wind goes: its parts to the east and to the north."""
        east, north = wind_east_north_m_s(wind_speed_m_s=self.speed_m_s, wind_from_deg=self.from_deg)
        return float(east), float(north)


class PassingWind:
    """The wind that a moving rider meets, step by step.

    ``noise`` holds standard normal numbers, shape (steps, 4): slow east and north, gust east and north.  The state at
    the start is drawn from the long-run distribution.
    """

    def __init__(self, wind: Wind, *, noise: NDArray[np.float64], step_s: float, rng: np.random.Generator) -> None:
        self._wind = wind
        self._noise = noise.tolist()
        self._step_s = step_s
        self._mean = wind.mean_m_s
        self._slow: list[float] = (wind.slow_sd_m_s * rng.normal(size=2)).tolist()
        self._gust: list[float] = (wind.gust_sd_m_s * rng.normal(size=2)).tolist()
        self._keep_slow = math.exp(-step_s / wind.slow_s)
        self._push_slow = wind.slow_sd_m_s * math.sqrt(1.0 - self._keep_slow**2)

    def now_m_s(self) -> tuple[float, float]:
        """Where the air goes in the open, east and north."""
        east, north = self._mean
        return east + self._slow[0] + self._gust[0], north + self._slow[1] + self._gust[1]

    def advance(self, step: int, air_speed_m_s: float) -> None:
        """Go on by one step, in which the rider met the air at a speed along the road."""
        wind, z, slow, gust = self._wind, self._noise[step], self._slow, self._gust
        kept, pushed = self._keep_slow, self._push_slow
        self._slow = [kept * slow[0] + pushed * z[0], kept * slow[1] + pushed * z[1]]
        keep = math.exp(-self._step_s * max(air_speed_m_s, SLOWEST_AIR_M_S) / wind.gust_length_m)
        push = wind.gust_sd_m_s * math.sqrt(1.0 - keep * keep)
        self._gust = [keep * gust[0] + push * z[2], keep * gust[1] + push * z[3]]

    def wait(self, seconds: float, rng: np.random.Generator) -> None:
        """Let time go by; afterwards other gusts are about."""
        wind = self._wind
        keep = math.exp(-seconds / wind.slow_s)
        push = wind.slow_sd_m_s * math.sqrt(1.0 - keep * keep)
        self._slow = [keep * value + push * float(rng.normal()) for value in self._slow]
        self._gust = (wind.gust_sd_m_s * rng.normal(size=2)).tolist()
