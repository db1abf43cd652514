"""What every lap leaves of the shared road profile: gusts, brakes and steps show where they happened."""

from __future__ import annotations

from matplotlib.figure import Figure

from fieldaero.answers.lap_elevations import lap_elevations
from fieldaero.answers.result import Result
from fieldaero.publish.figures.marks import DARK, colour_of, open_sides, setup_legend, stroke_of

__all__ = ["residual"]

ROOM = 0.035  # of the axes' height for a number


def residual(result: Result) -> Figure:
    """Draw the residual of every used lap to the road profile [m] over the course [m].

    Parameters
    ----------
    result
        Of an analysis, with its fit.

    Raises
    ------
    CannotAnswerError
        For a result without its fit.
    """
    found = lap_elevations(result)
    setups = [row.setup for row in result.setup_results if row.laps]
    figure = Figure(figsize=(9.0, 4.0), layout="constrained")
    axes = figure.subplots()
    ends: list[tuple[float, int, str]] = []
    axes.axhline(0.0, color=DARK, linewidth=0.8)
    for lap, setup, left in zip(found.lap, found.setup, found.residual_m, strict=True):
        colour = colour_of(setup, setups)
        axes.plot(found.position_m, left, color=colour, linestyle=stroke_of(setup, setups), linewidth=1.1, gid="lap")
        ends.append((float(left[-1]), lap, colour))
    low, high = axes.get_ylim()
    height = low
    for end, lap, colour in sorted(ends):
        height = max(end, height + ROOM * (high - low))  # numbers of laps that end alike stand above one another
        axes.annotate(
            f" {lap}", (found.position_m[-1], height), fontsize=8, color=colour, va="center", annotation_clip=False
        )
    axes.set_xlabel("distance along the lap [m]; at the right the number of the lap")
    axes.set_ylabel("residual to the road profile [m]")
    setup_legend(axes, setups, marks=False)
    open_sides(axes)
    return figure
