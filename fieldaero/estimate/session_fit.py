"""The joint fit of a session: its laps cut into segments, with what is known of Crr, wind and heights beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats
from fieldaero.basics.runs import runs_where
from fieldaero.estimate.cut_laps import cut_laps, fittable_laps
from fieldaero.estimate.joint_fit.fit import JointFit, joint_fit
from fieldaero.estimate.joint_fit.priors import KnownBefore
from fieldaero.estimate.joint_fit.segments import RoadCells, Segments
from fieldaero.estimate.joint_fit.stray_cells import stray_cells
from fieldaero.estimate.session import Session, SessionLap
from fieldaero.laps.course import Course

__all__ = ["SessionFit", "crr_prior_sd", "fit_session"]

WIND_SD_M_S = (0.3, 0.3)  # of either component: so much, and so much of the observed speed; common practice, no source
WIDE_CRR_SD = 0.003  # where Crr is to be estimated from the laps
LEAST_CRR_SD = 1e-6  # "held", to the algebra
SPEEDS_APART = 1.12  # the slowest lap of a setup over its fastest in time: 180 W and 250 W; common practice, no source
# Heights: common practice, no source.
STATED_HEIGHT_SD_M = 0.1  # the run sheet's, as surveyed or read off a map
ALTIMETER_SD_M = 2.0  # of a barometer on a moving bike: weather, and the air's own pressure on the device
ALTIMETER_SCALE_M = 1000.0
ALTIMETER_WHITE_SD_M = 0.3
UNKNOWN_HEIGHT_SD_M = 100.0


@dataclass(frozen=True, kw_only=True)
class SessionFit:
    """The joint fit of a session and the laps it took, K of them.

    ``crr_se`` is Crr's standard uncertainty, and ``crr_estimated`` whether the laps had a say in it.  Without
    ``headings_known``, as for rides without positions, directions of the wind mean nothing.
    """

    laps: tuple[SessionLap, ...]
    fit: JointFit
    crr_se: float
    crr_estimated: bool
    headings_known: bool
    warnings: tuple[str, ...]


def fit_session(
    session: Session,
    *,
    laps: Sequence[SessionLap] | None = None,
    theta: Floats | None = None,
    start: JointFit | None = None,
    hyper_uncertainty: bool = True,
) -> SessionFit:
    """Fit laps of a session jointly; see :func:`fieldaero.compare.session_comparison.estimate_session`."""
    chosen = tuple(laps) if laps is not None else fittable_laps(session)
    segments = cut_laps(session, chosen)
    stray = stray_cells(segments, crr=session.run_sheet.system.crr)
    segments = replace(segments, unknown_s=np.where(stray, segments.duration_s, segments.unknown_s))
    estimated = session.run_sheet.analysis.estimate_crr or _speeds_tell_crr(segments, chosen)
    known, warnings = _known_before(session, segments.cells, crr_estimated=estimated)
    observed = _observed_wind(session)
    if observed is not None:
        share, sd = observed
        segments = replace(segments, expected_wind_m_s=share * segments.expected_wind_m_s)
        known = replace(known, wind_sd_m_s=sd)
    fit = joint_fit(segments, known, theta=theta, start=start, hyper_uncertainty=hyper_uncertainty)
    return SessionFit(
        laps=chosen,
        fit=fit,
        crr_se=fit.crr_se if estimated else crr_prior_sd(session),
        crr_estimated=estimated,
        headings_known=session.course.has_headings,
        warnings=(*warnings, *_stray_warnings(session, chosen, segments.cells, stray)),
    )


def _stray_warnings(
    session: Session, laps: Sequence[SessionLap], cells: RoadCells, stray: NDArray[np.bool_]
) -> list[str]:
    """Return one sentence for each lap of which a stretch was left out."""
    warnings = []
    for lap, row in zip(laps, stray, strict=True):
        runs = runs_where(row, np.arange(float(len(row))))
        where = [f"{cells.edge_m[i]:.0f} to {cells.edge_m[j + 1]:.0f} m" for i, j in runs]
        if where:
            name = f"{session.rides[lap.ride].ride.source.file}, lap {lap.lap.number}"
            warnings.append(
                f"{name}: {' and '.join(where)} along the lap is left out, because it differs strongly from all other "
                "laps there. Check for traffic, another road, braking or a sensor."
            )
    return warnings


def _speeds_tell_crr(segments: Segments, laps: Sequence[SessionLap]) -> bool:
    """Whether laps of one setup were ridden at speeds so far apart that they tell rolling from drag.

    Laps at about one speed tell it too, on paper, by the small differences of speed at one place.  But these
    are what the wind made: a tail wind is faster and less drag at once, and would pass for a larger Crr.
    Setups at a speed each tell nothing, because their drag may be what differs.
    """
    lasting = (segments.end_s - segments.start_s) - np.sum(segments.unknown_s, axis=1)
    pace: Floats = lasting / np.sum(segments.roll_m, axis=1)
    names = np.array([lap.setup for lap in laps])
    own = [pace[names == name] for name in dict.fromkeys(names.tolist())]
    return any(float(np.max(p) / np.min(p)) >= SPEEDS_APART for p in own)


def _known_before(session: Session, cells: RoadCells, *, crr_estimated: bool) -> tuple[KnownBefore, list[str]]:
    sheet, course = session.run_sheet, session.course
    warnings: list[str] = []
    # Where the laps have no say, Crr's uncertainty joins that of mass and meter after the fit.
    known = KnownBefore(crr=sheet.system.crr, crr_sd=crr_prior_sd(session) if crr_estimated else LEAST_CRR_SD)
    if not course.closed:
        stated = sheet.course.height_difference_m
        if stated is not None:
            known = replace(known, height_gain_m=stated, height_gain_sd_m=STATED_HEIGHT_SD_M)
        else:
            known = replace(known, height_gain_sd_m=UNKNOWN_HEIGHT_SD_M)
            has_altitude = bool(np.isfinite(course.altitude_m[[0, -1]]).all())
            warnings.append(
                "Start and finish are not at the same place, and the run sheet does not give the height difference "
                "between them ([course] height_difference_m). "
                + (
                    "The altimeter's is used, good to about 2 m. "
                    if has_altitude
                    else "The rides do not give it either. "
                )
                + "This makes the drag areas uncertain, but not their differences."
            )
    altimeter = _altimeter(course, cells)
    if altimeter is not None:
        known = replace(known, height_precision=altimeter[0], height_information=altimeter[1])
    return known, warnings


def _observed_wind(session: Session) -> tuple[float, float] | None:
    """Return the share of the observed mean wind to expect on the course, and its standard deviation; None without.

    An observation with an error of its own is too strong on average: w^2 of what is seen
    exceeds that of the wind by 2 sd^2, and drag goes with w^2.  So it is combined with the
    knowledge that winds of either direction come in about this strength, a normal prior
    of mean zero with half of w^2 in either component.  On a road ridden one way the wind
    itself counts, not its square, and an observation is right on average as it stands.
    On a closed course without positions the direction means nothing and only that prior is left.
    """
    if session.wind_east_m_s is None or session.wind_north_m_s is None:
        return None
    observed = float(np.hypot(session.wind_east_m_s, session.wind_north_m_s))
    variance = WIND_SD_M_S[0] ** 2 + (WIND_SD_M_S[1] * observed) ** 2
    if not session.course.closed:
        return 1.0, float(np.sqrt(variance))
    usual = max(observed**2 / 2.0, variance)
    if not session.course.has_headings:
        return 0.0, float(np.sqrt(usual))
    share = usual / (usual + variance)
    return share, float(np.sqrt(share * variance))


def crr_prior_sd(session: Session) -> float:
    """Return Crr's standard deviation before the fit: the run sheet's, or a wide one if the laps are to tell it."""
    sheet = session.run_sheet
    return WIDE_CRR_SD if sheet.analysis.estimate_crr else max(sheet.system.crr_sd, LEAST_CRR_SD)


def _altimeter(course: Course, cells: RoadCells) -> tuple[Floats, Floats] | None:
    """Return what the recorded altitude says of the cells' heights: precision, and precision times mean."""
    if not np.isfinite(course.altitude_m).all():
        return None
    edge = cells.edge_m
    rise = np.diff(np.interp(edge, course.position_m, course.altitude_m))
    apart = np.abs(edge[:, None] - edge[None, :])
    covariance = ALTIMETER_SD_M**2 * np.exp(-apart / ALTIMETER_SCALE_M) + ALTIMETER_WHITE_SD_M**2 * np.eye(len(edge))
    steps = np.diff(np.eye(len(edge)), axis=0)
    precision: Floats = np.asarray(np.linalg.inv(steps @ covariance @ steps.T), dtype=np.float64)
    return precision, precision @ rise
