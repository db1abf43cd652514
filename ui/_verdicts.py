"""The verdicts in words and marks, what weakens them, and the tables under them."""

from __future__ import annotations

from html import escape

import pandas as pd
import streamlit as st

from _looks import note
from _ride_cards import plain
from _state import draft
from fieldaero.answers.result import Result
from fieldaero.answers.tables import SHIFT, Table, behind_table, comparison_table, lap_table
from fieldaero.answers.wording import (
    NOTHING_TO_COMPARE,
    also_found,
    is_resolved,
    pair_words,
    repeat_sentence,
    verdict_head,
    verdict_reasons,
)
from fieldaero.basics.formatting import MISSING, counted, interval, value_with_uncertainty
from fieldaero.draft.still_missing import still_missing

__all__ = ["beside", "differences", "laps", "repeat_and_drift", "verdicts", "warnings_first", "why_not"]

FEW = 3
MOST_ROWS = 24  # shown without scrolling inside the table
FILLED, HOLLOW = "●", "○"
REMARKS_PX = 210
LAP_HELP = {
    "closure [m²]": "CdA by plain closure: from the lap's energy alone, without the joint fit.",
    SHIFT: "By how much the first difference would move without this lap.",
    "yaw [°]": "Median over the lap.",
}


def verdicts(result: Result) -> None:
    """Show each verdict as a sentence with its mark: filled is resolved, hollow is not."""
    if not result.comparison_results:
        means = "".join(
            f"<p>{escape(s.setup)}: drag area {value_with_uncertainty(s.cda_m2, s.se_m2, unit='m²')}, "
            f"{counted(s.laps, 'lap')}.</p>"
            for s in result.setup_results
        )
        st.html(f"<div style='font-size:1.15rem'>{means}<p>{NOTHING_TO_COMPARE}</p></div>")
        return
    lines = []
    for row in result.comparison_results:
        lines.append(
            "<div style='display:flex;gap:0.7rem;margin:0.5rem 0'>"
            f"<span aria-hidden='true' style='font-size:1.5rem;line-height:1.55rem'>"
            f"{FILLED if is_resolved(row) else HOLLOW}</span>"
            f"<p style='margin:0;font-size:1.15rem;line-height:1.55rem;overflow-wrap:anywhere'>"
            f"<strong>{escape(verdict_head(row))}</strong> {escape(verdict_reasons(row, result))}</p></div>"
        )
    st.html("".join(lines))


def why_not(problem: str) -> None:
    """Say why there is no result: what the test still needs, in the words of the pages, else what the fit said."""
    needed = [lack.sentence for lack in still_missing(draft()) if lack.needed]
    for sentence in needed or [problem]:
        st.error(plain(sentence))


def warnings_first(result: Result) -> None:
    """Show what weakens the result, the rest of a long list on request."""
    if not result.warnings:
        return
    st.header("Warnings")
    for sentence in result.warnings[:FEW]:
        st.warning(plain(sentence))
    if len(result.warnings) > FEW:
        with st.expander(f"{len(result.warnings) - FEW} more warnings"):
            for sentence in result.warnings[FEW:]:
                st.warning(plain(sentence))


def differences(result: Result) -> None:
    """Show every difference in m², per cent, W and s, each with its interval, and what they rest on."""
    if result.comparison_results:
        st.dataframe(_frame(comparison_table(result)), hide_index=True, width="stretch")
        behind = behind_table(result)
        with st.expander(behind.caption):
            st.dataframe(_frame(behind), hide_index=True, width="stretch")


def _frame(cells: Table) -> pd.DataFrame:
    return pd.DataFrame(list(cells.rows), columns=list(cells.header))


def beside(original: Result, changed: Result) -> None:
    """Show the original and the what-if side by side."""
    new = {(c.setup, c.versus): c for c in changed.comparison_results}
    rows = []
    for old in original.comparison_results:
        row: dict[str, str] = {"setup": pair_words(old.setup, old.versus)}
        for name, c in (("the test", old), ("what if", new.get((old.setup, old.versus)))):
            row[f"{name}: verdict"] = MISSING if c is None else c.verdict
            row[f"{name}: drag area [m²]"] = (
                MISSING if c is None else value_with_uncertainty(c.delta_cda_m2, c.se_m2, signed=True)
            )
            row[f"{name}: 95 % interval [m²]"] = (
                MISSING if c is None or c.interval95_m2 is None else interval(*c.interval95_m2, signed=True)
            )
        rows.append(row)
    st.dataframe(pd.DataFrame(rows), hide_index=True, width="stretch")


def laps(result: Result) -> None:
    """Show a row per lap, with what leaving it out would do to the first comparison."""
    cells = lap_table(result, shifts=True)
    st.dataframe(
        _frame(cells),
        hide_index=True,
        width="stretch",
        height="content" if len(cells.rows) <= MOST_ROWS else "auto",
        column_config={
            "remarks": st.column_config.TextColumn(width=REMARKS_PX),
            **{name: st.column_config.TextColumn(name, help=means) for name, means in LAP_HELP.items()},
        },
    )
    pair = next((c for c in result.comparison_results if c.lap_shifts), None)
    if pair is not None:
        note(
            f"Without it: by how much the drag area of {plain(pair_words(pair.setup, pair.versus))} would move without "
            "the lap. Closure: from the lap's energy alone, without the joint fit."
        )


def repeat_and_drift(result: Result) -> None:
    """Tell whether the baseline repeats, and what the fit found besides."""
    check = result.supporting_data.repeat_check
    mark = "" if check is None else f"{FILLED if check.repeats else HOLLOW} "
    for sentence in (mark + repeat_sentence(result), *also_found(result)):
        st.write(plain(sentence))
