"""What a run sheet may say, key by key: types, ranges, and the slips that people make with units.

Models of pydantic, frozen; unknown keys are refused, numbers are numbers (no text, no
true or false) and finite.  Ranges are wide: they catch the wrong unit, not the unusual
rider.  They and the usual values in the descriptions are common practice without a
source, apart from those that :mod:`fieldaero.physics.system` gives one for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal, get_args, get_type_hints

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from fieldaero.physics.system import DRIVETRAIN_EFFICIENCY, USUAL_MASS_KG, System
from fieldaero.physics.wind import OPEN_GRASS_M

__all__ = [
    "FIRST_SETUP",
    "NOT_USED",
    "SCHEMA",
    "USUAL_CHOICES",
    "USUAL_SMALLEST_DIFFERENCE_M2",
    "USUAL_SYSTEM",
    "AnalysisChoices",
    "Claim",
    "CourseFacts",
    "Race",
    "RideTable",
    "Setup",
    "SheetTable",
    "StartLineTable",
    "SystemTable",
    "TunnelSweep",
    "WeatherEntry",
    "allowed_range",
    "explained",
    "table_of",
]

SCHEMA = 1
NOT_USED = "-"  # stands in a lap list for a lap that is not used

NOT_ALLOWED, READING_MISSING = "not_allowed", "reading_missing"  # kinds of errors beside those of pydantic
FIRST_SETUP = "baseline"  # of a sheet that begins

Slip = tuple[float, float, str]


@dataclass(frozen=True)
class Between:
    """Accepts low to high; outside it says what is allowed, and guesses the slip from its own range."""

    low: float
    high: float
    unit: str
    slips: tuple[Slip, ...]

    def __call__(self, value: float) -> float:
        """Return the value, or refuse it."""
        if math.isfinite(value) and self.low <= value <= self.high:
            return value
        hint = next((f"; {text}" for a, b, text in self.slips if a <= value <= b), "")
        raise _not_allowed(f"allowed is {self.low:g} to {self.high:g}{' ' + self.unit if self.unit else ''}{hint}")


def between(low: float, high: float, unit: str, *slips: Slip) -> AfterValidator:
    """Accept low to high, in a model's annotation."""
    return AfterValidator(Between(low, high, unit, slips))


def allowed_range(table: type[BaseModel], key: str) -> tuple[float, float]:
    """Return the lowest and the highest value that a table of the run sheet allows for a number.

    Examples
    --------
    >>> allowed_range(SystemTable, "mass_kg")
    (20.0, 300.0)
    """
    return next(
        (one.func.low, one.func.high)
        for one in _annotations(get_type_hints(table, include_extras=True)[key])
        if isinstance(one, AfterValidator) and isinstance(one.func, Between)
    )


def explained(table: type[BaseModel], key: str) -> str:
    """Return what a key of the run sheet means and what is usual, as the template and the pages say it.

    Examples
    --------
    >>> explained(SystemTable, "mass_sd_kg")
    'standard uncertainty of the mass: 0.2 on a good scale, 1 with drinking on the way'
    """
    said = table.model_fields[key].description
    assert said is not None, f"{key} has no description"
    return said


def table_of(annotation: Any) -> type[BaseModel] | None:
    """Return the model of a table, or of the rows of one that stands several times; None for a plain value."""
    for part in (annotation, *get_args(annotation)):
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
    return None


def _annotations(hint: Any) -> Iterator[Any]:
    yield from getattr(hint, "__metadata__", ())
    for part in get_args(hint):
        yield from _annotations(part)


def _not_allowed(allowed: str) -> PydanticCustomError:
    """Refuse a single value: what was found is said beside ``allowed``; a table is refused by ValueError."""
    return PydanticCustomError(NOT_ALLOWED, "{allowed}", {"allowed": allowed})


