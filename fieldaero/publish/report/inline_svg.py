"""A matplotlib figure as SVG that can stand inside an HTML page."""

from __future__ import annotations

import re
import warnings

import matplotlib as mpl
from matplotlib.figure import Figure

from fieldaero.publish.figures import at_page_width, figure_bytes

__all__ = ["WIDTH_INCH", "inline_svg"]

WIDTH_INCH = 5.4
FONTS = "font-family: system-ui, 'DejaVu Sans', sans-serif"


def inline_svg(figure: Figure, *, key: str, title: str, description: str) -> str:
    """Return a figure as an SVG element with a text alternative, the same for the same figure.

    It is set to the page's width; text stays text, so that the reader's fonts show every script.  ``key`` begins the
    ids inside, which have to be unique in the page.
    """
    figure.set_facecolor("none")  # the plate beneath is the paper
    for axes in figure.axes:
        axes.set_facecolor("none")
    with warnings.catch_warnings(), mpl.rc_context({"svg.fonttype": "none"}):
        warnings.filterwarnings("ignore", message="Glyph")  # the reader's fonts have what matplotlib's lack
        drawn = figure_bytes(at_page_width(figure, width_inch=WIDTH_INCH), ".svg").decode("utf-8")
    body = drawn[drawn.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", "", body, flags=re.DOTALL)
    body = _own_ids(body, key)
    body = re.sub(r"font-family:[^;\"]*|(?<=px )'[^;\"]*", lambda found: _font(found.group()), body)
    opening = body[: body.index(">")]
    box = re.search(r'viewBox="([^"]*)"', opening)
    assert box is not None
    head = (
        f'<svg role="img" aria-labelledby="{key}-title {key}-desc" viewBox="{box.group(1)}" '
        'style="stroke-linejoin: round; stroke-linecap: butt" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{key}-title">{_escaped(title)}</title><desc id="{key}-desc">{_escaped(description)}</desc>'
    )
    return head + re.sub(r">\s+<", "><", body[body.index(">") + 1 :]).strip()


def _own_ids(body: str, key: str) -> str:
    """Keep only ids that are referred to, with a beginning of their own; href without its old name space."""
    wanted = set(re.findall(r"(?:url\(#|href=\"#)([^\")]+)", body))
    body = re.sub(
        r' id="([^"]*)"', lambda found: f' id="{key}-{found.group(1)}"' if found.group(1) in wanted else "", body
    )
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", body)
    return re.sub(r'xlink:href="#([^"]+)"', rf'href="#{key}-\1"', body)


def _font(found: str) -> str:
    return FONTS if found.startswith("font-family") else FONTS.removeprefix("font-family: ")


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
