"""The laps of a session compared: the joint fit, what all laps have in common, setups against each other, budgets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.compare.budget import BudgetRow, CommonInput, budget, common_covariance_m4, common_inputs
from fieldaero.compare.setups import ComparedSetups, LapTable, compare_setups
from fieldaero.estimate.joint_fit.fit import JointFit
from fieldaero.estimate.joint_fit.input_sensitivities import input_sensitivities
from fieldaero.estimate.session import Session, SessionLap
from fieldaero.estimate.session_fit import SessionFit, fit_session
from fieldaero.statistics.mixed_model import FirstStageUncertainty

__all__ = ["Estimates", "estimate_session"]


@dataclass(frozen=True, kw_only=True)
class Estimates(SessionFit):
    """What the joint fit and the comparison found.

    ``covariance_m4`` is that of the laps' drag areas, shape (K, K), with the ``inputs`` that all laps have in common.
    """

    covariance_m4: Floats
    comparison: ComparedSetups
    inputs: tuple[CommonInput, ...]
    budget: tuple[BudgetRow, ...]


def estimate_session(
    session: Session,
    *,
    laps: Sequence[SessionLap] | None = None,
    theta: Floats | None = None,
    start: JointFit | None = None,
    hyper_uncertainty: bool = True,
) -> Estimates:
    """Fit the used laps of a session jointly, or some of them, and compare the setups.

    ``theta`` are noise parameters (logs), shape (parameters,), taken as given; ``start`` is a former fit of the
    session, to begin from with its noise parameters; else they are estimated.  ``hyper_uncertainty`` says whether
    their uncertainty is worked out too.  Raises CannotAnswerError without a lap that can be fitted, and
    numpy.linalg.LinAlgError where the laps do not determine the unknowns.
    """
    fitted = fit_session(session, laps=laps, theta=theta, start=start, hyper_uncertainty=hyper_uncertainty)
    fit, sheet = fitted.fit, session.run_sheet
    inputs = _inputs(session, fitted)
    covariance = fit.covariance_m4 + common_covariance_m4(inputs, crr_estimated=fitted.crr_estimated)
    comparison = compare_setups(
        LapTable(
            cda_m2=fit.cda_m2,
            covariance_m4=covariance,
            setup=tuple(lap.setup for lap in fitted.laps),
            time_h=(fit.segments.start_s + fit.segments.end_s) / 7200.0,
            lasting_s=fit.segments.end_s - fit.segments.start_s,
            first_stage=(
                FirstStageUncertainty(derivatives=fit.covariance_slopes, covariance=fit.theta_covariance)
                if hyper_uncertainty
                else None
            ),
        ),
        baseline=sheet.baseline,
        setups=[setup.name for setup in sheet.setups],
        drift_sd_per_h=sheet.analysis.drift_sd_per_h,
        pairs=_pairs(session),
    )
    return Estimates(
        **vars(fitted),
        covariance_m4=covariance,
        comparison=comparison,
        inputs=inputs,
        budget=_budgets(comparison, inputs),
    )


def _inputs(session: Session, fitted: SessionFit) -> tuple[CommonInput, ...]:
    """Mass, power scale, air and the like, which all laps of the session have in common."""
    system = session.run_sheet.system
    density = np.concatenate([r.conditions.air_density_kg_m3 for r in session.rides])
    density_sd = np.concatenate([r.conditions.air_density_sd_kg_m3 for r in session.rides])
    return common_inputs(
        input_sensitivities(fitted.fit),
        system=system,
        air_density_kg_m3=float(np.nanmean(density)),
        air_density_sd_kg_m3=float(np.nanmean(density_sd)),
        crr=fitted.fit.crr,
        crr_se=fitted.crr_se,
    )


def _pairs(session: Session) -> list[tuple[str, str]]:
    """Each setup against the baseline, then what claims and tunnel sweeps compare as well."""
    sheet = session.run_sheet
    pairs = [(setup.name, sheet.baseline) for setup in sheet.setups if setup.name != sheet.baseline]
    wanted = [(claim.setup, claim.versus or sheet.baseline) for claim in sheet.claims]
    swept = list(dict.fromkeys(sweep.setup for sweep in sheet.tunnel))
    wanted += [(setup, swept[0]) for setup in swept[1:] if sheet.baseline not in swept]
    for pair in wanted:
        if pair not in pairs and pair[::-1] not in pairs:
            pairs.append(pair)
    return pairs


def _budgets(comparison: ComparedSetups, inputs: Sequence[CommonInput]) -> tuple[BudgetRow, ...]:
    names = [mean.setup for mean in comparison.setups]
    rows: list[BudgetRow] = []
    for pair in comparison.contrasts:
        i, j = names.index(pair.setup), names.index(pair.versus)
        rows += budget(
            inputs,
            setup=pair.setup,
            versus=pair.versus,
            setup_weights=comparison.weights[i],
            versus_weights=comparison.weights[j],
            cda_se_m2=comparison.setups[i].se_m2,
            delta_se_m2=pair.se_m2,
        )
    return tuple(rows)
