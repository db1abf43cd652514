"""Settings that all tests share, and the browser for those of pages and reports."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from tests.browser.serving import FLAGS, browser_found

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# As the command line has it: the matrices are small, and several threads on one of them only wait for each other.
# Read when numpy is loaded, which nothing above does.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# The same examples in every run, and no time limit per example: a test fails for what it
# tests, not for a busy machine or an unlucky draw.
settings.register_profile("fieldaero", derandomize=True, deadline=None)
settings.load_profile("fieldaero")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One for the whole run: a process can hold no second one beside it."""
    path = browser_found()
    if path is None:
        pytest.skip("no browser: pages and reports are tried in Chromium, and none is on the path (Debian: chromium)")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with sync_api.sync_playwright() as playwright:
            opened = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
            yield opened
            opened.close()
