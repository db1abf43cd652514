"""Files of any kind added to a draft: rides, weather of a station, or a run sheet with what it names.

Each file that cannot be used gets its own sentence, and the others are still read.  What a run
sheet names is taken from files at hand, never looked for on a disk.

A sheet that was saved unfinished can be opened again: what it says is checked, what it
does not say yet stays open.  Weather files and tunnel sweeps become values in its tables,
so that the draft holds all there is.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any

from fieldaero.basics.errors import FieldaeroError, OutOfRangeError, RideError, RunSheetError
from fieldaero.draft.draft import Draft, DraftRide, SheetTables, read_draft_ride, shared_line
from fieldaero.run_sheet.messages import checked
from fieldaero.run_sheet.schema import RideTable, TunnelSweep
from fieldaero.run_sheet.sheet import check_unfinished, ride_entry, toml_table
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from fieldaero.weather.station_csv import is_weather_csv, weather_readings

__all__ = ["Added", "add_files", "named_files", "open_draft", "open_sample", "open_sheet"]


@dataclass(frozen=True, kw_only=True)
class Added:
    """What became of some files: names of those that were taken, and a sentence for each that was refused."""

    draft: Draft
    taken: tuple[str, ...]
    refused: tuple[str, ...]


def add_files(
    draft: Draft, files: Sequence[tuple[str, bytes]], *, progress: Callable[[int, str], None] | None = None
) -> Added:
    """Put files in a draft.

    A run sheet takes the place of the former draft; rides that it names may be part of that already.  Rides are
    put in order of time where all have a clock.  ``progress`` is called before each file with how many are done and
    the name of the next.

    Examples
    --------
    >>> from fieldaero.draft.draft import empty_draft
    >>> added = add_files(empty_draft(), [("note.txt", b"hello")])
    >>> added.taken, len(added.refused)
    ((), 1)
    """
    say = progress or (lambda done, name: None)
    taken: list[str] = []
    refused: list[str] = []
    sheets = [(name, content) for name, content in files if PurePosixPath(name).suffix.lower() == ".toml"]
    others = [(name, content) for name, content in files if (name, content) not in sheets]
    for name, content in sheets[:1]:
        say(0, name)
        known = {ride.name: ride.content for ride in draft.rides} | dict(others)
        try:
            text = _text(content, name)
            draft = open_draft(text, name=name, files=known)
            taken.append(name)
            used = {PurePosixPath(file).name for file in named_files(text, name=name)}
            taken += [other for other, _ in others if PurePosixPath(other).name in used]
            others = [(other, data) for other, data in others if PurePosixPath(other).name not in used]
        except FieldaeroError as problem:
            refused.append(str(problem))
    refused += [f"{name}: a second run sheet; open one at a time" for name, _ in sheets[1:]]
    for name, content in others:
        say(len(taken) + len(refused), name)
        try:
            if is_weather_csv(content):
                rows = [*draft.tables.weather, *weather_readings(content, name=name)]
                draft = draft.with_table("weather", rows)
            else:
                draft = draft.with_ride(content, name=name)
            taken.append(name)
        except FieldaeroError as problem:
            refused.append(str(problem))
    if not sheets:
        draft = _in_order_of_time(draft)
    return Added(draft=draft, taken=tuple(taken), refused=tuple(refused))


def open_draft(text: str, *, name: str, files: Mapping[str, bytes]) -> Draft:
    """Put a run sheet and what it names in a draft.

    ``files`` holds the bytes of the rides, weather files and sweeps that it names, by file name; a folder that the
    sheet puts before a name is passed over where only the name is known.
    """
    raw = _checked(text, name)
    said: dict[str, Any] = {key: value for key, value in raw.items() if key not in ("schema", "rides")}
    if said.get("setups"):
        said.setdefault("baseline", said["setups"][0]["name"])
    sweeps = [checked(TunnelSweep, entry, where=name) for entry in raw.get("tunnel", ())]
    said["weather"] = [row for entry in raw.get("weather", ()) for row in _weather(entry, name, files)]
    said["tunnel"] = [_sweep(row, sweeps[k], k, name, files) for k, row in enumerate(raw.get("tunnel", ()))]
    said["races"] = [_race(entry, k, name, files) for k, entry in enumerate(raw.get("races", ()))]
    rides: list[DraftRide] = []
    for row in raw.get("rides", ()):
        entry = ride_entry(checked(RideTable, row, where=name), folder=Path())
        content = _at_hand(entry.file, name, files)
        kept = entry.file if entry.file in files and _stays_below(entry.file) else PurePosixPath(entry.file).name
        listed = read_draft_ride(
            content,
            name=kept,
            lap_source=entry.lap_source,
            start_line=entry.start_line,
            shared_line=shared_line(rides),
        )
        if len(listed.setups) != len(entry.laps):
            raise RunSheetError(
                f"{name}: {entry.file} has {len(listed.setups)} laps and {len(entry.laps)} are listed; "
                'list every lap, with "-" for one that is not used'
            )
        rides.append(replace(listed, setups=entry.laps))
    return Draft(rides=tuple(rides), tables=SheetTables(**said), opened_text=text)


def named_files(text: str, *, name: str) -> tuple[str, ...]:
    r"""Return the names of rides, weather files and sweeps that a run sheet names, each once.

    Examples
    --------
    >>> named_files('schema = 1\n[[weather]]\nfile = "station.csv"\n', name="sheet.toml")
    ('station.csv',)
    """
    raw = _checked(text, name)
    entries = (entry for what in ("rides", "weather", "tunnel", "races") for entry in raw.get(what, ()))
    return tuple(dict.fromkeys(str(entry["file"]) for entry in entries if entry.get("file")))


def open_sheet(path: Path) -> Draft:
    """Open a run sheet on this machine's own disk with the files that it names, as far as they are there."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise RunSheetError(f"{path.name}: cannot be read as UTF-8 text; a run sheet is a TOML file") from None
    beside = {name: path.parent / name for name in named_files(text, name=path.name)}
    files = {name: file.read_bytes() for name, file in beside.items() if file.is_file()}
    return open_draft(text, name=path.name, files=files)


