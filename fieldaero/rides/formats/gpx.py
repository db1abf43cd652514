"""GPX files: track segments are pieces of the recording; routes and waypoints are no ride."""

from __future__ import annotations

from fieldaero.basics.errors import RideError
from fieldaero.basics.formatting import counted
from fieldaero.rides.detect import RideFile
from fieldaero.rides.formats.sports import indoor_word, sport_in_words
from fieldaero.rides.formats.xml_points import TrackPoints, Walk
from fieldaero.rides.recording import Recording, table_of

__all__ = ["read_gpx"]


def read_gpx(file: RideFile, walk: Walk) -> Recording:
    """Take the track points of all tracks, in the order of the file.

    Raises
    ------
    RideError
        If the file has no track points, or none with a time.
    """
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
        fault = f"; the file breaks off or is damaged ({walk.fault})" if walk.fault else ""
        holds = f"{counted(routes, 'route')} and {counted(waypoints, 'waypoint')}"
        raise RideError(f"{file.name}: a GPX file without track points (it holds {holds}), so no recorded ride{fault}")
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
