"""The row of a result that tells the seconds over a course."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["RaceResult"]


@dataclass(frozen=True, kw_only=True)
class RaceResult:
    """Seconds that a setup makes over a course.

    Attributes
    ----------
    race, setup, versus
        Name of the course in the run sheet, and what is compared.
    distance_km, ascent_m
        Of the course.
    power_w
        At the meter.
    versus_time_s
        Time with the setup that is compared with.
    delta_s, se_s, interval95_s
        Time made by the setup, negative is time saved; the interval holds for all comparisons together.
    assumed
        Conditions in words.
    """

    race: str
    setup: str
    versus: str
    distance_km: float
    ascent_m: float
    power_w: float
    versus_time_s: float | None
    delta_s: float | None
    se_s: float | None
    interval95_s: tuple[float, float] | None
    assumed: str
