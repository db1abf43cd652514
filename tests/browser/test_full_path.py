"""The full path, as a new visitor with a ride file and no manual takes it."""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

import pytest

from fieldaero.run_sheet.sheet import read_run_sheet
from tests.browser.steps import PAGES, expect

MOST_CLICKS = 9


@pytest.fixture
def asked_for(window):
    """A window, and the list of all hosts that it asks anything of."""
    visitor = window()
    hosts: list[str] = []
    visitor.page.on("request", lambda request: hosts.append(urlsplit(request.url).hostname or ""))
    visitor.page.on("websocket", lambda socket: hosts.append(urlsplit(socket.url).hostname or ""))
    return visitor, hosts


def test_from_the_sample_to_report_and_saved_sheet_without_leaving_the_machine(asked_for, tmp_path):
    visitor, hosts = asked_for
    page = visitor.opens().page
    visitor.loads_sample()
    assert visitor.clicks == 1
    visitor.goes_to(PAGES[3]).sees_verdict()

    before = visitor.verdict()
    visitor.chooses("Baseline: every other setup is compared with it", 1).idle()
    expect(visitor.verdict_place()).not_to_have_text(before)

    visitor.click(page.get_by_test_id("stButtonGroup").first.get_by_role("button").first)
    visitor.sees("Left out: ").sees("the test itself is as it was").idle()

    visitor.presses("Save or open")
    saved = visitor.downloads("Save the run sheet", tmp_path / "runsheet.toml")
    sheet = read_run_sheet(saved)
    assert len(sheet.setups) == 3
    assert sheet.baseline == sheet.setups[1].name
    page.keyboard.press("Escape")

    visitor.goes_to(PAGES[4]).presses("Make the report")
    report = visitor.downloads("Report (HTML)", tmp_path / "report.html").read_text(encoding="utf-8")
    assert report.lstrip().lower().startswith("<!doctype html")
    assert sheet.title in report

    visitor.goes_to(PAGES[0])
    outside = {host for host in hosts if host and not _is_loopback(host)}
    assert "127.0.0.1" in hosts
    assert outside == set()


def test_a_new_ride_file_comes_to_its_verdict_in_under_ten_clicks(window, simulated, tmp_path):
    visitor = window().opens()
    visitor.drops(simulated / "ride.fit").sees("laps by the lap button").idle()
    visitor.types("Mass, all together [kg]", "84").idle()
    visitor.types_weather("18", "1012", "", "60").sees("Air density over the ride").idle()
    visitor.goes_to(PAGES[2])
    visitor.presses("Add a setup").sees("B is setup 2").idle()
    visitor.brushes(0.14, 0.86).sees("Apply to 8 laps").idle()
    visitor.presses("Apply to").sees("Order ridden: A B B A A B B A").idle()
    visitor.goes_to(PAGES[3]).sees_verdict()
    assert visitor.clicks <= MOST_CLICKS

    visitor.presses("Save or open")
    sheet = read_run_sheet(visitor.downloads("Save the run sheet", tmp_path / "runsheet.toml"))
    assert [setup.name for setup in sheet.setups] == ["baseline", "setup 2"]
    assert sheet.system.mass_kg == 84.0


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
