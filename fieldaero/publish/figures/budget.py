"""The uncertainty budget as bars: what limits a drag area, and what is left of it in a difference."""

from __future__ import annotations

from matplotlib.figure import Figure

from fieldaero.answers.result import Result
from fieldaero.basics.colours import COLOURS
from fieldaero.publish.figures.marks import figure_label, open_sides

__all__ = ["budget"]

WIDTH_INCH, ROW_INCH, FRAME_INCH = 9.0, 0.42, 1.3


def budget(result: Result) -> Figure:
    """Draw each input's contribution [m2] to the standard uncertainty of a drag area and of the difference.

    A panel per comparison; the hatched bar is the drag area, the full one the difference.
    """
    pairs = list(dict.fromkeys((row.setup, row.versus) for row in result.budget_rows))
    own = {pair: [r for r in result.budget_rows if (r.setup, r.versus) == pair] for pair in pairs}
    heights = [FRAME_INCH + ROW_INCH * len(own[pair]) for pair in pairs] or [FRAME_INCH]
    figure = Figure(figsize=(WIDTH_INCH, sum(heights)), layout="constrained")
    panels = figure.subplots(len(heights), 1, squeeze=False, height_ratios=heights)[:, 0]
    for axes, pair in zip(panels, pairs, strict=False):
        rows = own[pair]
        at = range(len(rows))
        axes.barh(
            [k - 0.19 for k in at],
            [abs(r.contribution_cda_m2) for r in rows],
            color="white",
            hatch="////",
            label=f"drag area of {figure_label(pair[0])}",
            gid="drag area",
            height=0.36,
            edgecolor=COLOURS[0],
        )
        axes.barh(
            [k + 0.19 for k in at],
            [abs(r.contribution_delta_m2) for r in rows],
            color=COLOURS[0],
            label="difference",
            gid="difference",
            height=0.36,
            edgecolor=COLOURS[0],
        )
        axes.set_yticks(list(at), [row.input for row in rows])
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.tick_params(axis="y", length=0)
        axes.set_title(f"{figure_label(pair[0])} against {figure_label(pair[1])}", loc="left", fontsize="medium")
        axes.legend(frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2)
        open_sides(axes)
    panels[-1].set_xlabel("contribution to the standard uncertainty [m²]")
    return figure
