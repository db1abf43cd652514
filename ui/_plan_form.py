"""The wishes that a plan is made from; what is typed stays when the page is left."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import streamlit as st

from _state import draft, outcome
from fieldaero.basics.errors import FieldaeroError
from fieldaero.plan.assumptions import former_of, planned_ride, road_of, smallest_m2
from fieldaero.plan.expected_error import PlannedRide
from fieldaero.plan.plan import Plan, plan_test
from fieldaero.simulator import CourseShape

__all__ = ["Wishes", "plan_form", "planned"]

LENGTH, RIDE = "the length of a lap", "a ride on it"
SPEED, POWER = "speed", "power"
UNITS = {"m²": "m2", "W at 45 km/h": "w", "s over 40 km at 250 W": "s"}
USUAL = {"m²": 0.003, "W at 45 km/h": 4.0, "s over 40 km at 250 W": 12.0}
STEPS = {"m²": 0.0005, "W at 45 km/h": 0.5, "s over 40 km at 250 W": 1.0}


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What was asked for."""

    length_m: float
    there_and_back: bool
    ride: str | None
    speed_km_h: float | None
    power_w: float | None
    mass_kg: float
    cda_m2: float
    crr: float
    wind_m_s: float
    wind_height_m: float
    setups: tuple[str, ...]
    smallest: float
    smallest_unit: str
    available_min: float
    laps_per_setup: int | None
    as_before: bool


def plan_form() -> Wishes:
    """Show the fields and return what they hold."""
    own = draft()
    rides = [r.name for r in own.rides if r.listing is not None]
    left, right = st.columns(2, gap="large")
    with left:
        st.header("Course and rider")
        by = LENGTH
        if rides:
            by = _choice("Course given by", [LENGTH, RIDE], "plan_by") or LENGTH
        ride = st.selectbox("Ride", rides, **_kept("plan_ride")) if by == RIDE else None
        length, back = 2000.0, False
        if ride is None:
            length = _number("Length of a lap [m]", "plan_length", 2000.0, 300.0, 30000.0, 100.0, "%.0f")
            back = st.toggle("There and back on one road", **_kept("plan_back"))
        held = _choice("You will hold a", [SPEED, POWER], "plan_held") or SPEED
        speed = power = None
        if held == SPEED:
            speed = _number("Speed on the flat in still air [km/h]", "plan_speed", 40.0, 15.0, 80.0, 1.0, "%.1f")
        else:
            power = _number("Power [W]", "plan_power", 250.0, 60.0, 800.0, 5.0, "%.0f")
        system = own.tables.system
        mass = _number(
            "Rider, bike and all carried [kg]", "plan_mass", system.get("mass_kg", 84.0), 30.0, 250.0, 0.5, "%.1f"
        )
        cda = _number("About your drag area [m²]", "plan_cda", 0.25, 0.15, 0.8, 0.005, "%.3f")
        crr = _number("Crr", "plan_crr", system.get("crr", 0.0045), 0.001, 0.02, 0.0001, "%.4f")
    with right:
        st.header("Air, setups and time")
        wind = _number("Mean wind, as a station or forecast gives it [m/s]", "plan_wind", 2.0, 0.0, 40.0, 0.5, "%.1f")
        height = _number("Height of that wind meter [m]", "plan_height", 10.0, 0.5, 200.0, 1.0, "%.1f")
        names = list(own.setups) if len(own.setups) > 1 else ["baseline", "setup 2"]
        if "plan_setups" not in st.session_state:
            st.session_state["plan_setups"] = "\n".join(names)
        typed = st.text_area("Setups, one a line, the baseline first", height=110, **_kept("plan_setups"))
        unit = st.selectbox("Smallest difference that matters, in", list(UNITS), **_kept("plan_unit"))
        smallest = _number(
            f"Smallest difference [{unit}]", f"plan_smallest_{UNITS[unit]}", USUAL[unit], 0.0001, 500.0, STEPS[unit],
            "%.4f" if unit == "m²" else "%.1f",
        )  # fmt: skip
        minutes = _number("Time for riding, changes included [min]", "plan_minutes", 150.0, 10.0, 1440.0, 10.0, "%.0f")
        laps = st.number_input(
            "Laps per setup (empty: as few as are enough)",
            min_value=2,
            max_value=60,
            **_kept("plan_laps", None),
        )
        before = bool(own.rides) and st.toggle(
            "As scattered as the open test",
            help="Takes scatter, wind and sensors from the test that is open now.",
            **_kept("plan_before"),
        )
    return Wishes(
        length_m=length,
        there_and_back=back,
        ride=ride,
        speed_km_h=speed,
        power_w=power,
        mass_kg=mass,
        cda_m2=cda,
        crr=crr,
        wind_m_s=wind,
        wind_height_m=height,
        setups=tuple(line.strip() for line in typed.splitlines() if line.strip()),
        smallest=smallest,
        smallest_unit=unit,
        available_min=minutes,
        laps_per_setup=laps,
        as_before=before,
    )


def planned(wishes: Wishes, *, progress: Callable[[str], None]) -> Plan:
    """Make the plan.

    Raises
    ------
    FieldaeroError
        For what cannot be planned.
    """
    w = wishes
    course = CourseShape(shape="out_and_back" if w.there_and_back else "loop", length_m=w.length_m)
    if w.ride is not None:
        listing = next((r.listing for r in draft().rides if r.name == w.ride), None)
        if listing is None:
            raise FieldaeroError(f"{w.ride}: is no longer there; give the length of a lap, or add the ride again")
        course = road_of(listing).course
    former = None
    if w.as_before:
        result = outcome().result
        if result is None:
            raise FieldaeroError("the open test gives no result yet; see 4 Result, or plan without it")
        former = former_of(result, result.title)
    ride: PlannedRide = planned_ride(
        course,
        mass_kg=w.mass_kg,
        crr=w.crr,
        cda_m2=w.cda_m2,
        power_w=w.power_w,
        speed_km_h=w.speed_km_h,
        former=former,
    )
    return plan_test(
        ride,
        setups=w.setups,
        smallest_difference_m2=smallest_m2(ride, **{f"difference_{UNITS[w.smallest_unit]}": w.smallest}),
        wind_m_s=w.wind_m_s,
        wind_height_m=w.wind_height_m,
        laps_per_setup=w.laps_per_setup,
        available_min=w.available_min,
        progress=progress,
    )


def _number(label: str, key: str, usual: float, low: float, high: float, step: float, form: str) -> float:
    return float(
        st.number_input(label, min_value=low, max_value=high, step=step, format=form, **_kept(key, float(usual)))
    )


def _choice(label: str, options: list[str], key: str) -> str | None:
    chosen: str | None = st.segmented_control(label, options, required=True, **_kept(key, options[0]))
    return chosen


def _kept(key: str, first: Any = ...) -> dict[str, Any]:
    """Return key and options of a widget whose value outlives the page, with what it holds first."""
    if first is not ... and key not in st.session_state:
        st.session_state[key] = first
    return {"key": key, "persist_state": "session"}
