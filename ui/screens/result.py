"""Result: the verdict first, then how sure it is, what it rests on, and what carries it."""

from __future__ import annotations

import streamlit as st

from _cross_check_tables import claims_table, tunnel_table
from _downloads import figure_downloads, result_download, table_downloads
from _looks import head, note, show_chart, way_on
from _outcomes import Outcome, outcome_of, settle
from _result_charts import budget_chart, difference_chart, lap_chart
from _road_charts import elevation_chart, residual_chart
from _state import change, draft, load_sample, outcome
from _verdicts import beside, differences, laps, repeat_and_drift, verdicts, warnings_first, why_not
from _what_if_form import back_to_the_original, keep_the_changes, laps_form, variant, what_if_form
from fieldaero.answers.result import Result
from fieldaero.answers.wording import cross_check_sections

BASELINE = "result_baseline"


def page() -> None:
    """Draw the page."""
    head("Result", "Read what the laps say and how sure that is, then leave laps out or change an input to test it.")
    if not draft().rides:
        st.info("There is no ride yet, so there is nothing to compare.")
        st.button("Load the sample session", key="sample_here", on_click=load_sample)
        way_on("screens/rides.py", "Add rides: 2 Rides and weather")
        return
    found = outcome()
    if found.problem:
        _failed(found)
    if found.result is None:
        way_on("screens/laps.py", "To the laps: 3 Laps and setups")
        return
    changed = variant() if not found.problem else None
    other = None if changed is None else outcome_of(changed, before=found.result)
    shown = found.result if other is None or other.result is None else other.result
    if other is not None:
        _what_if_bar(found.result, other)
    verdicts(shown)
    waiting = st.container()
    warnings_first(shown)
    _differences(shown)
    _what_carries_it()
    _laps(shown)
    _road(shown)
    st.header("Repeat check and drift")
    repeat_and_drift(shown)
    _budget(shown)
    _cross_checks(shown)
    _files(found.result, ready=not found.quick and not found.stale)
    if not found.problem:
        with waiting:  # begun only when the page is drawn, for it would slow the drawing
            settle([draft(), *([changed] if changed is not None else [])])
    way_on("screens/report.py", "On to 5 Report")


def _failed(found: Outcome) -> None:
    why_not(found.problem)
    left, right = st.columns(2)
    left.page_link("screens/rides.py", label="Correct it in 2 Rides and weather")
    right.page_link("screens/laps.py", label="or in 3 Laps and setups")
    if found.result is not None:
        st.warning("The test as it stands gives no result. What follows is **as of before** the last change.")


def _what_if_bar(original: Result, other: Outcome) -> None:
    with st.container(border=True):
        st.markdown("**What if.** The page shows the changed test; the test itself is as it was.")
        if other.problem:
            st.error(f"With these changes: {other.problem}")
            st.warning("What follows is the test **as of before** the change.")
        elif other.result is not None:
            beside(original, other.result)
        left, right = st.columns(2)
        left.button("Back to the original", key="what_if_back", on_click=back_to_the_original, width="stretch")
        right.button(
            "Keep the changes in the test",
            key="what_if_keep",
            on_click=keep_the_changes,
            disabled=bool(other.problem),
            width="stretch",
        )


def _differences(result: Result) -> None:
    names = list(draft().setups)
    st.header("Differences")
    if len(names) > 1:
        st.session_state.setdefault(BASELINE, draft().baseline)
        if st.session_state[BASELINE] != draft().baseline and draft().baseline in names:
            st.session_state[BASELINE] = draft().baseline
        st.selectbox(
            "Baseline: every other setup is compared with it",
            names,
            key=BASELINE,
            on_change=lambda: change(
                draft().with_table("baseline", st.session_state[BASELINE]), "another baseline", own_widget=True
            ),
        )
    if any(c.delta_cda_m2 is not None for c in result.comparison_results):
        show_chart(difference_chart(result), key="differences")
        note(
            "Filled mark: resolved; hollow: not resolved. Lines are 95 % intervals that hold for all comparisons "
            "together; the grey band is smaller than the smallest difference that matters."
        )
    differences(result)


def _what_carries_it() -> None:
    st.header("What carries the answer")
    laps_form()
    what_if_form()


def _laps(result: Result) -> None:
    st.header("Laps")
    if any(row.used for row in result.lap_results):
        show_chart(lap_chart(result), key="laps")
        note(
            "Drag area of each lap with its 95 % interval. All laps share most of it, so differences are known better "
            "than levels. Grey and hollow: laps that do not count, by plain closure."
        )
    laps(result)


def _road(result: Result) -> None:
    st.header("Virtual elevation, lap on lap")
    show_chart(elevation_chart(result), key="elevation")
    note("With the right drag area the laps lie on one another. Wide grey line: the road profile they share.")
    st.header("Residual to the road profile")
    show_chart(residual_chart(result), key="residual")
    note(
        "A step shows where a lap lost or gained energy: a brake, a gust, a passing vehicle. "
        "Point at a line for its lap."
    )


def _budget(result: Result) -> None:
    pairs = list(dict.fromkeys((row.setup, row.versus) for row in result.budget_rows))
    if not pairs:
        return
    st.header("Uncertainty budget")
    pair = pairs[0]
    if len(pairs) > 1:
        pair = st.selectbox("Of", pairs, key="budget_pair", format_func=lambda p: f"{p[0]} against {p[1]}")
    show_chart(budget_chart(result, *pair), key="budget")
    note("Hollow bar: the drag area itself; full bar: the difference, in which most of it cancels.")


def _cross_checks(result: Result) -> None:
    st.header("Claims, tunnel and course")
    for title, sentences in cross_check_sections(result):
        st.markdown(f"**{title}**")
        for sentence in sentences:
            st.text(sentence)
    with st.expander("Enter what was claimed"):
        claims_table()
    with st.expander("Enter drag areas from a tunnel, by yaw"):
        tunnel_table()


def _files(result: Result, *, ready: bool) -> None:
    st.header("Take it with you")
    if not ready:
        note("Figures and tables can be saved as soon as the full fit of the test is there.")
        return
    note("The files hold the test itself, without a what-if.")
    figure_downloads(result)
    table_downloads(result)
    result_download(result)


page()
