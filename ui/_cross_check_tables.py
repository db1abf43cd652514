"""Claims and tunnel numbers typed on the page, and how the laps stand against them."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from _state import attempt, draft, edition
from fieldaero.draft.typed_tables import (
    CLAIM_COLUMNS,
    TUNNEL_COLUMNS,
    claim_rows,
    tunnel_rows,
    with_cross_checks,
)

__all__ = ["claims_table", "tunnel_table"]

UNITS = ["s", "W", "m2", "percent"]


def claims_table() -> None:
    """Show the claims to be edited, and take them when asked to."""
    setups = list(draft().setups)
    number = st.column_config.NumberColumn
    _table(
        "claims",
        pd.DataFrame(claim_rows(draft().tables.claims), columns=list(CLAIM_COLUMNS)),
        {
            "setup": st.column_config.SelectboxColumn("setup", options=setups, required=True),
            "versus": st.column_config.SelectboxColumn("against", options=setups, help="The baseline if empty."),
            "saves": number("saves", required=True),
            "unit": st.column_config.SelectboxColumn("unit", options=UNITS, required=True),
            "distance_km": number("over [km]", min_value=0.1),
            "power_w": number("at [W]", min_value=10.0),
            "speed_km_h": number("at [km/h]", min_value=5.0),
            "note": st.column_config.TextColumn("where it was published"),
        },
        "Take these claims",
    )


def tunnel_table() -> None:
    """Show the tunnel's points to be edited, and take them when asked to."""
    number = st.column_config.NumberColumn
    _table(
        "tunnel",
        pd.DataFrame(tunnel_rows(draft().tables.tunnel), columns=list(TUNNEL_COLUMNS)),
        {
            "setup": st.column_config.SelectboxColumn("setup", options=list(draft().setups), required=True),
            "yaw_deg": number("yaw [°]", required=True),
            "cda_m2": number("CdA [m²]", required=True, format="%.4f"),
            "sd_m2": number("± one sd [m²]", format="%.4f"),
        },
        "Take these tunnel numbers",
    )


def _table(name: str, frame: pd.DataFrame, columns: dict[str, Any], label: str) -> None:
    # Text columns without a single entry would be taken for numbers.
    texts = [column for column in ("setup", "versus", "unit", "note") if column in frame]
    frame = frame.astype(dict.fromkeys(texts, "object") | {c: "float64" for c in frame if c not in texts})
    with st.form(f"{name}_form_{edition()}", border=False):
        typed = st.data_editor(
            frame,
            key=f"{name}_{edition()}",
            num_rows="dynamic",
            hide_index=True,
            column_config=columns,
            width="stretch",
        )
        if st.form_submit_button(label):
            rows = [{str(k): v for k, v in row.items()} for row in typed.to_dict("records")]
            attempt(lambda: with_cross_checks(draft(), name, rows), f"new {name}")
            st.rerun()
