"""The wishes that a plan is made from; what is typed stays when the page is left."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import streamlit as st

from _state import draft, outcome
from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.air import draft_system
from fieldaero.plan.assumptions import former_of, planned_ride, road_of, smallest_m2
from fieldaero.plan.expected_error import PlannedRide
from fieldaero.plan.plan import Plan, plan_test
from fieldaero.plan.ranges import (
    CDA_M2,
    LAP_LENGTH_M,
    LAPS_PER_SETUP,
    POWER_W,
    SPEED_KM_H,
    TIME_MIN,
    USUAL_CDA_M2,
    USUAL_SPEED_KM_H,
    USUAL_TIME_MIN,
    USUAL_WIND_HEIGHT_M,
    WIND_HEIGHT_M,
    WIND_M_S,
)
from fieldaero.run_sheet.messages import checked
from fieldaero.run_sheet.schema import (
    FIRST_SETUP,
    USUAL_SMALLEST_DIFFERENCE_M2,
    AnalysisChoices,
    SystemTable,
    allowed_range,
)
from fieldaero.simulator import CourseShape

__all__ = ["Wishes", "plan_form", "planned"]

LENGTH, RIDE = "the length of a lap", "a ride on it"
USUAL_LAP_LENGTH_M, USUAL_WIND_M_S = 2000.0, 2.0  # what the page proposes
SPEED, POWER = "speed", "power"
# Of the smallest difference, by its unit: a usual one, the step, and the digits.
SMALLEST = {
    "m2": (USUAL_SMALLEST_DIFFERENCE_M2, 0.0005, "%.4f"),
    "w": (4.0, 0.5, "%.1f"),
    "s": (12.0, 1.0, "%.1f"),
}


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What was asked for."""

    length_m: float
    there_and_back: bool
    ride: str | None
    speed_km_h: float | None
    power_w: float | None
    mass_kg: float
    crr: float
    cda_m2: float
    wind_m_s: float
    wind_height_m: float
    setups: tuple[str, ...]
    smallest: float
    smallest_unit: str
    choices: AnalysisChoices
    available_min: float
    laps_per_setup: int | None
    as_before: bool


