"""FIT files: the messages of one recording, decoded in a single pass.

A record is never built as {name: value}: some files carry a field twice, the second
time empty, and developer fields may have the name of a native one. So every native
field has a slot by its number, enhanced before plain, and the first value wins.
Damage ends the decoding, not the ride: the records before it are kept with a note.
"""

from __future__ import annotations

import io
import re
import struct
from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import fitdecode
import numpy as np

from fieldaero.basics.errors import RideError
from fieldaero.basics.formatting import counted
from fieldaero.rides.detect import RideFile
from fieldaero.rides.recording import check_laps, check_samples

__all__ = ["FitMessages", "Message", "decode_fit"]

RECORD, LAP, SESSION, EVENT, FILE_ID, SPORT = 20, 19, 18, 21, 0, 12
MANY = {LAP: "laps", SESSION: "sessions", EVENT: "events", SPORT: "sports"}

SLOTS: tuple[tuple[str, tuple[int, ...]], ...] = (
    ("timestamp", (253,)),
    ("power_w", (7,)),
    ("speed_m_s", (73, 6)),
    ("distance_m", (5,)),
    ("altitude_m", (78, 2)),
    ("latitude_deg", (0,)),
    ("longitude_deg", (1,)),
    ("temperature_c", (13,)),
    ("cadence_rpm", (4,)),
)
"""Record fields by their number in the FIT profile, the preferred one first."""

NAN = float("nan")
EXPANDED = 5  # the decoder repeats a plain field as its enhanced one; a field of the file itself comes first
NO_RANK = 99

# File types of the FIT profile that hold no ride, in plain words.
NO_RIDES = {
    "device": "a device description",
    "settings": "device settings",
    "sport": "sport settings",
    "workout": "a workout plan",
    "course": "a course, that is a planned route",
    "schedules": "a training schedule",
    "weight": "weight measurements",
    "totals": "totals of a device",
    "goals": "training goals",
    "blood_pressure": "blood pressure measurements",
    "monitoring_a": "daily monitoring",
    "monitoring_b": "daily monitoring",
    "monitoring_daily": "daily monitoring",
    "activity_summary": "an activity summary without its samples",
    "segment": "a route segment",
    "segment_list": "a list of route segments",
}

# Air speed is a developer field, known by its declared name and unit.
AIR_SPEED_NAMES = {"airspeed", "airspeedms", "airspeedkmh", "airspeedmph"}
AIR_SPEED_SCALES = {
    **dict.fromkeys(("m/s", "mps", "ms-1", "m/sec", "meters/second", "metres/second"), 1.0),
    **dict.fromkeys(("km/h", "kmh", "kph", "km/hr", "kmph"), 1.0 / 3.6),
    **dict.fromkeys(("mph", "mi/h", "miles/hour"), 0.44704),  # the international mile, exact
}


class Message:
    """The native fields of one message by name; the first value that is not empty."""

    def __init__(self, frame: Any) -> None:
        self._values: dict[str, Any] = {}
        for item in frame.fields:
            if item.field is not None and item.value is not None and not _is_developer(item):
                # A dynamic field, such as the product of one maker, answers to its general name.
                self._values.setdefault((item.parent_field or item.field).name, item.value)

    def number(self, name: str) -> float:
        """Return the field as a number, NaN where it is missing."""
        value = self._values.get(name)
        return float(value) if isinstance(value, int | float) else NAN

    def word(self, name: str) -> str | None:
        """Return the field in words; None where it is missing or only a number."""
        value = self._values.get(name)
        return value.replace("_", " ").strip() or None if isinstance(value, str) else None


