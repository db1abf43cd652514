"""Lap messages and timer events of a FIT file as marks and pauses on its clock."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fieldaero.basics.formatting import counted
from fieldaero.rides.formats.fit_messages import Message
from fieldaero.rides.ride import LapMark, Pause

__all__ = ["lap_marks", "timer_stops"]

TRIGGERS = {
    "manual": "button",
    "time": "time",
    "distance": "distance",
    "position start": "position",
    "position lap": "position",
    "position waypoint": "position",
    "position marked": "position",
    "session end": "session_end",
}
STAMP_S = 1.0  # start times are whole seconds, durations are milliseconds
STOPS = {"stop", "stop all", "stop disable", "stop disable all"}


def lap_marks(laps: Sequence[Message]) -> tuple[list[LapMark], list[str]]:
    """Laps ordered by start, wherever their messages stand in the file, and notes.

    Start times are whole seconds and durations milliseconds, so a chain of laps that
    follow each other is laid out by its durations: each boundary is then right to the
    millisecond against the first start.
    """
    spans: list[tuple[float, float, str]] = []
    for lap in laps:
        start, duration, end = lap.number("start_time"), lap.number("total_elapsed_time"), lap.number("timestamp")
        if math.isnan(start):
            start = end - duration
        if math.isnan(duration):
            duration = end - start
        if math.isfinite(start) and math.isfinite(duration) and duration > 0.0:
            spans.append((start, duration, TRIGGERS.get(lap.word("lap_trigger") or "", "unknown")))
    spans.sort(key=lambda span: span[0])
    marks: list[LapMark] = []
    for number, (start, duration, trigger) in enumerate(spans):
        follows = bool(marks) and abs(marks[-1].end_s - start) <= STAMP_S
        begin = marks[-1].end_s if follows else start
        end = begin + duration
        if number + 1 < len(spans):
            following = spans[number + 1][0]
            end = end if end <= following + STAMP_S else max(following, begin)
        marks.append(LapMark(start_s=begin, end_s=end, trigger=trigger))
    lost = len(laps) - len(spans)
    return marks, [f"{counted(lost, 'lap message')} without a start or a length left out"] if lost else []


def timer_stops(events: Sequence[Message]) -> list[Pause]:
    """Stretches between a stop of the timer and its next start; a stop at the end opens none."""
    pauses: list[Pause] = []
    stopped = math.nan
    for event in events:
        if event.word("event") != "timer":
            continue
        kind, time = event.word("event_type"), event.number("timestamp")
        if kind in STOPS and math.isnan(stopped):
            stopped = time
        elif kind == "start":
            if time >= stopped:
                pauses.append(Pause(start_s=stopped, end_s=time, cause="timer"))
            stopped = math.nan
    return pauses
