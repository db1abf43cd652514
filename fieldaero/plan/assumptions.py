"""What a plan is made from: the road of a ride on it, what a former test says, and wishes in their own units."""

from __future__ import annotations

import json
import math
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fieldaero.answers.analysis import analyse
from fieldaero.answers.result import Result
from fieldaero.basics.errors import CannotAnswerError, OutOfRangeError, RunSheetError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond
from fieldaero.basics.quantities import number_within
from fieldaero.laps.lap_list import LapListing, list_laps
from fieldaero.physics.earth import STANDARD_GRAVITY_M_S2
from fieldaero.physics.flat_road import FlatRoad, cda_for_seconds_m2, cda_for_watts_m2
from fieldaero.physics.moist_air import air_density_kg_m3
from fieldaero.physics.road_power import power_w as road_power_w
from fieldaero.physics.system import USUAL_MASS_KG, System
from fieldaero.physics.wind import wind_at_height_m_s
from fieldaero.plan.expected_error import PlannedRide
from fieldaero.plan.ranges import SMALLEST_M2, SPEED_KM_H, USUAL_CDA_M2, USUAL_SPEED_KM_H, WIND_HEIGHT_M, WIND_M_S
from fieldaero.rides import read_ride
from fieldaero.run_sheet.messages import checked
from fieldaero.run_sheet.schema import USUAL_CHOICES, AnalysisChoices, SystemTable
from fieldaero.run_sheet.sheet import system_of
from fieldaero.simulator import CourseShape, Scenario, Sensors
from fieldaero.simulator.session_files import GUST_SHARE, SLOW_SHARE

__all__ = [
    "FormerTest",
    "RoadRidden",
    "former_of",
    "former_test",
    "planned_ride",
    "planned_road",
    "power_at_speed_w",
    "road_of",
    "road_ridden",
    "smallest_m2",
    "wind_at_rider_m_s",
]

SHARES = (0.1, 0.6)  # of the mean wind that its changes can plausibly be; common practice, no source
ENOUGH_WIND_M_S = 0.5  # for a share of it to mean something
POWER_NOISE_W = 2.0  # of which a simulated meter has so much at any power; the rest goes with the power
USUAL_HEIGHT_M = 8.0
MOST_BYTES = 50_000_000
MOST_SCATTER_M2, MOST_CDA_M2, MOST_WIND_SD_M_S = 0.1, 1.0, 20.0  # in a former result; more is damage


@dataclass(frozen=True, kw_only=True)
class RoadRidden:
    """The course of a ride, and the mean power of its complete laps [W], None where it has none."""

    course: CourseShape
    power_w: float | None


@dataclass(frozen=True, kw_only=True)
class FormerTest:
    """What a former test says of its rider, air and sensors; None, or the usual values, where it does not say.

    ``cda_m2`` is the baseline's; ``choices`` hold the speed, distance and power at which differences are reported.
    """

    name: str
    system: System | None
    choices: AnalysisChoices
    lap_scatter_m2: float | None
    cda_m2: float | None
    slow_share: float
    gust_share: float
    sensors: Sensors


def road_ridden(path: str | os.PathLike[str]) -> RoadRidden:
    """Return the course of a ride; see :func:`road_of`."""
    return road_of(list_laps(read_ride(path)))


def road_of(listing: LapListing) -> RoadRidden:
    """Return the course of a ride whose laps are listed.

    Without complete laps of a closed course or an out-and-back road it raises CannotAnswerError.
    """
    course = listing.course
    if course is None or not course.closed:
        raise CannotAnswerError(
            f"{listing.ride.source.file}: holds no laps of a closed course or a road ridden there and back; give the "
            "length of the lap instead"
        )
    height = float(np.ptp(course.altitude_m)) if np.isfinite(course.altitude_m).all() else USUAL_HEIGHT_M
    powers = [listing.power_w(lap) for lap in listing.laps if lap.number in listing.complete]
    known = [power for power in powers if np.isfinite(power)]
    return RoadRidden(
        course=CourseShape(
            shape="out_and_back" if course.out_and_back else "loop", length_m=course.length_m, height_m=height
        ),
        power_w=float(np.median(known)) if known else None,
    )


