"""Simulated rides with known truth: for the demo, for tests, and for trying a plan before it is ridden."""

from fieldaero.simulator.course_shape import CourseShape
from fieldaero.simulator.scenario import Scenario
from fieldaero.simulator.sensors import Sensors
from fieldaero.simulator.session import SimulatedSession, Truth, simulate_session
from fieldaero.simulator.wind import Wind

__all__ = [
    "CourseShape",
    "Scenario",
    "Sensors",
    "SimulatedSession",
    "Truth",
    "Wind",
    "simulate_session",
]
