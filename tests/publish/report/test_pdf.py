from __future__ import annotations

import re
import sys

import pytest

from fieldaero.basics.errors import FieldaeroError
from fieldaero.publish.report import html_report, pdf_of_html, pdf_report
from tests.whole_sessions import sample_result


def test_the_pdf_has_the_pages_and_the_title_of_the_report():
    try:
        pdf = pdf_report(sample_result())
    except FieldaeroError as missing:
        pytest.skip(f"no PDF on this machine: {missing}")
    assert pdf.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type /Page\b", pdf)) >= 6 or b"/ObjStm" in pdf
    assert len(pdf) < 3_000_000


def test_a_page_that_wants_to_fetch_gets_nothing(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("secret")
    try:
        pdf = pdf_of_html(f'<!DOCTYPE html><title>t</title><link rel="attachment" href="{secret.as_uri()}"><p>text')
    except FieldaeroError as missing:
        pytest.skip(f"no PDF on this machine: {missing}")
    assert b"EmbeddedFile" not in pdf


@pytest.mark.parametrize("missing", ["weasyprint", "weasyprint.urls"])
def test_without_the_library_one_sentence_says_what_to_install(monkeypatch, missing):
    monkeypatch.setitem(sys.modules, missing, None)
    with pytest.raises(FieldaeroError, match=r"pip install 'fieldaero\[pdf\]'.*libpango") as found:
        pdf_of_html("<p>")
    assert "\n" not in str(found.value)


def test_the_page_is_made_for_a4(monkeypatch):
    assert "size: A4" in html_report(sample_result())
