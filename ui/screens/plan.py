"""Plan: whether a test can tell the difference, before anybody has ridden it."""

from __future__ import annotations

import itertools
from html import escape
from typing import Any

import altair
import pandas as pd
import streamlit as st

from _downloads import file_name
from _looks import head, note, show_chart, way_on
from _plan_form import Wishes, plan_form, planned
from _state import attempt, draft, keep
from fieldaero.basics.colours import COLOURS, GREY
from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.formatting import duration, number
from fieldaero.basics.safety import SAFETY
from fieldaero.draft.what_if import with_plan
from fieldaero.plan.lap_pattern import letters_of
from fieldaero.plan.plan import STEPS, Plan
from fieldaero.plan.printed_page import printed_page
from fieldaero.plan.resolving_power import ENOUGH
from fieldaero.plan.text import differences, plan_text

alt: Any = altair  # the checker knows its encodings only in part

PLAN, ASKED, WHY, WANTED = "the_plan", "the_plan_asked", "the_plan_problem", "the_plan_wanted"
MARKS = {"go": "●", "marginal": "◐", "no-go": "○"}


def page() -> None:
    """Draw the page."""
    head("Plan", "Say where and how you will ride, and see beforehand whether the test can tell the difference.")
    st.info("\n".join(f"- {line}" for line in SAFETY))
    try:
        wishes = plan_form()
    except FieldaeroError as why:
        st.error(str(why))
        return
    # A field changed while it is planned begins the page anew, and the plan with it.
    st.button("Plan it", key="plan_it", type="primary", on_click=lambda: st.session_state.update({WANTED: True}))
    if st.session_state.get(WANTED):
        _make(wishes)
    if st.session_state.get(WHY):
        st.error(st.session_state[WHY])
    plan: Plan | None = st.session_state.get(PLAN)
    if plan is not None:
        if st.session_state.get(ASKED) != wishes:
            st.warning("The plan below **does not include your latest changes**. Press “Plan it” for a new one.")
        _answer(plan)
        _ride(plan)
        _curve(plan)
        _winds(plan)
        _take(plan)
    way_on("screens/rides.py", "Ridden? On to 2 Rides and weather")


def _make(wishes: Wishes) -> None:
    st.session_state[WHY] = ""
    bar, done = st.progress(0.0, text="Reading what is asked for"), itertools.count()

    def say(step: str) -> None:
        bar.progress(next(done) / STEPS, text=f"Simulating: {step}")

    try:
        st.session_state[PLAN] = planned(wishes, progress=say)
        st.session_state[ASKED] = wishes
    except FieldaeroError as why:
        st.session_state[WHY] = str(why)
    except Exception:
        st.session_state[WANTED] = False
        raise
    st.session_state[WANTED] = False
    bar.empty()


def _answer(plan: Plan) -> None:
    reason = plan.reason[:1].upper() + plan.reason[1:]
    st.html(
        "<div style='display:flex;gap:0.7rem;margin:0.5rem 0'>"
        f"<span aria-hidden='true' style='font-size:1.5rem;line-height:1.55rem'>{MARKS[plan.answer]}</span>"
        "<p style='margin:0;font-size:1.15rem;line-height:1.55rem;overflow-wrap:anywhere'>"
        f"<strong>{plan.answer.capitalize()}.</strong> {escape(reason)}.</p></div>"
    )
    for caution in plan.cautions:
        if caution not in f"{plan.reason}.":
            st.warning(caution)
    rows = [
        {
            "": name,
            "m²": number(m2, places=4),
            plan.choices.in_watts: number(watts, places=1),
            plan.choices.in_seconds: number(seconds, places=1),
        }
        for name, m2, watts, seconds in differences(plan)
    ]
    st.table(pd.DataFrame(rows).set_index(""))
    st.write(
        f"Expected standard error of a difference {number(plan.se_m2, places=5)} m², "
        f"95 % interval ±{number(plan.half_width_m2, places=4)} m²."
    )


def _ride(plan: Plan) -> None:
    st.header("The ride")
    shape = "there and back" if plan.ride.course.shape == "out_and_back" else "a loop"
    st.write(
        f"{plan.laps_per_setup} laps per setup, {len(plan.order)} in all after {plan.warm_up_laps} dry laps, and "
        f"{plan.changes} changes of setup: {number(plan.ride_min)} of {number(plan.available_min)} min. A lap is "
        f"{shape} of {number(plan.ride.course.length_m)} m at {number(plan.ride.power_w)} W, "
        f"{duration(plan.lap_s)} min. Wind at your height {number(plan.wind_m_s, places=1)} m/s."
    )
    st.markdown("**Order**, drawn by lot and balanced in time:")
    st.html(
        "<ol style='columns:11rem;margin:0;padding-left:1.8rem'>"
        + "".join(f"<li style='overflow-wrap:anywhere'>{escape(name)}</li>" for name in plan.order)
        + "</ol>"
    )


