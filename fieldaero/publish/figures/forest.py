"""Forest plot: what each session says of a comparison, and what they say together."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from fieldaero.answers.pool.pooled import Pooled, PooledComparison
from fieldaero.basics.colours import BAND, COLOURS, DARK
from fieldaero.basics.formatting import interval, one_line, shortened, value_with_uncertainty
from fieldaero.publish.figures.marks import LONGEST_NAME

__all__ = ["forest_plot"]

POOLED = COLOURS[0]  # between the dark of the sessions and the light of the band, so that grey tells them apart
WIDTH_INCH, ROW_INCH, FRAME_INCH = 9.0, 0.34, 1.6
SMALLEST_MARK, LARGEST_MARK = 4.0, 11.0  # side of a square in points; its area goes with the weight
SHOWN_SPANS = 1.3  # a pooled interval of two sessions reaches far beyond theirs; it is cut off with an arrow
HEADER = -0.9  # height of the headings above the first row, in rows
MOST_TICKS = 6
Interval = tuple[float, float]


def forest_plot(pooled: Pooled) -> Figure:
    """Draw every pooled comparison: a square per session, a diamond for the mean over sessions.

    One panel per comparison over difference of drag area [m2], and power at the speed reported at [W] on top.  Lines
    are 95 % intervals, the area of a square goes with the session's weight, the dotted line holds the true difference
    of one further session, and the band what is smaller than the smallest difference that matters.
    """
    rows = [len(c.sessions) + 1 + (c.prediction95_m2 is not None) for c in pooled.pooled_comparisons]
    heights = [ROW_INCH * n + FRAME_INCH for n in rows]
    figure = Figure(figsize=(WIDTH_INCH, sum(heights)), layout="constrained")
    panels = figure.subplots(len(rows), 1, squeeze=False, height_ratios=heights)[:, 0]
    for axes, comparison in zip(panels, pooled.pooled_comparisons, strict=True):
        _panel(axes, comparison)
    return figure


def _panel(axes: Axes, c: PooledComparison) -> None:
    reach = SHOWN_SPANS * max(abs(bound) for row in c.sessions for bound in row.interval95_m2)
    axes.set_xlim(-reach, reach)
    if c.smallest_difference_m2 is not None:
        axes.axvspan(-c.smallest_difference_m2, c.smallest_difference_m2, color=BAND, zorder=0, gid="smallest")
    axes.axvline(0.0, color=DARK, linewidth=0.8, zorder=1)
    names, texts = [], []
    for k, row in enumerate(c.sessions):
        _line(axes, k, row.interval95_m2, reach, color=DARK)
        side = SMALLEST_MARK + (LARGEST_MARK - SMALLEST_MARK) * np.sqrt(row.weight)
        axes.plot(row.delta_cda_m2, k, marker="s", markersize=side, color=DARK, gid="session")
        leg = "" if c.link == "direct" else f" ({row.setup} − {row.versus})"
        names.append(shortened(one_line(row.sheet + leg), LONGEST_NAME))
        texts.append(_told(row.delta_cda_m2, row.se_m2, row.interval95_m2))
    k = len(c.sessions)
    mean = c.interval95_m2 or c.interval95_without_session_scatter_m2
    if mean is not None:
        _line(axes, k, mean, reach, color=POOLED)
    axes.plot(c.delta_cda_m2, k, marker="D", markersize=10, color=POOLED, markeredgecolor=DARK, gid="pooled")
    names.append("together" if c.interval95_m2 else "together, without session scatter")
    texts.append(_told(c.delta_cda_m2, c.se_m2, mean))
    if c.prediction95_m2 is not None:
        _line(axes, k + 1, c.prediction95_m2, reach, color=POOLED, style=":")
        names.append("one further session")
        texts.append(interval(*c.prediction95_m2, signed=True))
    axes.set_ylim(len(names) - 0.4, HEADER - 0.5)
    axes.set_yticks(range(len(names)), names)
    axes.tick_params(axis="y", length=0, pad=9)
    axes.xaxis.set_major_locator(MaxNLocator(MOST_TICKS, steps=[1, 2, 5, 10]))
    axes.set_xlabel("difference of drag area [m²], with 95 % interval; negative: less drag")
    _beside(axes, texts)
    speed = c.watts.speed_km_h
    slope = c.watts.value / c.delta_cda_m2 if c.delta_cda_m2 else np.nan
    if np.isfinite(slope) and slope > 0.0:
        top = axes.secondary_xaxis("top", functions=(lambda x: np.asarray(x) * slope, lambda w: np.asarray(w) / slope))
        top.set_xlabel(f"power at {speed:g} km/h [W]")
    link = f", indirect by way of {', '.join(c.via)}" if c.link == "indirect" else ""
    axes.set_title(one_line(f"{c.setup} against {c.versus}{link}: {c.verdict}"), loc="left", fontweight="bold")
    for side_name in ("left", "right"):
        axes.spines[side_name].set_visible(False)


def _line(axes: Axes, k: int, bounds: Interval, reach: float, *, color: str, style: str = "-") -> None:
    """Draw an interval, an arrow head where it leaves the panel."""
    low, high = max(bounds[0], -reach), min(bounds[1], reach)
    axes.plot([low, high], [k, k], color=color, linewidth=1.8, linestyle=style, solid_capstyle="butt", gid="interval")
    for cut, at, mark in ((bounds[0] < -reach, -reach, "<"), (bounds[1] > reach, reach, ">")):
        if cut:
            axes.plot(at, k, marker=mark, markersize=7, color=color, clip_on=False, gid="cut off")


def _told(value: float, se: float, bounds: Interval | None) -> str:
    text = value_with_uncertainty(value, se, signed=True)
    return text if bounds is None else f"{text}   {interval(*bounds, signed=True)}"


def _beside(axes: Axes, texts: list[str]) -> None:
    """Write each row's numbers at its right: estimate and standard error, interval [m2]."""
    right = axes.secondary_yaxis("right")
    right.set_yticks([HEADER, *range(len(texts))], ["difference ± s.e., 95 % interval [m²]", *texts])
    right.tick_params(axis="y", length=0, pad=9)
    right.spines["right"].set_visible(False)
