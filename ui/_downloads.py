"""Figures and tables as files; they are made when the button is pressed, not before."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from fieldaero.answers.result import Result
from fieldaero.basics.output_files import json_text

__all__ = ["FIGURES", "TABLES", "figure_downloads", "file_name", "result_download", "table_downloads"]

FIGURES = {
    "differences": "Differences",
    "laps_by_time": "Laps by time",
    "elevation": "Virtual elevation",
    "residual": "Residual",
    "budget": "Budget",
}
TABLES = {"laps": "Laps", "setups": "Setups", "comparisons": "Comparisons", "budget": "Budget"}
ENDINGS = {".svg": "image/svg+xml", ".png": "image/png"}


def file_name(title: str, ending: str) -> str:
    """Return a file name that every system takes, from a title that somebody typed."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in title.lower())
    return ("-".join(part for part in plain.split("-") if part)[:60] or "fieldaero") + ending


def figure_downloads(result: Result) -> None:
    """Offer every figure as SVG and as PNG."""
    for ending, kind in ENDINGS.items():
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"Figures as {ending[1:].upper()}", width="content")
            for name, label in FIGURES.items():
                st.download_button(
                    label,
                    data=_figure(result, name, ending),
                    file_name=file_name(f"{result.title} {name}", ending),
                    mime=kind,
                    key=f"figure_{name}{ending}",
                    on_click="ignore",
                    help=f"{label}, as {ending[1:].upper()}",
                )


def table_downloads(result: Result) -> None:
    """Offer every table as CSV."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown("Tables as CSV", width="content")
        for name, label in TABLES.items():
            st.download_button(
                label,
                data=_table(result, name),
                file_name=file_name(f"{result.title} {name}", ".csv"),
                mime="text/csv",
                key=f"table_{name}",
                on_click="ignore",
                help=f"{label} as CSV, full precision",
            )


def result_download(result: Result) -> None:
    """Offer the whole result as JSON, and its summary as text."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown("Everything", width="content")
        st.download_button(
            "Result as JSON",
            data=lambda: json_text(result.to_dict()) + "\n",
            file_name=file_name(result.title, ".json"),
            mime="application/json",
            key="result_json",
            on_click="ignore",
        )
        st.download_button(
            "Summary as text",
            data=result.summary,
            file_name=file_name(result.title, ".txt"),
            mime="text/plain",
            key="result_text",
            on_click="ignore",
        )


def _figure(result: Result, name: str, ending: str) -> Callable[[], bytes]:
    def made() -> bytes:
        from fieldaero.publish import figures as plots

        return plots.figure_bytes(getattr(plots, name)(result), ending)

    return made


def _table(result: Result, name: str) -> Callable[[], str]:
    return lambda: str(getattr(result, name).to_csv(index=False, lineterminator="\n"))