def open_sample() -> Draft:
    """Open the sample session."""
    return open_sheet(sample_folder() / SAMPLE_SHEET)


def _checked(text: str, name: str) -> dict[str, Any]:
    raw = toml_table(text, name=name)
    check_unfinished(raw, name=name)
    return raw


def _weather(entry: Mapping[str, Any], name: str, files: Mapping[str, bytes]) -> list[dict[str, Any]]:
    file = entry.get("file")
    if file is None:
        return [dict(entry)]
    return [dict(row) for row in weather_readings(_at_hand(file, name, files), name=PurePosixPath(file).name)]


def _sweep(
    entry: Mapping[str, Any], table: TunnelSweep, k: int, name: str, files: Mapping[str, bytes]
) -> dict[str, Any]:
    file = entry.get("file")
    if file is None:
        return dict(entry)
    from fieldaero.answers.cross_checks.tunnel_sweep import read_sweep_csv

    content = _at_hand(file, name, files)
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch, PurePosixPath(file).name)
        path.write_bytes(content)
        sweep = read_sweep_csv(path, table=table, where=f"{name}: [[tunnel]] no. {k + 1}, file")
    row = {key: value for key, value in entry.items() if key not in ("file", "sd_m2")}
    row |= {"yaw_deg": sweep.yaw_deg.tolist(), "cda_m2": sweep.cda_m2.tolist()}
    return row | ({"sd_m2": sweep.sd_m2.tolist()} if sweep.sd_stated else {})


def _race(entry: Mapping[str, Any], k: int, name: str, files: Mapping[str, bytes]) -> dict[str, Any]:
    file = entry.get("file")
    if file is None:
        return dict(entry)
    from fieldaero.answers.race.profile import course_from_file, course_numbers

    content = _at_hand(file, name, files)
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch, PurePosixPath(file).name)
        path.write_bytes(content)
        try:
            course = course_from_file(path)
        except OutOfRangeError as problem:
            raise RunSheetError(f"{name}: [[races]] no. {k + 1}: {problem}") from None
    return {key: value for key, value in entry.items() if key != "file"} | course_numbers(course)


def _at_hand(file: str, sheet: str, files: Mapping[str, bytes]) -> bytes:
    content = files.get(file, files.get(PurePosixPath(file.replace("\\", "/")).name))
    if content is None:
        raise RideError(
            f"{file}: named by {sheet}, but not given; add that file together with the run sheet, or open the sheet "
            "with: fieldaero app SHEET"
        )
    return content


def _stays_below(file: str) -> bool:
    path = PurePosixPath(file.replace("\\", "/"))
    return not path.is_absolute() and ".." not in path.parts and ":" not in file


def _text(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RunSheetError(f"{name}: is not UTF-8 text; a run sheet is a TOML file, saved as UTF-8") from None


def _in_order_of_time(draft: Draft) -> Draft:
    starts: dict[str, datetime] = {r.name: r.ride.start_time for r in draft.rides if r.ride.start_time is not None}
    if len(starts) < len(draft.rides):
        return draft
    return draft.with_rides(sorted(draft.rides, key=lambda r: starts[r.name]))
