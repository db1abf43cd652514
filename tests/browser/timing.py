"""How long the pages let one wait: `python -m tests.browser.timing`, the best of several, nothing asserted.

Measured from the act to the first picture of its effect, in a browser on the same machine, with the full fit of the
input before it done.
"""

from __future__ import annotations

import os
import re
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from playwright.sync_api import Page, sync_playwright

from fieldaero.simulator.session_files import scenario_of, write_session
from tests.browser.serving import FLAGS, browser_found, served
from tests.browser.steps import PAGES, ROW_PX, Visitor

TRIES = 4
LONGEST_FIT_MS = 120_000
LONG_LAPS, LONG_LAP_M = 40, 3800.0  # about four hours at 38 km/h


class Took(NamedTuple):
    """From the act to its picture, and what of it is the servers' own processor time; compared by the first."""

    wall_s: float
    server_s: float

    def __str__(self) -> str:
        return f"{self.wall_s:.2f} s, of these {self.server_s:.2f} s of the server's processor time"


def servers_s() -> float:
    """Processor time so far of all servers that this process started and that still run; 0 where nobody tells."""
    parents = {os.getpid()}
    total = 0.0
    for stat in sorted(Path("/proc").glob("[0-9]*/stat"), key=lambda path: int(path.parent.name)):
        try:
            about = stat.read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
            command = (stat.parent / "cmdline").read_bytes()
        except OSError:  # it has ended
            continue
        if int(about[1]) in parents and (b"streamlit" in command or b"fieldaero" in command):
            parents.add(int(stat.parent.name))
            total += (int(about[11]) + int(about[12])) / os.sysconf("SC_CLK_TCK")
    return total


def seconds(act: Callable[[], object], shown: Callable[[], object]) -> Took:
    worked, begun = servers_s(), time.perf_counter()
    act()
    shown()
    return Took(time.perf_counter() - begun, servers_s() - worked)


def start_s() -> Took:
    """From the command to the first page, drawn."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_found(), args=list(FLAGS))
        begun = time.perf_counter()
        with served() as address:
            page = browser.new_page()
            page.goto(address)
            page.get_by_role("button", name="Load the sample session").first.wait_for()
            took = Took(time.perf_counter() - begun, servers_s())
        browser.close()
    return took


def waits_for(page: Page, words: str) -> Callable[[], object]:
    return lambda: page.get_by_text(words).first.wait_for()


def on_the_draft(visitor: Visitor, name: str) -> dict[str, Took]:
    """Brush, table edit and verdict with the session that is in the draft."""
    page = visitor.page
    visitor.goes_to(PAGES[2])
    best: dict[str, Took] = {}

    def note(what: str, took: Took) -> None:
        best[f"{name}: {what}"] = min(took, best.get(f"{name}: {what}", took))

    chip = page.get_by_role("button", name=re.compile(r"^Give \d+ lap"))
    for k in range(TRIES):
        page.wait_for_timeout(500)
        _ready_to_brush(visitor, 0.3, 0.6 + 0.05 * k)
        note("a brush shown", seconds(page.mouse.up, chip.wait_for))
        page.get_by_role("button", name="Pick none").click()
        chip.wait_for(state="detached")
    use = page.get_by_test_id("stDataFrame").first
    for k in range(TRIES):
        use.scroll_into_view_if_needed()
        page.wait_for_timeout(700)
        box = use.bounding_box()
        assert box is not None
        counts = page.get_by_text("Order ridden").first
        before = counts.inner_text()
        x, y = box["x"] + 0.1 * box["width"], box["y"] + (3.5 + k) * ROW_PX  # another lap each time
        page.mouse.move(x, y - 2, steps=3)
        page.wait_for_timeout(200)
        note(
            "a table edit shown",
            seconds(
                lambda x=x, y=y: page.mouse.click(x, y), lambda b=before, c=counts: _until(lambda: c.inner_text() != b)
            ),
        )
    visitor.goes_to(PAGES[3]).sees_verdict()

    def settled() -> None:
        page.get_by_text("Quick answer").first.wait_for(state="detached", timeout=LONGEST_FIT_MS)

    settled()
    for k in range(TRIES):
        mass = page.get_by_label("Mass [kg]", exact=True).first
        mass.click()
        page.keyboard.press("Control+a")
        page.keyboard.type(f"{85 + k}")
        before = visitor.verdict()
        note(
            "a changed mass to its verdict",
            seconds(lambda: page.keyboard.press("Tab"), lambda b=before: _until(lambda: visitor.verdict() != b)),
        )
        visitor.idle()
        settled()
    return best


def _ready_to_brush(visitor: Visitor, start: float, end: float) -> None:
    chart = visitor.page.get_by_test_id("stVegaLiteChart").first
    chart.scroll_into_view_if_needed()
    box = chart.locator("canvas, svg").first.bounding_box()
    assert box is not None
    y = box["y"] + 0.45 * box["height"]
    visitor.page.mouse.move(box["x"] + start * box["width"], y)
    visitor.page.mouse.down()
    visitor.page.mouse.move(box["x"] + end * box["width"], y, steps=6)


def _until(true: Callable[[], bool], longest_s: float = 60.0) -> None:
    end = time.perf_counter() + longest_s
    while not true():
        if time.perf_counter() > end:
            raise TimeoutError("nothing changed on the page")
        time.sleep(0.01)


def main() -> None:
    """Print what was measured."""
    print(f"start to first page: {min(start_s() for _ in range(TRIES))}", flush=True)
    with tempfile.TemporaryDirectory() as scratch, served() as address, sync_playwright() as playwright:
        long = Path(scratch, "long")
        scenario = scenario_of(
            setups={"bare": 0.25, "covered": 0.27},
            laps=LONG_LAPS,
            lap_length_m=LONG_LAP_M,
            wind_m_s=1.0,
            wind_from_deg=210.0,
            power_w=230.0,
        )
        write_session(scenario, long, seed=5)
        browser = playwright.chromium.launch(executable_path=browser_found(), args=list(FLAGS))
        for name, load in (
            ("sample", lambda visitor: visitor.loads_sample()),
            ("4 hours, 40 laps", lambda visitor: visitor.drops(long / "ride.fit", long / "runsheet.toml")),
        ):
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            visitor = Visitor(context.new_page(), address)
            load(visitor.opens())
            visitor.sees("Nothing is missing").idle()
            for what, took in on_the_draft(visitor, name).items():
                print(f"{what}: {took}", flush=True)
            context.close()
        browser.close()


if __name__ == "__main__":
    main()
