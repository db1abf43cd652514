"""Uncertainty budget of a comparison in the form of the GUM (JCGM 100:2008).

Each input has a standard uncertainty and two sensitivities: in a setup's drag area, and
in the difference of two setups, where most of it cancels.  What is left is the
scatter of the laps themselves: wind, gusts and the rider.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.input_sensitivities import InputSensitivities
from fieldaero.physics.system import System
from fieldaero.statistics.gum_budget import UncertaintyBudget, UncertaintyInput, uncertainty_budget

__all__ = ["CRR_NAME", "BudgetRow", "CommonInput", "budget", "common_covariance_m4", "common_inputs"]

CRR_NAME = "rolling resistance Crr"
LAPS_NAME = "laps: wind, gusts, noise, rider"


@dataclass(frozen=True, kw_only=True)
class CommonInput:
    """An input whose error is the same in every lap.

    ``lap_sensitivity`` is the change of each lap's drag area per ``unit``, shape (K,).
    """

    name: str
    unit: str
    value: float
    standard_uncertainty: float
    lap_sensitivity: Floats


@dataclass(frozen=True, kw_only=True)
class BudgetRow:
    """One line of the budget.

    ``share_cda`` and ``share_delta`` are the input's shares of the variance of the setup's drag
    area and of the difference, bare fractions.
    """

    input: str
    unit: str
    value: float | None
    standard_uncertainty: float
    setup: str
    versus: str
    sensitivity_cda: float
    sensitivity_delta: float
    contribution_cda_m2: float
    contribution_delta_m2: float
    share_cda: float
    share_delta: float


def common_inputs(
    sensitivities: InputSensitivities,
    *,
    system: System,
    air_density_kg_m3: float,
    air_density_sd_kg_m3: float,
    crr: float,
    crr_se: float,
) -> tuple[CommonInput, ...]:
    """List the inputs that all laps have in common, with their uncertainties.

    The power scale stands for meter and drivetrain together; Crr comes with the standard
    error that is left after the fit, or that of the run sheet where the laps had no say in it.
    """
    mass, circumference, rho = system.mass_kg, system.wheel_circumference_m, air_density_kg_m3
    scale_sd, circumference_sd = system.power_scale_sd, system.wheel_circumference_sd * circumference
    rows: list[tuple[str, str, float, float, Floats]] = [
        ("mass", "kg", mass, system.mass_sd_kg, sensitivities.mass_m2 / mass),
        ("power scale", "", 1.0, scale_sd, sensitivities.power_scale_m2),
        ("wheel circumference", "m", circumference, circumference_sd, sensitivities.speed_scale_m2 / circumference),
        ("air density", "kg/m3", rho, air_density_sd_kg_m3, sensitivities.air_density_m2 / rho),
        (CRR_NAME, "", crr, crr_se, sensitivities.crr_m2),
    ]
    return tuple(
        CommonInput(name=name, unit=unit, value=value, standard_uncertainty=u, lap_sensitivity=sensitivity)
        for name, unit, value, u, sensitivity in rows
    )


def common_covariance_m4(inputs: Sequence[CommonInput], *, crr_estimated: bool = False) -> Floats:
    """Covariance that the common inputs add to the laps' drag areas, shape (K, K).

    Crr has no part in it where the joint fit estimated it: its uncertainty is in the fit's covariance already.
    """
    added = [i for i in inputs if not (crr_estimated and i.name == CRR_NAME)]
    parts = [i.standard_uncertainty * i.lap_sensitivity for i in added]
    return np.asarray(np.sum([np.outer(part, part) for part in parts], axis=0))


def budget(
    inputs: Sequence[CommonInput],
    *,
    setup: str,
    versus: str,
    setup_weights: Floats,
    versus_weights: Floats,
    cda_se_m2: float,
    delta_se_m2: float,
) -> tuple[BudgetRow, ...]:
    """Budget of a setup's drag area and of its difference to another.

    Given are the weights of the laps in either mean, shape (K,), and the standard errors of the drag area and of
    the difference, everything included.  There is a row per input, and a last one for what the
    standard errors hold beyond the inputs: the scatter of the laps by wind, gusts, sensors' noise and rider.
    """
    of_cda, of_delta = (
        _with_scatter(inputs, weights, se)
        for weights, se in ((setup_weights, cda_se_m2), (setup_weights - versus_weights, delta_se_m2))
    )
    return tuple(
        BudgetRow(
            input=cda.name,
            unit=cda.unit,
            value=None if cda.name == LAPS_NAME else cda.value,
            standard_uncertainty=delta.standard_uncertainty,
            setup=setup,
            versus=versus,
            sensitivity_cda=cda.sensitivity,
            sensitivity_delta=delta.sensitivity,
            contribution_cda_m2=float(of_cda.contributions[k]),
            contribution_delta_m2=float(of_delta.contributions[k]),
            share_cda=float(of_cda.shares[k]),
            share_delta=float(of_delta.shares[k]),
        )
        for k, (cda, delta) in enumerate(zip(of_cda.inputs, of_delta.inputs, strict=True))
    )


def _with_scatter(inputs: Sequence[CommonInput], weights: Floats, se_m2: float) -> UncertaintyBudget:
    """Budget of a weighted mean of laps whose whole standard error is known."""
    given = [
        UncertaintyInput(
            name=i.name,
            value=i.value,
            standard_uncertainty=i.standard_uncertainty,
            unit=i.unit,
            sensitivity=float(weights @ i.lap_sensitivity),
        )
        for i in inputs
    ]
    common = sum((i.sensitivity * i.standard_uncertainty) ** 2 for i in given)
    scatter = float(np.sqrt(max(se_m2**2 - common, 0.0)))
    laps = UncertaintyInput(name=LAPS_NAME, value=0.0, standard_uncertainty=scatter, unit="m2")
    return uncertainty_budget([*given, laps])
