"""Figures, one function each.

A figure is a ``matplotlib.figure.Figure`` of its own, without pyplot and its global
state: show it in a notebook, or write it with :func:`figure_bytes`.  Marks differ in
shape and lightness before they differ in colour, so that they can be told apart in grey.
"""

from __future__ import annotations

from fieldaero.plots.forest import forest_plot
from fieldaero.plots.saving import FIGURE_SUFFIXES, figure_bytes

__all__ = ["FIGURE_SUFFIXES", "figure_bytes", "forest_plot"]
