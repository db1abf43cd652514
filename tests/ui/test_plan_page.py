"""The page of the plan: cautions, an answer with its reason, and its setups handed to the draft."""

from __future__ import annotations

import pytest

from fieldaero.basics.safety import SAFETY
from tests.ui.pages import drawn, opened, words


@pytest.fixture(scope="module")
def planned():
    at = opened("plan", sample=False)
    at.number_input(key="plan_minutes").set_value(60.0)
    at.button(key="plan_it").click().run()
    drawn(at)
    return at


def test_the_cautions_stand_before_anything_else():
    at = opened("plan", sample=False)
    assert all(line in at.info[0].value for line in SAFETY)


def test_the_answer_comes_as_a_word_with_its_reason(planned):
    assert any(f"<strong>{word}.</strong>" in words(planned) for word in ("Go", "Marginal", "No-go"))
    assert "laps per setup" in words(planned)
    assert "out of reach" in words(planned)


def test_the_order_is_shown_and_handed_to_the_draft(planned):
    planned.button(key="plan_take").click().run()
    draft = planned.session_state["the_draft"]
    assert draft.setups == ("baseline", "setup 2")
    plan = planned.session_state["the_plan"]
    letters = {"baseline": "A", "setup 2": "B"}
    assert planned.code[0].value == " ".join(letters[name] for name in plan.order)


def test_the_sheet_on_the_pages_gives_rider_and_report_conditions():
    at = opened("plan")
    analysis = {"smallest_difference_w": 2.5, "report_speed_km_h": 38.0, "report_power_w": 180.0}
    at.session_state["the_draft"] = at.session_state["the_draft"].with_table("analysis", analysis)
    drawn(at.run())
    fields = {field.label: field.value for field in at.number_input}
    assert fields["Rider, bike and everything carried [kg]"] == 83.5
    assert fields["Smallest difference [W at 38 km/h]"] == 2.5
    assert "s over 40 km at 180 W" in at.selectbox(key="plan_unit_w").options


def test_a_plan_of_other_wishes_is_marked(planned):
    planned.number_input(key="plan_wind").set_value(3.0).run()
    assert any("does not include" in warning.value for warning in planned.warning)


def test_a_wish_that_cannot_be_says_what_is_allowed():
    at = opened("plan", sample=False)
    at.text_area(key="plan_setups").set_value("only one")
    at.button(key="plan_it").click().run()
    drawn(at)
    assert at.error
    assert "the_plan" not in at.session_state


def test_a_plan_cut_short_by_another_wish_is_made_with_that_wish():
    at = opened("plan", sample=False)
    at.session_state["the_plan_wanted"] = True  # as a change while it was planned leaves it
    at.number_input(key="plan_minutes").set_value(45.0).run()
    drawn(at)
    assert at.session_state["the_plan"].available_min == 45.0
    assert not at.session_state["the_plan_wanted"]


def test_a_ride_on_the_draft_can_give_the_course():
    at = opened("plan")
    at.button_group(key="plan_by").set_value("a ride on it").run()
    at.number_input(key="plan_minutes").set_value(60.0)
    at.button(key="plan_it").click().run()
    drawn(at)
    length = at.session_state["the_draft"].rides[0].listing.course.length_m
    assert at.session_state["the_plan"].ride.course.length_m == pytest.approx(length)


def test_report_conditions_that_cannot_be_are_said_on_the_page():
    at = opened("plan")
    at.session_state["the_draft"] = at.session_state["the_draft"].with_table("analysis", {"report_power_w": 0.25})
    drawn(at.run())
    assert any("report_power_w is 0.25; allowed is 10 to 2500 W" in error.value for error in at.error)
