"""Page."""

from __future__ import annotations

from _looks import head

head("laps", "…")
