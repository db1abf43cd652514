"""Colours, marks and strokes of setups, alike in every figure and on every page: a colour never comes alone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, TypeVar

__all__ = [
    "BAND",
    "COLOURS",
    "DARK",
    "GREY",
    "LineStyle",
    "chart_dash_of",
    "chart_mark_of",
    "colour_of",
    "mark_of",
    "sign_of",
    "stroke_of",
]

LineStyle = Literal["-", "--", "-.", ":"]
T = TypeVar("T")

# Okabe and Ito's palette for all kinds of colour vision; the yellow is darkened to be seen on white.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#8A6D00", "#56B4E9")
DARK, GREY, BAND = "#1b1b1a", "#77776f", "#e8e8e8"
# The same six marks in a figure, in a chart of a page, and in text.
MARKS = ("o", "s", "^", "D", "P", "v")
CHART_MARKS = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
SIGNS = ("●", "■", "▲", "◆", "✚", "▼")
# The same four strokes in a figure and in a chart.
STROKES: tuple[LineStyle, ...] = ("-", "--", "-.", ":")
CHART_DASHES = ((1, 0), (6, 3), (6, 3, 1, 3), (1, 3))


def colour_of(setup: str, setups: Sequence[str]) -> str:
    """Return a setup's colour, grey for none of them."""
    return _of(setup, setups, COLOURS, GREY)


def mark_of(setup: str, setups: Sequence[str]) -> str:
    """Return a setup's mark in a figure, a cross for none of them."""
    return _of(setup, setups, MARKS, "x")


def chart_mark_of(setup: str, setups: Sequence[str]) -> str:
    """Return a setup's mark in a chart of a page, a circle for none of them."""
    return _of(setup, setups, CHART_MARKS, "circle")


def sign_of(setup: str, setups: Sequence[str]) -> str:
    """Return a setup's mark in text, a ring for none of them."""
    return _of(setup, setups, SIGNS, "○")


def stroke_of(setup: str, setups: Sequence[str]) -> LineStyle:
    """Return the stroke of a setup's lines in a figure, the second cue where marks would crowd."""
    return _of(setup, setups, STROKES, ":")


def chart_dash_of(setup: str, setups: Sequence[str]) -> tuple[int, ...]:
    """Return the same stroke in a chart of a page."""
    return _of(setup, setups, CHART_DASHES, CHART_DASHES[-1])


def _of(setup: str, setups: Sequence[str], among: Sequence[T], other: T) -> T:
    return among[list(setups).index(setup) % len(among)] if setup in setups else other
