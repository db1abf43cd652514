"""Laps and setups: which lap was ridden with what."""

from __future__ import annotations

import streamlit as st

from _lap_table import lap_table
from _looks import head, note, show_drawn, way_on
from _picking_laps import balance, choosing, pick
from _ride_cards import plain
from _ride_charts import BRUSH, SHOWN, brushed_s, trace_chart, trace_for
from _road_map import lap_source, road_map
from _setups import setups
from _state import draft, keep, kept, load_sample
from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.draft import DraftRide
from fieldaero.draft.lap_table import LapRow, lap_rows, laps_within

head(
    "Laps and setups",
    "Name the setups, then give each lap to its setup: drag across the trace to pick laps.",
)


def trace(draft_ride: DraftRide, rows: list[LapRow]) -> None:
    """Show the trace with its brush."""
    what = st.radio(
        "Trace",
        list(SHOWN),
        index=list(SHOWN).index(kept("trace", "speed")),
        horizontal=True,
        key="trace",
        on_change=lambda: keep("trace", st.session_state["trace"]),
    )
    key = f"chart_{draft_ride.name}"

    def brushed() -> None:
        ends = brushed_s(st.session_state[key])
        pick(laps_within(rows, start_s=ends[0], end_s=ends[1]) if ends else ())

    try:
        shown = trace_for(draft(), draft_ride, what)
    except FieldaeroError as problem:
        st.info(str(problem))
        return
    setup_names = draft().setups
    laps = [(row.of, row.setup, row.end_s, row.flags) for row in rows]
    show_drawn(
        lambda: trace_chart(draft_ride, shown, rows, setup_names),
        of=(draft_ride.ride.source.sha256, what, shown.note, setup_names, laps),
        key=key,
        on_select=brushed,
        selection_mode=BRUSH,
    )
    if shown.note:
        note(shown.note)


def flags(rows: list[LapRow]) -> None:
    """Show the evidence of each flag."""
    flagged = [row for row in rows if row.sentences]
    with st.expander(f"Flags and notes of {len(flagged)} of {len(rows)} laps", expanded=False):
        if not flagged:
            st.write("No lap has a flag.")
        for row in flagged:
            words = ", ".join(row.flags) or "note"
            st.markdown(f"**Lap {row.of.lap}** ({plain(row.of.ride)}): {words}. {plain(' '.join(row.sentences))}")


rides = draft().rides
if not rides:
    st.info("There is no ride yet. Add one on page 2, or look at the sample session first.")
    st.button("Load the sample session", key="load_sample", on_click=load_sample, type="primary")
    way_on("screens/rides.py", "Back to 2 Rides and weather")
    st.stop()

st.header("Setups")
setups()

st.header("Laps")
names = [ride.name for ride in rides]
shown_name = kept("ride", names[0])
shown_ride = rides[names.index(shown_name) if shown_name in names else 0]
if len(rides) > 1:
    st.selectbox(
        "Ride shown",
        names,
        index=names.index(shown_ride.name),
        key="ride_shown",
        on_change=lambda: keep("ride", st.session_state["ride_shown"]),
    )
lap_source(shown_ride)
all_rows = list(lap_rows(draft()))
own_rows = [row for row in all_rows if row.of.ride == shown_ride.name]
trace(shown_ride, own_rows)
left, right = st.columns([3, 2], gap="large")
with left:
    choosing(all_rows)
    balance()
with right:
    road_map(shown_ride)
if all_rows:
    st.header("Lap by lap")
    lap_table(all_rows)
    flags(all_rows)
way_on("screens/result.py", "On to 4 Result")
