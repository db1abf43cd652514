"""What a ride has, what was repaired, and what its gaps mean for a test of drag."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fieldaero.basics.formatting import counted
from fieldaero.laps.lap_list import LapListing, course_in_words
from fieldaero.laps.track import wheel_distance_m
from fieldaero.rides.ride import Ride

__all__ = ["MissingData", "RideCard", "ride_card"]

SENSORS = {
    "power_w": "power",
    "speed_m_s": "speed",
    "distance_m": "distance",
    "latitude_deg": "positions",
    "altitude_m": "altitude",
    "temperature_c": "temperature",
    "cadence_rpm": "cadence",
    "air_speed_m_s": "air speed",
}
WAYS = {"button": "the lap button", "line": "a start line", "repeat": "the road repeating itself"}


@dataclass(frozen=True, kw_only=True)
class MissingData:
    """Something a ride does not have, and what that means for the test."""

    what: str
    means: str


@dataclass(frozen=True, kw_only=True)
class RideCard:
    """A ride in short.

    Duration and distance are from the first to the last sample, pauses included, the distance by the wheel where it
    was recorded.  ``notes`` tell what was repaired, left out or looks odd, ``laps`` which laps were found or why none.
    """

    name: str
    format: str
    device: str | None
    start: datetime | None
    duration_s: float
    distance_m: float
    sensors: tuple[str, ...]
    notes: tuple[str, ...]
    missing: tuple[MissingData, ...]
    laps: str


def ride_card(ride: Ride, *, listing: LapListing | None, problem: str = "") -> RideCard:
    r"""Return a ride in short; without a listing ``problem`` says why there are no laps.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> from fieldaero.rides import read_ride
    >>> path = pathlib.Path(tempfile.mkdtemp(), "ride.csv")
    >>> _ = path.write_text("time_s,power_w,speed_m_s\n0,210,10\n1,214,10\n2,208,10\n")
    >>> card = ride_card(read_ride(path), listing=None, problem="no laps found")
    >>> card.sensors, card.distance_m, [m.what for m in card.missing]
    (('power', 'speed'), 20.0, ['positions', 'time of day', 'lap marks', 'altitude'])
    """
    return RideCard(
        name=ride.source.file,
        format=ride.source.format,
        device=ride.device,
        start=ride.start_time,
        duration_s=ride.duration_s,
        distance_m=float(wheel_distance_m(ride)[-1]),
        sensors=_sensors(ride),
        notes=ride.notes,
        missing=_missing(ride),
        laps=problem if listing is None else _laps(listing),
    )


def _sensors(ride: Ride) -> tuple[str, ...]:
    found = [word for column, word in SENSORS.items() if ride.has(column)]
    if ride.speed_from != "recorded" and "speed" in found:
        found.remove("speed")
    return tuple(found)


def _missing(ride: Ride) -> tuple[MissingData, ...]:
    found = []
    if not ride.has("speed_m_s"):
        found.append(("speed", "The ride cannot be used: record a wheel sensor or satellite speed."))
    elif ride.speed_from != "recorded":
        worked_out = f"Speed was worked out from {ride.speed_from}, which is coarser than a wheel sensor: drag areas "
        found.append(("recorded speed", worked_out + "scatter more."))
    if not ride.has("latitude_deg"):
        without = "Laps come from the lap button only, and without headings a wind from one side cannot be told from "
        found.append(("positions", without + "drag. The comparison rests on laps that close."))
    if ride.start_time is None:
        found.append(("time of day", "Weather cannot follow the ride: give one reading that fits it."))
    if not ride.lap_marks:
        found.append(("lap marks", "Laps are found where the road repeats itself, or by a start line you set."))
    if not ride.has("altitude_m"):
        closed = "Not needed on a closed course; the air is then taken to be the same all along it."
        found.append(("altitude", closed))
    return tuple(MissingData(what=what, means=means) for what, means in found)


def _laps(listing: LapListing) -> str:
    count = len(listing.laps)
    found = f"{counted(count, 'lap')} by {WAYS[listing.lap_source]}."
    return f"{found} {listing.no_course if listing.course is None else course_in_words(listing.course)}"
