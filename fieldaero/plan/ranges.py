"""What a plan takes where nothing is said, and between which bounds: for the command, the page and the plan itself.

Nothing heavy is loaded here, so that the command's help is there at once.  All of it is common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = [
    "CDA_M2",
    "LAPS_PER_SETUP",
    "LAP_LENGTH_M",
    "POWER_W",
    "RIDER_WIND_M_S",
    "SMALLEST_M2",
    "SPEED_KM_H",
    "TIME_MIN",
    "TRIAL_SESSIONS",
    "USUAL_CDA_M2",
    "USUAL_SPEED_KM_H",
    "USUAL_TIME_MIN",
    "USUAL_WIND_HEIGHT_M",
    "WIND_HEIGHT_M",
    "WIND_M_S",
    "Range",
]


class Range(NamedTuple):
    """What is allowed, both ends included."""

    low: float
    high: float


USUAL_CDA_M2 = 0.25
USUAL_SPEED_KM_H = 40.0
USUAL_WIND_HEIGHT_M = 10.0
USUAL_TIME_MIN = 150.0

CDA_M2 = Range(0.15, 0.8)
SPEED_KM_H = Range(15.0, 80.0)
POWER_W = Range(60.0, 800.0)
LAP_LENGTH_M = Range(300.0, 30_000.0)
WIND_M_S = Range(0.0, 40.0)  # as observed
WIND_HEIGHT_M = Range(0.5, 200.0)
RIDER_WIND_M_S = Range(0.0, 10.0)  # stronger is no wind to test in
TIME_MIN = Range(10.0, 1440.0)
SMALLEST_M2 = Range(1e-5, 0.1)
LAPS_PER_SETUP = 2, 60
TRIAL_SESSIONS = 1, 500
