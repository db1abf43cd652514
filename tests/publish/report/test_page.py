from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from fieldaero.compare.verdict import NOT_RESOLVED
from fieldaero.publish.report import html_report
from fieldaero.publish.report.palette import DARK, LIGHT
from tests.publish.report.reading import NAMESPACE, numbers_in, parsed, text_of, values_of
from tests.whole_sessions import sample_result

# Numbers of the wording, not of the result: above 99 % and below 1 % stand for what is nearly certain, JCGM 100 is the
# name of a document, and so are the year, the number and the place in the names of the others.
OF_THE_WORDING = {"99", "1", "100"}
PEOPLES_UNITS = (1.0, 3.6, 100.0)  # as it stands, km/h of m/s, per cent of a bare fraction


@pytest.fixture(scope="module")
def result():
    return sample_result()


@pytest.fixture
def without_figures(monkeypatch):
    """Reports about words alone, which are made much faster."""
    monkeypatch.setattr("fieldaero.publish.report.page.drawings", lambda result: {})


@pytest.fixture(scope="module")
def html(result):
    return html_report(result)


@pytest.fixture(scope="module")
def page(html):
    return parsed(html)


def elements(page, tag):
    return [node for node in page.iter() if node.tag in (NAMESPACE + tag, tag)]


def test_valid_html_with_ids_that_are_unique_and_links_that_lead_somewhere(page, html):
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    targets = re.findall(r'(?:href="#|url\(#)([^")]+)', html)
    assert targets
    assert set(targets) <= set(ids)


def test_nothing_is_fetched_and_nothing_runs(html):
    assert "<script" not in html
    assert not re.findall(r'(?:src|href)="(?!#|data:)', html)
    assert not re.findall(r"@import|url\((?!#)", html)


def test_the_same_result_is_the_same_page(result, html):
    assert html_report(result) == html


def test_small_enough_to_send(html):
    assert len(html.encode("utf-8")) < 3_000_000


def test_sections_come_in_the_order_a_reader_needs(page):
    heads = [text_of(node).strip() for node in elements(page, "h2")]
    assert heads == [
        "The answer",
        "The comparison",
        "Claims",
        "Tunnel cross-check",
        "Every lap",
        "Virtual elevation and closure",
        "Repeat check and drift",
        "Yaw and wind during the laps",
        "Conditions",
        "Uncertainty budget",
        "Setups",
        "Method",
        "Limitations",
        "Cautions",
        "Version and inputs",
    ]


def test_every_figure_has_a_text_alternative(html):
    drawings = re.findall(r"<svg role=\"img\".*?</svg>", html, flags=re.DOTALL)
    assert len(drawings) == 8
    for svg in drawings:
        named = re.search(r'aria-labelledby="(\S+) (\S+)"', svg)
        assert named is not None
        for key in named.groups():
            assert len(re.search(rf'id="{key}">([^<]+)<', svg).group(1)) > 10


def test_no_number_that_is_not_in_the_results(result, page):
    values = np.abs(np.array(list(values_of(result.to_dict()))))
    text = text_of(page, without=("style", "head", "code", "method"))
    tokens = [token for token in numbers_in(text) if token.lstrip("-") not in OF_THE_WORDING]
    assert len(tokens) > 300
    assert not [token for token in tokens if not in_results(token, values)]


def test_a_number_of_its_own_would_be_noticed(result):
    values = np.abs(np.array(list(values_of(result.to_dict()))))
    assert not in_results("0.12345", values)
    assert not in_results("7531", values)


def in_results(token: str, values: np.ndarray) -> bool:
    half_a_digit = 0.5 * 10.0 ** -len(token.partition(".")[2])
    shown = abs(float(token))
    return any(np.min(np.abs(values * unit - shown)) <= half_a_digit * (1.0 + 1e-9) + 1e-12 for unit in PEOPLES_UNITS)


def test_laps_that_do_not_count_are_marked_with_the_reason(html, result):
    unused = [row for row in result.lap_results if not row.used]
    laps = html[html.index('id="laps"') : html.index('id="elevation"')]
    muted = re.findall(r'<tr class="muted">(.*?)</tr>', laps, flags=re.DOTALL)
    assert len(muted) == len(unused) > 0
    assert all("left out" in row for row in muted)


