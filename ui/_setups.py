"""Setups: named, weighed, added and taken away; one of them is the baseline."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from _state import draft, edition, step
from fieldaero.basics.colours import colour_of, sign_of
from fieldaero.draft.draft import Draft
from fieldaero.run_sheet.schema import Setup, allowed_range

__all__ = ["setups", "with_setup_added", "with_setup_changed", "without_setup"]


def with_setup_added(now: Draft) -> Draft:
    """Add a setup with a name of its own."""
    number = len(now.setups) + 1
    while f"setup {number}" in now.setups:
        number += 1
    return now.with_table("setups", [*now.tables.setups, {"name": f"setup {number}"}])


def without_setup(now: Draft, name: str) -> Draft:
    """Take a setup away; claims and tunnel numbers of it go with it, and its laps are not used."""
    after = now.with_table("setups", [row for row in now.tables.setups if row["name"] != name])
    for table in ("claims", "tunnel"):
        rows = [row for row in getattr(now.tables, table) if name not in (row.get("setup"), row.get("versus"))]
        after = after.with_table(table, rows)
    if now.baseline == name and after.setups:
        after = after.with_table("baseline", after.setups[0])
    return after


def with_setup_changed(now: Draft, name: str, changes: Mapping[str, Any]) -> Draft:
    """Change what is said of a setup apart from its name; None takes a value away."""
    rows = []
    for row in now.tables.setups:
        merged = {**row, **changes} if row["name"] == name else dict(row)
        rows.append({key: value for key, value in merged.items() if value not in (None, "")})
    return now.with_table("setups", rows)


def setups() -> None:
    """Show the setups as rows of fields."""
    names = draft().setups
    for k, row in enumerate(draft().tables.setups):
        _fields(k, row, names)
    if len(names) < 2:
        st.write("Add a second setup: one alone has nothing to be compared with.")
    left, right = st.columns([1, 1], vertical_alignment="bottom")
    key = f"baseline_{edition()}"
    left.selectbox(
        "Baseline: all others are compared with it",
        names,
        index=names.index(draft().baseline) if draft().baseline in names else 0,
        key=key,
        on_change=lambda: step(lambda: draft().with_table("baseline", st.session_state[key]), "the baseline"),
    )
    right.button(
        "Add a setup",
        key="add_setup",
        width="stretch",
        on_click=lambda: step(lambda: with_setup_added(draft()), "adding a setup"),
    )


def _fields(k: int, row: Mapping[str, Any], names: tuple[str, ...]) -> None:
    name = str(row["name"])
    keys = {what: f"setup_{what}_{k}_{edition()}" for what in ("name", "mass", "words")}
    first, second, third, last = st.columns([4, 2, 5, 2], vertical_alignment="bottom")
    letter = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[k : k + 1]
    with first:
        mark, field = st.columns([1, 5], vertical_alignment="bottom")
        mark.html(
            f'<span style="font-size:1.2rem;color:{colour_of(name, names)}" aria-hidden="true">'
            f"{sign_of(name, names)}</span>&nbsp;<b>{letter}</b>"
        )
        field.text_input(
            "Setup",
            value=name,
            key=keys["name"],
            on_change=lambda: step(
                lambda: draft().with_setup_renamed(name, st.session_state[keys["name"]].strip()), f"renaming {name}"
            ),
        )
    lightest, heaviest = allowed_range(Setup, "mass_change_kg")
    second.number_input(
        "Adds to the mass [kg]",
        value=float(row.get("mass_change_kg", 0.0)),
        min_value=lightest,
        max_value=heaviest,
        step=0.1,
        format="%.2f",
        key=keys["mass"],
        help="Compared with the mass on page 2; negative for a lighter setup.",
        on_change=lambda: _changed(name, "mass_change_kg", st.session_state[keys["mass"]]),
    )
    third.text_input(
        "Description",
        value=str(row.get("description", "")),
        key=keys["words"],
        placeholder="what is different, for the report",
        on_change=lambda: _changed(name, "description", st.session_state[keys["words"]]),
    )
    last.button(
        "Remove",
        key=f"setup_gone_{k}",
        disabled=len(names) < 2,
        width="stretch",
        help=f"Remove {name}; its laps are then not used.",
        on_click=lambda: step(lambda: without_setup(draft(), name), f"removing {name}"),
    )


def _changed(name: str, key: str, value: Any) -> None:
    step(lambda: with_setup_changed(draft(), name, {key: value}), f"{name}: its {key.split('_')[0]}", own_widget=True)
