"""Names and notes that people typed, made safe to stand among numbers.

HTML is escaped by the template.  What is left is the direction of writing: a name written
from right to left would drag the numbers beside it along, so each is isolated (Unicode
Standard Annex 9, FSI and PDI), which costs nothing where it is not needed.
"""

from __future__ import annotations

from fieldaero.basics.formatting import one_line, shortened

__all__ = ["name", "note"]

LONGEST_NAME = 60
CUT = "…"
FIRST_RIGHT_TO_LEFT = 0x590
ISOLATE, END = "\u2068", "\u2069"


def name(text: str) -> str:
    """Return a name for a sentence or a table, not too long, isolated if it does not run from left to right.

    Examples
    --------
    >>> name("road bar"), len(name("a" * 300))
    ('road bar', 60)
    """
    return _isolated(shortened(one_line(text), LONGEST_NAME))


def note(text: str) -> str:
    """Return a text in full, on one line."""
    return _isolated(one_line(text))


def _isolated(text: str) -> str:
    return text if all(ord(c) < FIRST_RIGHT_TO_LEFT or c == CUT for c in text) else f"{ISOLATE}{text}{END}"
