"""CSV files with the contract's columns: delimiter and decimal sign found together.

Lines that begin with # are comments.  A cell that is empty or no number is missing;
a time that is missing or does not rise is an error that names its line.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from fieldaero.basics.errors import FieldaeroError, RideError
from fieldaero.basics.formatting import counted
from fieldaero.rides.detect import RideFile, text_of
from fieldaero.rides.formats.csv_columns import (
    IN_OTHER_UNITS,
    KNOWN_COLUMNS,
    LOCAL_COLUMNS,
    MISSING,
    equal_cells,
    marks_of_rows,
)
from fieldaero.rides.local_positions import LOCAL_FRAME
from fieldaero.rides.recording import Recording, check_samples, parse_time, table_of
from fieldaero.rides.ride import Pause

__all__ = ["read_csv"]

DELIMITERS = (",", ";", "\t", "|")
TEXT_COLUMNS = {"timestamp", "lap", "lap_trigger", "pause", "speed_from"}
NEEDED = (
    "needed are timestamp (ISO 8601) or time_s, power_w, and one of speed_m_s, speed_km_h, distance_m, "
    "latitude_deg with longitude_deg, or east_m with north_m"
)


@dataclass(frozen=True, kw_only=True)
class _Sheet:
    """Cells by column as text, and the line of the file that each row came from."""

    name: str
    columns: dict[str, list[str]]
    lines: list[int]
    notes: list[str]


def read_csv(file: RideFile) -> Recording:
    """Read a CSV file with the contract's columns."""
    sheet = _sheet(file)
    decimal = _decimal_sign(sheet)
    time_s, clock_zero, notes = _time(sheet, decimal)
    columns: dict[str, list[float]] = {}
    for name, cells in sheet.columns.items():
        if name in TEXT_COLUMNS or name == "time_s":
            continue
        column, factor = IN_OTHER_UNITS.get(name, (name, 1.0))
        values, unread = _numbers(cells, decimal)
        if unread:
            first = unread[0]
            notes.append(
                f"{name}: {counted(len(unread), 'value')} not a number and taken as missing, "
                f"the first {cells[first]!r} in line {sheet.lines[first]}"
            )
        columns[column] = [value * factor for value in values] if factor != 1.0 else values
    if set(LOCAL_COLUMNS) <= columns.keys():
        columns |= _degrees(sheet.name, *(columns.pop(name) for name in LOCAL_COLUMNS))
    derived = set(sheet.columns.get("speed_from", ())) & {"distance", "position"}
    return Recording(
        format="CSV",
        samples=table_of({**columns, "time_s": time_s}),
        clock_zero=clock_zero,
        lap_marks=tuple(
            marks_of_rows(
                sheet.columns.get("lap", []),
                time_s,
                triggers=sheet.columns.get("lap_trigger"),
                starts_s=columns.get("lap_start_s"),
                ends_s=columns.get("lap_end_s"),
            )
        ),
        timer_stops=tuple(_timer_stops(sheet, time_s)),
        speed_from=min(derived) if derived else "recorded",
        notes=(*sheet.notes, *notes),
    )


def _degrees(name: str, east_m: list[float], north_m: list[float]) -> dict[str, list[float]]:
    try:
        latitude, longitude = LOCAL_FRAME.to_degrees(east_m, north_m)
    except FieldaeroError as error:
        raise RideError(f"{name}: {error}; give metres from the start line") from None
    return {"latitude_deg": latitude.tolist(), "longitude_deg": longitude.tolist()}


