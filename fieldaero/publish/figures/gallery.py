"""All figures of the sample session on one page: ``python -m fieldaero.publish.figures.gallery FOLDER``."""

from __future__ import annotations

import sys
from collections.abc import Callable
from html import escape
from pathlib import Path

from matplotlib.figure import Figure

from fieldaero.answers.analysis import analyse
from fieldaero.answers.result import Result
from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.output_files import write_files
from fieldaero.publish.figures.air import air, yaw_ridden
from fieldaero.publish.figures.budget import budget
from fieldaero.publish.figures.differences import differences
from fieldaero.publish.figures.elevation import elevation, residual
from fieldaero.publish.figures.laps_by_time import laps_by_time
from fieldaero.publish.figures.saving import figure_bytes
from fieldaero.publish.figures.tunnel import tunnel
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder

__all__ = ["FIGURES", "gallery", "write_gallery"]

FIGURES: dict[str, Callable[[Result], Figure]] = {
    "differences": differences,
    "laps_by_time": laps_by_time,
    "elevation": elevation,
    "residual": residual,
    "air": air,
    "yaw_ridden": yaw_ridden,
    "tunnel": tunnel,
    "budget": budget,
}
"""Figures of a result, by the name of their function."""

PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Figures of {title}</title>
<style>
body {{ max-width: 60rem; margin: 2rem auto; padding: 0 1rem; font: 1rem/1.5 system-ui, sans-serif; color: #1b1b1a;
  background: #f7f6f2; }}
figure {{ margin: 2rem 0; }}
img {{ display: block; width: 100%; background: #fff; border: 1px solid #c9c7bd; }}
</style>
</head>
<body>
<h1>Figures of {title}</h1>
<p>Each is a function of fieldaero.publish.figures that takes a result and returns a figure.</p>
{figures}
</body>
</html>
"""
ENTRY = '<figure><figcaption><code>{name}</code>: {told}</figcaption><img src="{name}.svg" alt="{told}"></figure>'


def gallery(result: Result) -> dict[str, bytes]:
    """Return the page and its figures as files, by name.

    Parameters
    ----------
    result
        Of an analysis.
    """
    files = {f"{name}.svg": figure_bytes(draw(result), ".svg") for name, draw in FIGURES.items()}
    entries = [ENTRY.format(name=name, told=escape(_first_line(draw), quote=True)) for name, draw in FIGURES.items()]
    page = PAGE.format(title=escape(result.title), figures="\n".join(entries))
    return {"index.html": page.encode("utf-8"), **files}


def write_gallery(folder: Path) -> Path:
    """Write the gallery of the sample session into a folder, all files or none, and return its page."""
    write_files(gallery(analyse(sample_folder() / SAMPLE_SHEET)), folder)
    return folder / "index.html"


def _first_line(draw: Callable[[Result], Figure]) -> str:
    return (draw.__doc__ or draw.__name__).strip().splitlines()[0]


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m fieldaero.publish.figures.gallery FOLDER")
    try:
        print(f"Wrote {write_gallery(Path(sys.argv[1]))}.")
    except FieldaeroError as problem:
        print(f"fieldaero: {problem}", file=sys.stderr)
        sys.exit(problem.exit_status)
