"""Entry of the front end: pages in the order of the work, and nothing else."""

from __future__ import annotations

import logging
import sys
from pathlib import Path

import streamlit as st

sys.path.insert(0, str(Path(__file__).resolve().parent))

from _ahead import import_ahead, imported
from _state import draft, load_sheet, undo, undo_name

imported()
st.set_page_config(page_title="fieldaero", layout="wide")

if "opened" not in st.session_state:
    st.session_state["opened"] = True
    draft()
    if len(sys.argv) > 1:
        load_sheet(Path(sys.argv[1]))

pages = [
    st.Page("screens/plan.py", title="1 Plan", url_path="plan"),
    st.Page("screens/rides.py", title="2 Rides and weather", url_path="rides", default=True),
    st.Page("screens/laps.py", title="3 Laps and setups", url_path="laps"),
    st.Page("screens/result.py", title="4 Result", url_path="result"),
    st.Page("screens/report.py", title="5 Report", url_path="report"),
]
page = st.navigation(pages, position="top")
try:
    page.run()
except Exception:  # a fault of ours: the reader gets a sentence and keeps the test, the log gets the rest
    logging.getLogger("fieldaero").exception("a page failed")
    st.error(
        "This page could not be drawn; that is a fault of the program, not of your files. Nothing you entered is lost: "
        "save the run sheet, take back the last step or go to another page."
    )
    st.button(f"Take back: {undo_name()}", on_click=undo, disabled=not undo_name(), key="take_back_after_fault")
    st.download_button("Save the run sheet", draft().sheet_text(), "runsheet.toml", key="save_after_fault")
import_ahead()
