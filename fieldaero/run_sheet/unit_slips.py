"""Values that are allowed but hardly ever true: the usual slip of a unit, asked about and not refused.

The ranges are common practice, no source: wide enough for a child on a small bike, a loaded
tandem, a track in the heat or a frozen morning.
"""

from __future__ import annotations

from collections.abc import Iterable

from fieldaero.physics.system import System
from fieldaero.weather.observation import Observation

__all__ = ["unlikely_air", "unlikely_system"]

MASS_KG = (45.0, 140.0)
EFFICIENCY = 0.92
CRR = (0.0018, 0.012)
WHEEL_M = (1.3, 2.35)
TEMPERATURE_C = (-10.0, 42.0)
WIND_M_S = 12.0  # nobody tests in it, and 12 km/h or 12 knots are an ordinary breeze


def unlikely_system(system: System) -> list[str]:
    """Return a question for each value of rider and bike that is hardly ever true.

    Examples
    --------
    >>> unlikely_system(System(mass_kg=84.0))
    []
    >>> print(unlikely_system(System(mass_kg=184.0))[0])
    system.mass_kg is 184: rider, bike and everything carried almost always weigh 45 to 140 kg. If these are pounds, \
multiply by 0.4536.
    """
    found = []
    low, high = MASS_KG
    if not low <= system.mass_kg <= high:
        slip = " If these are pounds, multiply by 0.4536." if system.mass_kg > high else " Is this the rider alone?"
        found.append(
            f"system.mass_kg is {system.mass_kg:g}: rider, bike and everything carried almost always weigh "
            f"{low:g} to {high:g} kg.{slip}"
        )
    if system.efficiency < EFFICIENCY:
        found.append(
            f"system.drivetrain_efficiency is {system.efficiency:g}: a clean chain passes on 0.95 to 0.99. "
            "Check it: every watt lost here is taken from the drag."
        )
    low, high = CRR
    if not low <= system.crr <= high:
        found.append(
            f"system.crr is {system.crr:g}: road tyres almost always have {low:g} to {high:g}. Check it: an error in "
            "Crr becomes an error in drag area."
        )
    low, high = WHEEL_M
    if not low <= system.wheel_circumference_m <= high:
        found.append(
            f"system.wheel_circumference_m is {system.wheel_circumference_m:g}: bicycle wheels roll {low:g} to "
            f"{high:g} m in one turn. Is this the diameter?"
        )
    return found


def unlikely_air(observations: Iterable[Observation]) -> list[str]:
    """Return a question for each weather reading that is hardly ever true, the first of its kind only.

    Examples
    --------
    >>> hot = Observation(time=None, temperature_c=59.0, pressure_pa=1.0e5, relative_humidity=0.5)
    >>> print(unlikely_air([hot, hot])[0])
    weather: temperature_c is 59: hardly anybody rides in that. If this is °F, take off 32 and multiply by 5/9.
    """
    found: dict[str, str] = {}
    low, high = TEMPERATURE_C
    for one in observations:
        if not low <= one.temperature_c <= high:
            slip = "If this is °F, take off 32 and multiply by 5/9." if one.temperature_c > high else "Check it."
            found.setdefault(
                "temperature",
                f"{one.source}: temperature_c is {one.temperature_c:g}: hardly anybody rides in that. {slip}",
            )
        if one.wind_speed_m_s is not None and one.wind_speed_m_s > WIND_M_S:
            found.setdefault(
                "wind",
                f"{one.source}: wind_speed_m_s is {one.wind_speed_m_s:g}: that is a gale. If this is km/h, divide "
                "by 3.6; if knots, multiply by 0.514.",
            )
    return list(found.values())
