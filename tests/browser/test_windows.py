"""What is typed stays, windows keep apart, and the keyboard alone is enough."""

from __future__ import annotations

import pytest

from tests.browser.conftest import NARROW
from tests.browser.steps import PAGES, expect

MASS = "Mass, all together [kg]"
MOST_TABS = 120


def test_a_typed_mass_is_still_there_after_switching_pages_back_and_forth(window):
    visitor = window().opens()
    visitor.types(MASS, "77.5").idle()
    for page in (PAGES[0], PAGES[3], PAGES[2], PAGES[1]):
        visitor.goes_to(page)
    expect(visitor.page.get_by_label(MASS, exact=True).first).to_have_value("77.5")


def test_a_failed_fit_keeps_the_last_result_on_the_page(window):
    visitor = window().opens().loads_sample()
    visitor.goes_to(PAGES[3]).sees_verdict()
    before = visitor.verdict()
    visitor.goes_to(PAGES[2])
    visitor.click(visitor.page.get_by_text("where the road repeats itself").first)
    visitor.sees("No lap is given to a setup yet").idle()
    visitor.goes_to(PAGES[3]).sees("as of before").idle()
    assert visitor.verdict() == before
    assert "No lap is given to a setup yet" in visitor.alerts()
    visitor.presses("Take back").idle()
    expect(visitor.page.get_by_text("as of before")).to_have_count(0)


def test_two_windows_do_not_see_each_others_rides(window):
    one, other = window(), window()
    one.opens().loads_sample()
    other.opens()
    expect(one.page.get_by_text("morning.fit").first).to_be_visible()
    expect(other.page.get_by_text("morning.fit")).to_have_count(0)
    other.types(MASS, "66").idle()
    one.goes_to(PAGES[2]).goes_to(PAGES[1])
    assert one.page.get_by_label(MASS, exact=True).first.input_value() != "66.0"
    expect(other.page.get_by_role("button", name="Load the sample session").first).to_be_visible()


def test_on_a_telephone_the_list_of_pages_folds_by_itself_when_one_is_chosen(window):
    page = window(size=NARROW, phone=True).opens().page
    page.get_by_test_id("stExpandSidebarButton").click()
    expect(page.get_by_test_id("stSidebar")).to_have_attribute("data-collapsed", "false")
    page.get_by_role("link", name=PAGES[0], exact=True).first.click()
    expect(page.get_by_test_id("stSidebar")).to_have_attribute("data-collapsed", "true")


@pytest.fixture
def keys(window):
    return window().opens()


def test_the_keyboard_alone_loads_the_sample_and_reaches_the_verdict(keys):
    keys.tabs_to("button", "Load the sample session").page.keyboard.press("Enter")
    keys.sees("Nothing is missing").idle()
    keys.tabs_to("link", "4 Result").page.keyboard.press("Enter")
    keys.sees_page(PAGES[3]).sees_verdict()
    assert keys.clicks == 0


def test_the_keyboard_reaches_every_control_of_the_laps(keys):
    keys.tabs_to("button", "Load the sample session").page.keyboard.press("Enter")
    keys.sees("Nothing is missing").idle()
    keys.tabs_to("link", "3 Laps and setups").page.keyboard.press("Enter")
    keys.sees_page(PAGES[2])
    reached = keys.tabs_round(MOST_TABS)
    for control in ("Save or open", "Add a setup", "Picked laps", "Pick all", "Give them to", "On to 4 Result"):
        assert any(control in name for name in reached), f"{control} is not among {reached}"