def planned_ride(
    course: CourseShape,
    *,
    mass_kg: float | None = None,
    crr: float | None = None,
    cda_m2: float | None = None,
    power_w: float | None = None,
    speed_km_h: float | None = None,
    system: System | None = None,
    former: FormerTest | None = None,
) -> PlannedRide:
    """Return the ride for :func:`fieldaero.plan.plan.plan_test`; its wind is set there.

    What is not given comes from ``system`` and the former test, and else is usual: rider and bike, the baseline's
    drag area, the speed on the flat in still air where no power is given.  The former test also says what scatters.

    Examples
    --------
    >>> course = CourseShape(shape="loop", length_m=2000.0)
    >>> planned_ride(course, mass_kg=84.0, crr=0.0045, power_w=250.0).cda_m2
    0.25
    """
    base = system or (former.system if former else None) or System(mass_kg=USUAL_MASS_KG)
    base = replace(base, mass_kg=base.mass_kg if mass_kg is None else mass_kg, crr=base.crr if crr is None else crr)
    if cda_m2 is None:
        cda_m2 = (former.cda_m2 if former else None) or USUAL_CDA_M2
    ride = PlannedRide(course=course, power_w=power_w or 0.0, wind_m_s=0.0, system=base, cda_m2=cda_m2)
    if former is not None:
        ride = replace(
            ride,
            lap_scatter_m2=former.lap_scatter_m2,
            slow_share=former.slow_share,
            gust_share=former.gust_share,
            sensors=former.sensors,
        )
    if power_w is None:
        power_w = power_at_speed_w(ride, speed_km_h=USUAL_SPEED_KM_H if speed_km_h is None else speed_km_h)
    return replace(ride, power_w=power_w)


def wind_at_rider_m_s(
    *, wind_m_s: float, wind_height_m: float, roughness_length_m: float = USUAL_CHOICES.roughness_length_m
) -> float:
    """Return the wind at the rider's height [m/s] for a wind observed at another height."""
    w = number_within(wind_m_s, quantity="wind_m_s", **WIND_M_S._asdict(), hint="give m/s, not km/h or knots")
    z = number_within(
        wind_height_m, quantity="wind_height_m", **WIND_HEIGHT_M._asdict(), hint="most stations measure at 10 m"
    )
    return float(wind_at_height_m_s(wind_speed_m_s=w, measured_height_m=z, roughness_length_m=roughness_length_m))


def planned_road(ride: PlannedRide) -> FlatRoad:
    """Return the road on which a plan translates drag area: flat, in the simulated air."""
    rho = air_density_kg_m3(
        temperature_c=Scenario.temperature_c,
        pressure_pa=100.0 * Scenario.pressure_hpa,
        relative_humidity=Scenario.relative_humidity,
    )
    return FlatRoad(
        system=ride.system,
        crr=ride.system.crr,
        air_density_kg_m3=float(rho),
        gravity_m_s2=STANDARD_GRAVITY_M_S2,
    )


def power_at_speed_w(ride: PlannedRide, *, speed_km_h: float) -> float:
    """Return the power that keeps a speed on the flat in still air [W]."""
    v = number_within(speed_km_h, quantity="speed_km_h", **SPEED_KM_H._asdict(), hint="give km/h") / 3.6
    road = planned_road(ride)
    return float(
        road_power_w(
            speed_m_s=v,
            cda_m2=ride.cda_m2,
            crr=road.crr,
            system=ride.system,
            air_density_kg_m3=road.air_density_kg_m3,
        )
    )


def smallest_m2(
    ride: PlannedRide,
    *,
    difference_m2: float | None = None,
    difference_w: float | None = None,
    difference_s: float | None = None,
    choices: AnalysisChoices = USUAL_CHOICES,
) -> float:
    """Return the smallest difference that matters [m2]; it is given exactly once, in m2, W or s."""
    given = [value for value in (difference_m2, difference_w, difference_s) if value is not None]
    if len(given) != 1:
        raise OutOfRangeError(
            f"the smallest difference that matters is given {len(given)} times; give it once: in m2 (--smallest-m2), "
            f"in {choices.in_watts} (--smallest-w), or in {choices.in_seconds} (--smallest-s)"
        )
    if not (math.isfinite(given[0]) and given[0] > 0.0):
        raise OutOfRangeError(f"the smallest difference that matters is {given[0]:g}; allowed is a number above zero")
    found = given[0]
    if difference_w is not None:
        found = cda_for_watts_m2(difference_w, road=planned_road(ride), speed_km_h=choices.report_speed_km_h)
    if difference_s is not None:
        found = -cda_for_seconds_m2(
            -difference_s,
            cda_m2=ride.cda_m2,
            road=planned_road(ride),
            distance_km=choices.report_distance_km,
            power_w=choices.report_power_w,
        )
    number_within(found, quantity="the smallest difference in m2", **SMALLEST_M2._asdict())
    if found > ride.cda_m2 - 0.1:
        raise OutOfRangeError(
            f"a difference of {found:g} m2 is too large for a drag area of {ride.cda_m2:g} m2: "
            "less than 0.1 m2 would be left; give a smaller one"
        )
    return found


