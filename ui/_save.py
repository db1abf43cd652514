"""Saving the run sheet and opening one, from any page."""

from __future__ import annotations

import streamlit as st

from _files import take
from _state import draft, load_sample

__all__ = ["save_and_open"]


def save_and_open() -> None:
    """Offer the run sheet as a file, and opening one with its rides."""
    with st.popover("Save or open", width="stretch"):
        st.download_button(
            "Save the run sheet",
            data=draft().sheet_text(),
            file_name="runsheet.toml",
            mime="application/toml",
            on_click="ignore",
            width="stretch",
            key="save_sheet",
        )
        st.write("The whole test as one page of text, which the command line reads too. Keep the ride files beside it.")
        opened = st.file_uploader(
            "Open a run sheet: drop it here together with the files it names",
            accept_multiple_files=True,
            key=f"open_sheet_{st.session_state.get('drops', 0)}",
        )
        if opened:
            take(opened)
        st.button("Open the sample session", on_click=load_sample, width="stretch", key="open_sample")
