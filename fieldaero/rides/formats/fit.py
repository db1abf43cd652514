"""The ride in the messages of a FIT file: its clock, its sport, its laps and its device."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldaero.basics.errors import RideError
from fieldaero.basics.formatting import counted
from fieldaero.rides.detect import RideFile
from fieldaero.rides.formats.fit_messages import FitMessages, Message, decode_fit
from fieldaero.rides.formats.sports import Session, choose_sessions, indoor_word, sport_in_words
from fieldaero.rides.recording import Recording, table_of
from fieldaero.rides.ride import LapMark, Pause

__all__ = ["read_fit"]

FIT_EPOCH = datetime(1989, 12, 31, tzinfo=UTC)
FIRST_CLOCK_S = 0x10000000  # FIT profile, type date_time: smaller stamps count seconds since the device was switched on
DEGREES_PER_SEMICIRCLE = 180.0 / 2.0**31
STAMP_S = 1.0  # start times are whole seconds, durations are milliseconds
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
STOPS = {"stop", "stop all", "stop disable", "stop disable all"}

Rows = NDArray[np.bool_]


def read_fit(file: RideFile) -> Recording:
    """Decode a FIT file and find the ride in it."""
    found = decode_fit(file)
    notes = list(found.notes)
    stamp = found.column("timestamp")
    known = np.isfinite(stamp)
    if not known.any():
        raise RideError(f"{file.name}: none of its {counted(len(stamp), 'record')} has a time, so it is not a ride")
    has_clock = bool(np.median(stamp[known]) >= FIRST_CLOCK_S)
    usable = known & ((stamp >= FIRST_CLOCK_S) == has_clock)
    if lost := int((~known).sum()):
        notes.append(f"{counted(lost, 'record')} without a time left out")
    if lost := int((known & ~usable).sum()):
        notes.append(f"{counted(lost, 'record')} stamped on another clock left out")
    if not has_clock:
        notes.append("the device did not know the time of day; times count from the start")

    sessions = [
        _session_of(message, _rows_of(message, stamp, usable) if len(found.sessions) > 1 else usable)
        for message in found.sessions
    ]
    chosen, choice = choose_sessions(sessions)
    rows = np.logical_or.reduce([one.rows for one in chosen]) if choice else usable
    marks, lap_notes = lap_marks([lap for lap in found.laps if not choice or _begins_in(lap, stamp[rows])])
    said = chosen or [_session_of(message, usable) for message in found.sports[:1]]
    sport = said[0].sport if said else None
    return Recording(
        format="FIT",
        samples=_samples(found, rows),
        clock_zero=FIT_EPOCH if has_clock else None,
        breaks=_breaks(found, rows, chosen if choice else []),
        lap_marks=tuple(marks),
        timer_stops=tuple(timer_stops(found.events)),
        device=_device(found.file_id),
        sport=sport,
        indoor=indoor_word(sport, said[0].sub_sport) if said else None,
        notes=(*notes, *choice, *lap_notes),
    )


def _session_of(message: Message, rows: Rows) -> Session:
    return Session(sport=sport_in_words(message.word("sport")), sub_sport=message.word("sub_sport"), rows=rows)


def _rows_of(message: Message, stamp: NDArray[np.float64], usable: Rows) -> Rows:
    start, end = message.number("start_time"), message.number("timestamp")
    lasted = message.number("total_elapsed_time")
    if np.isnan(start):
        start = end - lasted
    if np.isfinite(lasted):
        end = start + lasted
    # Half a second: the stamps are whole seconds, the length is not.
    return usable & (stamp >= start - STAMP_S / 2.0) & (stamp <= end + STAMP_S / 2.0)


def _begins_in(lap: Message, stamp: NDArray[np.float64]) -> bool:
    start = lap.number("start_time")
    return bool(stamp[0] - STAMP_S <= start < stamp[-1] - STAMP_S)


def _samples(found: FitMessages, rows: Rows) -> pd.DataFrame:
    columns = {name: found.column(name)[rows] for name in found.columns}
    columns["time_s"] = columns.pop("timestamp")
    for name in ("latitude_deg", "longitude_deg"):
        columns[name] = columns[name] * DEGREES_PER_SEMICIRCLE
    return table_of(columns)


def _breaks(found: FitMessages, rows: Rows, chosen: Sequence[Session]) -> tuple[int, ...]:
    """Rows, counted among those kept, at which another file of the chain or another session begins."""
    new = np.diff(np.array(found.part, dtype=np.int64)[rows]) != 0
    for session in chosen:
        new |= np.diff(session.rows[rows].astype(np.int8)) != 0
    return tuple((np.flatnonzero(new) + 1).tolist())


def _device(file_id: Message | None) -> str | None:
    """Maker and product in words; never the serial number, which identifies the rider's own device."""
    if file_id is None:
        return None
    maker = file_id.word("manufacturer")
    product = file_id.word("product_name") or file_id.word("product")
    if maker and product and product.lower().startswith(maker.lower()):
        return product
    return " ".join(word for word in (maker, product) if word) or None


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
