"""Seconds saved over a course, with what their uncertainty is made of (JCGM 100:2008).

The time saved is a function of the difference of drag areas, of the drag area it is
added to, and of mass, power, density and rolling resistance in the race,

    S = T(CdA + dCdA; x) - T(CdA; x).

The drag areas were measured with inputs that the race shares: the same scales, the
same power meter, the same tyres.  An error e_j of such an input moves the drag area by
a_j e_j and the difference by d_j e_j (the lap sensitivities, weighted over the laps), and
moves S besides.  So its whole sensitivity is

    c_j = dS/dx_j + a_j dS/dCdA + d_j dS/ddCdA,

which is the law of propagation with all correlations between the drag areas and the
inputs written out (5.2.2 and its note 1).  What the laps add by themselves enters with the correlation
of the drag area and the difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldaero.answers.race.race_time import Race, race_runs
from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats
from fieldaero.compare.budget import CRR_NAME, CommonInput
from fieldaero.statistics.gum_budget import UncertaintyBudget, UncertaintyInput, uncertainty_budget

__all__ = ["TimeSaved", "time_saved"]


MASS, POWER_SCALE, AIR_DENSITY, CRR = "mass", "power scale", "air density", CRR_NAME
AREA_STEP_M2 = 2e-4
RELATIVE_STEP = 2e-3
CRR_STEP = 2e-5


@dataclass(frozen=True, kw_only=True)
class TimeSaved:
    """Time that a difference makes over a course; negative is time saved.

    ``budget`` is in seconds, with effective degrees of freedom; ``baseline_s`` is the time with the drag area that the
    difference is added to.
    """

    seconds_s: float
    standard_uncertainty_s: float
    budget: UncertaintyBudget
    baseline_s: float

    def interval(self, *, level: float = 0.95) -> tuple[float, float]:
        """Interval of the time [s]."""
        half = self.budget.expanded_uncertainty(level)
        return self.seconds_s - half, self.seconds_s + half


def time_saved(
    race: Race,
    *,
    cda_m2: float,
    cda_se_m2: float,
    delta_cda_m2: float,
    delta_se_m2: float,
    df: float = float("inf"),
    inputs: Sequence[CommonInput] = (),
    setup_weights: Floats | None = None,
    versus_weights: Floats | None = None,
    lap_covariance_m4: Floats | None = None,
    air_density_sd_kg_m3: float | None = None,
    power_sd_w: float = 0.0,
) -> TimeSaved:
    """Work out the time that a setup saves over a course, and how well it is known.

    ``cda_m2`` is the drag area of the setup that is compared with, its standard error with everything included, and
    ``delta_cda_m2`` the setup's difference to it.  ``inputs`` are what all laps have in common, of which mass, power
    scale and Crr are those of the race too; with them go the weights of each lap in either mean, shape (K,).
    ``lap_covariance_m4`` is that of the laps' drag areas, common inputs and lap scatter included, shape (K, K): a joint
    fit's laps share their wind, so that their means go up and down together.  Without ``air_density_sd_kg_m3`` the
    race has the very air of the test, whose error is then the same in both; 0 is a density that is agreed upon.
    ``power_sd_w`` is the uncertainty of the power held, beyond the meter's scale.

    Notes
    -----
    Derivatives of the time are central differences on one set of points.  Without ``lap_covariance_m4`` the
    lap errors of both setups are taken as independent of each other, so that those of the drag area
    compared with come into the difference with a minus; where the difference is known too well for
    that, as uncorrelated with it.
    """
    for name, value in (("cda_se_m2", cda_se_m2), ("delta_se_m2", delta_se_m2), ("power_sd_w", power_sd_w)):
        if not value >= 0.0:
            raise OutOfRangeError(f"{name} is {value:g}; allowed is 0 and above")
    if inputs and (setup_weights is None or versus_weights is None):
        raise OutOfRangeError("inputs are given without setup_weights and versus_weights; give the weight of each lap")
    slopes = _slopes(race, cda_m2, delta_cda_m2)
    rows: list[UncertaintyInput] = []
    common_cda = common_delta = common_both = 0.0
    for each in inputs:
        assert setup_weights is not None
        assert versus_weights is not None
        a = float(versus_weights @ each.lap_sensitivity)
        d = float((setup_weights - versus_weights) @ each.lap_sensitivity)
        common_cda += (a * each.standard_uncertainty) ** 2
        common_delta += (d * each.standard_uncertainty) ** 2
        common_both += a * d * each.standard_uncertainty**2
        shared = not (each.name == AIR_DENSITY and air_density_sd_kg_m3 is not None)
        direct = slopes.direct.get(each.name, 0.0) if shared else 0.0
        rows.append(
            UncertaintyInput(
                name=each.name if shared else "air density of the test",
                unit=each.unit,
                value=each.value,
                standard_uncertainty=each.standard_uncertainty,
                sensitivity=direct + a * slopes.cda + d * slopes.delta,
            )
        )
    if air_density_sd_kg_m3 is not None:
        rows.append(
            UncertaintyInput(
                name="air density of the race",
                unit="kg/m3",
                value=race.road.air_density_kg_m3,
                standard_uncertainty=air_density_sd_kg_m3,
                sensitivity=slopes.direct[AIR_DENSITY],
            )
        )
    rows.append(
        UncertaintyInput(
            name="power held",
            unit="W",
            value=race.power_w,
            standard_uncertainty=power_sd_w,
            sensitivity=slopes.direct[POWER_SCALE] / race.power_w,
        )
    )
    laps_cda = float(np.sqrt(max(cda_se_m2**2 - common_cda, 0.0)))
    laps_delta = float(np.sqrt(max(delta_se_m2**2 - common_delta, 0.0)))
    # df belongs to the whole standard error; only the laps' part of it is estimated.
    laps_df = df * (laps_delta / delta_se_m2) ** 4 if laps_delta > 0.0 else float("inf")
    for name, value, u, slope in (
        ("laps: drag area", cda_m2, laps_cda, slopes.cda),
        ("laps: difference", delta_cda_m2, laps_delta, slopes.delta),
    ):
        rows.append(
            UncertaintyInput(name=name, unit="m2", value=value, standard_uncertainty=u, sensitivity=slope, df=laps_df)
        )
    correlation = np.eye(len(rows))
    if laps_cda > 0.0 and laps_delta > 0.0:
        together = -(laps_cda**2) if laps_cda <= laps_delta else 0.0
        if lap_covariance_m4 is not None and setup_weights is not None and versus_weights is not None:
            whole = float((setup_weights - versus_weights) @ lap_covariance_m4 @ versus_weights)
            together = whole - common_both
        r = float(np.clip(together / (laps_cda * laps_delta), -1.0, 1.0))
        correlation[-1, -2] = correlation[-2, -1] = r
    combined = uncertainty_budget(rows, correlation=correlation)
    return TimeSaved(
        seconds_s=slopes.seconds,
        standard_uncertainty_s=combined.standard_uncertainty,
        budget=combined,
        baseline_s=slopes.baseline,
    )


@dataclass(frozen=True, kw_only=True)
class _Slopes:
    seconds: float
    baseline: float
    cda: float
    delta: float
    direct: dict[str, float]


def _slopes(race: Race, cda: float, delta: float) -> _Slopes:
    """Time saved and its derivatives: by both drag areas, and by each input at given drag areas."""
    road = race.road
    system, e, h = road.system, RELATIVE_STEP, AREA_STEP_M2
    pair = np.array([cda, cda + delta])
    changed: dict[str, tuple[float, list[Race]]] = {
        MASS: (
            e * system.mass_kg,
            [
                replace(race, road=replace(road, system=replace(system, mass_kg=system.mass_kg * (1.0 + sign * e))))
                for sign in (1.0, -1.0)
            ],
        ),
        POWER_SCALE: (e, [replace(race, power_w=race.power_w * (1.0 + sign * e)) for sign in (1.0, -1.0)]),
        AIR_DENSITY: (
            e * road.air_density_kg_m3,
            [
                replace(race, road=replace(road, air_density_kg_m3=road.air_density_kg_m3 * (1.0 + sign * e)))
                for sign in (1.0, -1.0)
            ],
        ),
        CRR: (
            CRR_STEP,
            [replace(race, road=replace(road, crr=road.crr + sign * CRR_STEP)) for sign in (1.0, -1.0)],
        ),
    }
    races = [race] + [each for _, both in changed.values() for each in both]
    areas = [np.concatenate([pair, pair + h, pair - h])] + [pair] * (len(races) - 1)
    times = [run.total_s for run in race_runs(races, cda_m2=areas)]
    base, base_new, more, more_new, less, less_new = times[0].tolist()
    saved = [float(t[1] - t[0]) for t in times]
    direct = {
        name: (saved[1 + 2 * i] - saved[2 + 2 * i]) / (2.0 * step)
        for i, (name, (step, _)) in enumerate(changed.items())
    }
    by_delta = (more_new - less_new) / (2.0 * h)
    return _Slopes(
        seconds=base_new - base,
        baseline=base,
        cda=by_delta - (more - less) / (2.0 * h),
        delta=by_delta,
        direct=direct,
    )
