"""Files in and out: taking those that were dropped, telling what was refused, saving and opening the run sheet."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from _state import change, draft, load_sample
from fieldaero.basics.formatting import counted
from fieldaero.draft.open_files import add_files

__all__ = ["save_and_open", "show_refused", "take"]

REFUSED, DROPS = "refused_files", "drops"


def take(dropped: Sequence[UploadedFile]) -> None:
    """Read files into the draft and draw the page anew; the place they were dropped on is then empty again."""
    bar = st.progress(0.0, text="Reading …")

    def say(done: int, name: str) -> None:
        bar.progress(min(done / len(dropped), 1.0), text=f"Reading {name} …")

    added = add_files(draft(), [(file.name, file.getvalue()) for file in dropped], progress=say)
    bar.empty()
    st.session_state[REFUSED] = list(added.refused)
    st.session_state[DROPS] = st.session_state.get(DROPS, 0) + 1
    change(added.draft, f"adding {counted(len(added.taken), 'file')}")
    st.rerun()


def show_refused() -> None:
    """Show one sentence per file that was refused, until the reader has seen it."""
    refused: list[str] = st.session_state.get(REFUSED, [])
    for sentence in refused:
        st.error(sentence)
    if refused:
        st.button("Understood", key="understood", on_click=lambda: st.session_state.update({REFUSED: []}))


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
