"""A server for each file of tests, and a window of its own for each test."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fieldaero.simulator.session_files import scenario_of, write_session
from tests.browser.serving import served

WIDE, NARROW = (1280, 900), (390, 844)
PHONE = (
    "Mozilla/5.0 (Linux; Android 14; Mobile) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/130.0 Mobile Safari/537.36"
)


@pytest.fixture(scope="module")
def address(browser) -> Iterator[str]:
    """Of a server of this file's own; not started where there is no browser."""
    with served() as found:
        yield found


@pytest.fixture
def window(browser, address) -> Iterator[Callable]:
    """Make windows that share nothing with one another."""
    from tests.browser.steps import Visitor

    contexts = []

    def opened(*, size: tuple[int, int] = WIDE, scheme: str = "light", phone: bool = False) -> Visitor:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,
            accept_downloads=True,
            user_agent=PHONE if phone else None,
        )
        contexts.append(context)
        return Visitor(context.new_page(), address)

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def simulated(tmp_path_factory) -> Path:
    """Folder of a simulated session, as its rider would bring it home: eight laps of two setups."""
    folder = tmp_path_factory.mktemp("simulated") / "session"
    scenario = scenario_of(
        setups={"bare": 0.250, "covered": 0.275},
        laps=8,
        lap_length_m=1200.0,
        wind_m_s=0.8,
        wind_from_deg=200.0,
        power_w=230.0,
    )
    write_session(scenario, folder, seed=11)
    return folder


@pytest.fixture(scope="session")
def pictures() -> Path:
    """Where the pictures of the pages go, for a person to look at."""
    folder = Path(__file__).resolve().parents[2] / "build" / "screenshots"
    folder.mkdir(parents=True, exist_ok=True)
    print(f"{os.linesep}pictures of the pages: {folder}")
    return folder
