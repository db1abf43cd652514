"""A card for each ride on the desk."""

from __future__ import annotations

import streamlit as st

from _looks import note
from _state import change, desk
from fieldaero.basics.formatting import duration, number
from fieldaero.draft.draft import DeskRide

__all__ = ["ride_cards"]

MARKS = str.maketrans({mark: f"\\{mark}" for mark in "\\`*_{}[]<>()#+!|$~:"})


def ride_cards() -> None:
    """Show the rides, two beside each other."""
    for k, ride in enumerate(desk().rides):
        if k % 2 == 0:
            columns = st.columns(2)
        with columns[k % 2], st.container(border=True):
            _card(ride)


def _card(on_desk: DeskRide) -> None:
    from fieldaero.draft.ride_card import ride_card  # not before there is a ride

    card = ride_card(on_desk.ride, listing=on_desk.listing, problem=on_desk.problem)
    name, remove = st.columns([3, 1], vertical_alignment="center")
    name.markdown(f"**{plain(on_desk.name)}**")
    remove.button(
        "Remove",
        key=f"remove_{on_desk.name}",
        help=f"Take {on_desk.name} off; the file itself is not touched.",
        width="stretch",
        on_click=lambda: change(desk().without_ride(on_desk.name), f"removing {on_desk.name}"),
    )
    when = f"{card.start:%Y-%m-%d %H:%M} UTC" if card.start else "no time of day"
    device = f", {card.device}" if card.device else ""
    st.write(plain(f"{when} · {_lasting(card.duration_s)} · {number(card.distance_m)} m"))
    note(plain(f"{card.format}{device}. Recorded: {', '.join(card.sensors)}."))
    st.write(plain(card.laps))
    for lack in card.lacks:
        st.markdown(f"**No {plain(lack.what)}.** {plain(lack.means)}")
    if card.noticed:
        with st.expander(f"Noticed while reading: {len(card.noticed)}"):
            for said in card.noticed:
                st.write(plain(f"{said[:1].upper()}{said[1:]}."))


def _lasting(seconds: float) -> str:
    text = duration(seconds)
    return f"{text} h" if text.count(":") > 1 else f"{text} min"


def plain(text: str) -> str:
    """Return text that Markdown shows as it is: names of files may hold any sign."""
    return text.translate(MARKS)
