"""Figures, one function each.

A figure is a ``matplotlib.figure.Figure`` of its own, without pyplot and its global
state: show it in a notebook, or write it with :func:`figure_bytes`.  Marks differ in
shape and lightness before they differ in colour, so that they can be told apart in grey.
"""

from __future__ import annotations

from collections.abc import Callable

from matplotlib.figure import Figure

from fieldaero.answers.result import Result
from fieldaero.publish.figures.air import air, yaw_ridden
from fieldaero.publish.figures.budget import budget
from fieldaero.publish.figures.differences import differences
from fieldaero.publish.figures.elevation import elevation, residual
from fieldaero.publish.figures.forest import forest_plot
from fieldaero.publish.figures.laps_by_time import laps_by_time
from fieldaero.publish.figures.page_width import at_page_width
from fieldaero.publish.figures.saving import FIGURE_SUFFIXES, figure_bytes
from fieldaero.publish.figures.tunnel import tunnel

__all__ = [
    "FIGURES",
    "FIGURE_SUFFIXES",
    "air",
    "at_page_width",
    "budget",
    "differences",
    "elevation",
    "figure_bytes",
    "forest_plot",
    "laps_by_time",
    "residual",
    "tunnel",
    "yaw_ridden",
]

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
