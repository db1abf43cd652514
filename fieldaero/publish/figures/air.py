"""The air that the laps met: wind and yaw, lap by lap, and how much was ridden at which yaw."""

from __future__ import annotations

from matplotlib.figure import Figure

from fieldaero.answers.result import Result
from fieldaero.basics.colours import DARK, GREY, colour_of, mark_of, stroke_of
from fieldaero.publish.figures.marks import open_sides, setup_legend

__all__ = ["air", "yaw_ridden"]


def air(result: Result) -> Figure:
    """Draw wind speed [m/s] and the middle nine tenths of yaw [deg] of every used lap over the session [min]."""
    rows = [row for row in result.supporting_data.air if row.wind_m_s is not None]
    setups = [row.setup for row in result.setup_results if row.laps]
    figure = Figure(figsize=(9.0, 4.6), layout="constrained")
    wind, yaw = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 1.3))
    for row in rows:
        colour, mark = colour_of(row.setup, setups), mark_of(row.setup, setups)
        wind.plot(row.middle_min, row.wind_m_s, marker=mark, markersize=7, color=colour, gid="wind")
        if row.yaw_low_deg is not None and row.yaw_high_deg is not None:
            at, ends = [row.middle_min] * 2, [row.yaw_low_deg, row.yaw_high_deg]
            yaw.plot(at, ends, color=colour, linewidth=2.0, marker=mark, markersize=5, gid="yaw")
    wind.set_ylim(0.0, 1.25 * max((row.wind_m_s or 0.0 for row in rows), default=1.0) or 1.0)
    wind.set_ylabel("wind [m/s]")
    yaw.axhline(0.0, color=DARK, linewidth=0.8)
    yaw.set_ylabel("yaw [°]")
    yaw.set_xlabel("time since the first lap began [min]")
    setup_legend(wind, setups)
    for axes in (wind, yaw):
        open_sides(axes)
    return figure


def yaw_ridden(result: Result) -> Figure:
    """Draw how much of each setup's weight [%] was ridden at which yaw [deg]."""
    ridden = result.supporting_data.yaw_ridden
    setups = [row.setup for row in result.setup_results if row.laps]
    figure = Figure(figsize=(9.0, 3.2), layout="constrained")
    axes = figure.subplots()
    for row in ridden:
        edges = [row.bins[0].low_deg, *(one.high_deg for one in row.bins)]
        axes.stairs(
            [100.0 * one.share for one in row.bins],
            edges,
            color=colour_of(row.setup, setups),
            linestyle=stroke_of(row.setup, setups),
            linewidth=2.0,
            gid="yaw",
        )
    axes.axvline(0.0, color=GREY, linewidth=0.8)
    axes.set_xlabel("yaw [°], the air from the rider's right positive")
    axes.set_ylabel("share of the weight [%]")
    setup_legend(axes, setups, marks=False)
    open_sides(axes)
    return figure
