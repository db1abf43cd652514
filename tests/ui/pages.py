"""The pages driven without a browser: through the entry, widgets by their keys."""

from __future__ import annotations

import sys
from pathlib import Path

from streamlit.testing.v1 import AppTest

from tests.draft.sample_draft import sample_draft, sample_draft_result

APP = Path(__file__).resolve().parents[2] / "ui" / "app.py"
if str(APP.parent) not in sys.path:
    sys.path.insert(0, str(APP.parent))

LONGEST_S = 3600  # a page that never ends; a busy machine only makes it wait


def opened(page: str, *, sample: bool = True) -> AppTest:
    """A page, with the sample open and analysed unless told otherwise."""
    at = AppTest.from_file(str(APP), default_timeout=LONGEST_S)
    if sample:
        from _outcomes import Outcome, _name

        name = _name(sample_draft())
        at.session_state["the_draft"] = sample_draft()
        at.session_state["the_past"] = []
        at.session_state["the_edition"] = 0
        at.session_state["the_outcomes"] = {name: Outcome(of=name, result=sample_draft_result())}
    at.run()
    if page != "rides":
        at.switch_page(f"screens/{page}.py").run()
    return drawn(at)


def words(at: AppTest) -> str:
    """All that the page says in text."""
    kinds = ("markdown", "text", "info", "warning", "error", "success")
    parts = [element.value for kind in kinds for element in at.get(kind)]
    parts += [element.proto.body for element in at.get("html")]
    return "\n".join(str(part) for part in parts)


def drawn(at: AppTest) -> AppTest:
    """The same page, which was drawn without a fault of the program."""
    assert not at.exception
    assert not [error.value for error in at.error if "fault of the program" in error.value]
    return at
