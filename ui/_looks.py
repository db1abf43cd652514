"""What all pages share: their head, the way to the next, charts that can be read in either theme, notes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st
from pydantic import BaseModel

from _files import save_and_open
from _state import problem, undo, undo_name
from fieldaero.run_sheet.schema import explained

__all__ = ["accent", "head", "help_on", "ink", "note", "show_chart", "show_drawn", "way_on"]

ON_LIGHT_ACCENT = "#171716"


def accent() -> str:
    """Return the one accent colour, by theme."""
    return "#7db8dd" if _dark() else "#1f5f8b"


def ink() -> str:
    """Return the colour of text, by theme."""
    return "#ecebe6" if _dark() else "#1b1b1a"


def help_on(table: type[BaseModel], key: str) -> str:
    """Return what the run sheet's schema says on a key, as a sentence beside its field."""
    said = explained(table, key)
    return f"{said[:1].upper()}{said[1:]}."


def _dark() -> bool:
    return st.context.theme.type == "dark"


def head(title: str, sentence: str) -> None:
    """Begin a page: title, what to do here, the step that can be taken back, and what was refused last."""
    if _dark():  # the accent is light there, and white letters on it cannot be read
        st.html(f"<style>[data-testid='stBaseButton-primary'] p {{ color: {ON_LIGHT_ACCENT}; }}</style>")
    left, middle, right = st.columns([5, 2, 2], vertical_alignment="bottom")
    left.title(title)
    with middle:
        save_and_open()
    step = undo_name()
    right.button(
        f"Take back: {step}" if step else "Nothing to take back",
        key="take_back",
        disabled=not step,
        on_click=undo,
        width="stretch",
    )
    st.write(sentence)
    refused = problem()
    if refused:
        st.error(refused)


def way_on(page: str, label: str) -> None:
    """End a page with the way to the next one."""
    st.divider()
    st.page_link(page, label=f"**{label} →**")


def show_chart(chart: Any, *, key: str, width: Any = "stretch", **selection: Any) -> Any:
    """Show an Altair chart, its text readable in either theme; its specification was checked by the tests.

    ``selection`` holds ``on_select`` and ``selection_mode``, as for any chart of Streamlit.
    """
    return st.vega_lite_chart(_spec(chart), width=width, key=key, **selection)


def show_drawn(make: Callable[[], Any], *, of: object, key: str, width: Any = "stretch", **selection: Any) -> Any:
    """Show a chart as :func:`show_chart` does, drawn anew only where ``of``, all that it shows, has changed."""
    drawn = st.session_state.setdefault("drawn", {})
    if key not in drawn or drawn[key][0] != (of, _dark()):
        drawn[key] = ((of, _dark()), _spec(make()))
    return st.vega_lite_chart(drawn[key][1], width=width, key=key, **selection)


def _spec(chart: Any) -> dict[str, Any]:
    spec: dict[str, Any] = chart.to_dict(validate=False)
    text, quiet = ("#c4c3be", "#3a3a38") if _dark() else ("#4a4a47", "#dedcd5")
    letters = {"labelColor": text, "titleColor": text}
    own = spec.get("config", {})
    spec["config"] = {
        **own,
        "axis": {**letters, "gridColor": quiet, "domainColor": quiet, "tickColor": quiet} | own.get("axis", {}),
        "legend": letters | own.get("legend", {}),
        "view": {"stroke": None} | own.get("view", {}),
    }
    return spec


def note(text: str) -> None:
    """Say something under a chart or table: small, in the colour of the text, so that it can be read by all."""
    st.markdown(f":small[{text}]")
