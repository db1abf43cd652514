"""Fields of rider and bike."""

from __future__ import annotations

from typing import Any, NamedTuple

import streamlit as st

from _state import attempt, draft, edition
from fieldaero.run_sheet.schema import USUAL_SYSTEM, SystemTable, allowed_range

__all__ = ["rider_and_bike"]


class Field(NamedTuple):
    """A number of the run sheet's [system]: label with unit, help with the usual range, step and digits."""

    key: str
    label: str
    help: str
    step: float
    form: str
    usual: float | None


FIELDS = (
    Field(
        "mass_kg",
        "Mass, all together [kg]",
        "Rider, bike, bottles, clothes and tools, weighed together as ridden. Usually 60 to 110.",
        0.1,
        "%.1f",
        None,
    ),
    Field(
        "mass_sd_kg",
        "Mass, uncertainty [kg]",
        "Standard uncertainty: 0.2 on a good scale, 1 with drinking on the way.",
        0.1,
        "%.1f",
        USUAL_SYSTEM.mass_sd_kg,
    ),
    Field(
        "wheel_circumference_m",
        "Wheel circumference [m]",
        "As set in the device that recorded the speed. Usually 1.9 to 2.25.",
        0.001,
        "%.3f",
        USUAL_SYSTEM.wheel_circumference_m,
    ),
    Field(
        "wheel_inertia_kg_m2",
        "Wheels' inertia [kg m²]",
        "Moment of inertia of both wheels together, 0.08 to 0.2; matters only where the speed changes.",
        0.01,
        "%.2f",
        USUAL_SYSTEM.wheel_inertia_kg_m2,
    ),
    Field(
        "crr",
        "Rolling resistance Crr [no unit]",
        "0.003 on a smooth road with fast tyres to 0.008 on rough chip seal.",
        0.0001,
        "%.4f",
        USUAL_SYSTEM.crr,
    ),
    Field(
        "crr_sd",
        "Crr, uncertainty [no unit]",
        "Standard uncertainty, often 0.0005 to 0.001. It shifts all setups alike and hardly their difference.",
        0.0001,
        "%.4f",
        USUAL_SYSTEM.crr_sd,
    ),
    Field(
        "power_scale_sd",
        "Power scale, uncertainty [fraction]",
        "Of the power meter, standard uncertainty. 0.015 is 1.5 %: usual when it was zeroed before the ride.",
        0.005,
        "%.3f",
        USUAL_SYSTEM.power_scale_sd,
    ),
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


def _number(field: Field) -> None:
    key = f"system_{field.key}_{edition()}"
    value = draft().tables.system.get(field.key)
    low, high = allowed_range(SystemTable, field.key)
    st.number_input(
        field.label,
        min_value=low,
        max_value=high,
        value=field.usual if value is None else float(value),
        step=field.step,
        format=field.form,
        help=field.help,
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
        help="At crank or pedals the drivetrain takes 2.4 % on the way to the road, at the hub nothing.",
        key=key,
        on_change=lambda: _set("power_at", st.session_state[key], "where power is measured"),
    )
