"""The first page is drawn before anything heavy is imported; what later pages need follows by itself."""

from __future__ import annotations

import subprocess
import sys

from tests.ui.pages import APP

HEAVY = ("altair", "fitdecode", "matplotlib", "scipy", "fieldaero.answers.analysis")
START = f"""
import sys
sys.path.insert(0, {str(APP.parent)!r})
import _ahead
{{before}}
from streamlit.testing.v1 import AppTest
at = AppTest.from_file({str(APP)!r}, default_timeout=3600).run()
assert not at.exception
{{after}}
print(*[name for name in {HEAVY!r} if name in sys.modules])
"""


def imported(before: str = "", after: str = "") -> list[str]:
    """Which of the heavy modules a fresh interpreter has after the first page."""
    made = subprocess.run(
        [sys.executable, "-c", START.format(before=before, after=after)], capture_output=True, text=True, check=True
    )
    return made.stdout.split()


def test_the_first_page_needs_nothing_heavy():
    assert imported(before="_ahead.LATER = ()") == []


def test_what_later_pages_need_is_imported_once_the_first_is_drawn():
    assert {"altair", "scipy", "fieldaero.answers.analysis"} <= set(imported(after="at.run()"))
