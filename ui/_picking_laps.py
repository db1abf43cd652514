"""Giving picked laps to setups, one by one or by a pattern, and what that does to the design."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from _looks import note
from _ride_cards import plain
from _state import draft, edition, keep, kept, step
from fieldaero.basics.colours import sign_of
from fieldaero.basics.formatting import counted
from fieldaero.draft.draft import DraftLap
from fieldaero.draft.lap_table import LapRow
from fieldaero.plan.lap_order import balance_in_words
from fieldaero.plan.lap_pattern import letters_of, pattern_of, usual_patterns
from fieldaero.run_sheet.schema import NOT_USED, USUAL_CHOICES

__all__ = ["balance", "choosing", "pick", "picked_laps"]

PICKED = "picked_laps"


def picked_laps(rows: Sequence[LapRow]) -> list[DraftLap]:
    """Return the laps that are picked and are still there."""
    there = {row.of for row in rows}
    return [lap for lap in kept(PICKED, ()) if lap in there]


def pick(laps: Sequence[DraftLap]) -> None:
    """Pick laps in place of those picked before."""
    keep(PICKED, tuple(laps))
    st.session_state["picks"] = st.session_state.get("picks", 0) + 1


def choosing(rows: Sequence[LapRow]) -> None:
    """Show the picked laps, and give them to a setup or lay a pattern over them."""
    names = draft().setups
    of = {row.of: row for row in rows}
    several = len({row.of.ride for row in rows}) > 1
    key = f"picked_{st.session_state.get('picks', 0)}"

    def title(lap: DraftLap) -> str:
        row = of[lap]
        told = "" if row.setup == NOT_USED else f" {sign_of(row.setup, names)} {row.setup}"
        return f"{lap.ride} lap {lap.lap}{told}" if several else f"lap {lap.lap}{told}"

    st.multiselect(
        "Picked laps",
        list(of),
        default=picked_laps(rows),
        format_func=title,
        key=key,
        placeholder="drag across the trace, or choose here",
        on_change=lambda: keep(PICKED, tuple(lap for lap in of if lap in st.session_state[key])),
    )
    good = [row.of for row in rows if row.complete and not row.flags]
    left, right = st.columns(2)
    left.button(
        f"Pick all {len(good)} whole laps without a flag",
        key="pick_good",
        width="stretch",
        disabled=not good,
        on_click=lambda: pick(good),
    )
    right.button("Pick none", key="pick_none", width="stretch", on_click=lambda: pick(()))
    picked = picked_laps(rows)
    _give(picked, names)
    _pattern(picked, names)


def _give(picked: Sequence[DraftLap], names: tuple[str, ...]) -> None:
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    key = f"give_to_{edition()}"
    choices = [*names, NOT_USED]
    before = kept("give_to", names[0] if names else NOT_USED)
    left.selectbox(
        "Give them to",
        choices,
        index=choices.index(before) if before in choices else 0,
        format_func=lambda name: "no setup: not used" if name == NOT_USED else f"{sign_of(name, names)} {name}",
        key=key,
        on_change=lambda: keep("give_to", st.session_state[key]),
    )

    def give() -> None:
        setup = st.session_state[key]
        step(lambda: draft().assigned(picked, setup), f"giving {len(picked)} laps to {setup}")

    right.button(_count("Give", picked), key="give", width="stretch", disabled=not picked, on_click=give)


def _pattern(picked: Sequence[DraftLap], names: tuple[str, ...]) -> None:
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    key = f"pattern_{edition()}"
    usual = usual_patterns(names)
    shown = kept("pattern", usual[0] if usual else "A")
    options = list(dict.fromkeys([shown, *usual]))
    left.selectbox(
        "Or give them setups by a pattern, repeated to the last lap",
        options,
        index=0,
        accept_new_options=True,
        key=key,
        on_change=lambda: keep("pattern", st.session_state[key] or ""),
        help="Choose a pattern or type one, like A B B A; - leaves a lap out. Names separated by commas work too.",
    )

    def lay() -> None:
        text = st.session_state[key] or ""
        step(lambda: draft().with_pattern(picked, pattern_of(text, draft().setups)), f"the pattern {text}")

    right.button(_count("Apply to", picked), key="lay", width="stretch", disabled=not picked, on_click=lay)
    note(" · ".join(f"{letter} is {plain(name)}" for letter, name in letters_of(names).items()))


def _count(word: str, picked: Sequence[DraftLap]) -> str:
    return f"{word} {len(picked)} lap{'' if len(picked) == 1 else 's'}" if picked else f"{word} (pick laps first)"


def balance() -> None:
    """Say how the laps are spread over setups and time as they are chosen now."""
    now = draft()
    spread = now.balance()
    names = now.setups
    letters = {name: letter for letter, name in letters_of(names).items()}
    st.header("Balance of the design")
    if not spread.order:
        st.write("No lap is given to a setup yet.")
        return
    st.markdown(
        " · ".join(
            f"{sign_of(name, names)} **{plain(name)}**: {counted(count, 'lap')}" for name, count in spread.laps.items()
        )
    )
    st.write(f"Order ridden: {' '.join(letters.get(name, '?') for name in spread.order)}")
    drift = float(now.tables.analysis.get("drift_sd_per_h", USUAL_CHOICES.drift_sd_per_h))
    said = balance_in_words(spread, baseline=now.baseline, drift_sd_per_h=drift)
    for sentence in said:
        st.write(plain(sentence))
    if not said and len([count for count in spread.laps.values() if count]) < 2:
        st.write("Laps of a second setup are needed for a comparison.")
    few = [name for name, count in spread.laps.items() if count == 1]
    if few:
        st.write(f"One lap only: {plain(', '.join(few))}. The scatter of a single lap is unknown: ride two or more.")
