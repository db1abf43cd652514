"""Which run sheets belong together: none given twice, and each linked to the others by a common setup."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from fieldaero.answers.result import Result
from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.run_sheet.schema import NOT_USED
from fieldaero.run_sheet.sheet import RunSheet

__all__ = ["check_laps_once", "check_related", "check_sheets_once", "labels", "named_setups", "near_misses"]

OVERLAP = 0.1  # of a lap: more in common, and it is the same lap


def labels(paths: Sequence[Path]) -> tuple[str, ...]:
    """Return what the sheets are called: their file names, or as much of their paths as tells them apart.

    Examples
    --------
    >>> labels([Path("may/test.toml"), Path("june/test.toml")]), labels([Path("may/a.toml"), Path("may/b.toml")])
    (('may/test.toml', 'june/test.toml'), ('a.toml', 'b.toml'))
    """
    names = tuple(path.name for path in paths)
    if len(set(names)) == len(names):
        return names
    whole = [path.absolute() for path in paths]
    try:
        common = os.path.commonpath([path.parent for path in whole])
    except ValueError:  # on different drives
        return tuple(path.as_posix() for path in paths)
    return tuple(path.relative_to(common).as_posix() for path in whole)


def named_setups(sheet: RunSheet) -> tuple[str, ...]:
    """Return the setups that the sheet gives laps to, in its order of setups."""
    ridden = {name for ride in sheet.rides for name in ride.laps if name != NOT_USED}
    return tuple(setup.name for setup in sheet.setups if setup.name in ridden)


def check_sheets_once(paths: Sequence[Path], sheets: Sequence[RunSheet]) -> None:
    """Refuse fewer than two sheets, and a sheet given twice."""
    if len(paths) < 2:
        one = f" A single session is analysed by: fieldaero analyse {paths[0]}" if paths else ""
        raise RunSheetError(f"pooling needs two run sheets or more, and {len(paths)} was given.{one}")
    for k, sheet in enumerate(sheets):
        for before in range(k):
            same_text = sheet.sha256 == sheets[before].sha256 and sheet.path.parent == sheets[before].path.parent
            if paths[k].resolve() == paths[before].resolve() or same_text:
                raise RunSheetError(
                    f"{paths[k]}: is the same run sheet as {paths[before]}; a session counts once, give it once"
                )


def check_laps_once(results: Sequence[Result], names: Sequence[str]) -> None:
    """Refuse a lap that two sheets use: it would count twice."""
    seen: dict[str, list[tuple[float, float, str]]] = {}
    for result, name in zip(results, names, strict=True):
        for used in result.estimates.laps:
            source, lap = result.session.rides[used.ride].ride.source, used.lap
            # By time, because laps by the button and laps by the line can have other numbers.
            for start, end, other in seen.setdefault(source.sha256, []):
                common_s = min(end, lap.end_s) - max(start, lap.start_s)
                if other != name and common_s > OVERLAP * (lap.end_s - lap.start_s):
                    raise RunSheetError(
                        f"{name}: lap {lap.number} of {source.file} is used in {other} too, and a lap counts once; "
                        'put "-" for it in one of the two, or leave one sheet out'
                    )
            seen[source.sha256].append((lap.start_s, lap.end_s, name))


def check_related(setups: Mapping[str, Sequence[str]], *, error: type[FieldaeroError] = RunSheetError) -> None:
    """Refuse a sheet that no chain of common setups links to the others.

    Says which sheet shares nothing, and which setups may be meant to be the same.

    Examples
    --------
    >>> check_related({"may.toml": ["bare", "faired"], "june.toml": ["bare", "wide"]})
    """
    groups: list[list[str]] = []
    for sheet, own in setups.items():
        linked = [g for g in groups if any(set(own) & set(setups[other]) for other in g)]
        groups = [g for g in groups if g not in linked] + [[*(s for g in linked for s in g), sheet]]
    if len(groups) < 2:
        return
    order = list(setups)
    # The largest group is what the person means; of equal ones that of the first sheet.
    main = max(groups, key=lambda g: (len(g), -min(order.index(s) for s in g)))
    stranger = next(sheet for sheet in order if sheet not in main)
    others = [name for sheet in main for name in setups[sheet]]
    alike = near_misses({stranger: setups[stranger], main[0]: others})
    hint = f" {alike[0]}" if alike else ""
    raise error(
        f"{stranger}: shares no setup with the other sheets. It has {_listed(setups[stranger])}, the others have "
        f"{_listed(others)}; sessions can be pooled where a setup of exactly the same name was ridden in both.{hint}"
    )


def near_misses(setups: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Say which names of setups differ only in capitals, spaces, hyphens or underscores.

    Examples
    --------
    >>> near_misses({"may.toml": ["Aero bar"], "june.toml": ["aero  bar"]})
    ('"Aero bar" (may.toml) and "aero  bar" (june.toml) differ only in capitals, spaces or hyphens; if they are the \
same setup, write them alike.',)
    """
    first: dict[str, tuple[str, str]] = {}
    found = []
    for sheet, names in setups.items():
        for name in names:
            known, where = first.setdefault(re.sub(r"[\s_-]+", "", name).casefold(), (name, sheet))
            if known != name:
                found.append(
                    f'"{known}" ({where}) and "{name}" ({sheet}) differ only in capitals, spaces or hyphens; '
                    "if they are the same setup, write them alike."
                )
    return tuple(dict.fromkeys(found))


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in dict.fromkeys(names))
