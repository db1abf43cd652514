"""Fields of rider and bike."""

from __future__ import annotations

from typing import Any, NamedTuple

import streamlit as st

from _looks import help_on
from _state import attempt, draft, edition
from fieldaero.run_sheet.schema import USUAL_SYSTEM, SystemTable, allowed_range

__all__ = ["rider_and_bike"]


class Field(NamedTuple):
    """A number of the run sheet's [system]: label with unit, step and digits."""

    key: str
    label: str
    step: float
    form: str


FIELDS = (
    Field("mass_kg", "Mass, all together [kg]", 0.1, "%.1f"),
    Field("mass_sd_kg", "Mass, uncertainty [kg]", 0.1, "%.1f"),
    Field("wheel_circumference_m", "Wheel circumference [m]", 0.001, "%.3f"),
    Field("wheel_inertia_kg_m2", "Wheels' inertia [kg m²]", 0.01, "%.2f"),
    Field("crr", "Rolling resistance Crr [no unit]", 0.0001, "%.4f"),
    Field("crr_sd", "Crr, uncertainty [no unit]", 0.0001, "%.4f"),
    Field("power_scale_sd", "Power scale, uncertainty [fraction]", 0.005, "%.3f"),
)
PLACES = {"crank": "crank", "pedal": "pedals", "hub": "hub"}


def rider_and_bike() -> None:
    """Show the fields, filled from the draft."""
    st.header("Rider and bike")
    # Rows of their own, so that a narrow screen shows the fields in this order too.
    for first in range(0, len(FIELDS) + 1, 4):
        for column, field in zip(st.columns(4), (*FIELDS, None)[first : first + 4], strict=True):
            with column:
                if field is None:
                    _power_at()
                else:
                    _number(field)


def _set(key: str, value: Any, label: str) -> None:
    system = dict(draft().tables.system)
    system.pop(key, None)
    if value is not None:
        system[key] = value
    attempt(lambda: draft().with_table("system", system), label, own_widget=True)


def _usual(key: str) -> float | None:
    """Return the usual value of a key; a mass has none, it is weighed."""
    return None if key == "mass_kg" else float(getattr(USUAL_SYSTEM, key))


def _number(field: Field) -> None:
    key = f"system_{field.key}_{edition()}"
    value = draft().tables.system.get(field.key)
    low, high = allowed_range(SystemTable, field.key)
    st.number_input(
        field.label,
        min_value=low,
        max_value=high,
        value=_usual(field.key) if value is None else float(value),
        step=field.step,
        format=field.form,
        help=help_on(SystemTable, field.key),
        placeholder="needed",
        key=key,
        on_change=lambda: _set(field.key, st.session_state[key], field.label.split(" [")[0].lower()),
    )


def _power_at() -> None:
    key = f"system_power_at_{edition()}"
    st.selectbox(
        "Power is measured at",
        list(PLACES),
        index=list(PLACES).index(draft().tables.system.get("power_at", "crank")),
        format_func=PLACES.__getitem__,
        help=help_on(SystemTable, "power_at"),
        key=key,
        on_change=lambda: _set("power_at", st.session_state[key], "where power is measured"),
    )
