"""Figures, one function each.

A figure is a ``matplotlib.figure.Figure`` of its own, without pyplot and its global
state: show it in a notebook, or write it with :func:`figure_bytes`.  Marks differ in
shape and lightness before they differ in colour, so that they can be told apart in grey.
"""

from __future__ import annotations

from fieldaero.publish.figures.air import air, yaw_ridden
from fieldaero.publish.figures.budget import budget
from fieldaero.publish.figures.differences import differences
from fieldaero.publish.figures.elevation import elevation, residual
from fieldaero.publish.figures.forest import forest_plot
from fieldaero.publish.figures.laps_by_time import laps_by_time
from fieldaero.publish.figures.page_width import fitted
from fieldaero.publish.figures.saving import FIGURE_SUFFIXES, figure_bytes
from fieldaero.publish.figures.tunnel import tunnel

__all__ = [
    "FIGURE_SUFFIXES",
    "air",
    "budget",
    "differences",
    "elevation",
    "figure_bytes",
    "fitted",
    "forest_plot",
    "laps_by_time",
    "residual",
    "tunnel",
    "yaw_ridden",
]
