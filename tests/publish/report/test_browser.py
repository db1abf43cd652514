"""The report in a browser; skipped, with the reason, where none is installed."""

from __future__ import annotations

import pytest

from fieldaero.publish.report import html_report
from tests.publish.report.test_page import HOSTILE, renamed
from tests.publish.report.test_photographs import in_folder
from tests.publish.test_photos import picture
from tests.whole_sessions import sample_result

OUTSIDE = """() => [...document.querySelectorAll('body *')]
    .filter(e => !e.closest('thead') && !e.closest('svg') && e.getClientRects().length)
    .filter(e => e.getBoundingClientRect().right > innerWidth + 1 || e.getBoundingClientRect().left < -1)
    .map(e => e.outerHTML.slice(0, 80))"""
CUT = """() => [...document.querySelectorAll('td, th, p, li, h1, h2, figcaption')]
    .filter(e => !e.closest('thead') && e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0)
    .map(e => e.outerHTML.slice(0, 80))"""
LETTERS = """() => Math.min(...[...document.querySelectorAll('svg[role=img] text')]
    .map(e => parseFloat(getComputedStyle(e).fontSize) * e.ownerSVGElement.getBoundingClientRect().width
        / e.ownerSVGElement.viewBox.baseVal.width))"""
EMPTY = """() => [...document.querySelectorAll('svg[role=img], section, table')]
    .filter(e => !e.closest('details') && e.getBoundingClientRect().height < 20).map(e => e.outerHTML.slice(0, 80))"""


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reports")
    result = sample_result()
    for k, made in enumerate((result, *(renamed(result, typed) for typed in HOSTILE))):
        (folder / f"{k}.html").write_text(html_report(made), encoding="utf-8")
    return sorted(folder.glob("*.html"))


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_cut_outside_empty_or_fetched(browser, files, width, scheme):
    for file in files if scheme == "light" else files[:1]:
        page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
        asked = []
        page.on("request", lambda request, asked=asked: asked.append(request.url))
        page.goto(file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") == width
        assert page.evaluate(OUTSIDE) == []
        assert page.evaluate(CUT) == []
        assert page.evaluate(EMPTY) == []
        assert asked == [file.as_uri()]
        page.close()


def test_words_in_figures_can_be_read_on_a_telephone(browser, files):
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(files[0].as_uri())
    assert page.evaluate(LETTERS) >= 6.5  # pixels of a telephone's screen, for the smallest lap numbers
    page.close()


def test_photographs_keep_their_shape_and_fit_any_screen(browser, tmp_path):
    picture(1600, 1000).save(tmp_path / "wide.jpg")
    picture(700, 1600).save(tmp_path / "tall.jpg")
    (tmp_path / "r.html").write_text(html_report(in_folder(tmp_path, "wide.jpg", "tall.jpg")), encoding="utf-8")
    for width in (390, 1280):
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.goto((tmp_path / "r.html").as_uri())
        for k, shape in enumerate((1.6, 0.4375)):
            box = page.locator(".photos img").nth(k).bounding_box()
            assert box["width"] / box["height"] == pytest.approx(shape, rel=0.03)
            assert box["x"] + box["width"] <= width
            assert box["height"] <= 400
        page.close()


def test_dark_is_dark_and_light_is_light(browser, files):
    grounds = {}
    for scheme in ("light", "dark"):
        page = browser.new_page(color_scheme=scheme)
        page.goto(files[0].as_uri())
        grounds[scheme] = page.evaluate("getComputedStyle(document.body).backgroundColor")
        page.close()
    assert grounds == {"light": "rgb(247, 246, 242)", "dark": "rgb(23, 24, 22)"}


def test_folded_tables_open_without_a_script(browser, files):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(files[0].as_uri())
    page.locator("summary").first.click()
    assert page.locator("details").first.locator("table").is_visible()
    context.close()
