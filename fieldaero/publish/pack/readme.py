"""The README of a pack: what is in it, what was kept back, and how to redo the analysis."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from fieldaero.answers.result import Result
from fieldaero.basics.formatting import number, one_line
from fieldaero.basics.safety import SAFETY

__all__ = ["readme"]

COLUMNS = 100
CLOCK = re.compile(r"\d\d:\d\d|\d{4}-\d\d-\d\d|°")

DISGUISED = (
    "Positions are metres east and north of the start line (columns east_m and north_m); latitude and longitude are "
    "not in the pack. For gravity the run sheet gives the course's latitude in whole degrees.",
    "Clock times are times since the session began, written as if it had begun on 2000-01-01 at 00:00:00 UTC; rides, "
    "weather and laps are moved alike.",
    "Not in the pack: device names, serial numbers, heart rate, and what the files of photographs hold besides the "
    "picture (place, time, camera).",
    "The shape of the course, its elevation, photographs, titles and notes may still show somebody where it was.",
)
OPEN = (
    "Positions and clock times are as recorded: the pack says where and when this was ridden.",
    "Not in the ride tables: device names, serial numbers and heart rate. The photographs are without what their files "
    "held besides the picture (place, time, camera).",
)
ORIGINALS = (
    "The folder originals holds the recorded files themselves, with everything that is in them: positions, times, "
    "devices and their serial numbers, heart rate."
)


def readme(result: Result, again: Result, *, files: Sequence[str], with_positions: bool, with_originals: bool) -> str:
    """Return the text.

    ``result`` is as analysed from the original files, ``again`` from those in the pack.
    """
    privacy = [*(OPEN if with_positions else DISGUISED), *([ORIGINALS] if with_originals else [])]
    parts = [
        one_line(again.title),
        _filled(
            f"The data of this test, and what fieldaero {again.version} made of them. The answer is in report.html "
            "(open it in any browser) and summary.txt, every number in results.json, the tables in tables/, the "
            "figures in figures/."
        ),
        "How to check that nothing was changed\n\n    sha256sum -c SHA256SUMS",
        "How to redo the analysis (Python 3.11 or later, fieldaero installed)\n\n"
        "    fieldaero analyse runsheet.toml --out again\n    fieldaero report runsheet.toml --out again.html",
        _filled(
            "That gives the numbers of results.json. Change runsheet.toml, a plain text file, to try another mass, "
            "weather or choice of laps. The rides are CSV tables: one row per sample, columns named with their units."
        ),
        _filled(_compared(result, again)),
        "What was kept back\n\n" + "\n".join(_bullet(line) for line in privacy),
        "Before anybody repeats this on a road\n\n" + "\n".join(_bullet(line) for line in SAFETY),
    ]
    notes = _notes(result, with_positions=with_positions)
    if notes:
        parts.append("What was repaired when the recorded files were read\n\n" + "\n".join(map(_bullet, notes)))
    parts.append("Files\n\n" + "\n".join(f"    {name}" for name in files))
    return "\n\n".join(parts) + "\n"


def _compared(result: Result, again: Result) -> str:
    pairs = zip(result.comparison_results, again.comparison_results, strict=True)
    apart = [
        abs(a.delta_cda_m2 - b.delta_cda_m2)
        for a, b in pairs
        if a.delta_cda_m2 is not None and b.delta_cda_m2 is not None
    ]
    if not apart:
        return "The numbers in this pack are those of the files in it."
    return (
        "The numbers in this pack are those of the files in it. Analysing the recorded files instead changes no "
        f"difference of drag area by more than {number(max(max(apart), 1e-9), places=9)} m²."
    )


def _notes(result: Result, *, with_positions: bool) -> list[str]:
    """Return what readers noted; in a disguise without what tells a time or a place."""
    return [
        f"Ride {k}: {one_line(note)}."
        for k, ride in enumerate(result.session.rides, start=1)
        for note in ride.ride.notes
        if with_positions or not CLOCK.search(note)
    ]


def _filled(text: str) -> str:
    return textwrap.fill(text, COLUMNS)


def _bullet(text: str) -> str:
    return textwrap.fill(text, COLUMNS, initial_indent="- ", subsequent_indent="  ")
