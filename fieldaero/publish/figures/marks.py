"""Colours and marks of setups, alike in every figure: a colour never comes without its mark."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from fieldaero.basics.formatting import one_line, shortened

__all__ = ["BAND", "DARK", "GREY", "colour_of", "mark_of", "named", "open_sides", "setup_legend", "stroke_of"]

# Okabe and Ito's palette for all kinds of colour vision; the yellow is darkened to be seen on white.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#8A6D00", "#56B4E9")
STROKES: tuple[Literal["-", "--", "-.", ":"], ...] = ("-", "--", "-.", ":")
MARKS = ("o", "s", "^", "D", "P", "v")
DARK, GREY, BAND = "#1b1b1a", "#77776f", "#e8e8e8"
LONGEST_NAME = 34


def colour_of(setup: str, setups: Sequence[str]) -> str:
    """Return a setup's colour, grey for none of them."""
    return COLOURS[list(setups).index(setup) % len(COLOURS)] if setup in setups else GREY


def mark_of(setup: str, setups: Sequence[str]) -> str:
    """Return a setup's mark, a cross for none of them."""
    return MARKS[list(setups).index(setup) % len(MARKS)] if setup in setups else "x"


def named(text: str) -> str:
    """Return a name for a figure: on one line, not too long, its dollar signs no formulas."""
    return shortened(one_line(text), LONGEST_NAME).replace("$", r"\$")


def open_sides(axes: Axes, *sides: str) -> None:
    """Take the frame off, on these sides."""
    for side in sides or ("top", "right"):
        axes.spines[side].set_visible(False)


def setup_legend(axes: Axes, setups: Sequence[str], *, marks: bool = True) -> None:
    """Name the setups that are drawn, above the axes."""
    handles = [
        Line2D(
            [],
            [],
            color=colour_of(name, setups),
            marker=mark_of(name, setups) if marks else None,
            linestyle="none" if marks else STROKES[k % len(STROKES)],
            label=named(name),
        )
        for k, name in enumerate(setups)
    ]
    axes.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, frameon=False)


def stroke_of(setup: str, setups: Sequence[str]) -> Literal["-", "--", "-.", ":"]:
    """Return the stroke of a setup's lines, the second cue where marks would crowd."""
    return STROKES[list(setups).index(setup) % len(STROKES)] if setup in setups else ":"
