"""Figures as bytes, for files that are written at once or not at all."""

from __future__ import annotations

import io

import matplotlib as mpl
from matplotlib.figure import Figure

from fieldaero.basics.errors import FieldaeroError

__all__ = ["FIGURE_SUFFIXES", "figure_bytes"]

FIGURE_SUFFIXES = (".svg", ".png")
PIXELS_PER_INCH = 200


def figure_bytes(figure: Figure, suffix: str) -> bytes:
    """Return a figure as the bytes of a file."""
    if suffix.lower() not in FIGURE_SUFFIXES:
        raise FieldaeroError(f'a figure cannot be written as "{suffix}"; allowed is {" or ".join(FIGURE_SUFFIXES)}')
    kind, out = suffix.lower().removeprefix("."), io.BytesIO()
    # Without its date, and with ids that hang on the drawing alone, the same figure is the same file.
    with mpl.rc_context({"svg.hashsalt": "fieldaero"}):
        figure.savefig(out, format=kind, dpi=PIXELS_PER_INCH, metadata={"Date": None} if kind == "svg" else None)
    return out.getvalue()
