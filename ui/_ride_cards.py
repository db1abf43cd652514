"""A card for each ride in the draft."""

from __future__ import annotations

import streamlit as st

from _looks import note
from _state import change, draft
from fieldaero.basics.formatting import duration, number
from fieldaero.draft.draft import DraftRide

__all__ = ["ride_cards"]

MARKS = str.maketrans({mark: f"\\{mark}" for mark in "\\`*_{}[]<>()#+!|$~:"})


def ride_cards() -> None:
    """Show the rides, two beside each other."""
    for k, ride in enumerate(draft().rides):
        if k % 2 == 0:
            columns = st.columns(2)
        with columns[k % 2], st.container(border=True):
            _card(ride)


def _card(draft_ride: DraftRide) -> None:
    from fieldaero.draft.ride_card import ride_card  # not before there is a ride

    card = ride_card(draft_ride.ride, listing=draft_ride.listing, problem=draft_ride.problem)
    name, remove = st.columns([3, 1], vertical_alignment="center")
    name.markdown(f"**{plain(draft_ride.name)}**")
    remove.button(
        "Remove",
        key=f"remove_{draft_ride.name}",
        help=f"Remove {draft_ride.name} from the test; the file itself stays as it is.",
        width="stretch",
        on_click=lambda: change(draft().without_ride(draft_ride.name), f"removing {draft_ride.name}"),
    )
    when = f"{card.start:%Y-%m-%d %H:%M} UTC" if card.start else "no time of day"
    device = f", {card.device}" if card.device else ""
    st.write(plain(f"{when} · {_lasting(card.duration_s)} · {number(card.distance_m)} m"))
    note(plain(f"{card.format}{device}. Recorded: {', '.join(card.sensors)}."))
    st.write(plain(card.laps))
    for missing in card.missing:
        st.markdown(f"**No {plain(missing.what)}.** {plain(missing.means)}")
    if card.notes:
        with st.expander(f"Notes on the file: {len(card.notes)}"):
            for said in card.notes:
                st.write(plain(f"{said[:1].upper()}{said[1:]}."))


def _lasting(seconds: float) -> str:
    text = duration(seconds)
    return f"{text} h" if text.count(":") > 1 else f"{text} min"


def plain(text: str) -> str:
    """Return text that Markdown shows as it is: names of files may hold any sign."""
    return text.translate(MARKS)
