"""Every setup's difference to what it is compared with, against the smallest difference that matters."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fieldaero.answers.result import Result
from fieldaero.answers.rows import ComparisonResult
from fieldaero.basics.colours import BAND, DARK, colour_of, mark_of
from fieldaero.basics.formatting import interval
from fieldaero.compare.verdict import NOT_RESOLVED
from fieldaero.publish.figures.marks import figure_label, open_sides

__all__ = ["differences"]

WIDTH_INCH, ROW_INCH, FRAME_INCH = 9.0, 0.55, 1.7


def differences(result: Result) -> Figure:
    """Draw the differences of drag area with their 95 % intervals.

    A row per comparison over difference of drag area [m2]; power at the speed reported at [W] on top. A filled mark is
    a verdict, a hollow one is not resolved, and the band is what is smaller than the smallest difference that matters.
    """
    rows = [c for c in result.comparison_results if c.delta_cda_m2 is not None]
    figure = Figure(figsize=(WIDTH_INCH, FRAME_INCH + ROW_INCH * max(len(rows), 1)), layout="constrained")
    axes = figure.subplots()
    setups = [row.setup for row in result.setup_results]
    smallest = next((c.smallest_difference_m2 for c in rows if c.smallest_difference_m2 is not None), None)
    if smallest is not None:
        axes.axvspan(-smallest, smallest, color=BAND, zorder=0, gid="smallest")
    axes.axvline(0.0, color=DARK, linewidth=0.8, zorder=1)
    for k, row in enumerate(rows):
        assert row.delta_cda_m2 is not None
        colour = colour_of(row.setup, setups)
        if row.interval95_m2 is not None:
            axes.plot(row.interval95_m2, [k, k], color=colour, linewidth=2.0, solid_capstyle="butt", gid="interval")
        axes.plot(
            row.delta_cda_m2,
            k,
            marker=mark_of(row.setup, setups),
            markersize=9,
            color=colour,
            markerfacecolor="white" if row.verdict == NOT_RESOLVED else colour,
            gid="difference",
        )
    axes.set_yticks(range(len(rows)), [f"{figure_label(c.setup)}\nagainst {figure_label(c.versus)}" for c in rows])
    axes.set_ylim(max(len(rows), 1) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("difference of drag area [m²], with 95 % interval; negative: less drag")
    open_sides(axes, "left", "right")
    _verdicts_beside(axes, rows)
    _watts_on_top(axes, rows)
    return figure


def _verdicts_beside(axes: Axes, rows: list[ComparisonResult]) -> None:
    right = axes.secondary_yaxis("right")
    told = [
        f"{c.verdict}\n{interval(*c.interval95_m2, unit='m²', signed=True) if c.interval95_m2 else ''}" for c in rows
    ]
    right.set_yticks(range(len(rows)), told)
    right.tick_params(axis="y", length=0)
    right.spines["right"].set_visible(False)


def _watts_on_top(axes: Axes, rows: list[ComparisonResult]) -> None:
    known = next((c for c in rows if c.watts is not None and c.delta_cda_m2), None)
    if known is None or known.watts is None or not known.delta_cda_m2:
        return
    slope = known.watts.value / known.delta_cda_m2
    top = axes.secondary_xaxis("top", functions=(lambda x: np.asarray(x) * slope, lambda w: np.asarray(w) / slope))
    top.set_xlabel(f"power at {known.watts.speed_km_h:g} km/h [W]")