def _listed(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _not_empty(value: str) -> str:
    if not value.strip():
        raise _not_allowed("allowed is any text but an empty one")
    return value


def _zoned(value: datetime | None) -> datetime | None:
    if value is not None and value.tzinfo is None:
        raise _not_allowed("allowed is a time with its zone, like 2026-05-03T07:10:00Z or 2026-05-03T09:10:00+02:00")
    return value


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Text = Annotated[str, Field(strict=True)]
Name = Annotated[Text, AfterValidator(_not_empty)]
Names = Annotated[tuple[Name, ...], BeforeValidator(_listed)]
Numbers = Annotated[tuple[Number, ...], BeforeValidator(_listed)]
Moment = Annotated[datetime | None, Field(strict=True), AfterValidator(_zoned)]
YesNo = Annotated[bool, Field(strict=True)]

Mass = Annotated[
    Number,
    between(
        20.0,
        300.0,
        "kg",
        (300.0, 700.0, "give kilograms: one pound is 0.4536 kg"),
        (20e3, 300e3, "give kilograms, not grams"),
    ),
]
Crr = Annotated[
    Number,
    between(0.0005, 0.05, "", (0.5, 50.0, "give a bare number like 0.0045, not per mille or per cent")),
]
Fraction = Annotated[Number, between(0.0, 0.5, "", (0.5, 50.0, "give a fraction, 1.5 % is 0.015"))]
Efficiency = Annotated[Number, between(0.5, 1.0, "", (50.0, 100.0, "give a fraction, 97.6 % is 0.976"))]
Speed = Annotated[Number, between(5.0, 120.0, "km/h", (2.0, 5.0, "give km/h"))]
Distance = Annotated[Number, between(0.1, 2000.0, "km", (2000.0, 1e6, "give kilometres, not metres"))]
Power = Annotated[Number, between(10.0, 2500.0, "W", (0.01, 2.5, "give watts, not kilowatts"))]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SystemTable(_Table):
    """Rider, bike and all that is carried."""

    mass_kg: Mass = Field(description="rider, bike and all carried, weighed together as ridden; usually 60 to 110")
    mass_sd_kg: Annotated[Number, between(0.0, 20.0, "kg")] | None = Field(
        default=None, description="standard uncertainty of the mass: 0.2 on a good scale, 1 with drinking on the way"
    )
    wheel_inertia_kg_m2: Annotated[Number, between(0.0, 1.0, "kg m2")] | None = Field(
        default=None, description="both wheels together, usually 0.08 to 0.2; matters only where the speed changes"
    )
    wheel_circumference_m: (
        Annotated[
            Number,
            between(1.0, 2.6, "m", (1000.0, 2600.0, "give metres: 2105 mm is 2.105"), (100.0, 260.0, "give metres")),
        ]
        | None
    ) = Field(default=None, description="as set in the device that recorded the speed; usually 1.9 to 2.25")
    wheel_circumference_sd: Fraction | None = Field(
        default=None, description="standard uncertainty of the wheel circumference, as a fraction"
    )
    power_at: Literal["crank", "pedal", "hub"] = Field(
        default="crank",
        description="where power is measured; at crank or pedal the drivetrain takes "
        f"{100.0 * (1.0 - DRIVETRAIN_EFFICIENCY['crank']):.2g} %, at the hub nothing",
    )
    drivetrain_efficiency: Efficiency | None = Field(
        default=None, description="share of power that reaches the road, 0.95 to 0.99; otherwise by power_at"
    )
    crr: Crr | None = Field(
        default=None, description="rolling resistance: 0.003 on smooth asphalt to 0.008 on rough chip seal"
    )
    crr_sd: Annotated[Number, between(1e-6, 0.02, "")] | None = Field(
        default=None,
        description="standard uncertainty, often 0.0005 to 0.001; shifts all setups alike, hardly their difference",
    )
    power_scale_sd: Fraction | None = Field(
        default=None,
        description="standard uncertainty of the power meter: 0.015 is 1.5 %, usual if zeroed before the ride",
    )


class AnalysisChoices(_Table):
    """What the result is asked for."""

    smallest_difference_m2: Annotated[Number, between(1e-5, 0.1, "m2")] | None = None
    smallest_difference_w: Annotated[Number, between(0.05, 200.0, "W")] | None = None
    smallest_difference_s: Annotated[Number, between(0.05, 3600.0, "s")] | None = None
    report_speed_km_h: Speed = Field(default=45.0, description="differences are also given in watts at this speed")
    report_distance_km: Distance = Field(
        default=40.0, description="differences are also given in seconds over this distance ..."
    )
    report_power_w: Power = Field(default=250.0, description="... at this power")
    roughness_length_m: Annotated[Number, between(1e-4, 0.5, "m")] = Field(
        default=OPEN_GRASS_M,
        description=f"of the ground around the course, for the wind at the rider: {OPEN_GRASS_M} is open grass",
    )
    drift_sd_per_h: Annotated[Number, between(0.0, 0.5, "", (0.5, 50.0, "give a fraction per hour"))] = Field(
        default=0.01, description="standard deviation of the drift that is allowed for, as a fraction per hour"
    )
    estimate_crr: YesNo = Field(default=False, description="true: crr is fitted too")

    @property
    def in_watts(self) -> str:
        """How a difference in watts is told."""
        return f"W at {self.report_speed_km_h:g} km/h"

    @property
    def in_seconds(self) -> str:
        """How a difference in seconds is told."""
        return f"s over {self.report_distance_km:g} km at {self.report_power_w:g} W"

    @model_validator(mode="after")
    def _one_smallest(self) -> AnalysisChoices:
        given = [n for n in ("m2", "w", "s") if getattr(self, f"smallest_difference_{n}") is not None]
        if len(given) > 1:
            raise ValueError(f"smallest_difference_ is given in {' and in '.join(given)}; allowed is one of them")
        return self


USUAL_SYSTEM = System(mass_kg=USUAL_MASS_KG)
USUAL_CHOICES = AnalysisChoices()
USUAL_SMALLEST_DIFFERENCE_M2 = 0.002  # proposed where a sheet is begun; a sheet may do without


ELEVATION = "above sea level; needed with an altimeter setting or airport reports"


class CourseFacts(_Table):
    """What is known of the course beside the rides."""

    latitude_deg: Annotated[Number, between(-90.0, 90.0, "degrees")] | None = None
    elevation_m: Annotated[Number, between(-450.0, 5500.0, "m")] | None = Field(default=None, description=ELEVATION)
    height_difference_m: Annotated[Number, between(-2000.0, 2000.0, "m")] | None = None


class WeatherEntry(_Table):
    """One observation as readings, or reports, or a file of readings."""

    time: Moment = None
    temperature_c: Number | None = Field(
        default=None, description="air in the shade, not the sensor in a device in the sun; usually -10 to 40"
    )
    pressure_hpa: Number | None = Field(
        default=None, description="at the course, not reduced to sea level: about 1013 near the sea, 955 at 500 m"
    )
    altimeter_hpa: Number | None = Field(
        default=None, description="instead of the pressure: altimeter setting (QNH) of an airport; needs the elevation"
    )
    elevation_m: Annotated[Number, between(-450.0, 5500.0, "m")] | None = Field(default=None, description=ELEVATION)
    relative_humidity_pct: Number | None = Field(default=None, description="usually 20 to 100")
    dew_point_c: Number | None = Field(default=None, description="instead of the humidity; not above the temperature")
    wind_speed_m_s: Number | None = Field(
        default=None, description="optional: mean wind, not gusts; above 3 at the rider a test answers little"
    )
    wind_from_deg: Annotated[Number, between(0.0, 360.0, "degrees")] | None = Field(
        default=None, description="where the wind comes from, clockwise from north: 270 is a west wind"
    )
    wind_height_m: Annotated[Number, between(0.2, 200.0, "m")] | None = Field(
        default=None, description="of the wind meter above ground: 10 for most stations, 1 to 2 in the hand"
    )
    temperature_sd_c: Annotated[Number, between(0.0, 10.0, "degC")] | None = None
    pressure_sd_hpa: Annotated[Number, between(0.0, 50.0, "hPa")] | None = None
    relative_humidity_sd_pct: Annotated[Number, between(0.0, 50.0, "per cent")] | None = None
    metar: Name | None = None
    file: Name | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> WeatherEntry:
        readings = [k for k in READINGS if getattr(self, k) is not None]
        if self.metar is not None and self.file is not None:
            raise ValueError("metar and file are both given; allowed is one of them")
        other = "metar" if self.metar is not None else "file" if self.file is not None else None
        if other and readings:
            raise ValueError(f"{other} is given together with {readings[0]}; allowed is one or the other")
        if self.wind_from_deg is not None and self.wind_speed_m_s is None:
            raise ValueError("wind_from_deg is given without wind_speed_m_s; give both or neither")
        if not other and self.temperature_c is None:
            raise PydanticCustomError(
                READING_MISSING, "temperature_c is missing; give temperature, pressure and humidity, or metar, or file"
            )
        return self


READINGS = (
    "temperature_c",
    "pressure_hpa",
    "altimeter_hpa",
    "relative_humidity_pct",
    "dew_point_c",
    "wind_speed_m_s",
    "wind_from_deg",
)


class Setup(_Table):
    """A named state of equipment or position."""

    name: Name
    mass_change_kg: Annotated[Number, between(-30.0, 30.0, "kg", (-30e3, 30e3, "give kilograms, not grams"))] = 0.0
    description: Text = ""
    photos: Names = ()
    known_added_cda_m2: Annotated[Number, between(-0.5, 0.5, "m2")] | None = None
    known_added_cda_sd_m2: Annotated[Number, between(0.0, 0.1, "m2")] | None = None

    @model_validator(mode="after")
    def _name(self) -> Setup:
        if self.name == NOT_USED:
            raise ValueError('name is "-", which stands for a lap that is not used; choose another name')
        if self.known_added_cda_sd_m2 is not None and self.known_added_cda_m2 is None:
            raise ValueError("known_added_cda_sd_m2 is given without known_added_cda_m2; give both, or none")
        return self


class StartLineTable(_Table):
    """A point on the road and the direction in which it is crossed; in degrees or in local metres."""

    latitude_deg: Annotated[Number, between(-90.0, 90.0, "degrees")] | None = None
    longitude_deg: Annotated[Number, between(-180.0, 180.0, "degrees")] | None = None
    east_m: Annotated[Number, between(-200e3, 200e3, "m")] | None = None
    north_m: Annotated[Number, between(-200e3, 200e3, "m")] | None = None
    heading_deg: Annotated[Number, between(0.0, 360.0, "degrees")]

    @model_validator(mode="after")
    def _one_place(self) -> StartLineTable:
        degrees = [self.latitude_deg is not None, self.longitude_deg is not None]
        metres = [self.east_m is not None, self.north_m is not None]
        if not ((all(degrees) and not any(metres)) or (all(metres) and not any(degrees))):
            raise ValueError(
                "allowed is latitude_deg with longitude_deg, or east_m with north_m for rides in local metres"
            )
        return self


class RideTable(_Table):
    """A ride and the setup of each of its laps."""

    file: Name
    lap_source: Literal["button", "line", "repeat"] = "button"
    laps: Names
    start_line: StartLineTable | None = None


class Claim(_Table):
    """A published saving."""

    setup: Name
    versus: Name | None = None
    saves: Annotated[Number, between(-10000.0, 10000.0, "")]
    unit: Literal["s", "W", "m2", "percent"]
    distance_km: Distance | None = None
    power_w: Power | None = None
    speed_km_h: Speed | None = None
    comparable: YesNo = True
    note: Text = ""


FEWEST_YAW_ANGLES = 3  # with two the curve between them is anybody's guess


class TunnelSweep(_Table):
    """Drag area by yaw from a wind tunnel."""

    setup: Name
    yaw_deg: Numbers = ()
    cda_m2: Numbers = ()
    sd_m2: Annotated[Number, between(0.0, 0.1, "m2")] | Numbers | None = None
    file: Name | None = None
    note: Text = ""

    @model_validator(mode="after")
    def _arrays(self) -> TunnelSweep:
        if self.file is not None:
            if self.yaw_deg or self.cda_m2:
                raise ValueError("file is given together with yaw_deg or cda_m2; allowed is one or the other")
            return self
        if not self.yaw_deg:
            raise ValueError("yaw_deg is missing; give yaw_deg and cda_m2, or file")
        if len(self.yaw_deg) != len(self.cda_m2):
            raise ValueError(
                f"yaw_deg has {len(self.yaw_deg)} values and cda_m2 {len(self.cda_m2)}; give as many of each"
            )
        if len(self.yaw_deg) < FEWEST_YAW_ANGLES:
            raise ValueError(
                f"yaw_deg has {len(self.yaw_deg)} values; allowed are {FEWEST_YAW_ANGLES} or more; "
                "add the rest of the sweep"
            )
        if isinstance(self.sd_m2, tuple) and len(self.sd_m2) != len(self.yaw_deg):
            raise ValueError(
                f"sd_m2 has {len(self.sd_m2)} values for {len(self.yaw_deg)} angles; give one, or one each"
            )
        if any(b <= a for a, b in zip(self.yaw_deg[:-1], self.yaw_deg[1:], strict=True)):
            raise ValueError("yaw_deg does not rise from value to value; sort the table by yaw")
        if any(abs(yaw) > 90.0 for yaw in self.yaw_deg):
            raise ValueError("yaw_deg holds an angle beyond 90 degrees; allowed is -90 to 90")
        if isinstance(self.sd_m2, tuple) and any(not 0.0 <= sd <= 0.1 for sd in self.sd_m2):
            raise ValueError("sd_m2 holds a value outside 0 to 0.1 m2; give square metres")
        if any(not 0.01 <= cda <= 2.0 for cda in self.cda_m2):
            raise ValueError("cda_m2 holds a value outside 0.01 to 2 m2; give square metres")
        return self


class Race(_Table):
    """A course on which the seconds are asked for beside the flat distance."""

    name: Name
    file: Name | None = None
    distance_m: Numbers = ()
    height_m: Numbers = ()
    heading_deg: Numbers = ()
    distance_km: Distance | None = None
    road: Literal["flat", "lap"] = "flat"
    power_w: Power | None = None
    wind_speed_m_s: Annotated[Number, between(0.0, 25.0, "m/s")] = 0.0
    wind_from_deg: Annotated[Number, between(0.0, 360.0, "degrees")] | None = None
    highest_speed_km_h: Speed | None = None
    start: Literal["rolling", "standing"] = "rolling"

    @model_validator(mode="after")
    def _one_road(self) -> Race:
        ways = [self.file is not None, bool(self.distance_m), self.distance_km is not None]
        if sum(ways) > 1:
            raise ValueError("more than one of file, distance_m and distance_km is given; allowed is one")
        if not any(ways):
            raise ValueError("distance_km is missing; give distance_km, or the file of a course or ride")
        if self.road == "lap" and self.distance_km is None:
            raise ValueError('road is "lap" without distance_km; give distance_km')
        if len(self.height_m) != len(self.distance_m):
            raise ValueError(
                f"distance_m has {len(self.distance_m)} values and height_m {len(self.height_m)}; give as many of each"
            )
        if len(self.heading_deg) not in (0, len(self.distance_m) - 1):
            raise ValueError(
                f"heading_deg has {len(self.heading_deg)} values for {len(self.distance_m)} distances; give one for "
                "each stretch between two of them, or none"
            )
        if self.wind_speed_m_s > 0.0 and self.wind_from_deg is None:
            raise ValueError("wind_speed_m_s is given without wind_from_deg; give both or neither")
        return self


class SheetTable(_Table):
    """The whole run sheet."""

    schema_: Annotated[int, Field(strict=True, alias="schema")]
    title: Name
    baseline: Name
    system: SystemTable
    analysis: AnalysisChoices = AnalysisChoices()
    course: CourseFacts = CourseFacts()
    weather: Annotated[tuple[WeatherEntry, ...], BeforeValidator(_listed)]
    setups: Annotated[tuple[Setup, ...], BeforeValidator(_listed)]
    rides: Annotated[tuple[RideTable, ...], BeforeValidator(_listed)]
    claims: Annotated[tuple[Claim, ...], BeforeValidator(_listed)] = ()
    tunnel: Annotated[tuple[TunnelSweep, ...], BeforeValidator(_listed)] = ()
    races: Annotated[tuple[Race, ...], BeforeValidator(_listed)] = ()