def plan_form() -> Wishes:
    """Show the fields and return what they hold; a sheet whose [analysis] cannot be is a RunSheetError."""
    own = draft()
    rides = [r.name for r in own.rides if r.listing is not None]
    system, analysis = draft_system(own), own.tables.analysis
    conditions = {key: value for key, value in analysis.items() if not key.startswith("smallest")}
    choices = checked(AnalysisChoices, conditions, where="[analysis]")
    left, right = st.columns(2, gap="large")
    with left:
        st.header("Course and rider")
        by = LENGTH
        if rides:
            by = _choice("Course given by", [LENGTH, RIDE], "plan_by") or LENGTH
        ride = st.selectbox("Ride", rides, **_kept("plan_ride")) if by == RIDE else None
        length, back = USUAL_LAP_LENGTH_M, False
        if ride is None:
            length = _number("Length of a lap [m]", "plan_length", USUAL_LAP_LENGTH_M, *LAP_LENGTH_M, 100.0, "%.0f")
            back = st.toggle("There and back on one road", **_kept("plan_back"))
        held = _choice("You will hold a", [SPEED, POWER], "plan_held") or SPEED
        speed = power = None
        if held == SPEED:
            speed = _number(
                "Speed on the flat in still air [km/h]", "plan_speed", USUAL_SPEED_KM_H, *SPEED_KM_H, 1.0, "%.1f"
            )
        else:
            power = _of_sheet("Power [W]", "plan_power", choices.report_power_w, *POWER_W, 5.0, "%.0f")
        mass_range, crr_range = allowed_range(SystemTable, "mass_kg"), allowed_range(SystemTable, "crr")
        mass = _of_sheet(
            "Rider, bike and everything carried [kg]",
            "plan_mass",
            system.mass_kg,
            *mass_range,
            0.5,
            "%.1f",
        )
        cda = _number("About your drag area [m²]", "plan_cda", USUAL_CDA_M2, *CDA_M2, 0.005, "%.3f")
        crr = _of_sheet("Crr", "plan_crr", system.crr, *crr_range, 0.0001, "%.4f")
    with right:
        st.header("Air, setups and time")
        wind = _number(
            "Mean wind, as a station or forecast gives it [m/s]", "plan_wind", USUAL_WIND_M_S, *WIND_M_S, 0.5, "%.1f"
        )
        height = _number(
            "Height of that wind meter [m]", "plan_height", USUAL_WIND_HEIGHT_M, *WIND_HEIGHT_M, 1.0, "%.1f"
        )
        names = list(own.setups) if len(own.setups) > 1 else [FIRST_SETUP, "setup 2"]
        if "plan_setups" not in st.session_state:
            st.session_state["plan_setups"] = "\n".join(names)
        typed = st.text_area("Setups, one a line, the baseline first", height=110, **_kept("plan_setups"))
        words = {"m2": "m²", "w": choices.in_watts, "s": choices.in_seconds}
        stated = {unit: analysis.get(f"smallest_difference_{unit}") for unit in words}
        first = next((unit for unit in words if stated[unit] is not None), "m2")
        unit: str = st.selectbox(
            "Smallest difference that matters, in",
            list(words),
            format_func=lambda one: words[one],
            **_kept(f"plan_unit_{first}", first),
        )
        usual, step, form = SMALLEST[unit]
        smallest = _number(
            f"Smallest difference [{words[unit]}]",
            f"plan_smallest_{unit}_{stated[unit]}",
            stated[unit] or usual,
            *(0.0001, 500.0, step, form),
        )
        minutes = _number(
            "Time for riding, changes included [min]", "plan_minutes", USUAL_TIME_MIN, *TIME_MIN, 10.0, "%.0f"
        )
        laps = st.number_input(
            "Laps per setup (empty: as few as are enough)",
            min_value=LAPS_PER_SETUP[0],
            max_value=LAPS_PER_SETUP[1],
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
        crr=crr,
        cda_m2=cda,
        wind_m_s=wind,
        wind_height_m=height,
        setups=tuple(line.strip() for line in typed.splitlines() if line.strip()),
        smallest=smallest,
        smallest_unit=unit,
        choices=choices,
        available_min=minutes,
        laps_per_setup=laps,
        as_before=before,
    )


def planned(wishes: Wishes, *, progress: Callable[[str], None]) -> Plan:
    """Make the plan; what cannot be planned is a FieldaeroError."""
    w = wishes
    course = CourseShape(shape="out_and_back" if w.there_and_back else "loop", length_m=w.length_m)
    if w.ride is not None:
        listing = next((r.listing for r in draft().rides if r.name == w.ride), None)
        if listing is None:
            raise FieldaeroError(f"{w.ride}: is no longer there; give the length of a lap, or add the ride again")
        course = road_of(listing.flagged()).course
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
        system=draft_system(draft()),
        cda_m2=w.cda_m2,
        power_w=w.power_w,
        speed_km_h=w.speed_km_h,
        former=former,
    )
    return plan_test(
        ride,
        setups=w.setups,
        smallest_difference_m2=smallest_m2(ride, **{f"difference_{w.smallest_unit}": w.smallest}, choices=w.choices),
        wind_m_s=w.wind_m_s,
        wind_height_m=w.wind_height_m,
        laps_per_setup=w.laps_per_setup,
        available_min=w.available_min,
        choices=w.choices,
        progress=progress,
    )


def _number(label: str, key: str, usual: float, low: float, high: float, step: float, form: str) -> float:
    first = min(max(float(usual), low), high)
    return float(st.number_input(label, min_value=low, max_value=high, step=step, format=form, **_kept(key, first)))


def _of_sheet(label: str, key: str, stated: float, low: float, high: float, step: float, form: str) -> float:
    """Show a field that the sheet fills: what is typed stays until the sheet has another value."""
    return _number(label, f"{key}_{stated}", stated, low, high, step, form)


def _choice(label: str, options: list[str], key: str) -> str | None:
    chosen: str | None = st.segmented_control(label, options, required=True, **_kept(key, options[0]))
    return chosen


def _kept(key: str, first: Any = ...) -> dict[str, Any]:
    """Return key and options of a widget whose value outlives the page, with what it holds first."""
    if first is not ... and key not in st.session_state:
        st.session_state[key] = first
    return {"key": key, "persist_state": "session"}
