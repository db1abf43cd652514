"""Every public name that carries a dimension ends in its unit.

Walked are the functions and frozen records that a room lists in ``__all__``: each
parameter and each field that holds numbers ends in a unit, or stands below with the
reason why it has none.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator

import pytest

import fieldaero

NUMBERS = re.compile(r"\b(float|NDArray|Floats|ArrayLike)\b")
YES_OR_COUNT = re.compile(r"NDArray\[np\.(bool_|int_|intp)\]")
UNITS = {
    "m", "km", "inch", "m2", "m4", "s", "min", "h", "m_s", "km_h", "m_s2", "kg", "kg_m2", "kg_m3", "g_mol",
    "n", "n_s_m", "w", "j", "kj", "pa", "hpa", "c", "k", "deg", "rad", "rpm", "pct", "per_h",
    "m_per_h", "m2_per_h", "m_per_m2",
    "per_yaw_deg2", "deg2", "hz", "j_mol_k", "m_per_m",
}  # fmt: skip

# Rooms of plain mathematics: what goes in and out has the unit of the caller's numbers.
MATHEMATICS = {
    "fieldaero.statistics.mixed_model",
    "fieldaero.statistics.contrast",
    "fieldaero.basics.input_limits",
    "fieldaero.statistics.random_effects",
    "fieldaero.statistics.normalised_error",
    "fieldaero.basics.quantities",
    "fieldaero.statistics.restricted_likelihood",
    "fieldaero.statistics.simultaneous_intervals",
    "fieldaero.basics.runs",
    "fieldaero.statistics.gum_budget",
    "fieldaero.basics.formatting",
    "fieldaero.rides.recording",
    "fieldaero.laps.course_shape",
    "fieldaero.estimate.joint_fit.block_tridiagonal",
    "fieldaero.estimate.joint_fit.equations",
    "fieldaero.estimate.joint_fit.likelihood",
    "fieldaero.estimate.joint_fit.gauss_newton",
    "fieldaero.estimate.joint_fit.noise",
    "fieldaero.estimate.joint_fit.noise_search",
}

BARE = {
    # ratios
    "crr", "crr_sd", "crr_se", "grade", "relative_humidity", "relative_humidity_sd", "efficiency",
    "drivetrain_efficiency", "power_scale", "power_scale_sd", "wheel_scale", "wheel_circumference_sd",
    "air_speed_scale", "air_speed_noise", "power_noise", "uphill_share", "shelter", "sheltered", "aspect",
    "share_cda", "share_delta", "noise", "share", "beyond_share", "change_at_10_deg", "interval95_change_at_10_deg",
    # statistics without a dimension
    "level", "own_level", "df", "p_value", "weight", "weights", "setup_weights", "versus_weights", "outlier_z",
    "i_squared", "q", "q_p_value",
    "normalised_error",
    # probabilities and shares of sessions, and of the mean wind
    "probability", "resolved", "promised", "wrong", "covered", "slow_share", "gust_share",
    # unit vectors
    "heading", "heading_east", "heading_north",
    # counts
    "brakings_per_lap",
    # coefficients in the base units that the docstring's equation gives
    "wind_first", "wind_second", "twins", "height_information", "height_precision", "theta", "theta_covariance",
    "covariance_slopes", "mean", "sd", "lap_sensitivity", "sensitivity_cda", "sensitivity_delta",
    # a quantity whose unit is the name of its container, as in the JSON contract, or stands in the field beside it
    "value", "se", "given", "given_sd", "interval95", "standard_uncertainty", "watts", "seconds",
    "saves", "found",
    # maps of a setup's name to its drag area, in m2 by the docstring
    "setups",
    # the quantity stands before, what was made of it behind
    "yaw_deg_median", "values", "columns",
}  # fmt: skip


def rooms() -> list[str]:
    return sorted(
        module.name
        for module in pkgutil.walk_packages(fieldaero.__path__, "fieldaero.")
        if not module.name.endswith("__main__")
    )


def numbers_of(room: str) -> Iterator[tuple[str, str]]:
    """Where and how each parameter and field of numbers is called."""
    module = importlib.import_module(room)
    for name in getattr(module, "__all__", ()):
        value = getattr(module, name)
        if getattr(value, "__module__", None) != room:
            continue
        owners = [(name, value)]
        if inspect.isclass(value):
            owners = [(f"{name}.{key}", inner) for key, inner in vars(value).items() if not key.startswith("_")]
            if dataclasses.is_dataclass(value):
                yield from ((name, f.name) for f in dataclasses.fields(value) if of_numbers(f.type))
        for where, function in owners:
            if isinstance(function, property):
                if of_numbers(inspect.signature(function.fget).return_annotation):
                    yield name, where.split(".")[1]
            elif inspect.isfunction(function):
                for parameter in inspect.signature(function).parameters.values():
                    if of_numbers(parameter.annotation):
                        yield f"{where}()", parameter.name


def of_numbers(annotation: object) -> bool:
    text = YES_OR_COUNT.sub("", str(annotation))
    return bool(NUMBERS.search(text)) and "Callable" not in text


def ends_in_a_unit(name: str) -> bool:
    parts = name.split("_")
    return any("_".join(parts[k:]) in UNITS for k in range(1, len(parts)))


@pytest.mark.parametrize("room", [room for room in rooms() if room not in MATHEMATICS])
def test_numbers_end_in_their_unit(room):
    without = [f"{where}: {name}" for where, name in numbers_of(room) if not ends_in_a_unit(name) and name not in BARE]
    assert not without


def test_the_walk_sees_functions_fields_methods_and_properties():
    seen = {name for room in rooms() for name in numbers_of(room)}
    assert {("lap_closure()", "start_s"), ("Lap", "distance_m"), ("Course.heading_deg_at()", "position_m")} <= seen
    assert ("Ride", "duration_s") in seen


@pytest.mark.parametrize(
    ("name", "has_one"),
    [
        ("cda_m2", True),
        ("air_density_kg_m3", True),
        ("wind_from_deg", True),
        ("speed", False),
        ("mass", False),
        ("s", False),
    ],
)
def test_a_unit_is_told_from_a_word(name, has_one):
    assert ends_in_a_unit(name) == has_one


def test_no_exemption_outlives_its_name():
    used = {name for room in rooms() if room not in MATHEMATICS for _, name in numbers_of(room)}
    assert used >= BARE
    assert set(rooms()) >= MATHEMATICS
