"""What an editor's widget says was edited, folded into the rows that it was given."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import streamlit as st

from _state import edition

__all__ = ["base_rows", "edits_of", "folded"]

Row = dict[str, Any]


def base_rows(name: str, make: Callable[[], Sequence[Row]]) -> tuple[str, list[Row]]:
    """Return the key of an editor and the rows that it begins with.

    An editor tells edits by the position of the row, so as long as it lives it is given the
    rows it began with, not those that came of its edits: else the next edit would hit another
    row, or be lost.  It begins anew after a step that was not its own, and after a page switch.
    """
    key = f"{name}_{edition()}"
    kept = f"rows_of_{name}"
    if key not in st.session_state or st.session_state.get(kept, (None,))[0] != key:
        st.session_state[kept] = (key, [dict(row) for row in make()])
    rows: list[Row] = st.session_state[kept][1]
    return key, rows


def edits_of(name: str) -> tuple[list[Row], Mapping[str, Any]]:
    """Return the rows that the living editor began with, and what was edited since."""
    key, rows = st.session_state[f"rows_of_{name}"]
    return rows, st.session_state[key]


def folded(rows: Sequence[Row], edits: Mapping[str, Any]) -> list[Row]:
    """Return the rows after the edits; what an editor does not show of a row stays with it.

    ``edits`` holds ``edited_rows`` by position, ``deleted_rows`` and ``added_rows``.  A cell that was emptied is None
    and is taken out; a row without any cell is none.
    """
    after = [dict(row) for row in rows]
    for position, cells in edits.get("edited_rows", {}).items():
        after[int(position)].update(cells)
    gone = set(edits.get("deleted_rows", ()))
    kept = [row for position, row in enumerate(after) if position not in gone]
    filled = [{k: v for k, v in row.items() if v is not None} for row in [*kept, *edits.get("added_rows", ())]]
    return [row for row in filled if row]
