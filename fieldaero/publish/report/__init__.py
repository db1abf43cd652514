"""The report that gets published: one HTML file that needs nothing else, and a PDF of the same.

Every number in it stands in the results JSON; it is rounded here by
:mod:`fieldaero.basics.formatting` and nowhere computed.
"""

from __future__ import annotations

from fieldaero.publish.report.page import html_report
from fieldaero.publish.report.pdf import pdf_of_html, pdf_report

__all__ = ["html_report", "pdf_of_html", "pdf_report"]