def former_test(path: str | os.PathLike[str]) -> FormerTest:
    """Return what a former test says: its run sheet, which is analysed, or its result.json."""
    where = Path(path)
    return _from_json(where) if where.suffix.lower() == ".json" else former_of(analyse(where), where.name)


def former_of(result: Result, name: str) -> FormerTest:
    """Return what a former test says, from its result; see :func:`former_test`."""
    session, estimates = result.session, result.estimates
    noise = estimates.fit.noise
    speeds = [lap.speed_m_s for lap in result.lap_results if lap.used]
    powers = [lap.power_w for lap in result.lap_results if lap.used]
    power_sd_w = noise["power_sd_m_per_sqrt_s"] * session.run_sheet.system.mass_kg * session.gravity_m_s2
    share = float(np.sqrt(max(power_sd_w**2 - POWER_NOISE_W**2, 0.0))) / float(np.mean(powers))
    wind = result.wind.mean_m_s
    return FormerTest(
        name=name,
        system=session.run_sheet.system,
        choices=session.run_sheet.analysis,
        lap_scatter_m2=result.lap_scatter_m2,
        cda_m2=next((s.cda_m2 for s in result.setup_results if s.setup == result.baseline), None),
        slow_share=_share(noise["slow_wind_sd_m_s"], wind, SLOW_SHARE),
        gust_share=_share(noise["gust_sd_m_s"], wind, GUST_SHARE),
        sensors=Sensors(
            power_noise=share,
            power_noise_w=min(POWER_NOISE_W, power_sd_w),
            speed_noise_m_s=noise["level_sd_m"] * session.gravity_m_s2 / float(np.mean(speeds)),
        ),
    )


def _share(sd_m_s: float | None, mean_m_s: float | None, usual: float) -> float:
    if sd_m_s is None or mean_m_s is None or mean_m_s < ENOUGH_WIND_M_S:
        return usual
    return float(np.clip(sd_m_s / mean_m_s, *SHARES))


def _from_json(where: Path) -> FormerTest:
    try:
        if beyond(where.stat().st_size, MOST_BYTES):
            raise RunSheetError(
                f"{where}: {where.stat().st_size / 1e6:.0f} MB is too large for the result of a test; allowed are "
                f"{MOST_BYTES / 1e6:.0f} MB. Give result.json or a run sheet, or {HOW_TO_LIFT}"
            )
        told: Any = json.loads(where.read_text(encoding="utf-8"))
    except OSError as problem:
        raise RunSheetError(f"{where}: cannot be read: {problem.strerror}") from None
    except (ValueError, RecursionError):  # no UTF-8, no JSON, or a number of thousands of digits
        raise RunSheetError(f"{where}: is not JSON; give result.json of an analysis, or a run sheet") from None
    if not isinstance(told, dict) or told.get("schema") != 1 or "lap_scatter_m2" not in told:
        raise RunSheetError(f"{where}: is not the result of an analysis; result.json comes from: fieldaero analyse")
    wind = _table(told, "wind")
    setups = told.get("setups")
    baseline = [
        row
        for row in (setups if isinstance(setups, list) else [])
        if isinstance(row, dict) and row.get("setup") == told.get("baseline")
    ]
    background = _table(told, "background")
    # A newer fieldaero may have added keys.
    system = {key: value for key, value in _table(background, "system").items() if key in SystemTable.model_fields}
    chosen = {key: value for key, value in _table(background, "choices").items() if key in AnalysisChoices.model_fields}
    choices = checked(AnalysisChoices, chosen, where=f"{where}: background.choices")
    known = system_of(checked(SystemTable, system, where=f"{where}: background.system")) if system else None
    return FormerTest(
        name=where.name,
        system=known,
        choices=choices,
        lap_scatter_m2=_number(told, "lap_scatter_m2", where, high=MOST_SCATTER_M2),
        cda_m2=_number(baseline[0], "cda_m2", where, high=MOST_CDA_M2) if baseline else None,
        slow_share=_share(
            _number(wind, "sd_m_s", where, high=MOST_WIND_SD_M_S),
            _number(wind, "mean_m_s", where, high=WIND_M_S.high),
            SLOW_SHARE,
        ),
        gust_share=GUST_SHARE,
        sensors=Sensors(),
    )


def _table(told: dict[str, Any], key: str) -> dict[str, Any]:
    found = told.get(key)
    return found if isinstance(found, dict) else {}


def _number(told: dict[str, Any], key: str, where: Path, *, high: float) -> float | None:
    value = told.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= high:
        raise RunSheetError(f"{where}: {key} is {value!r}; allowed is a number from 0 to {high:g}")
    return float(value)
