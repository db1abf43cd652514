"""The page to print: all that is needed on the road, on one page, and no name can break it."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import pytest

from fieldaero.basics.safety import SAFETY
from fieldaero.plan.expected_error import ExpectedError, PlannedRide
from fieldaero.plan.plan import plan_test
from fieldaero.plan.printed_page import printed_page
from fieldaero.simulator import CourseShape

VOID = {"meta", "br"}
WICKED = ('<script>alert("x")</script>', 'a & b\'s "bar"', "</style><b>", "\x1b[31mred\nline")


class Page(HTMLParser):
    """Tags, attributes and text of a page; every tag that opens closes."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.items: list[str] = []
        self.words = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag == "li":
            self.items.append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "style":
            return
        self.words += data
        if "li" in self.open:
            self.items[-1] += data


@cache
def plan(setups=("bare", "hat"), laps=4):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "fieldaero.plan.plan.expected_error",
            lambda ride, *, order, difference_m2: ExpectedError(
                se_m2=0.001, setup_laps=4, baseline_laps=4, lap_s=180.0
            ),
        )
        return plan_test(
            PlannedRide(course=CourseShape(length_m=2000.0), power_w=240.0, wind_m_s=0.0),
            setups=setups,
            smallest_difference_m2=0.004,
            wind_m_s=1.0,
            laps_per_setup=laps,
        )


def page(**changes) -> Page:
    return Page(printed_page(plan(**changes)))


def test_every_lap_has_its_tick_box_in_order():
    shown = page()
    laps = [item for item in shown.items if re.match(r"\d", item)]
    assert laps == [f"{k}{name}" for k, name in enumerate(plan().order, start=1)]


def test_dry_laps_come_first():
    assert page().items[:3] == ["–bare dry lap", "–bare dry lap", "1bare"]


def test_every_change_of_setup_is_marked():
    assert printed_page(plan()).count('class="change"') == plan().changes == 4


@pytest.mark.parametrize(
    "about",
    [
        "Tyre pressure",
        "zero offset",
        "settled to the temperature",
        "Same bottles",
        "clothing",
        "Position marks",
        "inclinometer",
        "Photographs of every setup, from the front and from the side",
    ],
)
def test_the_checklist_has(about):
    assert any(about in item for item in page().items)


def test_the_safety_notes_are_printed_as_they_stand():
    assert page().items[-len(SAFETY) :] == list(SAFETY)
    assert f"{plan().cautions[-1]}Date" in page().words
    assert f"{plan().answer}: {plan().reason}." in page().words


@pytest.mark.parametrize(
    "about", ["Quiet or closed road", "traffic law", "Eyes up", "strong gusts", "Local rules come first", "permission"]
)
def test_the_safety_notes_have(about):
    assert any(about in item for item in page().items)


def test_weather_is_read_at_start_middle_and_end():
    shown = page()
    assert "startmiddleend" in shown.words
    assert shown.tags.count("td") == 6 * 3


def test_it_says_the_answer_and_what_is_out_of_reach():
    words = page().words
    assert "go: 4 laps per setup" in words
    assert "they need a tunnel or an air-speed sensor" in words


@pytest.mark.parametrize("name", WICKED)
def test_a_name_is_text_and_nothing_else(name):
    usual, wicked = page(), page(setups=("bare", name))
    assert set(wicked.tags) == set(usual.tags)
    assert {a for a, _ in wicked.attributes} == {a for a, _ in usual.attributes}
    assert "\x1b" not in wicked.words
    assert any(item.startswith("2" + name.split("\n")[0].replace("\x1b", "")[:20]) for item in wicked.items)


def test_nothing_runs_and_nothing_is_fetched():
    shown = page()
    assert not {"script", "link", "img", "iframe", "object", "form"} & set(shown.tags)
    assert not [name for name, _ in shown.attributes if name.startswith("on") or name in ("src", "href")]
    assert "url(" not in printed_page(plan())
    assert "@import" not in printed_page(plan())


def test_it_is_laid_out_for_a4_and_for_a_narrow_screen():
    text = printed_page(plan())
    assert "size: A4" in text
    assert "width=device-width" in text


def test_with_many_laps_setups_go_by_letters_that_the_head_explains():
    shown = page(laps=20)
    assert shown.items[2:5] == ["1A", "2B", "3B"] or shown.items[2:5] == ["1A", "2B", "3A"]
    assert "A bare · B hat" in shown.words
    assert "A bare" not in page().words


def test_the_reason_is_escaped_too():
    assert "<b>no" not in printed_page(replace(plan(), reason="<b>no")).replace('<p class="answer"><b>no', "")
