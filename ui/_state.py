"""The test that a visitor has open: it lives in this browser session only, and every step can be taken back.

The truth is one :class:`fieldaero.draft.draft.Draft` under one key of the session state.  Widgets are
filled from it and fold their changes back into it; their own keys come and go with the pages.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import streamlit as st

from _outcomes import Outcome, outcome_of
from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.draft import Draft, DraftLap, empty_draft
from fieldaero.draft.open_files import open_sample, open_sheet
from fieldaero.run_sheet.schema import NOT_USED

__all__ = [
    "Outcome",
    "attempt",
    "change",
    "draft",
    "edition",
    "former_setup",
    "keep",
    "kept",
    "load_sample",
    "load_sheet",
    "outcome",
    "problem",
    "step",
    "undo",
    "undo_name",
]

DRAFT, PAST, EDITION, LAST, PROBLEM = "the_draft", "the_past", "the_edition", "the_last_result", "the_problem"
MOST_STEPS = 100


def draft() -> Draft:
    """Return the draft of this browser session."""
    if DRAFT not in st.session_state:
        st.session_state[DRAFT] = empty_draft()
        st.session_state[PAST] = []
        st.session_state[EDITION] = 0
    found: Draft = st.session_state[DRAFT]
    return found


def edition() -> int:
    """Return a number that changes with every step that is not a widget's own: part of the keys of editors."""
    draft()
    return int(st.session_state[EDITION])


def change(new: Draft, what: str, *, own_widget: bool = False) -> None:
    """Put a new draft in place of the old one.

    ``what`` names the step in a few words, for the button that takes it back; ``own_widget`` says that the widget that
    shows the change made it and need not be filled again.
    """
    old = draft()
    if new == old:
        return
    st.session_state[PAST] = [*st.session_state[PAST][-MOST_STEPS:], (what, old)]
    st.session_state[DRAFT] = new
    if not own_widget:
        st.session_state[EDITION] += 1


def attempt(step: Callable[[], Draft], what: str, *, own_widget: bool = False) -> bool:
    """Take a step that may be refused; a refusal is shown on the page and changes nothing."""
    try:
        change(step(), what, own_widget=own_widget)
    except FieldaeroError as refused:
        st.session_state[PROBLEM] = str(refused)
        st.session_state[EDITION] += 1
        return False
    return True


def problem() -> str:
    """Return what was refused since the page was last drawn, and forget it."""
    return str(st.session_state.pop(PROBLEM, ""))


def undo_name() -> str:
    """Say which step would be taken back, empty if there is none."""
    draft()
    past = st.session_state[PAST]
    return str(past[-1][0]) if past else ""


def undo() -> None:
    """Take the last step back."""
    draft()
    if st.session_state[PAST]:
        _, st.session_state[DRAFT] = st.session_state[PAST].pop()
        st.session_state[EDITION] += 1


def step(take: Callable[[], Draft], what: str, *, own_widget: bool = False) -> None:
    """Take a step as :func:`attempt` does, for a widget that asks for no answer."""
    attempt(take, what, own_widget=own_widget)


def former_setup(lap: DraftLap) -> str:
    """Return the setup that a lap was given to last, "-" if it never was."""
    for now in (draft(), *(old for _, old in reversed(st.session_state[PAST]))):
        ride = next((ride for ride in now.rides if ride.name == lap.ride), None)
        if ride is not None and len(ride.setups) >= lap.lap and ride.setups[lap.lap - 1] != NOT_USED:
            return str(ride.setups[lap.lap - 1])
    return NOT_USED


def kept(name: str, usual: Any) -> Any:
    """Return what was chosen on a page for looking only; unlike a widget's own key it outlives a page switch."""
    return st.session_state.get(f"kept_{name}", usual)


def keep(name: str, value: object) -> None:
    """Remember such a choice."""
    st.session_state[f"kept_{name}"] = value


def load_sample() -> None:
    """Open the sample session."""
    attempt(open_sample, "loading the sample")


def load_sheet(path: Path) -> None:
    """Open a run sheet of this machine, with the files beside it."""
    attempt(lambda: open_sheet(path), "opening a run sheet")


def outcome() -> Outcome:
    """Analyse the draft, unless that was done already; what was found last stays where this one fails."""
    found = outcome_of(draft(), before=st.session_state.get(LAST))
    if found.result is not None and not found.stale:
        st.session_state[LAST] = found.result
    return found
