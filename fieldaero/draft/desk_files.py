"""Files put on a desk, of whatever kind: rides, weather of a station, or a run sheet with what it names.

Each file that cannot be used gets its own sentence, and the others are still read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import PurePosixPath

from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.draft.draft import Desk
from fieldaero.draft.open_files import named_files, open_on_desk
from fieldaero.weather.station_csv import is_weather_csv, weather_readings

__all__ = ["Added", "add_files"]


@dataclass(frozen=True, kw_only=True)
class Added:
    """What became of some files.

    Attributes
    ----------
    desk
        With what could be read.
    taken
        Names of the files that were.
    refused
        One sentence per file that was not: what was found and what to do.
    """

    desk: Desk
    taken: tuple[str, ...]
    refused: tuple[str, ...]


def add_files(
    desk: Desk, files: Sequence[tuple[str, bytes]], *, progress: Callable[[int, str], None] | None = None
) -> Added:
    """Put files on a desk.

    Parameters
    ----------
    desk
        As it is.
    files
        Name and bytes of each, in any order.  A run sheet takes the place of what was on the desk; rides that
        it names may lie there already.
    progress
        Called before each file with how many are done and the name of the next.

    Returns
    -------
    The new desk, rides in order of time where all have a clock, and what was refused.

    Examples
    --------
    >>> from fieldaero.draft.draft import empty_desk
    >>> added = add_files(empty_desk(), [("note.txt", b"hello")])
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
        known = {ride.name: ride.content for ride in desk.rides} | dict(others)
        try:
            text = _text(content, name)
            desk = open_on_desk(text, name=name, files=known)
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
                rows = [*desk.tables.get("weather", ()), *weather_readings(content, name=name)]
                desk = desk.with_table("weather", rows)
            else:
                desk = desk.with_ride(content, name=name)
            taken.append(name)
        except FieldaeroError as problem:
            refused.append(str(problem))
    if not sheets:
        desk = _in_order_of_time(desk)
    return Added(desk=desk, taken=tuple(taken), refused=tuple(refused))


def _text(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RunSheetError(f"{name}: is not UTF-8 text; a run sheet is a TOML file, saved as UTF-8") from None


def _in_order_of_time(desk: Desk) -> Desk:
    starts: dict[str, datetime] = {r.name: r.ride.start_time for r in desk.rides if r.ride.start_time is not None}
    if len(starts) < len(desk.rides):
        return desk
    return replace(desk, rides=tuple(sorted(desk.rides, key=lambda r: starts[r.name])))
