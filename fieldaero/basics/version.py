"""The version of this installation, as its metadata has it."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version

__all__ = ["VERSION"]

try:
    VERSION = version("fieldaero")
except PackageNotFoundError:
    VERSION = "not installed"
"""Version string, or "not installed" when run from a bare checkout."""
