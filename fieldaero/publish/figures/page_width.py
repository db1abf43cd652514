"""A figure set for a narrower page, as beside text or on a telephone: the same drawing, its words rearranged."""

from __future__ import annotations

import textwrap

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Annotation
from matplotlib.ticker import FixedLocator, MaxNLocator

from fieldaero.basics.formatting import shortened

__all__ = ["at_page_width"]

LETTERS_PER_INCH = 12.0  # of the default font at 10 points, on the safe side
LONGEST_NOTE = 12  # letters; a longer note inside the axes would lie over other marks
LONGEST_ROW_NAME = 18  # letters
KEY_LETTERS = 7  # room that a legend's mark takes
MOST_TICKS = 4


def at_page_width(figure: Figure, *, width_inch: float) -> Figure:
    """Set a figure to a width: labels are wrapped, legends get fewer columns, long notes keep their first words.

    The figure itself is changed and returned.
    """
    figure.set_size_inches(width_inch, figure.get_size_inches()[1])
    for axes in figure.axes:
        _names(axes)
        _labels(axes, width_inch)
        _notes(axes)
        _legend(axes, width_inch)
    return figure


def _names(axes: Axes) -> None:
    """Set the rows' names so that they leave room for what is drawn."""
    if not isinstance(axes.yaxis.get_major_locator(), FixedLocator):
        return
    set_anew = []
    for name in (text.get_text() for text in axes.get_yticklabels()):
        lines = name.split("\n") if "\n" in name else textwrap.wrap(name, LONGEST_ROW_NAME)[:2]
        set_anew.append("\n".join(shortened(line, LONGEST_ROW_NAME) for line in lines))
    axes.set_yticks(axes.get_yticks(), set_anew)


def _labels(axes: Axes, width_inch: float) -> None:
    for one in (axes, *axes.child_axes):
        one.set_xlabel(textwrap.fill(one.get_xlabel(), int(0.75 * width_inch * LETTERS_PER_INCH)))
        if isinstance(one.xaxis.get_major_locator(), MaxNLocator):
            one.xaxis.set_major_locator(MaxNLocator(MOST_TICKS, steps=[1, 2, 2.5, 5, 10]))
    if len(axes.get_title(loc="left")) > 0:
        axes.set_title(textwrap.shorten(axes.get_title(loc="left"), int(width_inch * LETTERS_PER_INCH)), loc="left")


def _notes(axes: Axes) -> None:
    for note in axes.texts:
        if isinstance(note, Annotation) and len(note.get_text()) > LONGEST_NOTE:
            note.set_text(note.get_text().split(":")[0][:LONGEST_NOTE])


def _legend(axes: Axes, width_inch: float) -> None:
    legend = axes.get_legend()
    if legend is None:
        return
    handles, names = legend.legend_handles, [text.get_text() for text in legend.get_texts()]
    columns = max(1, int(width_inch * LETTERS_PER_INCH / (max(map(len, names), default=1) + KEY_LETTERS)))
    legend.remove()
    below_title = bool(axes.get_title(loc="left"))
    rows = -(-len(names) // columns)
    if below_title:
        axes.set_title(axes.get_title(loc="left"), loc="left", fontsize="medium", pad=6.0 + 16.0 * rows)
    axes.legend(
        [one for one in handles if one is not None],
        names,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=columns,
        frameon=False,
        borderaxespad=0.2,
    )
