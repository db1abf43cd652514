"""The laps over the course: virtual elevation, lap on lap, and what each leaves of the road profile they share."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fieldaero.answers.result import Result
from fieldaero.basics.colours import DARK, colour_of, stroke_of
from fieldaero.publish.figures.marks import open_sides, setup_legend

__all__ = ["elevation", "residual"]

ROOM = 0.035  # of the axes' height for a number


def elevation(result: Result) -> Figure:
    """Draw the virtual elevation [m] of every used lap over the course [m], and the road profile they share.

    Laps of the right drag area lie on one another.
    """
    found, setups = result.supporting_data.elevation, _setups(result)
    figure, axes = _axes("virtual elevation [m]", setups)
    for lap in found.laps:
        colour, stroke = colour_of(lap.setup, setups), stroke_of(lap.setup, setups)
        axes.plot(found.position_m, lap.elevation_m, color=colour, linestyle=stroke, linewidth=0.9, gid="lap")
    axes.plot(found.position_m, found.road_m, color=DARK, linewidth=2.0, gid="road")
    axes.set_xlabel("distance along the lap [m]; thick line: the road profile that all laps share")
    return figure


def residual(result: Result) -> Figure:
    """Draw the residual of every used lap to the road profile [m] over the course [m].

    Gusts, brakes and steps of the sensors show where they happened.
    """
    found, setups = result.supporting_data.elevation, _setups(result)
    figure, axes = _axes("residual to the road profile [m]", setups)
    axes.axhline(0.0, color=DARK, linewidth=0.8)
    ends: list[tuple[float, int, str]] = []
    for lap in found.laps:
        colour, stroke = colour_of(lap.setup, setups), stroke_of(lap.setup, setups)
        left = found.residual_m(lap)
        axes.plot(found.position_m, left, color=colour, linestyle=stroke, linewidth=1.1, gid="lap")
        ends.append((left[-1], lap.lap, colour))
    low, high = axes.get_ylim()
    height = low
    for end, number, colour in sorted(ends):
        height = max(end, height + ROOM * (high - low))  # numbers of laps that end alike stand above one another
        axes.annotate(
            f" {number}", (found.position_m[-1], height), fontsize=8, color=colour, va="center", annotation_clip=False
        )
    axes.set_xlabel("distance along the lap [m]; at the right the number of the lap")
    return figure


def _setups(result: Result) -> list[str]:
    return [row.setup for row in result.setup_results if row.laps]


def _axes(height: str, setups: list[str]) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(9.0, 4.0), layout="constrained")
    axes = figure.subplots()
    axes.set_ylabel(height)
    setup_legend(axes, setups, marks=False)
    open_sides(axes)
    return figure, axes
