"""The track in metres, without tiles, and choosing a start line on it."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from _looks import accent, ink, note, show_drawn
from _state import draft, edition, keep, kept, step
from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.draft import DraftRide
from fieldaero.draft.road_map import TrackMap, start_line_at, track_map
from fieldaero.laps.lap import LapSource, moment_in_words
from fieldaero.laps.start_line import StartLine

__all__ = ["lap_source", "road_map"]

SOURCES: dict[LapSource, str] = {
    "button": "lap button",
    "line": "start line",
    "repeat": "where the road repeats itself",
}
PLACE = "place"
SIDE = 330
CLICKED = "the place picked on the map"


def lap_source(draft_ride: DraftRide) -> None:
    """Choose how the laps of a ride are found."""
    key = f"lap_source_{draft_ride.name}_{edition()}"
    ways = list(SOURCES)

    def changed() -> None:
        way: LapSource = st.session_state[key]
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
        help="Laps found in another way have to be given to setups again. The step can be taken back.",
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
        on_click=lambda: step(lambda: _cut(draft_ride.name, moment), "cutting laps at a start line"),
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
        typed = StartLine(latitude_deg=numbers[0], longitude_deg=numbers[1], heading_deg=numbers[2])
        step(lambda: draft().with_laps_by(draft_ride.name, "line", typed), "cutting laps at a start line")
        st.rerun()


def _cut(name: str, moment: float | None) -> Any:
    now = draft()
    ride = next(r for r in now.rides if r.name == name)
    return now.with_laps_by(name, "line", start_line_at(ride.ride, moment or 0.0))


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
        lambda: _map_chart(track_map(draft_ride.ride, laps, start_line=line), picked),
        of=(draft_ride.ride.source.sha256, [(lap.start_s, lap.end_s) for lap in laps], line, picked),
        key=key,
        width="content",
        on_select=clicked,
        selection_mode=PLACE,
    )
    note("North is up. The bar across the road is the start line." if line else "North is up.")
    if picked is not None:
        try:
            heading = start_line_at(draft_ride.ride, float(picked)).heading_deg
            note(
                f"Picked: the road at {moment_in_words(draft_ride.ride, float(picked))}, heading {heading:.0f}°. "
                'Choose "start line" above to cut the laps there.'
            )
        except FieldaeroError as problem:
            note(str(problem))


def _map_chart(found: TrackMap | None, picked: float | None) -> alt.LayerChart | alt.FacetChart:
    if found is None:
        return alt.layer()
    (west, east), (south, north) = found.square_m
    across = alt.X("east_m:Q", title="east [m]", scale=alt.Scale(domain=[west, east], nice=False))
    up = alt.Y("north_m:Q", title="north [m]", scale=alt.Scale(domain=[south, north], nice=False))
    track = pd.DataFrame({"time_s": found.time_s, "east_m": found.east_m, "north_m": found.north_m, "lap": found.lap})
    base = alt.Chart(track).encode(x=across, y=up)
    road = base.mark_line(strokeWidth=1.5, color=ink(), opacity=0.55).encode(order="time_s:Q")
    place = alt.selection_point(name=PLACE, fields=["time_s"], on="click", nearest=True, toggle=False)
    targets = (
        base.mark_circle(size=70, color=accent())
        .encode(
            opacity=alt.value(0.02),
            tooltip=[alt.Tooltip("lap:Q", title="lap"), alt.Tooltip("time_s:Q", title="s into the ride", format=".0f")],
        )
        .add_params(place)
    )
    layers: list[Any] = [road, targets]
    if found.line_east_m is not None and found.line_north_m is not None:
        ends = pd.DataFrame({"east_m": found.line_east_m, "north_m": found.line_north_m})
        layers.append(alt.Chart(ends).mark_line(strokeWidth=5, color=accent()).encode(x="east_m:Q", y="north_m:Q"))
    if picked is not None:
        nearest = track.iloc[[found.index_at(float(picked))]]
        ring = alt.Chart(nearest).mark_point(size=160, strokeWidth=2.5, color=accent(), shape="circle")
        layers.append(ring.encode(x="east_m:Q", y="north_m:Q"))
    return alt.layer(*layers).properties(width=SIDE, height=SIDE)