def _curve(plan: Plan) -> None:
    st.header("What more or fewer laps would do")
    rows = [
        {
            "laps": p.laps_per_setup,
            "probability": p.probability,
            "minutes": round(p.ride_min),
            "fits": "fits into the time" if p.ride_min <= plan.available_min else "takes longer",
            "this": p.laps_per_setup == plan.laps_per_setup,
        }
        for p in plan.curve
        if p.laps_per_setup <= max(20, plan.laps_per_setup)
    ]
    frame = pd.DataFrame(rows)
    domain = ["fits into the time", "takes longer"]
    legend = alt.Legend(title=None, orient="top", labelLimit=260)
    base = alt.Chart(frame).encode(
        x=alt.X("laps:Q", title="laps per setup", axis=alt.Axis(tickMinStep=1)),
        y=alt.Y(
            "probability:Q",
            title="probability of resolving [%]",
            scale=alt.Scale(domain=[0, 1]),
            axis=alt.Axis(format="%"),
        ),
    )
    enough = alt.Chart(pd.DataFrame([{"enough": ENOUGH}]))
    show_chart(
        alt.layer(
            enough.mark_rule(color=GREY, strokeDash=[5, 3]).encode(y=alt.Y("enough:Q")),
            base.mark_line(color=COLOURS[0], opacity=0.5),
            base.mark_point(size=70, color=COLOURS[0]).encode(
                fill=alt.Fill(
                    "fits:N", scale=alt.Scale(domain=domain, range=[COLOURS[0], "transparent"]), legend=legend
                ),
                tooltip=[
                    alt.Tooltip("laps:Q", title="laps per setup"),
                    alt.Tooltip("minutes:Q", title="ride [min]"),
                    alt.Tooltip("probability:Q", format=".0%"),
                ],
            ),
            base.transform_filter("datum.this").mark_point(size=380, color=COLOURS[1], strokeWidth=2.5),
            base.transform_filter("datum.this")
            .mark_text(dy=-20, fontSize=12, color=COLOURS[1])
            .encode(text=alt.value("this plan")),
        ).properties(height=300),
        key="plan_curve",
    )
    note("Dashed: 80 %, called enough. Filled marks fit into the time, hollow ones take longer.")


def _winds(plan: Plan) -> None:
    st.header("What the wind would do to the same laps")
    cases = [(c.wind_m_s, c.se_m2, c.probability, "") for c in plan.other_winds]
    cases.append((plan.wind_m_s, plan.se_m2, plan.probability, "this plan"))
    rows = [
        {
            "wind at your height [m/s]": number(wind, places=1),
            "standard error [m²]": number(se, places=5),
            "probability of resolving [%]": number(100.0 * power),
            "": note,
        }
        for wind, se, power, note in sorted(cases)
    ]
    st.dataframe(pd.DataFrame(rows), hide_index=True, width="stretch")


def _take(plan: Plan) -> None:
    st.header("Take it with you")
    sheet, text, take = st.columns(3)
    name = f"plan {' '.join(plan.setups)}"
    sheet.download_button(
        "Page to print (HTML)",
        data=lambda: printed_page(plan),
        file_name=file_name(name, ".html"),
        mime="text/html",
        key="plan_sheet",
        on_click="ignore",
        width="stretch",
    )
    text.download_button(
        "Plan as text",
        data=lambda: plan_text(plan) + "\n",
        file_name=file_name(name, ".txt"),
        mime="text/plain",
        key="plan_text",
        on_click="ignore",
        width="stretch",
    )
    take.button(
        "Take this order",
        key="plan_take",
        on_click=lambda: _handed_over(plan),
        help="Puts these setups, the baseline and the smallest difference in the draft.",
        width="stretch",
    )
    if st.session_state.get("the_plan_taken") is plan:
        st.success("The setups are in the draft. After the ride 3 Laps and setups offers this order as a pattern:")
        st.code(_pattern(plan), wrap_lines=True)
        st.page_link("screens/rides.py", label="Add the ride: 2 Rides and weather")


def _handed_over(plan: Plan) -> None:
    if attempt(lambda: with_plan(draft(), plan), "taking the plan's setups"):
        st.session_state["the_plan_taken"] = plan
        keep("pattern", _pattern(plan))


def _pattern(plan: Plan) -> str:
    letters = {name: letter for letter, name in letters_of(plan.setups).items()}
    return " ".join(letters[name] for name in plan.order)


page()
