"""Track points in XML: one walker for TCX and GPX that goes by local names.

Namespaces are missing or differ between makers, so only the local name counts, in lower
case. A point is flattened with all its extension blocks; the first value that is not empty
wins. The parser gets bytes: it knows byte order marks and declared encodings better than any
guess. A file that breaks off keeps the points before that.
"""

from __future__ import annotations

import codecs
import io
from array import array
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError, iterparse

from fieldaero.basics.errors import RideError
from fieldaero.basics.formatting import counted
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond
from fieldaero.rides.detect import RideFile
from fieldaero.rides.recording import check_samples, parse_time

__all__ = ["TrackPoints", "Walk", "local_name"]

NAN = float("nan")
DEEPEST = 50  # elements within elements; ride files have up to ten
MOST_ELEMENTS = 1_000_000  # apart from those of track points
ELEMENTS_A_POINT = 50
POINTS = frozenset({"trackpoint", "trkpt", "rtept"})

NAMES = {
    "latitudedegrees": "latitude_deg",
    "lat": "latitude_deg",
    "longitudedegrees": "longitude_deg",
    "lon": "longitude_deg",
    "altitudemeters": "altitude_m",
    "ele": "altitude_m",
    "distancemeters": "distance_m",
    "distance": "distance_m",
    "speed": "speed_m_s",
    "watts": "power_w",
    "power": "power_w",
    "powerinwatts": "power_w",
    "cadence": "cadence_rpm",
    "cad": "cadence_rpm",
    "runcadence": "cadence_rpm",
    "atemp": "temperature_c",
    "temp": "temperature_c",
    "temperature": "temperature_c",
}
"""Columns of the ride table by the local name of an element or attribute of a track point."""


def local_name(tag: object) -> str:
    """Element name without namespace or prefix, in lower case.

    Examples
    --------
    >>> local_name("{http://example.org/v2}TrackPoint")
    'trackpoint'
    """
    return str(tag).rpartition("}")[2].rpartition(":")[2].lower()


class Walk:
    """The elements of an XML file in order, as far as it is well formed.

    ``root`` is the local name of the first element; ``fault``, known after the walk, what ended it early.
    """

    def __init__(self, file: RideFile) -> None:
        self.fault: str | None = None
        # Some exporters put white space before the XML declaration, which no parser takes.
        content = file.content
        if not content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            content = content.lstrip(b" \t\r\n")
        self._name = file.name
        self._depth = self._elements = self._points = 0
        self._events = iter(iterparse(io.BytesIO(content), events=("start", "end")))
        first = next(iter(self), None)
        if first is None:
            raise RideError(f"{file.name}: not well-formed XML ({self.fault or 'no element in it'}); export it again")
        self.first_element: Any = first[2]
        self.root = first[1]

    @property
    def damage(self) -> str:
        """End of a sentence about a file that breaks off."""
        return f"; the file breaks off or is damaged ({self.fault})" if self.fault else ""

    def _measure(self, name: str) -> None:
        self._depth += 1
        self._elements += 1
        if name in POINTS:
            self._points += 1
            check_samples(self._points, self._name)
        if beyond(self._depth, DEEPEST):
            raise RideError(
                f"{self._name}: an XML file with more than {DEEPEST} elements within each other; ride files have ten "
                f"at most. Export it again, or {HOW_TO_LIFT}"
            )
        if beyond(self._elements, MOST_ELEMENTS + ELEMENTS_A_POINT * self._points):
            raise RideError(
                f"{self._name}: an XML file with {self._elements} elements and only {self._points} track points; "
                f"allowed are {MOST_ELEMENTS} and {ELEMENTS_A_POINT} a point. Export the ride alone, or {HOW_TO_LIFT}"
            )

    def __iter__(self) -> Iterator[tuple[str, str, Any]]:
        """Yield "start" or "end", the local name, and the element."""
        try:
            for event, element in self._events:
                name = local_name(element.tag)
                if event == "start":
                    self._measure(name)
                else:
                    self._depth -= 1
                yield event, name, element
        except DefusedXmlException as error:
            raise RideError(
                f"{self._name}: an XML file with entity declarations, which can blow up or fetch other files; "
                "ride files have none, so this file is not read"
            ) from error
        except (ParseError, LookupError, ValueError) as error:
            # The last two for an encoding that is unknown, or that the parser does not take.
            self.fault = str(error)


@dataclass(kw_only=True)
class TrackPoints:
    """Track points as columns of the ride table, with their aware UTC times, and what could not be read.

    ``breaks`` holds the row numbers at which a new piece of track begins.
    """

    columns: dict[str, array[float]] = field(default_factory=lambda: {name: array("d") for name in set(NAMES.values())})
    times: list[datetime | None] = field(default_factory=list)
    breaks: list[int] = field(default_factory=list)
    _unread: Counter[str] = field(default_factory=Counter)
    _without_zone: int = 0

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.times)

    def add(self, point: Any) -> None:
        """Take one track point with everything inside it, and empty the element."""
        values: dict[str, float] = {}
        stamp = ""
        for name, text in _texts(point):
            if name == "time":
                stamp = stamp or text
            elif (column := NAMES.get(name)) is not None and column not in values:
                try:
                    values[column] = float(text)
                except ValueError:
                    self._unread[column] += 1
        for column, cells in self.columns.items():
            cells.append(values.get(column, NAN))
        parsed = parse_time(stamp) if stamp else None
        if parsed is None and stamp:
            self._unread["time"] += 1
        if parsed is not None and not parsed[1]:
            self._without_zone += 1
        self.times.append(parsed[0] if parsed else None)
        point.clear()

    def begin_piece(self) -> None:
        """Mark that the next point does not follow from the one before."""
        if self.times:
            self.breaks.append(len(self.times))

    def time_s(self, clock_zero: datetime) -> list[float]:
        """Seconds of every point since that moment, NaN without a time."""
        return [NAN if time is None else (time - clock_zero).total_seconds() for time in self.times]

    def first_time(self, file: RideFile) -> datetime:
        """First known time; an error if no point has one."""
        time = next((time for time in self.times if time is not None), None)
        if time is None:
            raise RideError(
                f"{file.name}: none of its {counted(len(self), 'track point')} has a usable time, so it is not "
                "a ride; export the recording, not the route"
            )
        return time

    def notes(self, walk: Walk) -> list[str]:
        """One sentence for each thing that could not be read."""
        said = [f"{name}: {counted(n, 'value')} not readable, taken as missing" for name, n in self._unread.items()]
        if missing := sum(time is None for time in self.times):
            said.append(f"{counted(missing, 'track point')} without a time left out")
        if self._without_zone:
            said.append("time stamps name no time zone; taken as UTC")
        if walk.fault:
            said.append(
                f"the file breaks off or is damaged ({walk.fault}); {counted(len(self), 'point')} before were kept"
            )
        return said


def _texts(point: Any) -> Iterator[tuple[str, str]]:
    for element in point.iter():
        for attribute, value in element.items() if element is point else ():
            yield local_name(attribute), value
        text = (element.text or "").strip()
        if text:
            yield local_name(element.tag), text
