"""Entry of the front end: pages in the order of the work, and nothing else."""

from __future__ import annotations

import sys
from pathlib import Path

import streamlit as st

sys.path.insert(0, str(Path(__file__).resolve().parent))

from _state import desk, load_sheet

st.set_page_config(page_title="fieldaero", layout="wide")

if "opened" not in st.session_state:
    st.session_state["opened"] = True
    desk()
    if len(sys.argv) > 1:
        load_sheet(Path(sys.argv[1]))

pages = [
    st.Page("screens/plan.py", title="1 Plan", url_path="plan"),
    st.Page("screens/rides.py", title="2 Rides and weather", url_path="rides", default=True),
    st.Page("screens/laps.py", title="3 Laps and setups", url_path="laps"),
    st.Page("screens/result.py", title="4 Result", url_path="result"),
    st.Page("screens/report.py", title="5 Report", url_path="report"),
]
st.navigation(pages, position="top").run()
