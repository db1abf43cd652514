"""Inputs that once went wrong, each as small as it could be made; they give a result or a named error now.

The first word of a file's name is its format.  ``python -m tests.fuzz`` adds what it finds.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.campaign import LONGEST_S, at_most
from tests.fuzz.targets import FORMATS, outcome

FOUND = sorted(path for path in (Path(__file__).parent / "found").iterdir() if path.name != "README.md")


@pytest.mark.parametrize("path", FOUND, ids=lambda path: path.name)
def test_what_once_went_wrong_goes_right(path):
    name = path.name.partition("-")[0]
    assert name in FORMATS
    at_most(LONGEST_S)
    try:
        outcome(name, path.read_bytes())
    finally:
        at_most(0.0)
