"""The report's colours, light and dark, and the contrast between them."""

from __future__ import annotations

__all__ = ["DARK", "LIGHT", "PAIRS", "contrast"]

LIGHT = {
    "page": "#f7f6f2",
    "plate": "#ffffff",
    "ink": "#1b1b1a",
    "quiet": "#55554e",
    "line": "#c9c7bd",
    "accent": "#0a5c8f",
    "shade": "#ecebe4",
    "plate-ink": "#1b1b1a",
}
DARK = {
    "page": "#171816",
    "plate": "#f7f6f2",  # figures keep their paper: their colours are chosen for it
    "ink": "#ecebe4",
    "quiet": "#b3b2a8",
    "line": "#4b4c46",
    "accent": "#8cc4ea",
    "shade": "#262724",
    "plate-ink": "#1b1b1a",
}
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
    """Contrast ratio of two colours "#rrggbb", 1 to 21.

    References
    ----------
    Web Content Accessibility Guidelines 2.1, definitions of contrast ratio and relative luminance; AA asks for 4.5
    for text (success criterion 1.4.3).

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 1), round(contrast("#777777", "#ffffff"), 2)
    (21.0, 4.48)
    """
    light, dark = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = (int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
