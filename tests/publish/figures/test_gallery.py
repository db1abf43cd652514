from __future__ import annotations

import re

from fieldaero.publish import figures as plots
from fieldaero.publish.figures.gallery import FIGURES, gallery
from tests.whole_sessions import sample_result


def test_the_page_shows_every_figure_of_a_result_once():
    files = gallery(sample_result())
    page = files["index.html"].decode("utf-8")
    assert re.findall(r'src="([^"]+)"', page) == [f"{name}.svg" for name in FIGURES]
    assert set(files) == {"index.html", *(f"{name}.svg" for name in FIGURES)}
    assert all(content.startswith(b"<?xml") for name, content in files.items() if name.endswith(".svg"))


def test_no_figure_of_a_result_is_forgotten():
    others = {"figure_bytes", "fitted", "forest_plot", "FIGURE_SUFFIXES"}
    assert set(plots.__all__) - others <= set(FIGURES)


def test_the_gallery_is_the_same_every_time():
    assert gallery(sample_result()) == gallery(sample_result())
