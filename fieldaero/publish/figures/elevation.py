"""Virtual elevation, lap on lap: laps of the right drag area lie on one another."""

from __future__ import annotations

from matplotlib.figure import Figure

from fieldaero.answers.lap_elevations import lap_elevations
from fieldaero.answers.result import Result
from fieldaero.publish.figures.marks import DARK, colour_of, open_sides, setup_legend, stroke_of

__all__ = ["elevation"]


def elevation(result: Result) -> Figure:
    """Draw the virtual elevation [m] of every used lap over the course [m], and the road profile they share.

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
    for setup, height in zip(found.setup, found.elevation_m, strict=True):
        axes.plot(
            found.position_m,
            height,
            color=colour_of(setup, setups),
            linestyle=stroke_of(setup, setups),
            linewidth=0.9,
            gid="lap",
        )
    axes.plot(found.position_m, found.road_m, color=DARK, linewidth=2.0, gid="road")
    axes.set_xlabel("distance along the lap [m]; thick line: the road profile that all laps share")
    axes.set_ylabel("virtual elevation [m]")
    setup_legend(axes, setups, marks=False)
    open_sides(axes)
    return figure
