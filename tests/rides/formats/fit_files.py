"""FIT files made for the tests: with a full profile by fit-tool, or message by message where it would refuse."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from fit_tool.base_type import BaseType
from fit_tool.developer_field import DeveloperField
from fit_tool.fit_file_builder import FitFileBuilder
from fit_tool.profile.messages.developer_data_id_message import DeveloperDataIdMessage
from fit_tool.profile.messages.event_message import EventMessage
from fit_tool.profile.messages.field_description_message import FieldDescriptionMessage
from fit_tool.profile.messages.file_id_message import FileIdMessage
from fit_tool.profile.messages.lap_message import LapMessage
from fit_tool.profile.messages.record_message import RecordMessage
from fit_tool.profile.messages.session_message import SessionMessage
from fit_tool.profile.profile_type import Event, EventType, FileType, LapTrigger, Manufacturer, Sport, SubSport
from fit_tool.utils.crc import crc16

START_MS = 1_904_216_400_000  # 2030-05-05T13:00:00Z
START_FIT_S = START_MS // 1000 - 631_065_600
SWITCHED_ON_MS = 631_065_600_000  # FIT seconds 0: a device that does not know the time

Cells = Mapping[str, Any]


def ms(second: float) -> int:
    return START_MS + round(1000 * second)


def steady(seconds: Iterable[float], **more: Any) -> list[dict[str, Any]]:
    """Records at 10 m/s and 200 W on a parallel in the middle of an ocean."""
    return [
        {
            "at": second,
            "power": 200,
            "enhanced_speed": 10.0,
            "distance": 10.0 * second,
            "enhanced_altitude": 100.0,
            "position_lat": -28.0,
            "position_long": -122.0 + 10.0 * second / 98_360.0,
            "temperature": 21,
            "cadence": 88,
            **more,
        }
        for second in seconds
    ]


def lap(start: float, lasted: float | None, trigger: LapTrigger | None = LapTrigger.MANUAL) -> LapMessage:
    message = LapMessage(local_id=4)
    message.start_time = ms(int(start))
    if lasted is not None:
        message.timestamp = ms(int(start + lasted))
        message.total_elapsed_time = lasted
    if trigger is not None:
        message.lap_trigger = trigger
    return message


def session(start: float, lasted: float, sport: Sport = Sport.CYCLING, sub: SubSport = SubSport.ROAD) -> SessionMessage:
    message = SessionMessage(local_id=5)
    message.start_time = ms(start)
    message.timestamp = ms(start + lasted)
    message.total_elapsed_time = lasted
    message.sport, message.sub_sport = sport, sub
    return message


def timer(second: float, kind: EventType) -> EventMessage:
    message = EventMessage(local_id=2)
    message.event, message.event_type, message.timestamp = Event.TIMER, kind, ms(second)
    return message


def record(cells: Cells, zero_ms: int = START_MS, developer: Sequence[DeveloperField] = ()) -> RecordMessage:
    message = RecordMessage(local_id=3, developer_fields=list(developer))
    for name, value in cells.items():
        if name == "at":
            message.timestamp = zero_ms + round(1000 * value)
        elif value is not None:
            setattr(message, name, value)
    return message


def file_id(kind: FileType = FileType.ACTIVITY, product: str = "test unit") -> FileIdMessage:
    message = FileIdMessage(local_id=0)
    message.type, message.manufacturer, message.product = kind, Manufacturer.DEVELOPMENT.value, 1
    message.product_name, message.serial_number, message.time_created = product, 987_654_321, START_MS
    return message


def fit(messages: Iterable[Any]) -> bytes:
    builder = FitFileBuilder(auto_define=True, min_string_size=24)
    builder.add_all(list(messages))
    return builder.build_bytes()


def activity(
    records: Iterable[Cells],
    *,
    laps: Sequence[LapMessage] = (),
    sessions: Sequence[SessionMessage] = (),
    events: Sequence[EventMessage] = (),
    laps_first: bool = False,
    zero_ms: int = START_MS,
) -> bytes:
    body = [record(cells, zero_ms) for cells in records]
    parts = [*laps, *body] if laps_first else [*body, *laps]
    return fit([file_id(), *events, *parts, *sessions])


def developed(records: Sequence[Cells], name: str, units: str | None, values: Sequence[float]) -> bytes:
    """An activity whose records carry one developer field."""
    index = DeveloperDataIdMessage(local_id=6)
    index.developer_data_index = 0
    description = FieldDescriptionMessage(local_id=7)
    description.developer_data_index, description.field_definition_number = 0, 0
    description.fit_base_type_id, description.field_name = BaseType.FLOAT32.value, name
    if units is not None:
        description.units = units
    body = []
    for cells, value in zip(records, values, strict=True):
        extra = DeveloperField(developer_data_index=0, field_id=0, name=name, base_type=BaseType.FLOAT32, size=4)
        extra.set_value(0, value)
        body.append(record(cells, developer=[extra]))
    return fit([file_id(), index, description, *body, session(0, len(records))])


def written(folder: Path, content: bytes, name: str = "ride.fit") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def definition(local: int, number: int, fields: Sequence[tuple[int, int, int]]) -> bytes:
    """Definition message by hand: (field number, size, base type) for each field."""
    head = struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(fields))
    return head + b"".join(struct.pack("<BBB", *one) for one in fields)


def by_hand(body: bytes, *, size: int | None = None, crc: int | None = None) -> bytes:
    """Header, body and checksum; the size in the header and the checksum can be made wrong."""
    head = struct.pack("<BBHI4s", 14, 0x20, 2100, len(body) if size is None else size, b".FIT") + b"\0\0"
    whole = head + body
    return whole + struct.pack("<H", crc16(whole) if crc is None else crc)
