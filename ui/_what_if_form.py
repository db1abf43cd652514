"""The what-if: laps unticked and inputs changed, with the original left as it is.

The truth is one :class:`fieldaero.draft.what_if.WhatIf` under one key, so that it outlives the
widgets when the page is left.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from _looks import note
from _ride_cards import plain
from _state import change, draft
from fieldaero.draft.draft import Draft, DraftLap
from fieldaero.draft.what_if import WIND_CHOICES, WhatIf, what_if, wind_can_change
from fieldaero.run_sheet.schema import NOT_USED, AnalysisChoices, SystemTable, allowed_range

__all__ = ["back_to_the_original", "current_what_if", "keep_the_changes", "laps_form", "variant", "what_if_form"]

KEY, TURN, LAPS = "the_what_if", "the_what_if_turn", "what_if_laps"


def current_what_if() -> WhatIf:
    """Return what is to be different now, without laps that are no longer there."""
    found: WhatIf = st.session_state.get(KEY, WhatIf())
    own = draft()
    known = {lap for lap in own.laps if own.setup_of(lap) != NOT_USED}
    if not found.left_out <= known:
        found = replace(found, left_out=found.left_out & known)
    return found


def variant() -> Draft | None:
    """Return the draft with the changes, None where there are none."""
    changes = current_what_if()
    return None if changes == WhatIf() else what_if(draft(), changes)


def back_to_the_original() -> None:
    """Forget the changes, and fill the widgets anew."""
    st.session_state[KEY] = WhatIf()
    st.session_state[TURN] = _turn() + 1


def laps_form() -> None:
    """Offer every lap that counts, to be left out by a click."""
    own = draft()
    laps = [lap for lap in own.laps if own.setup_of(lap) != NOT_USED]
    several = len(own.rides) > 1

    def told(lap: DraftLap) -> str:
        return f"{f'{lap.ride} ' if several else ''}{lap.lap} {own.setup_of(lap)}"

    key = f"{LAPS}_{_turn()}"
    _seed(key, [lap for lap in laps if lap not in current_what_if().left_out])

    def fold() -> None:
        chosen = st.session_state[key]
        _set(left_out=frozenset(lap for lap in laps if lap not in chosen))

    st.pills(
        "Laps that count: click a lap to leave it out, click again to take it back",
        laps,
        selection_mode="multi",
        format_func=told,
        key=key,
        on_change=fold,
    )
    out = [told(lap) for lap in laps if lap in current_what_if().left_out]
    note(f"Left out: {plain(', '.join(out))}." if out else "No lap is left out.")


def what_if_form() -> None:
    """Offer mass, Crr, what is known of the wind, and the smallest difference that matters."""
    own = draft()
    columns = st.columns(2)
    for k, (name, label, step, form) in enumerate(
        (
            ("mass_kg", "Mass [kg]", 0.5, "%.2f"),
            ("smallest_difference_m2", "Smallest difference that matters [m²]", 0.0005, "%.4f"),
            ("crr", "Crr", 0.0001, "%.4f"),
            ("crr_sd", "Crr, uncertainty (one sd)", 0.0001, "%.5f"),
        )
    ):
        of_system = name in SystemTable.model_fields
        given = (own.tables.system if of_system else own.tables.analysis).get(name)
        low, high = allowed_range(SystemTable if of_system else AnalysisChoices, name)
        limits = {"min_value": low, "max_value": high, "step": step, "format": form}
        _number(columns[k % 2], name, label, given, limits)
    key = f"what_if_wind_{_turn()}"
    _seed(key, current_what_if().wind)
    st.segmented_control(
        "Wind given to the fit",
        WIND_CHOICES,
        key=key,
        required=True,
        disabled=not wind_can_change(own),
        on_change=lambda: _set(wind=st.session_state[key]),
        help="The observed wind leaves less for the laps to tell. Wind from METAR reports cannot be changed here.",
    )


def keep_the_changes() -> None:
    """Make the variant the test itself."""
    changed = variant()
    if changed is not None:
        change(changed, "the what-if")
    back_to_the_original()


def _number(column: Any, name: str, label: str, given: Any, limits: dict[str, Any]) -> None:
    key = f"what_if_{name}_{_turn()}"
    now = getattr(current_what_if(), name)
    _seed(key, float(now) if now is not None else None if given is None else float(given))

    def fold() -> None:
        value = st.session_state[key]
        _set(**{name: None if value is None or (given is not None and value == float(given)) else value})

    shown = "not given" if given is None else f"{given:g} in the test"
    column.number_input(label, key=key, on_change=fold, help=f"Now {shown}.", **limits)


def _set(**values: Any) -> None:
    st.session_state[KEY] = replace(current_what_if(), **values)


def _seed(key: str, value: Any) -> None:
    if key not in st.session_state:
        st.session_state[key] = value


def _turn() -> int:
    """Return a number that is part of the widgets' keys: they are filled anew when the draft or the truth changed."""
    name = "the_what_if_draft"
    if st.session_state.get(name) is not draft():
        if name in st.session_state:
            st.session_state[TURN] = int(st.session_state.get(TURN, 0)) + 1
        st.session_state[name] = draft()
    return int(st.session_state.get(TURN, 0))
