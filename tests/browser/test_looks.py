"""Every page, wide and narrow, light and dark: nothing sticks out, and everybody can use it."""

from __future__ import annotations

from importlib.resources import files

import pytest

from tests.browser.conftest import NARROW, WIDE
from tests.browser.steps import HEADINGS, PAGES

# Left out: rule, what the finding's element bears, and why. Every other serious finding counts, on every page.
EXEMPT = (
    # The brush is drawn by the chart library with the role of a picture and nothing to say; what it picks is
    # said beside it, in a field that the keyboard reaches.
    ("svg-img-alt", "pick_brush"),
)
TALLEST_PX = 12_000


@pytest.fixture(scope="module")
def rules() -> str:
    """The script of the accessibility rules, out of the package that carries it: no network."""
    package = pytest.importorskip(
        "axe_playwright_python", reason="no accessibility rules: pip install axe-playwright-python"
    )
    return (files(package) / "axe.min.js").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("size", "scheme"),
    [
        pytest.param(WIDE, "light", id="wide-light"),
        pytest.param(NARROW, "dark", id="narrow-dark"),
        pytest.param(WIDE, "dark", id="wide-dark", marks=pytest.mark.other_window),
        pytest.param(NARROW, "light", id="narrow-light", marks=pytest.mark.other_window),
    ],
)
def test_no_page_is_wider_than_its_window_and_none_has_a_serious_barrier(window, pictures, rules, size, scheme):
    visitor = window(size=size, scheme=scheme).opens().loads_sample()
    too_wide, barriers = [], []
    for page in PAGES:
        visitor.goes_to(page)
        if page == "4 Result":
            visitor.sees_verdict()
        wide = visitor.page.evaluate(WIDEST)
        if wide > size[0]:
            too_wide.append((page, wide))
        _photograph(visitor.page, pictures / f"{HEADINGS[page].replace(' ', '-').lower()}-{size[0]}-{scheme}.png", size)
        barriers += [(page, *found) for found in _barriers(visitor.page, rules)]
    assert too_wide == []
    assert barriers == []


WIDEST = """() => Math.max(
  document.documentElement.scrollWidth,
  ...[...document.querySelectorAll('[data-testid=stMain], [data-testid=stMainBlockContainer]')].map(e => e.scrollWidth)
)"""


def _photograph(page, path, size) -> None:
    """Photograph the whole page: the window is made as tall as what scrolls inside it, for a moment."""
    tall = page.get_by_test_id("stMain").evaluate("element => element.scrollHeight")
    page.set_viewport_size({"width": size[0], "height": min(tall + 80, TALLEST_PX)})
    page.wait_for_timeout(400)
    page.screenshot(path=path)
    page.set_viewport_size({"width": size[0], "height": size[1]})


def _barriers(page, rules: str) -> list[tuple[str, str, str]]:
    """Serious and critical findings: rule, place, and what is found."""
    page.evaluate(rules)
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    return [
        (violation["id"], " ".join(map(str, node["target"])), node["html"][:160])
        for violation in found["violations"]
        if violation["impact"] in ("serious", "critical")
        for node in violation["nodes"]
        if not _exempt(violation["id"], node)
    ]


def _exempt(rule: str, node) -> bool:
    return any(rule == known and bears in node["html"] for known, bears in EXEMPT)
