"""Reports read back: text without drawings, and the numbers in it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import html5lib

SPACES = dict.fromkeys(map(ord, "\u00a0\u2060\u2068\u2069"), " ")
NUMBER = re.compile(r"(?<![\w.:])[−-]?\d+(?:\.\d+)?(?![\w:]|\.\d)")
NAMESPACE = "{http://www.w3.org/1999/xhtml}"


def parsed(html: str) -> Any:
    """The page as a tree; an error for anything that the HTML standard calls a parse error."""
    return html5lib.HTMLParser(strict=True).parse(html)


def text_of(node: Any, *, without: tuple[str, ...] = ()) -> str:
    """Text below a node, leaving out elements by tag or id."""
    tag = node.tag.removeprefix(NAMESPACE) if isinstance(node.tag, str) else "comment"
    if tag in without or node.get("id") in without or "svg" in tag:
        return node.tail or ""
    inner = (node.text or "") + "".join(text_of(child, without=without) for child in node)
    return f" {inner} {node.tail or ''}" if tag in ("td", "th", "p", "li", "b", "br") else inner + (node.tail or "")


def numbers_in(text: str) -> Iterator[str]:
    for found in NUMBER.finditer(text.translate(SPACES)):
        yield found.group().replace("−", "-")


def values_of(content: Any) -> Iterator[float]:
    """Every number of a JSON, also those inside its texts."""
    if isinstance(content, dict):
        for one in content.values():
            yield from values_of(one)
    elif isinstance(content, list):
        for one in content:
            yield from values_of(one)
    elif isinstance(content, str):
        yield from map(float, numbers_in(content))
    elif isinstance(content, int | float) and not isinstance(content, bool):
        yield float(content)
