"""What all figures have in common: names of setups, the legend, open sides."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from fieldaero.basics.colours import colour_of, mark_of, stroke_of
from fieldaero.basics.formatting import one_line, shortened

__all__ = ["LONGEST_NAME", "figure_label", "open_sides", "setup_legend"]

LONGEST_NAME = 34


def figure_label(text: str) -> str:
    """Return a name for a figure: on one line, not too long, its dollar signs no formulas."""
    return shortened(one_line(text), LONGEST_NAME).replace("$", r"\$")


def open_sides(axes: Axes, *sides: str) -> None:
    """Take the frame off, on these sides."""
    for side in sides or ("top", "right"):
        axes.spines[side].set_visible(False)


def setup_legend(axes: Axes, setups: Sequence[str], *, marks: bool = True) -> None:
    """Name the setups that are drawn, above the axes."""
    handles = [
        Line2D(
            [],
            [],
            color=colour_of(setup, setups),
            marker=mark_of(setup, setups) if marks else None,
            linestyle="none" if marks else stroke_of(setup, setups),
            label=figure_label(setup),
        )
        for setup in setups
    ]
    axes.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, frameon=False)
