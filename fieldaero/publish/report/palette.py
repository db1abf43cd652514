"""The report's colours, light and dark; its tests hold the contrast of each pair."""

from __future__ import annotations

__all__ = ["DARK", "LIGHT"]

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
