"""The one function that runs a whole test: from a run sheet to a result."""

from __future__ import annotations

import math
import os
from collections.abc import Callable

import numpy as np

from fieldaero.answers.cautions import cautions
from fieldaero.answers.comparison_rows import comparison_results, flat_road, setup_results
from fieldaero.answers.cross_checks.claims import claim_results
from fieldaero.answers.cross_checks.known_drag import known_drag_results
from fieldaero.answers.cross_checks.tunnel import tunnel_results
from fieldaero.answers.cross_checks.tunnel_sweep import read_sweeps
from fieldaero.answers.cross_checks.yaw_dependence import yaw_result
from fieldaero.answers.lap_rows import lap_results
from fieldaero.answers.race.race_rows import race_results
from fieldaero.answers.result import Result
from fieldaero.answers.rows import CrrResult, DriftResult, InputFile, WindResult
from fieldaero.answers.supporting_data import supporting_data
from fieldaero.basics.errors import CannotAnswerError
from fieldaero.basics.version import VERSION
from fieldaero.compare.session_comparison import Estimates, estimate_session
from fieldaero.estimate.cut_laps import fittable_laps, why_not_fittable
from fieldaero.estimate.joint_fit.fit import JointFit
from fieldaero.estimate.session import Session, open_session
from fieldaero.estimate.session_fit import crr_prior_sd
from fieldaero.physics.wind import wind_from_deg
from fieldaero.run_sheet.sheet import read_run_sheet

__all__ = ["analyse", "analyse_session"]


def analyse(path: str | os.PathLike[str], *, progress: Callable[[str], None] | None = None) -> Result:
    """Analyse the test that a run sheet describes.

    Parameters
    ----------
    path
        The run sheet, a TOML file; the rides it names are read from beside it.
    progress
        Called with a few words before each longer step.

    Returns
    -------
    The result: tables, verdicts, warnings.

    Raises
    ------
    RunSheetError, RideError, WeatherError
        Where the run sheet or a file it names cannot be read or does not fit.
    CannotAnswerError
        Where the input is in order but the laps cannot answer.
    """
    return analyse_session(open_session(read_run_sheet(path), progress=progress), progress=progress)


def analyse_session(
    session: Session, *, progress: Callable[[str], None] | None = None, start: JointFit | None = None
) -> Result:
    """Analyse a session that is already open; see :func:`analyse`.

    Parameters
    ----------
    session, progress
        As there.
    start
        A fit of the same rides with somewhat other laps or inputs: its noise parameters are kept, which
        saves most of the time and moves the result by little. Times over race courses, which take the most of what
        is left, are not worked out then.

    Raises
    ------
    CannotAnswerError
        Where no lap can be used.
    RunSheetError, RideError
        Where a sweep or a course that the run sheet names cannot be read.
    """
    say = progress or (lambda _: None)
    sheet = session.run_sheet
    sweeps = read_sweeps(sheet)
    chosen = fittable_laps(session)
    if not chosen:
        raise CannotAnswerError(f"{sheet.path.name}: no lap gives a drag area. {_none_because(session)}")
    say("fitting all laps together")
    try:
        estimates = estimate_session(session, laps=chosen, start=start)
    except np.linalg.LinAlgError as problem:
        raise CannotAnswerError(
            f"{sheet.path.name}: the laps do not determine their drag areas ({problem}). Check mass, speed and power "
            "for impossible values, or use more laps."
        ) from None
    rows = lap_results(session, estimates)
    setups = setup_results(session, estimates)
    comparisons = comparison_results(session, estimates, rows)
    warnings = [*session.warnings, *estimates.warnings, *cautions(session, estimates, rows, comparisons)]
    return Result(
        title=sheet.title,
        baseline=sheet.baseline,
        version=VERSION,
        inputs=(
            InputFile(file=sheet.path.name, sha256=sheet.sha256),
            *(InputFile(file=r.ride.source.file, sha256=r.ride.source.sha256) for r in session.rides),
            *(InputFile(file=s.file, sha256=s.sha256) for s in sweeps if s.file is not None and s.sha256 is not None),
        ),
        lap_results=rows,
        setup_results=setups,
        comparison_results=comparisons,
        crr=CrrResult(
            value=estimates.fit.crr,
            se=estimates.crr_se,
            given=sheet.system.crr,
            given_sd=crr_prior_sd(session),
            estimated=estimates.crr_estimated,
        ),
        wind=_wind(estimates),
        lap_scatter_m2=estimates.comparison.lap_scatter_m2,
        drift_m2_per_h=DriftResult(
            value=estimates.comparison.drift_m2_per_h, se=estimates.comparison.drift_se_m2_per_h
        ),
        budget_rows=estimates.budget,
        claim_results=claim_results(sheet, comparisons=comparisons, setups=setups, road=flat_road(session, estimates)),
        tunnel_results=tunnel_results(sweeps, estimates=estimates, setups=setups, comparisons=comparisons),
        race_results=race_results(session, estimates) if start is None else (),
        known_drag_results=known_drag_results(sheet, comparisons=comparisons),
        yaw_result=yaw_result(estimates),
        supporting_data=supporting_data(session, estimates, laps=rows, setups=setups, comparisons=comparisons),
        estimates=estimates,
        session=session,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _none_because(session: Session) -> str:
    used = [lap for lap in session.laps if lap.used]
    if not used:
        return "Name at least one whole lap with power and speed for a setup under [[rides]] laps."
    first = used[0]
    file = session.rides[first.ride].ride.source.file
    of_many = "" if len(used) == 1 else f", the first of {len(used)} named for setups"
    return f"{file}, lap {first.lap.number}{of_many}: {why_not_fittable(session, first)}."


def _wind(estimates: Estimates) -> WindResult:
    east, north = estimates.fit.mean_wind_m_s
    return WindResult(
        mean_m_s=math.hypot(east, north),
        from_deg=float(wind_from_deg(wind_east_m_s=east, wind_north_m_s=north)) if estimates.headings_known else None,
        sd_m_s=estimates.fit.noise["slow_wind_sd_m_s"],
        mean_sd_m_s=float(np.mean(estimates.fit.mean_wind_sd_m_s)),
    )
