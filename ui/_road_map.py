"""The track in metres, without tiles, and choosing a start line on it."""

from __future__ import annotations

import streamlit as st

from _looks import note, show_drawn
from _ride_charts import PLACE, map_chart
from _state import draft, edition, keep, kept, step
from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.draft import Draft, DraftRide
from fieldaero.draft.road_map import place_in_words, start_line_at, track_map

__all__ = ["lap_source", "road_map"]

SOURCES = {
    "button": "lap button",
    "line": "start line",
    "repeat": "where the road repeats itself",
}
CLICKED = "the place picked on the map"


def lap_source(draft_ride: DraftRide) -> None:
    """Choose how the laps of a ride are found."""
    key = f"lap_source_{draft_ride.name}_{edition()}"
    ways = list(SOURCES)

    def changed() -> None:
        way = st.session_state[key]
        line = draft_ride.start_line if way == "line" else None
        step(lambda: draft().with_laps_by(draft_ride.name, way, line), f"laps by {SOURCES[way]}")

    st.radio(
        "Laps are found by",
        ways,
        index=ways.index(draft_ride.lap_source),
        format_func=SOURCES.__getitem__,
        horizontal=True,
        key=key,
        on_change=changed,
        help="Laps that are found in another way have to be given to setups again. You can take this step back.",
    )
    if draft_ride.lap_source == "line":
        _line(draft_ride)
    if draft_ride.listing is None:
        st.error(draft_ride.problem)


def _line(draft_ride: DraftRide) -> None:
    laps = draft_ride.laps
    moments = {f"the start of lap {lap.number}": lap.start_s for lap in laps}
    picked = kept(f"place_{draft_ride.name}", None)
    if picked is not None:
        moments = {CLICKED: float(picked), **moments}
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    where = left.selectbox(
        "Start line at", list(moments) or ["pick a place on the map"], key=f"line_at_{draft_ride.name}_{len(moments)}"
    )
    moment = moments.get(str(where))
    right.button(
        "Cut the laps here",
        key=f"cut_{draft_ride.name}",
        disabled=moment is None,
        width="stretch",
        on_click=lambda: step(lambda: _at_moment(draft_ride, moment or 0.0), "cutting laps at a start line"),
    )
    line = draft_ride.start_line
    with st.expander("The line in numbers"), st.form(f"line_form_{draft_ride.name}_{edition()}", border=False):
        columns = st.columns(3)
        numbers = [
            column.number_input(label, low, high, value, step=size, format=form)
            for column, label, low, high, value, size, form in (
                (columns[0], "Latitude [°]", -90.0, 90.0, line.latitude_deg if line else 0.0, 0.0001, "%.6f"),
                (columns[1], "Longitude [°]", -180.0, 180.0, line.longitude_deg if line else 0.0, 0.0001, "%.6f"),
                (columns[2], "Heading [°]", 0.0, 360.0, line.heading_deg if line else 0.0, 1.0, "%.0f"),
            )
        ]
        sent = st.form_submit_button("Cut the laps at this line")
    if sent:
        latitude, longitude, heading = numbers
        step(
            lambda: draft().with_laps_at(
                draft_ride.name, latitude_deg=latitude, longitude_deg=longitude, heading_deg=heading
            ),
            "cutting laps at a start line",
        )
        st.rerun()


def _at_moment(draft_ride: DraftRide, moment_s: float) -> Draft:
    return draft().with_laps_by(
        draft_ride.name, "line", start_line_at(draft_ride.ride, moment_s, track=draft_ride.track)
    )


def road_map(draft_ride: DraftRide) -> None:
    """Show the track; a click on it picks a place for the start line."""
    laps = draft_ride.laps
    line = draft_ride.start_line
    if line is None and draft_ride.listing is not None and draft_ride.listing.course is not None:
        line = draft_ride.listing.course.start_line
    if not draft_ride.ride.has("latitude_deg"):
        st.info("No map: the ride has no positions. Laps come from the lap button.")
        return
    picked = kept(f"place_{draft_ride.name}", None)
    key = f"map_{draft_ride.name}"

    def clicked() -> None:
        points = st.session_state[key].get("selection", {}).get(PLACE, [])
        keep(f"place_{draft_ride.name}", points[0]["time_s"] if points else None)

    show_drawn(
        lambda: map_chart(track_map(draft_ride.ride, laps, start_line=line, track=draft_ride.track), picked),
        of=(draft_ride.ride.source.sha256, [(lap.start_s, lap.end_s) for lap in laps], line, picked),
        key=key,
        width="content",
        on_select=clicked,
        selection_mode=PLACE,
    )
    note("North is up. The bar across the road is the start line." if line else "North is up.")
    if picked is not None:
        try:
            place = place_in_words(draft_ride.ride, float(picked), track=draft_ride.track)
            note(f'Picked: {place}. Choose "start line" above to cut the laps there.')
        except FieldaeroError as problem:
            note(str(problem))