@dataclass(kw_only=True)
class FitMessages:
    """What a FIT file says, in the order of the file.

    Attributes
    ----------
    columns
        Record columns by their name in the ride table, in SI units, but positions in
        semicircles; ``timestamp`` [s] as FIT counts it.
    part
        For each record the running number of the file in the chain, shape (n,).
    file_id
        Of the first file in the chain that may hold a ride.
    """

    columns: dict[str, array[float]] = field(default_factory=dict)
    part: array[int] = field(default_factory=lambda: array("l"))
    laps: list[Message] = field(default_factory=list)
    sessions: list[Message] = field(default_factory=list)
    events: list[Message] = field(default_factory=list)
    sports: list[Message] = field(default_factory=list)
    file_id: Message | None = None
    notes: list[str] = field(default_factory=list)

    def column(self, name: str) -> np.ndarray:
        """Return one record column, shape (n,)."""
        return np.frombuffer(self.columns[name], dtype=np.float64) if self.columns[name] else np.empty(0)


def decode_fit(file: RideFile) -> FitMessages:
    """Decode a FIT file up to the first damage; an error if that leaves no record of a ride."""
    found = FitMessages(columns={name: array("d") for name, _ in SLOTS} | {"air_speed_m_s": array("d")})
    content, unclosed = _closed(file.content)
    if unclosed:
        found.notes.append("the device never closed the file (data size 0 in its header); it was read to its end")
    fault, others = _collect(content, found, file.name)
    count = len(found.part)
    if fault is not None and not unclosed:
        found.notes.append(f"{fault}; {counted(count, 'record')} before that were kept")
    if not unclosed:
        found.notes += checksum_notes(content)
    if count == 0 and others:
        raise RideError(
            f"{file.name}: a FIT file with {' and '.join(others)}, not a recorded ride; give the activity file"
        )
    if count == 0:
        reason = f" ({fault})" if fault else ""
        raise RideError(f"{file.name}: a FIT file without any record{reason}; copy it from the device again")
    return found


def _closed(content: bytes) -> tuple[bytes, bool]:
    """Fill in the size in the header where the recorder stopped before it could write it."""
    if len(content) < 12 or struct.unpack_from("<I", content, 4)[0] != 0:
        return content, False
    size = max(len(content) - content[0], 0)
    return content[:4] + struct.pack("<I", size) + content[8:], True


def _collect(content: bytes, found: FitMessages, name: str) -> tuple[str | None, list[str]]:
    """Go through the frames once; return what ended that early, and which other kinds of file were found."""
    reader = fitdecode.FitReader(
        io.BytesIO(content),
        processor=None,
        check_crc=fitdecode.CrcCheck.DISABLED,
        error_handling=fitdecode.ErrorHandling.IGNORE,
    )
    records = _RecordColumns(found)
    lists = {LAP: found.laps, SESSION: found.sessions, EVENT: found.events, SPORT: found.sports}
    part, complete, no_ride = 0, False, False
    others: list[str] = []
    try:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA:
                kind = frame.def_mesg.global_mesg_num
                if kind == RECORD:
                    if not no_ride:
                        records.add(frame, part)
                        check_samples(len(found.part), name)
                elif kind == FILE_ID:
                    message = Message(frame)
                    other = NO_RIDES.get((message.word("type") or "").replace(" ", "_"))
                    no_ride = other is not None
                    if other is not None:
                        others += [other] * (other not in others)
                    elif found.file_id is None:
                        found.file_id = message
                elif kind in lists and not no_ride:
                    lists[kind].append(Message(frame))
                    check_laps(len(lists[kind]), name, what=MANY[kind])
            elif frame.frame_type == fitdecode.FIT_FRAME_HEADER:
                part, complete, no_ride = part + 1, False, False
            elif frame.frame_type == fitdecode.FIT_FRAME_CRC:
                complete = True
    except RideError:
        raise
    except Exception as error:  # a flipped bit can raise anything
        return _fault_in_words(error, complete=complete), others
    finally:
        found.notes += left_out_air_speed(records.air_scales)
    return None, others


def _fault_in_words(error: Exception, *, complete: bool) -> str:
    if complete:
        return "the bytes after the end of the recording are not FIT data and were left out"
    if isinstance(error, fitdecode.FitEOFError):
        return "the file is cut short: it ends before the recording does"
    return f"the file is damaged: a message cannot be decoded ({' '.join(str(error).split()) or type(error).__name__})"


