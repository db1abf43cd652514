"""Every lap's drag area over the session: what repeats, drifts, or stands out."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from fieldaero.answers.lap_rows import LapPoint, lap_points
from fieldaero.answers.result import Result
from fieldaero.basics.colours import GREY, colour_of, mark_of
from fieldaero.publish.figures.marks import open_sides, setup_legend

__all__ = ["laps_by_time"]


def laps_by_time(result: Result) -> Figure:
    """Draw the laps' drag areas [m2] over the session [min].

    A mark and 95 % interval per used lap, by the joint fit; a hollow grey mark and the reason for a lap that does not
    count, by plain closure, where that is near the others. Level lines are the means of the setups.
    """
    points = lap_points(result.lap_results)
    setups = [row.setup for row in result.setup_results if row.laps]
    figure = Figure(figsize=(9.0, 4.4), layout="constrained")
    axes = figure.subplots()
    used = [p for p in points if p.used]
    for p in used:
        assert p.cda_m2 is not None
        assert p.low_m2 is not None
        assert p.high_m2 is not None
        colour = colour_of(p.setup, setups)
        axes.plot([p.middle_min, p.middle_min], [p.low_m2, p.high_m2], color=colour, linewidth=1.6, gid="interval")
        axes.plot(p.middle_min, p.cda_m2, marker=mark_of(p.setup, setups), markersize=8, color=colour, gid="lap")
    for mean in result.setup_results:
        own = [p.middle_min for p in used if p.setup == mean.setup]
        if own and mean.cda_m2 is not None:
            colour = colour_of(mean.setup, setups)
            axes.plot([min(own), max(own)], [mean.cda_m2] * 2, color=colour, linestyle=":", linewidth=1.2, gid="mean")
    lows = [p.low_m2 for p in used if p.low_m2 is not None]
    highs = [p.high_m2 for p in used if p.high_m2 is not None]
    if lows and highs:
        room = 0.35 * (max(highs) - min(lows))
        low, high = min(lows) - room, max(highs) + room
        axes.set_ylim(low, high)
        for p in points:
            if not p.used and p.cda_m2 is not None and low < p.cda_m2 < high:
                axes.plot(
                    p.middle_min,
                    p.cda_m2,
                    marker="o",
                    markersize=8,
                    color=GREY,
                    markerfacecolor="white",
                    gid="left out",
                )
                axes.annotate(
                    f"lap {p.lap}: {p.reason}",
                    (p.middle_min, p.cda_m2),
                    xytext=(0, -14),
                    textcoords="offset points",
                    ha="center",
                    fontsize=8,
                    color=GREY,
                    annotation_clip=True,
                )
    axes.margins(x=0.1)
    axes.set_xlabel(_axis(points))
    axes.set_ylabel("drag area CdA [m²]")
    setup_legend(axes, setups)
    open_sides(axes)
    return figure


def _axis(points: Sequence[LapPoint]) -> str:
    start = points[0].clock if points else None
    return "time since the first lap [min]" if start is None else f"time since {start:%H:%M} UTC [min]"
