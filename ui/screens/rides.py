"""Rides and weather: what was ridden, on what, in which air."""

from __future__ import annotations

import streamlit as st

from _bike import rider_and_bike
from _files import show_refused, take
from _looks import head, way_on
from _ride_cards import ride_cards
from _state import draft, load_sample
from _weather_table import weather
from fieldaero.draft.still_missing import still_missing

WHERE = {"rides": "rides, above", "bike": "rider and bike, above", "weather": "weather, above", "laps": "page 3"}

head(
    "Rides and weather",
    "Add your ride files, then describe rider, bike and weather. You choose the laps on the next page.",
)
if not draft().rides:
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    left.write("New here? Start with the sample session: three handlebars, invented data.")
    right.button("Load the sample session", key="load_sample", on_click=load_sample, type="primary", width="stretch")
dropped = st.file_uploader(
    "Ride files: FIT, TCX, GPX or CSV, also packed with gzip; you can add a run sheet or a weather file too",
    accept_multiple_files=True,
    key=f"drop_{st.session_state.get('drops', 0)}",
)
if dropped:
    take(dropped)
show_refused()
ride_cards()
rider_and_bike()
weather()

missing = still_missing(draft())
if any(lack.needed for lack in missing):
    st.header("Still missing")
else:
    st.header("Would make the answer stronger" if missing else "Nothing is missing")
if not missing:
    st.write("Rides, rider and bike, weather and laps are complete: the result is on page 4.")
for lack in missing:
    need = "Needed" if lack.needed else "Would help"
    st.markdown(f"- **{need}** ({WHERE[lack.place]}): {lack.sentence}")
way_on("screens/laps.py", "On to 3 Laps and setups")
