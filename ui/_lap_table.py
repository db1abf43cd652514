"""A row per lap, to be edited in place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from _edits import base_rows, edits_of, folded
from _state import attempt, draft, former_setup
from fieldaero.basics.formatting import LAP_HEADINGS, clock, duration
from fieldaero.draft.draft import Draft, DraftLap
from fieldaero.draft.lap_table import LapRow
from fieldaero.run_sheet.schema import NOT_USED

__all__ = ["lap_table", "with_lap_edits"]

Row = dict[str, Any]


def with_lap_edits(
    now: Draft, rows: Sequence[Row], edits: Mapping[str, Any], *, former: Mapping[tuple[str, int], str]
) -> tuple[Draft, bool]:
    """Fold the table's edits into the laps; ``former`` is the setup that a lap had before it was left out.

    Returns the draft, and whether the editor shows it as it is: choosing a setup for a lap that was not used takes it
    into use, and the box beside it has to follow.
    """
    after = folded(rows, edits)
    changed = edits.get("edited_rows", {})
    draft_after, as_shown = now, True
    for position, row in enumerate(after):
        cells = changed.get(position, changed.get(str(position), {}))
        if not cells:
            continue
        lap = DraftLap(ride=row["ride"], lap=row["lap"])
        use, setup = bool(row.get("use")), row.get("setup", NOT_USED)
        if "use" in cells and use and setup == NOT_USED:
            setup, as_shown = former.get((lap.ride, lap.lap), now.baseline), False
        if "setup" in cells and "use" not in cells and use != (setup != NOT_USED):
            use, as_shown = setup != NOT_USED, False
        if use and setup == NOT_USED:
            use, as_shown = False, False
        wanted = setup if use else NOT_USED
        if now.setup_of(lap) != wanted:
            draft_after = draft_after.assigned([lap], wanted)
    return draft_after, as_shown


def lap_table(rows: Sequence[LapRow]) -> None:
    """Show the laps of all rides and take what is edited there."""
    several = len({row.of.ride for row in rows}) > 1
    key, base = base_rows("laps", lambda: [_row(row) for row in rows])
    shown = pd.DataFrame(base)
    st.data_editor(
        shown,
        key=key,
        hide_index=True,
        width="stretch",
        height=min(38 + 35 * len(base), 620),
        on_change=_fold,
        column_order=[c for c in shown.columns if several or c != "ride"],
        disabled=[c for c in shown.columns if c not in ("use", "setup")],
        column_config={
            "ride": st.column_config.TextColumn("ride"),
            "lap": st.column_config.NumberColumn("lap", format="%d", width="small"),
            "use": st.column_config.CheckboxColumn("use", width="small", help="Whether the lap counts."),
            "setup": st.column_config.SelectboxColumn(
                "setup", options=[NOT_USED, *draft().setups], required=True, help="- is a lap that is not used."
            ),
            "start": st.column_config.TextColumn(LAP_HEADINGS["start" if rows and rows[0].start else "start in ride"]),
            "duration": st.column_config.TextColumn(LAP_HEADINGS["duration"]),
            "distance_m": st.column_config.NumberColumn(LAP_HEADINGS["distance"], format="%.0f"),
            "speed_km_h": st.column_config.NumberColumn(LAP_HEADINGS["speed"], format="%.1f"),
            "power_w": st.column_config.NumberColumn(LAP_HEADINGS["power"], format="%.0f"),
            "wind_m_s": st.column_config.NumberColumn(
                "wind [m/s]", format="%.1f", help="Observed, brought to the height of the rider."
            ),
            "flags": st.column_config.TextColumn("flags", width="large"),
        },
    )


def _row(row: LapRow) -> Row:
    return {
        "ride": row.of.ride,
        "lap": row.of.lap,
        "use": row.setup != NOT_USED,
        "setup": row.setup,
        "start": clock(row.start) if row.start else duration(row.start_s),
        "duration": duration(row.duration_s, places=1),
        "distance_m": row.distance_m,
        "speed_km_h": row.speed_km_h,
        "power_w": row.power_w,
        "wind_m_s": float("nan") if row.wind_m_s is None else row.wind_m_s,
        "flags": ", ".join(row.flags),
    }


def _fold() -> None:
    rows, edits = edits_of("laps")
    former = {(lap.ride, lap.lap): former_setup(lap) for lap in draft().laps}
    known = {of: setup for of, setup in former.items() if setup in draft().setups}
    after, as_shown = with_lap_edits(draft(), rows, edits, former=known)
    attempt(lambda: after, "an edit in the table", own_widget=as_shown)
