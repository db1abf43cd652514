"""A table of the report, its cells ready to be shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Table", "table"]


@dataclass(frozen=True, kw_only=True)
class Table:
    """Cells as text.

    Attributes
    ----------
    caption
        What the table holds.
    header
        A heading per column; the first column names the row.
    rows
        As many cells per row.
    words
        Columns of words, by index, set to the left; all others are numbers.
    muted
        Rows of what does not count, by index.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: tuple[int, ...] = (0,)
    muted: tuple[int, ...] = ()


def table(
    caption: str,
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    words: Sequence[int] = (0,),
    muted: Sequence[int] = (),
) -> Table:
    """Make a table, leaving out columns in which no row says anything.

    Examples
    --------
    >>> table("Laps", ["lap", "CdA", "note"], [["1", "0.25", ""], ["2", "0.26", ""]]).header
    ('lap', 'CdA')
    """
    said = [k for k in range(len(header)) if k == 0 or not rows or any(row[k] not in ("", "—") for row in rows)]
    return Table(
        caption=caption,
        header=tuple(header[k] for k in said),
        rows=tuple(tuple(row[k] for k in said) for row in rows),
        words=tuple(said.index(k) for k in words if k in said),
        muted=tuple(muted),
    )
