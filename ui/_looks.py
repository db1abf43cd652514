"""Colours, marks and wording that all pages share: a colour always comes with a mark or a word."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from _save import save_and_open
from _state import problem, undo, undo_name

__all__ = ["CAUTION", "COLOURS", "MARKS", "colour_of", "head", "mark_of", "show_chart", "way_on"]

# Okabe and Ito's colours, told apart by readers of all kinds of colour vision, with marks of their own.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#8A6D00", "#56B4E9")
MARKS = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
UNUSED_COLOUR = "#8a8a85"

CAUTION = (
    "Riding a test means holding a low position on a road. Use a quiet or closed road, obey the traffic law, keep your "
    "eyes up, and leave it for another day when gusts move the bike. Local rules and permission come first."
)


def colour_of(setup: str, setups: Sequence[str]) -> str:
    """Return a setup's colour, grey for laps that are not used."""
    return COLOURS[list(setups).index(setup) % len(COLOURS)] if setup in setups else UNUSED_COLOUR


def mark_of(setup: str, setups: Sequence[str]) -> str:
    """Return the name of a setup's mark."""
    return MARKS[list(setups).index(setup) % len(MARKS)] if setup in setups else "circle"


def head(title: str, sentence: str) -> None:
    """Begin a page: title, what to do here, the step that can be taken back, and what was refused last."""
    left, middle, right = st.columns([5, 2, 2], vertical_alignment="bottom")
    left.title(title)
    with middle:
        save_and_open()
    step = undo_name()
    right.button(
        f"Take back: {step}" if step else "Nothing to take back",
        key="take_back",
        disabled=not step,
        on_click=undo,
        width="stretch",
    )
    st.write(sentence)
    refused = problem()
    if refused:
        st.error(refused)


def way_on(page: str, label: str) -> None:
    """End a page with the way to the next one."""
    st.divider()
    st.page_link(page, label=label)


def show_chart(chart: Any, *, key: str) -> None:
    """Show an Altair chart in the theme of the page; its specification was checked by the tests."""
    st.vega_lite_chart(chart.to_dict(validate=False), width="stretch", key=key)
