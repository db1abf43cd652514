"""TCX and GPX text made for the tests."""

from __future__ import annotations

from collections.abc import Sequence

TCX_SPACE = ' xmlns="http://example.org/tcx"'


def stamp(second: float, zone: str = "Z") -> str:
    whole, part = divmod(second, 1.0)
    minute, sec = divmod(int(whole), 60)
    fraction = f".{round(1000 * part):03d}" if part else ""
    return f"2030-05-05T13:{minute:02d}:{sec:02d}{fraction}{zone}"


def trackpoint(second: float, *, zone: str = "Z", power: object = 200, extra: str = "", place: bool = True) -> str:
    position = (
        "<Position><LatitudeDegrees>-28.0</LatitudeDegrees>"
        f"<LongitudeDegrees>{-122.0 + 10.0 * second / 98_360.0:.9f}</LongitudeDegrees></Position>"
    )
    return (
        f"<Trackpoint><Time>{stamp(second, zone)}</Time>{position if place else ''}"
        f"<AltitudeMeters>12.4</AltitudeMeters><DistanceMeters>{10.0 * second}</DistanceMeters>"
        "<HeartRateBpm><Value>140</Value></HeartRateBpm><Cadence>88</Cadence>"
        f'<Extensions><x:TPX xmlns:x="http://example.org/x"><x:Speed>10.0</x:Speed><x:Watts>{power}</x:Watts></x:TPX>'
        f"</Extensions>{extra}</Trackpoint>"
    )


def tcx_lap(
    start: float, tracks: Sequence[str], *, lasted: float = 0.0, trigger: str = "Manual", zone: str = "Z"
) -> str:
    body = "".join(f"<Track>{track}</Track>" for track in tracks)
    return (
        f'<Lap StartTime="{stamp(start, zone)}"><TotalTimeSeconds>{lasted}</TotalTimeSeconds>'
        f"<TriggerMethod>{trigger}</TriggerMethod>{body}</Lap>"
    )


def tcx(laps: Sequence[str], *, sport: str = "Biking", space: str = TCX_SPACE) -> str:
    return tcx_file(
        f'<Activity Sport="{sport}">{"".join(laps)}<Creator><Name>Test unit</Name></Creator></Activity>', space
    )


def tcx_file(activities: str, space: str = TCX_SPACE) -> str:
    head = '<?xml version="1.0" encoding="UTF-8"?>'
    return f"{head}<TrainingCenterDatabase{space}><Activities>{activities}</Activities></TrainingCenterDatabase>"


def trkpt(second: float | None, *, extra: str = "", latitude: object = -28.0, longitude: object = None) -> str:
    if longitude is None:
        longitude = f"{-122.0 + 10.0 * (second or 0.0) / 98_360.0:.9f}"
    time = "" if second is None else f"<time>{stamp(second)}</time>"
    return f'<trkpt lat="{latitude}" lon="{longitude}"><ele>12.4</ele>{time}{extra}</trkpt>'


def gpx(segments: Sequence[str], *, kind: str = "cycling", space: str = ' xmlns="http://example.org/gpx"') -> str:
    body = "".join(f"<trkseg>{segment}</trkseg>" for segment in segments)
    head = '<?xml version="1.0" encoding="UTF-8"?>'
    return f'{head}<gpx{space} creator="Test unit"><trk><type>{kind}</type>{body}</trk></gpx>'
