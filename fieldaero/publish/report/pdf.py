"""The report as PDF, made of the same HTML."""

from __future__ import annotations

import logging
import warnings

from fieldaero.answers.result import Result
from fieldaero.basics.errors import FieldaeroError
from fieldaero.publish.report.page import html_report

__all__ = ["pdf_of_html", "pdf_report"]

MISSING = (
    "a PDF needs the package weasyprint and the library pango, and {what}; install them with "
    "pip install 'fieldaero[pdf]' and, on Debian, apt-get install libpango-1.0-0 libpangoft2-1.0-0, or print the HTML "
    "report from a browser"
)


def pdf_report(result: Result, *, strict_photos: bool = True) -> bytes:
    """Return the report of a result as PDF."""
    return pdf_of_html(html_report(result, strict_photos=strict_photos))


def pdf_of_html(html: str) -> bytes:
    """Return a report's HTML as PDF; nothing but what is in it is fetched.

    Where the libraries for it are missing, the error says what to install.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from weasyprint import HTML
            from weasyprint.urls import URLFetcher
    except ImportError:
        raise FieldaeroError(MISSING.format(what="weasyprint is not there")) from None
    except OSError:
        raise FieldaeroError(MISSING.format(what="pango is not there")) from None
    for chatty in ("weasyprint", "fontTools"):
        logging.getLogger(chatty).setLevel(logging.CRITICAL)  # about CSS that is meant for screens
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = HTML(string=html, url_fetcher=URLFetcher(allowed_protocols={"data"})).write_pdf()
    assert isinstance(made, bytes)
    return made
