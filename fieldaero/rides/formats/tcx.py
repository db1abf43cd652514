"""TCX files: activities of laps of tracks of track points."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

import numpy as np

from fieldaero.basics.errors import RideError
from fieldaero.basics.formatting import counted
from fieldaero.rides.detect import RideFile
from fieldaero.rides.formats.sports import Session, choose_sessions, indoor_word, sport_in_words
from fieldaero.rides.formats.xml_points import TrackPoints, Walk, local_name
from fieldaero.rides.recording import Recording, parse_time, table_of
from fieldaero.rides.ride import LapMark

__all__ = ["read_tcx"]

TRIGGERS = {
    "manual": "button",
    "distance": "distance",
    "time": "time",
    "location": "position",
    "heartrate": "heart_rate",
}
FOLLOWS_S = 5.0


@dataclass(kw_only=True)
class _Lap:
    """One lap element: where its points begin, and what it says about itself."""

    first_row: int
    start: datetime | None
    tracks: int = 0
    duration_s: float = math.nan
    trigger: str = "unknown"


@dataclass(kw_only=True)
class _Parts:
    """Activities and laps of a file."""

    points: TrackPoints
    sports: list[str | None]
    first_rows: list[int]
    laps: list[_Lap]
    device: str | None = None
    courses: int = 0
    workouts: int = 0


def read_tcx(file: RideFile, walk: Walk) -> Recording:
    """Read the track points of the cycling activities, and their laps."""
    parts = _parts(walk)
    points = parts.points
    if not len(points):
        what = [counted(n, noun) for n, noun in ((parts.courses, "course"), (parts.workouts, "workout")) if n]
        holds = f" (it holds {' and '.join(what)})" if what else ""
        raise RideError(f"{file.name}: a TCX file without a recorded activity{holds}, so not a ride{walk.damage}")
    zero = points.first_time(file)
    time_s = np.asarray(points.time_s(zero))
    rows = np.arange(len(points))
    edges = [*parts.first_rows, len(points)]
    sessions = [
        Session(sport=sport, sub_sport=None, rows=(rows >= first) & (rows < end))
        for sport, (first, end) in zip(parts.sports, pairwise(edges), strict=True)
    ]
    chosen, choice = choose_sessions(sessions)
    kept = np.logical_or.reduce([one.rows for one in chosen])
    table = table_of({**points.columns, "time_s": time_s})
    sport = chosen[0].sport
    return Recording(
        format="TCX",
        samples=table.loc[kept].reset_index(drop=True),
        clock_zero=zero,
        breaks=tuple(sorted({int(kept[:row].sum()) for row in points.breaks})),
        lap_marks=tuple(_marks(parts.laps, time_s, zero, kept)),
        device=parts.device,
        sport=sport,
        indoor=indoor_word(sport),
        notes=(*points.notes(walk), *choice),
    )


def _parts(walk: Walk) -> _Parts:
    parts = _Parts(points=TrackPoints(), sports=[], first_rows=[], laps=[])
    in_activity = False
    for event, name, element in walk:
        if event == "start":
            if name == "activity":
                in_activity = True
                parts.sports.append(sport_in_words(element.get("Sport")))
                parts.first_rows.append(len(parts.points))
                parts.points.begin_piece()
            elif name == "lap" and in_activity:
                start = parse_time(element.get("StartTime") or "")
                parts.laps.append(_Lap(first_row=len(parts.points), start=start[0] if start else None))
            elif name == "track" and in_activity and parts.laps:
                parts.laps[-1].tracks += 1
                if parts.laps[-1].tracks > 1:
                    parts.points.begin_piece()
            parts.courses += name == "course" and not in_activity
            parts.workouts += name == "workout"
        elif name == "trackpoint":
            if in_activity:
                parts.points.add(element)
        elif name == "activity":
            in_activity = False
        elif name == "creator":
            parts.device = parts.device or _child_text(element, "name") or None
        elif in_activity and parts.laps and name == "totaltimeseconds":
            parts.laps[-1].duration_s = _number(element.text)
        elif in_activity and parts.laps and name == "triggermethod":
            parts.laps[-1].trigger = TRIGGERS.get((element.text or "").strip().lower(), "unknown")
    return parts


def _marks(laps: list[_Lap], time_s: np.ndarray, zero: datetime, kept: np.ndarray) -> list[LapMark]:
    """Laps from start to start; a lap that the next one does not follow at once ends with its last point."""
    edges = [*(lap.first_row for lap in laps), len(time_s)]
    spans: list[tuple[float, float, _Lap]] = []
    for lap, (first, after) in zip(laps, pairwise(edges), strict=True):
        own = time_s[first:after][kept[first:after] & np.isfinite(time_s[first:after])]
        if len(own):
            start = float(own.min()) if lap.start is None else (lap.start - zero).total_seconds()
            spans.append((start, float(own.max()), lap))
    spans.sort(key=lambda span: span[0])
    marks = []
    for number, (start, last, lap) in enumerate(spans):
        end = start + lap.duration_s
        if number + 1 < len(spans) and 0.0 <= spans[number + 1][0] - last <= FOLLOWS_S:
            end = spans[number + 1][0]
        elif not 0.0 <= end - last < 1.0:
            # Durations often leave pauses out; only within the last second are they finer than the points.
            end = last
        if end > start:
            marks.append(LapMark(start_s=start, end_s=end, trigger=lap.trigger))
    return marks


def _child_text(element: Any, name: str) -> str:
    return next(((child.text or "").strip() for child in element if local_name(child.tag) == name), "")


def _number(text: str | None) -> float:
    try:
        return float(text or "")
    except ValueError:
        return math.nan