def _sheet(file: RideFile) -> _Sheet:
    lines = [
        (number, line)
        for number, line in enumerate((text_of(file.content) or "").splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise RideError(f"{file.name}: a CSV file with nothing but comments; {NEEDED}")
    try:
        return _cells(file.name, lines)
    except csv.Error as error:
        raise RideError(f"{file.name}: not readable as CSV ({error}); check quotes and delimiters") from error


def _cells(name: str, lines: list[tuple[int, str]]) -> _Sheet:
    delimiter, header = _header(lines[0][1])
    if twice := sorted({column for column in header if column in KNOWN_COLUMNS and header.count(column) > 1}):
        raise RideError(f"{name}: column {twice[0]} appears twice; keep one")
    _check_columns(name, header)
    numbers, rows = [], []
    notes = []
    reader = csv.reader((text for _, text in lines[1:]), delimiter=delimiter)
    for row in reader:
        line = lines[reader.line_num][0]
        if not any(cell.strip() for cell in row):
            continue
        if len(row) < len(header) and line == lines[-1][0]:
            notes.append(f"the last line ({line}) breaks off and was left out")
            continue
        if len(row) < len(header) or any(cell.strip() for cell in row[len(header) :]):
            raise RideError(
                f"{name}, line {line}: {len(row)} cells for {len(header)} columns; with decimal commas, separate the "
                "cells with semicolons"
            )
        numbers.append(line)
        check_samples(len(numbers), name)
        rows.append([cell.strip() for cell in row[: len(header)]])
    unknown = [column for column in header if column and column not in KNOWN_COLUMNS]
    if unknown:
        notes.append(f"{counted(len(unknown), 'column')} not used: {', '.join(unknown)}")
    columns = {column: [row[place] for row in rows] for place, column in enumerate(header) if column in KNOWN_COLUMNS}
    return _Sheet(name=name, columns=columns, lines=numbers, notes=notes)


def _header(line: str) -> tuple[str, list[str]]:
    """Delimiter that gives most known columns, then most columns, and the columns in lower case."""
    best: tuple[tuple[int, int], str, list[str]] | None = None
    for delimiter in DELIMITERS:
        header = [cell.strip().strip('"').lower() for cell in next(csv.reader([line], delimiter=delimiter), [])]
        rank = (sum(cell in KNOWN_COLUMNS for cell in header), len(header))
        if best is None or rank > best[0]:
            best = (rank, delimiter, header)
    assert best is not None
    return best[1], best[2]


def _check_columns(name: str, header: list[str]) -> None:
    have = set(header)
    moves = bool(have & {"speed_m_s", "speed_km_h", "distance_m"}) or {"latitude_deg", "longitude_deg"} <= have
    moves = moves or set(LOCAL_COLUMNS) <= have
    if not (have & {"timestamp", "time_s"} and "power_w" in have and moves):
        found = ", ".join(cell or "(empty)" for cell in header[:30])
        what = "" if have & KNOWN_COLUMNS else "not a ride file (FIT, TCX, GPX or CSV); as CSV, the "
        sheet = ". To analyse a run sheet: fieldaero analyse" if name.lower().endswith(".toml") else ""
        raise RideError(f"{name}: {what}columns found are {found[:400]}; {NEEDED}{sheet}")
    if len(have & set(LOCAL_COLUMNS)) == 1 or (have & set(LOCAL_COLUMNS) and have & {"latitude_deg", "longitude_deg"}):
        raise RideError(
            f"{name}: positions are latitude_deg with longitude_deg, or east_m with north_m; keep one of the two pairs"
        )
    for other, (column, _) in IN_OTHER_UNITS.items():
        if other in have and column in have:
            raise RideError(f"{name}: has both {other} and {column}; keep one")


def _decimal_sign(sheet: _Sheet) -> str:
    commas = points = None
    for name, cells in sheet.columns.items():
        if name in TEXT_COLUMNS:
            continue
        for row, cell in enumerate(cells):
            if "," in cell:
                commas = (name, row) if commas is None else commas
                if "." in cell:
                    raise RideError(
                        f"{sheet.name}, line {sheet.lines[row]}: {name} is {cell!r}, with comma and point; "
                        "write numbers without thousands separators"
                    )
            elif "." in cell:
                points = (name, row) if points is None else points
    if commas and points:
        where = f"{commas[0]} in line {sheet.lines[commas[1]]}, {points[0]} in line {sheet.lines[points[1]]}"
        raise RideError(f"{sheet.name}: decimal commas and decimal points mixed ({where}); use one of them throughout")
    return "," if commas else "."


def _numbers(cells: list[str], decimal: str) -> tuple[list[float], list[int]]:
    """Values, NaN where missing, and the rows whose cell is not a number."""
    values, unread = [], []
    for row, cell in enumerate(cells):
        try:
            values.append(float(cell.replace(",", ".") if decimal == "," else cell))
        except ValueError:
            values.append(math.nan)
            if cell.lower() not in MISSING:
                unread.append(row)
    return values, unread


def _time(sheet: _Sheet, decimal: str) -> tuple[list[float], datetime | None, list[str]]:
    notes: list[str] = []
    clock_zero: datetime | None = None
    if "timestamp" in sheet.columns:
        name, stamps = "timestamp", []
        cells = sheet.columns[name]
        unzoned = 0
        for row, cell in enumerate(cells):
            parsed = parse_time(cell)
            if parsed is None:
                raise RideError(
                    f"{sheet.name}, line {sheet.lines[row]}: timestamp is {cell!r}; give ISO 8601 with a zone, "
                    "like 2026-05-03T07:10:00.5Z, or seconds in a column time_s"
                )
            stamps.append(parsed[0])
            unzoned += not parsed[1]
        if unzoned:
            notes.append(f"{counted(unzoned, 'time stamp')} without a time zone taken as UTC")
        clock_zero = stamps[0] if stamps else None
        time_s = [(stamp - stamps[0]).total_seconds() for stamp in stamps]
    else:
        name = "time_s"
        cells = sheet.columns[name]
        time_s, _ = _numbers(cells, decimal)
        for row, value in enumerate(time_s):
            if not math.isfinite(value):
                raise RideError(
                    f"{sheet.name}, line {sheet.lines[row]}: time_s is {cells[row]!r}; give seconds since the start"
                )
    falls = np.flatnonzero(np.diff(time_s) <= 0.0)
    if len(falls):
        row = int(falls[0]) + 1
        raise RideError(
            f"{sheet.name}, line {sheet.lines[row]}: {name} is {cells[row]}, not later than {cells[row - 1]} in "
            "the row before; times must rise from row to row"
        )
    return time_s, clock_zero, notes


def _timer_stops(sheet: _Sheet, time_s: list[float]) -> Iterator[Pause]:
    for first, after, cell in equal_cells(sheet.columns.get("pause", [])):
        if cell == "timer" and first > 0:
            yield Pause(start_s=time_s[first - 1], end_s=time_s[after - 1], cause="timer")
