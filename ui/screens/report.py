"""Report: what can be published, and the data pack with what it gives away spelled out."""

from __future__ import annotations

import streamlit as st

from _downloads import figure_downloads, file_name, result_download, table_downloads
from _looks import head, note, way_on
from _outcomes import settled
from _state import draft, load_sample, outcome
from _verdicts import verdicts, why_not
from fieldaero.answers.result import Result
from fieldaero.basics.errors import FieldaeroError

REPORT, MISSING, OF, PACK = "the_report", "the_report_missing", "the_report_of", "the_pack"
KINDS = {".html": "text/html", ".pdf": "application/pdf"}
SHIFTED, EXACT = "without the place", "with the place"
PLACES = {
    SHIFTED: "Positions are in metres around the start line, and the clock begins with the session; weather and laps "
    "are shifted in the same way. The latitude stays in whole degrees, for gravity. The shape and heights of the "
    "course, and your titles and notes, may still show where it was.",
    EXACT: "Rides keep latitude, longitude and clock times: anybody can see where you ride, often where you live, and "
    "when you are not at home.",
}


def page() -> None:
    """Draw the page."""
    head("Report", "Take the result with you: to publish it, to check it, or to continue elsewhere.")
    if not draft().rides:
        st.info("There is no ride yet, so there is nothing to report.")
        st.button("Load the sample session", key="sample_here", on_click=load_sample)
        way_on("screens/rides.py", "Add rides: 2 Rides and weather")
        return
    found = outcome()
    if found.problem or found.result is None:
        why_not(found.problem)
        st.write("There is a report as soon as the test gives a result.")
        left, right = st.columns(2)
        left.page_link("screens/rides.py", label="Correct it in 2 Rides and weather")
        right.page_link("screens/laps.py", label="or in 3 Laps and setups")
    else:
        result = settled(draft()).result or found.result
        verdicts(result)
        _report(result)
        _pack(result)
        _pieces(result)
    _sheet()
    way_on("screens/plan.py", "Back to the start: 1 Plan")


def _report(result: Result) -> None:
    st.header("The report")
    st.write("One file for any browser, with figures, tables, method and everything a sceptical reader asks for.")
    with st.container(horizontal=True):
        if st.button("Make the report", key="make_report", type="primary"):
            _make(result)
        for ending, label in ((".html", "Report (HTML)"), (".pdf", "Report (PDF)")):
            made: dict[str, bytes] = st.session_state.get(REPORT, {}) if st.session_state.get(OF) is result else {}
            if ending in made:
                st.download_button(
                    label,
                    data=made[ending],
                    file_name=file_name(f"report {result.title}", ending),
                    mime=KINDS[ending],
                    key=f"report{ending}",
                    on_click="ignore",
                )
    for missing in st.session_state.get(MISSING, ()) if st.session_state.get(OF) is result else ():
        st.warning(missing)


def _make(result: Result) -> None:
    """Make both kinds; where one cannot be made, the other still can."""
    from fieldaero.publish.report import html_report, pdf_report  # not before it is wanted

    made, missing = {}, []
    with st.spinner("Writing the report"):
        for ending, report in ((".html", html_report), (".pdf", pdf_report)):
            try:
                content = report(result, strict_photos=False)
            except FieldaeroError as why:
                missing.append(str(why))
            else:
                made[ending] = content if isinstance(content, bytes) else content.encode("utf-8")
    st.session_state[REPORT], st.session_state[MISSING], st.session_state[OF] = made, missing, result


def _pack(result: Result) -> None:
    st.header("The data pack")
    st.write(
        "Rides, run sheet, weather and results in one archive, so that anybody can redo the analysis. Before you give "
        "it away, choose what it tells about where you were:"
    )
    choice = st.radio(
        "Place and time in the rides",
        list(PLACES),
        key="pack_places",
        persist_state="session",
    )
    for place, means in PLACES.items():
        note(f"**{place.capitalize()}:** {means}")
    note(
        "In both cases the pack holds speed, power and height for every second, the weather, the mass, and the names "
        "and notes you typed. Names and serial numbers of devices and heart rate are left out. The packed files are "
        "analysed again, and the README says by how much the numbers differ. This takes a few seconds."
    )
    if any(setup.get("photos") for setup in draft().tables.setups):
        note(
            "The run sheet names photographs, which these pages do not hold; the pack and the report leave them out. "
            "On your own disk, `fieldaero pack` and `fieldaero report` include them, without what their files hold "
            "besides the picture (place, time, camera)."
        )
    with st.container(horizontal=True):
        if st.button("Make the data pack", key="make_pack"):
            from fieldaero.publish.pack import pack_bytes  # not before it is wanted

            try:
                with st.spinner("Packing, and analysing what is packed"):
                    st.session_state[PACK] = (
                        result,
                        choice,
                        pack_bytes(result, with_positions=choice == EXACT, strict_photos=False),
                    )
            except FieldaeroError as why:
                st.error(str(why))
        packed = st.session_state.get(PACK)
        if packed is not None and packed[0] is result and packed[1] == choice:
            st.download_button(
                f"Data pack (ZIP), {choice}",
                data=packed[2],
                file_name=file_name(f"data {result.title}", ".zip"),
                mime="application/zip",
                key="pack_zip",
                on_click="ignore",
            )


def _pieces(result: Result) -> None:
    st.header("Single files")
    figure_downloads(result)
    table_downloads(result)
    result_download(result)


def _sheet() -> None:
    st.header("Run sheet")
    st.write("The whole test on one page of text. With the ride files it is all that `fieldaero analyse` needs.")
    st.download_button(
        "Run sheet (TOML)",
        data=draft().sheet_text(),
        file_name="runsheet.toml",
        mime="application/toml",
        key="report_sheet",
        on_click="ignore",
    )


page()
