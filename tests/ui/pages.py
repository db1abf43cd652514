"""The pages driven without a browser: through the entry, widgets by their keys."""

from __future__ import annotations

from pathlib import Path

from streamlit.testing.v1 import AppTest

APP = Path(__file__).resolve().parents[2] / "ui" / "app.py"
LONGEST_S = 120


def opened(page: str, *, sample: bool = True) -> AppTest:
    """A page, with the sample in the draft unless told otherwise."""
    at = AppTest.from_file(str(APP), default_timeout=LONGEST_S).run()
    at.switch_page(f"screens/{page}.py").run()
    if sample:
        at.button(key="open_sample").click().run()
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
