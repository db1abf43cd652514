"""GPX files: a ride from the track points with their times, or the line of a track or route without them."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.errors import RideError
from fieldaero.basics.formatting import counted
from fieldaero.rides.detect import RideFile, load
from fieldaero.rides.formats.sports import indoor_word, sport_in_words
from fieldaero.rides.formats.xml_points import TrackPoints, Walk
from fieldaero.rides.recording import Recording, table_of

__all__ = ["GpxLine", "read_gpx", "read_gpx_line"]


def read_gpx(file: RideFile, walk: Walk) -> Recording:
    """Read the track points of all tracks, in the order of the file."""
    points = TrackPoints()
    sport: str | None = None
    in_track = in_point = False
    routes = waypoints = 0
    for event, name, element in walk:
        if event == "start":
            if name == "trkseg":
                points.begin_piece()
            in_track |= name == "trk"
            in_point |= name == "trkpt"
            routes += name == "rte"
            waypoints += name == "wpt"
        elif name == "trkpt":
            points.add(element)
            in_point = False
        elif name == "trk":
            in_track = False
        elif name == "type" and in_track and not in_point:
            sport = sport or sport_in_words(element.text)
    if not len(points):
        holds = f"{counted(routes, 'route')} and {counted(waypoints, 'waypoint')}"
        raise RideError(
            f"{file.name}: a GPX file without track points (it holds {holds}), so not a recorded ride{walk.damage}"
        )
    zero = points.first_time(file)
    return Recording(
        format="GPX",
        samples=table_of({**points.columns, "time_s": points.time_s(zero)}),
        clock_zero=zero,
        breaks=tuple(points.breaks),
        device=(walk.first_element.get("creator") or "").strip() or None,
        sport=sport,
        indoor=indoor_word(sport),
        notes=tuple(points.notes(walk)),
    )


@dataclass(frozen=True, kw_only=True)
class GpxLine:
    """Points in the order of the file, shape (n,), NaN where the file has no value.

    ``kind`` is "track" or "route"; of a file that holds both the track is read, which is finer.
    """

    file: str
    kind: str
    latitude_deg: NDArray[np.float64]
    longitude_deg: NDArray[np.float64]
    altitude_m: NDArray[np.float64]


def read_gpx_line(path: str | os.PathLike[str]) -> GpxLine:
    r"""Read the points of a GPX track or route; times do not matter.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "plan.gpx")
    >>> _ = path.write_text("<gpx><rte><rtept lat='12.0' lon='-38.0'><ele>40</ele></rtept>"
    ...                     "<rtept lat='12.1' lon='-38.0'><ele>60</ele></rtept></rte></gpx>")
    >>> line = read_gpx_line(path)
    >>> line.kind, line.altitude_m.tolist()
    ('route', [40.0, 60.0])
    """
    file = load(path)
    if file.kind != "XML":
        raise RideError(f"{file.name}: a {file.kind} file; a planned course is read from GPX")
    walk = Walk(file)
    if walk.root != "gpx":
        raise RideError(f"{file.name}: an XML file that begins with <{walk.root}>; GPX begins with <gpx>")
    found = {"trkpt": TrackPoints(), "rtept": TrackPoints()}
    for event, name, element in walk:
        if event == "end" and name in found:
            found[name].add(element)
    kind, points = ("track", found["trkpt"]) if len(found["trkpt"]) else ("route", found["rtept"])
    if len(points) < 2:
        raise RideError(
            f"{file.name}: {counted(len(points), 'point')} of a track or route; a course needs at least 2{walk.damage}"
        )
    latitude, longitude, altitude = (
        np.array(points.columns[name], dtype=np.float64) for name in ("latitude_deg", "longitude_deg", "altitude_m")
    )
    known = np.isfinite(latitude) & np.isfinite(longitude)
    if np.any(np.abs(latitude[known]) > 90.0) or np.any(np.abs(longitude[known]) > 360.0):
        raise RideError(f"{file.name}: a latitude beyond 90 or a longitude beyond 360 degrees; export it again")
    return GpxLine(file=file.name, kind=kind, latitude_deg=latitude, longitude_deg=longitude, altitude_m=altitude)
