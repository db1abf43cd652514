"""A ride as a FIT activity file, through the fit-tool library.

FIT stamps whole seconds, watts in ones, speed in mm/s and positions to a centimetre or
two, so a ride goes in and comes back to that resolution.  The same ride gives the
same bytes.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np

from fieldaero.basics.errors import RideError
from fieldaero.basics.output_files import write_bytes
from fieldaero.rides.ride import LapMark, Ride

__all__ = ["write_fit"]

SERIAL = 1_000_001
AIR_SPEED_FIELD = "air_speed"


def write_fit(ride: Ride, path: str | os.PathLike[str], *, replace: bool = False) -> Path:
    """Write a ride as a FIT file, at once or not at all; it needs a start time and samples on whole seconds.

    An existing file is replaced only if ``replace`` says so.
    """
    if ride.start_time is None:
        raise RideError(f"{ride.source.file}: has no start time, and FIT needs clock time; write a CSV instead")
    t = ride.time_s
    if np.any(np.abs(t - np.round(t)) > 1e-6):
        raise RideError(f"{ride.source.file}: is sampled between whole seconds, which FIT cannot stamp; write a CSV")
    from fit_tool.fit_file_builder import FitFileBuilder

    builder = FitFileBuilder(auto_define=True, min_string_size=24)
    builder.add_all(list(_messages(ride)))
    return write_bytes(builder.build_bytes(), path, replace=replace)


def _messages(ride: Ride) -> Iterator[Any]:
    from fit_tool.profile.messages.activity_message import ActivityMessage
    from fit_tool.profile.messages.event_message import EventMessage
    from fit_tool.profile.messages.file_id_message import FileIdMessage
    from fit_tool.profile.messages.session_message import SessionMessage
    from fit_tool.profile.profile_type import Event, EventType, FileType, Manufacturer, Sport, SubSport

    assert ride.start_time is not None
    zero = round(ride.start_time.astimezone(UTC).timestamp())
    t = ride.time_s

    def ms(second: float) -> int:
        return (zero + round(second)) * 1000

    head = FileIdMessage(local_id=0)
    head.type, head.manufacturer, head.product = FileType.ACTIVITY, Manufacturer.DEVELOPMENT.value, 1
    head.serial_number, head.time_created = SERIAL, ms(0.0)
    yield head
    has_air = ride.has("air_speed_m_s")
    if has_air:
        yield from _air_speed_description()
    yield _timer(EventMessage, Event, EventType.START, ms(t[0]))
    marks = sorted(ride.lap_marks, key=lambda mark: mark.end_s)
    rows = ride.table.to_dict("records")
    written = 0
    for row in rows:
        while written < len(marks) and marks[written].end_s < row["time_s"]:
            yield _lap(marks[written], ms)
            written += 1
        yield _record(row, ms, air=has_air)
    for mark in marks[written:]:
        yield _lap(mark, ms)
    yield _timer(EventMessage, Event, EventType.STOP_ALL, ms(t[-1]))
    session = SessionMessage(local_id=5)
    session.start_time, session.timestamp = ms(t[0]), ms(t[-1])
    session.total_elapsed_time = session.total_timer_time = float(t[-1] - t[0])
    session.sport, session.sub_sport, session.num_laps = Sport.CYCLING, SubSport.ROAD, len(marks)
    yield session
    activity = ActivityMessage(local_id=8)
    activity.timestamp, activity.num_sessions = ms(t[-1]), 1
    activity.total_timer_time = float(t[-1] - t[0])
    yield activity


def _timer(message: Any, event: Any, kind: Any, stamp: int) -> Any:
    out = message(local_id=2)
    out.event, out.event_type, out.timestamp = event.TIMER, kind, stamp
    return out


def _lap(mark: LapMark, ms: Any) -> Any:
    from fit_tool.profile.messages.lap_message import LapMessage
    from fit_tool.profile.profile_type import LapTrigger

    triggers = {"button": LapTrigger.MANUAL, "session_end": LapTrigger.SESSION_END, "distance": LapTrigger.DISTANCE}
    out = LapMessage(local_id=4)
    out.start_time, out.timestamp = ms(mark.start_s), ms(mark.end_s)
    out.total_elapsed_time = out.total_timer_time = float(round(mark.end_s) - round(mark.start_s))
    if mark.trigger in triggers:
        out.lap_trigger = triggers[mark.trigger]
    return out


FIELDS: Sequence[tuple[str, str]] = (
    ("latitude_deg", "position_lat"),
    ("longitude_deg", "position_long"),
    ("altitude_m", "enhanced_altitude"),
    ("distance_m", "distance"),
    ("speed_m_s", "enhanced_speed"),
    ("power_w", "power"),
    ("cadence_rpm", "cadence"),
    ("temperature_c", "temperature"),
)
WHOLE = {"power", "cadence", "temperature"}


def _record(row: dict[Any, Any], ms: Any, *, air: bool) -> Any:
    from fit_tool.base_type import BaseType
    from fit_tool.developer_field import DeveloperField
    from fit_tool.profile.messages.record_message import RecordMessage

    extra = []
    if air:
        field = DeveloperField(
            developer_data_index=0, field_id=0, name=AIR_SPEED_FIELD, base_type=BaseType.FLOAT32, size=4
        )
        field.set_value(0, float(row["air_speed_m_s"]))
        extra = [field]
    out = RecordMessage(local_id=3, developer_fields=extra)
    out.timestamp = ms(row["time_s"])
    for column, name in FIELDS:
        value = row[column]
        if np.isfinite(value):
            setattr(out, name, round(value) if name in WHOLE else float(value))
    return out


def _air_speed_description() -> Iterator[Any]:
    from fit_tool.base_type import BaseType
    from fit_tool.profile.messages.developer_data_id_message import DeveloperDataIdMessage
    from fit_tool.profile.messages.field_description_message import FieldDescriptionMessage

    index = DeveloperDataIdMessage(local_id=6)
    index.developer_data_index = 0
    yield index
    description = FieldDescriptionMessage(local_id=7)
    description.developer_data_index, description.field_definition_number = 0, 0
    description.fit_base_type_id, description.field_name = BaseType.FLOAT32.value, AIR_SPEED_FIELD
    description.units = "m/s"
    yield description