def _is_developer(item: Any) -> bool:
    return item.field_def is not None and item.field_def.is_dev


class _RecordColumns:
    """Appends the values of record messages to columns, without a dictionary per record."""

    def __init__(self, found: FitMessages) -> None:
        self._part = found.part
        self._columns = [found.columns[name] for name, _ in SLOTS]
        self._air_speed = found.columns["air_speed_m_s"]
        self._slot = {number: (slot, rank) for slot, (_, ns) in enumerate(SLOTS) for rank, number in enumerate(ns)}
        self.air_scales: dict[Any, float | None] = {}

    def add(self, frame: Any, part: int) -> None:
        values = [NAN] * len(SLOTS)
        ranks = [NO_RANK] * len(SLOTS)
        air_speed = NAN
        for item in frame.fields:
            if item.field is None:
                continue
            value = item.value
            if type(value) is tuple:
                value = next((one for one in value if one is not None), None)
            if value is None or type(value) is str:
                continue
            if _is_developer(item):
                if item.field not in self.air_scales:
                    self.air_scales[item.field] = air_speed_scale(item.field.name, item.field.units)
                scale = self.air_scales[item.field]
                if scale is not None and air_speed != air_speed:
                    air_speed = float(value) * scale
                continue
            place = self._slot.get(item.field.def_num)
            if place is None:
                continue
            slot, rank = place
            if item.field_def is None:
                rank += EXPANDED
            if rank < ranks[slot]:
                values[slot], ranks[slot] = float(value), rank
        for column, one in zip(self._columns, values, strict=True):
            column.append(one)
        self._air_speed.append(air_speed)
        self._part.append(part)


def air_speed_scale(name: object, units: object) -> float | None:
    """Factor from the field's declared unit to m/s; None if it is no air speed in a known unit.

    Examples
    --------
    >>> air_speed_scale("Air Speed", "mph")
    0.44704
    >>> air_speed_scale("Speed", "m/s") is None
    True
    """
    if not _is_air_speed(name):
        return None
    return AIR_SPEED_SCALES.get(str(units or "").lower().replace(" ", "").replace("·", "").replace("^", ""))


def left_out_air_speed(fields: Mapping[Any, float | None]) -> list[str]:
    """Return notes on air-speed fields whose unit is missing or unknown."""
    lost = (one for one, scale in fields.items() if scale is None and _is_air_speed(one.name))
    return sorted(
        {
            f"the developer field {one.name!r} has "
            f"{f'the unit {one.units!r}' if one.units else 'no unit'} and was left out; "
            "air speed is read in m/s, km/h or mph"
            for one in lost
        }
    )


def _is_air_speed(name: object) -> bool:
    return re.sub(r"[^a-z]", "", str(name or "").lower()) in AIR_SPEED_NAMES


@cache
def _crc_table() -> tuple[int, ...]:
    entries = []
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
        entries.append(crc)
    return tuple(entries)


def fit_crc(content: bytes) -> int:
    """CRC of the bytes: CRC-16 with the reversed polynomial 0xA001, 0 at the start, as the FIT protocol sets it.

    Examples
    --------
    >>> hex(fit_crc(b"123456789"))
    '0xbb3d'
    """
    crc, table = 0, _crc_table()
    for byte in content:
        crc = (crc >> 8) ^ table[(crc ^ byte) & 0xFF]
    return crc


def checksum_notes(content: bytes) -> list[str]:
    """One note for each file in the chain whose checksum does not match its bytes."""
    notes, start, number = [], 0, 0
    while content[start + 8 : start + 12] == b".FIT":
        number += 1
        end = start + content[start] + int(struct.unpack_from("<I", content, start + 4)[0])
        if end + 2 > len(content):
            break
        if fit_crc(content[start:end]) != struct.unpack_from("<H", content, end)[0]:
            which = f"file {number} of the chain: " if number > 1 else ""
            notes.append(
                f"{which}the checksum does not match: some bytes have changed since recording; values may be wrong"
            )
        start = end + 2
    return notes