@pytest.mark.usefixtures("without_figures")
def test_what_is_not_resolved_is_not_told_as_a_finding(result):
    rows = [
        replace(row, verdict=NOT_RESOLVED, interval95_m2=(-0.0300004, 0.0001), further_laps=6)
        for row in result.comparison_results
    ]
    page = parsed(html_report(replace(result, comparison_results=tuple(rows))))
    answer = next(node for node in page.iter() if node.get("id") == "answer")
    told = text_of(answer)
    assert told.count(": not resolved.") == len(rows)
    assert "lower drag" not in told
    assert [node.get("fill") for node in answer.iter() if "circle" in str(node.tag)] == ["none"] * len(rows)


@pytest.mark.usefixtures("without_figures")
def test_a_setup_without_laps_is_told_apart_from_one_that_is_not_resolved(result):
    row = result.comparison_results[0]
    none = replace(row, setup="never ridden", delta_cda_m2=None, interval95_m2=None, verdict=NOT_RESOLVED, watts=None)
    text = " ".join(text_of(parsed(html_report(replace(result, comparison_results=(row, none))))).split())
    assert text.count("no usable lap") == 1
    assert "never ridden against road bar: not resolved. One of the two setups has no usable lap." in text


def test_one_setup_alone_is_nothing_to_compare(result):
    alone = replace(
        result, comparison_results=(), budget_rows=(), claim_results=(), tunnel_results=(), known_drag_results=()
    )
    text = text_of(parsed(html_report(alone)))
    assert "nothing to compare" in text
    assert "The run sheet states no claim." in text


PAIRS = (
    ("ink", "page"),
    ("quiet", "page"),
    ("accent", "page"),
    ("ink", "shade"),
    ("quiet", "shade"),
    ("accent", "shade"),
    ("plate-ink", "plate"),
)
"""What is written in which colour on which ground."""


def contrast(a: str, b: str) -> float:
    """Contrast ratio of two colours "#rrggbb", 1 to 21, by the definitions of WCAG 2.1."""
    light, dark = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = (int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out_from_its_ground(colours):
    # WCAG 2.1, success criterion 1.4.3, level AA: 4.5 for text of ordinary size
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # as calculators for it print
    assert min(contrast(colours[ink], colours[ground]) for ink, ground in PAIRS) >= 4.5


HOSTILE = (
    "<script>alert(1)</script>",
    "\"quotes\" & 'more' </style> {{ 7 * 7 }} $x^2$",
    "סרגל ארוך 12",
    "🚴 narrow 🚴",
    "long " + "x" * 300,
)


@pytest.mark.parametrize("typed", HOSTILE, ids=["script", "quotes", "right to left", "emoji", "300 characters"])
def test_what_people_type_is_shown_as_text_and_breaks_nothing(result, typed):
    page = parsed(html_report(renamed(result, typed)))
    assert not elements(page, "script")
    text = " ".join(text_of(page).split())
    assert typed in text  # in full where the setups are described
    assert "49" not in next(text_of(node) for node in elements(page, "h1"))


def renamed(result, typed):
    """The result with the title, a setup and every note as somebody typed them."""
    old = result.comparison_results[0].setup
    own = {"setup": typed}
    supporting = replace(
        result.supporting_data,
        setups=tuple(
            replace(one, setup=typed, description=typed) if one.setup == old else one
            for one in result.supporting_data.setups
        ),
        yaw_ridden=tuple(replace(y, **own) if y.setup == old else y for y in result.supporting_data.yaw_ridden),
        differences_pct=tuple(
            replace(d, **own) if d.setup == old else d for d in result.supporting_data.differences_pct
        ),
    )

    def rows(those):
        return tuple(replace(row, **own) if row.setup == old else row for row in those)

    return replace(
        result,
        title=typed,
        supporting_data=supporting,
        lap_results=rows(result.lap_results),
        setup_results=rows(result.setup_results),
        comparison_results=rows(result.comparison_results),
        budget_rows=rows(result.budget_rows),
        claim_results=tuple(replace(row, note=typed, setup=typed) for row in result.claim_results),
        tunnel_results=tuple(replace(row, note=typed) for row in result.tunnel_results),
        warnings=(typed,),
    )
