"""The conditions of the validation study: simulated campaigns of every kind that a tester meets."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fieldaero.physics.system import System
from fieldaero.simulator import CourseShape, Scenario, Sensors, Wind

SLOW_SHARE, GUST_SHARE = 0.25, 0.25  # of the mean wind at the rider's height; common practice, no source
ABBA = ("a", "b", "b", "a", "a", "b", "b", "a")


@dataclass(frozen=True, kw_only=True)
class Condition:
    """One kind of campaign.

    ``absolute`` says whether its inputs are off only within their stated uncertainty, ``plain`` whether plain
    closure has the same sensors to work with; only such conditions count in the mean of the ratios.
    """

    name: str
    scenario: Scenario
    mass_error_kg: float = 0.0
    wheel_error: float = 0.0
    absolute: bool = True
    plain: bool = True


def _scenario(**changes) -> Scenario:
    wind = changes.pop("wind_m_s", 1.5)
    base = Scenario(
        setups={"a": 0.250, "b": 0.245},
        order=ABBA,
        course=CourseShape(length_m=3000.0),
        system=System(mass_kg=84.0),
        wind=Wind(speed_m_s=wind, slow_sd_m_s=SLOW_SHARE * wind, gust_sd_m_s=GUST_SHARE * wind),
    )
    return replace(base, **changes)


CONDITIONS = (
    Condition(name="calm", scenario=_scenario(wind_m_s=0.3)),
    Condition(name="light", scenario=_scenario(wind_m_s=0.8)),
    Condition(name="loop", scenario=_scenario()),
    Condition(name="breezy", scenario=_scenario(wind_m_s=3.0)),
    Condition(name="out and back", scenario=_scenario(course=CourseShape(length_m=3000.0, shape="out_and_back"))),
    Condition(name="blocked order", scenario=_scenario(order=("a",) * 4 + ("b",) * 4)),
    # Either setup at either speed; and then each setup at a speed of its own, which only a known Crr would forgive.
    Condition(name="two speeds", scenario=_scenario(power_w=(180.0, 180.0, 280.0, 280.0, 280.0, 280.0, 180.0, 180.0))),
    Condition(name="setups at two speeds", scenario=_scenario(power_w=(180.0, 280.0, 280.0, 180.0))),
    Condition(name="drifting meter", scenario=_scenario(sensors=Sensors(power_drift_per_h=0.02))),
    Condition(name="traffic", scenario=_scenario(brakings_per_lap=0.8)),
    Condition(
        name="three setups",
        scenario=_scenario(
            setups={"a": 0.250, "b": 0.245, "c": 0.255}, order=("a", "b", "c", "c", "b", "a", "a", "b", "c")
        ),
    ),
    Condition(name="wandering rider", scenario=_scenario(power_wander_w=40.0, cda_lap_sd_m2=0.003)),
    Condition(name="short loop", scenario=_scenario(course=CourseShape(length_m=1000.0), order=ABBA + ABBA)),
    Condition(name="no effect", scenario=_scenario(setups={"a": 0.250, "b": 0.250})),
    Condition(name="strong shelter", scenario=_scenario(course=CourseShape(length_m=3000.0, sheltered=0.7))),
    Condition(name="wrong mass", scenario=_scenario(), mass_error_kg=3.0, absolute=False),
    Condition(name="wrong wheel", scenario=_scenario(), wheel_error=0.02, absolute=False),
    Condition(name="satellite speed", scenario=_scenario(sensors=Sensors(satellite_speed=True))),
    Condition(
        name="air-speed channel",
        scenario=_scenario(wind_m_s=3.0, sensors=Sensors(air_speed=True, air_speed_noise=0.02, air_speed_scale=1.03)),
        plain=False,
    ),
)
