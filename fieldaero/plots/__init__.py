"""Figures, one function each.

A figure is a ``matplotlib.figure.Figure`` of its own, without pyplot and its global
state: show it in a notebook, or write it with :func:`figure_bytes`.  Marks differ in
shape and lightness before they differ in colour, so that they can be told apart in grey.
"""

from __future__ import annotations

from fieldaero.plots.air import air, yaw_ridden
from fieldaero.plots.differences import differences
from fieldaero.plots.elevation import elevation
from fieldaero.plots.fitting import fitted
from fieldaero.plots.forest import forest_plot
from fieldaero.plots.laps_by_time import laps_by_time
from fieldaero.plots.residual import residual
from fieldaero.plots.saving import FIGURE_SUFFIXES, figure_bytes
from fieldaero.plots.tunnel import tunnel
from fieldaero.plots.uncertainty import budget

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
