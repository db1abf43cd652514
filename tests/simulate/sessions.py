"""Sessions that several tests look at, simulated once."""

from __future__ import annotations

from functools import cache

from fieldaero.simulate import CourseShape, Scenario, Sensors, SimulatedSession, simulate_session

ORDER = ("bare", "faired", "faired", "bare")
LOOP = CourseShape(length_m=2400.0)
OUT_AND_BACK = CourseShape(shape="out_and_back", length_m=2600.0)
ONE_WAY = CourseShape(shape="one_way", length_m=2000.0, rise_m=6.0)
LEVEL = CourseShape(length_m=2400.0, height_m=0.0)


def scenario(**changes) -> Scenario:
    """Four laps in still air by perfect sensors, unless changed."""
    usual = {"order": ORDER, "course": LOOP, "sensors": Sensors.perfect()}
    return Scenario(setups={"bare": 0.262, "faired": 0.248}, **(usual | changes))


@cache
def session(*, seed: int = 5, **changes) -> SimulatedSession:
    return simulate_session(scenario(**changes), seed=seed)
