"""What a visitor does on the pages, in the words of the pages; every click is counted."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

expect = pytest.importorskip(
    "playwright.sync_api", reason="no playwright: the pages are tried with it (pip install playwright)"
).expect

LONGEST_MS = 600_000  # a page that never comes; a busy machine only makes it wait
expect.set_options(timeout=LONGEST_MS)

PAGES = ("1 Plan", "2 Rides and weather", "3 Laps and setups", "4 Result", "5 Report")
HEADINGS = dict(zip(PAGES, ("Plan", "Rides and weather", "Laps and setups", "Result", "Report"), strict=True))
VERDICT = re.compile(r"against .+: (lower drag|higher drag|no difference|not resolved)")
IDLE = "[data-testid=stApp][data-test-script-state=notRunning]"
ROW_PX = 35
MOST_TABS = 150
FOCUSED = """() => {
  const it = document.activeElement;
  return it ? (it.getAttribute('aria-label') || it.innerText || it.tagName) : '';
}"""
# The table is painted, not built of elements: nothing tells when it has taken up a click or a key.
GRID_MS = 150


class Visitor:
    """One window on the pages."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.clicks = 0
        page.set_default_timeout(LONGEST_MS)

    def opens(self) -> Visitor:
        self.page.goto(self.address)
        return self.sees_page("2 Rides and weather")

    def idle(self) -> Visitor:
        """Wait until nothing runs and nothing is drawn any more."""
        self.page.wait_for_selector(IDLE)
        expect(self.page.locator("[data-stale=true]")).to_have_count(0)
        return self

    def click(self, what: Locator) -> Visitor:
        what.click()
        self.clicks += 1
        return self

    def presses(self, name: str, *, exact: bool = False) -> Visitor:
        """Click a button."""
        return self.click(self.page.get_by_role("button", name=name, exact=exact).first)

    def goes_to(self, page: str) -> Visitor:
        """Click a page's name in the navigation, unfolding it first where the window is narrow."""
        link = self.page.get_by_role("link", name=page, exact=True).first
        unfold = self.page.get_by_test_id("stExpandSidebarButton")
        if unfold.count() and (not link.is_visible() or self._left_of(link) < 0):
            self.click(unfold)
            for _ in range(20):  # it slides in
                self.rests()
                if link.is_visible() and self._left_of(link) > 0:
                    break
        self.click(link)
        fold = self.page.get_by_test_id("stSidebarCollapseButton").get_by_role("button")
        if fold.count():
            # A narrow window's list of pages lies over the page until it is folded.
            self.click(fold)
        return self.sees_page(page)

    @staticmethod
    def _left_of(what: Locator) -> float:
        box = what.bounding_box()
        return -1.0 if box is None else box["x"]

    def sees_page(self, page: str) -> Visitor:
        expect(self.page.get_by_role("heading", name=HEADINGS[page], level=1)).to_be_visible()
        self.idle()
        expect(self.page.get_by_test_id("stPageLink").last).to_be_visible()  # the page's end
        return self.idle()

    def sees(self, words: str) -> Visitor:
        expect(self.page.get_by_text(words).first).to_be_visible()
        return self

    def alerts(self) -> str:
        """What the page warns of, in words."""
        return "\n".join(self.page.get_by_test_id("stAlert").all_inner_texts())

    def gives(self) -> Visitor:
        """Give the picked laps to the chosen setup."""
        return self.click(self.page.get_by_role("button", name=re.compile(r"^Give \d+ lap")))

    def loads_sample(self) -> Visitor:
        self.presses("Load the sample session")
        return self.sees("Nothing is missing").idle()

    def drops(self, *files: Path) -> Visitor:
        """Drop files on the place for rides."""
        self.page.get_by_test_id("stFileUploader").first.locator("input").set_input_files(list(files))
        return self

    def downloads(self, name: str, to: Path) -> Path:
        """Click a button that gives a file, and keep the file."""
        with self.page.expect_download() as coming:
            self.presses(name)
        coming.value.save_as(to)
        return to

    def chooses(self, label: str, position: int) -> Visitor:
        """Open a choice and take an entry, counted from 0."""
        self.click(self.page.get_by_role("combobox", name=re.compile(re.escape(label))).first)
        return self.click(self.page.get_by_role("option").nth(position))

    def sees_verdict(self) -> Visitor:
        expect(self.verdict_place()).to_be_visible()
        return self.idle()

    def verdict(self) -> str:
        return self.verdict_place().inner_text()

    def verdict_place(self) -> Locator:
        return self.page.get_by_test_id("stHtml").filter(has_text=VERDICT).first

    def types(self, label: str, text: str) -> Visitor:
        """Click a field, put a text in place of what it holds, and leave it by the keyboard."""
        field = self.page.get_by_label(label, exact=True).first
        self.click(field)
        self.page.keyboard.press("Control+a")
        self.page.keyboard.press("Delete")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Tab")
        return self

    def types_weather(self, *cells: str) -> Visitor:
        """Click the first row's temperature and go on along the row by the keyboard; an empty text leaves a cell."""
        grid = self.page.get_by_test_id("stDataFrame").first
        grid.scroll_into_view_if_needed()
        box = grid.bounding_box()
        assert box is not None
        x, y = box["x"] + 0.22 * box["width"], box["y"] + 1.5 * ROW_PX
        self.page.mouse.move(x, y - 3, steps=3)
        self.rests()
        self.page.mouse.click(x, y, delay=60)
        self.clicks += 1
        for cell in cells:
            self.rests().idle()
            if cell:
                self.page.keyboard.press("Enter")
                field = self.page.locator("#portal input")
                expect(field).to_be_focused()
                self.rests()
                field.fill(cell)  # key by key a robot is faster than the cell's field opens
                expect(field).to_have_value(cell)
                self.rests()
            self.page.keyboard.press("Tab")
            expect(self.page.locator("#portal input")).to_have_count(0)
        return self

    def rests(self) -> Visitor:
        self.page.wait_for_timeout(GRID_MS)
        return self

    def brushes(self, start: float, end: float) -> Visitor:
        """Drag across the trace, between two shares of its width; counts as a click."""
        chart = self.page.get_by_test_id("stVegaLiteChart").first
        chart.scroll_into_view_if_needed()
        box = chart.locator("canvas, svg").first.bounding_box()
        assert box is not None
        y = box["y"] + 0.45 * box["height"]
        self.page.mouse.move(box["x"] + start * box["width"], y)
        self.page.mouse.down()
        self.page.mouse.move(box["x"] + end * box["width"], y, steps=6)
        self.page.mouse.up()
        self.clicks += 1
        return self

    def tabs_to(self, role: str, name: str) -> Visitor:
        """Press the tabulator until a control has the focus."""
        wanted = self.page.get_by_role(role, name=name).first
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            if wanted.evaluate("element => element === document.activeElement"):
                return self
        raise AssertionError(f"{MOST_TABS} steps of the tabulator did not reach {role} {name}")

    def tabs_round(self, steps: int) -> list[str]:
        """Press the tabulator so often, and tell what had the focus, by name or text."""
        names = []
        for _ in range(steps):
            self.page.keyboard.press("Tab")
            names.append(str(self.page.evaluate(FOCUSED)))
        return names
