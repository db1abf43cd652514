"""The joint fit: drag area of every lap, with the covariance between laps.

Three nested steps:

1. The noise parameters by restricted likelihood, at a point of linearisation.
2. Re-linearised in wind and drag areas (Gauss-Newton) until nothing moves.
3. The mean wind.  A road whose height nobody knows can look like a mean wind and the
   other way round, so the mean wind is hardly determined; yet its square adds to the
   drag of every lap, and its product with the slow wind to the differences.  A single
   linearisation would trust whichever mean wind it came upon.  So the fit is made about the
   expected mean wind and about six others on a circle round it (a rule exact to the
   fifth degree for a normal distribution in the plane, A. H. Stroud, Approximate
   Calculation of Multiple Integrals, 1971, formula E2r2: 5-1, from memory), each
   weighted with its likelihood; the result is their mixture, whose spread is part of
   the uncertainty.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.equations import CELLS, CRR, MEAN_EAST, MEAN_NORTH
from fieldaero.estimate.joint_fit.gauss_newton import ROUNDS, SETTLED_M2, Component, mixture, step_to_estimate
from fieldaero.estimate.joint_fit.likelihood import estimate
from fieldaero.estimate.joint_fit.noise import PARAMETERS, start_values
from fieldaero.estimate.joint_fit.noise_search import cda_covariance, most_likely_noise, noise_uncertainty
from fieldaero.estimate.joint_fit.priors import KnownBefore, mean_wind_sd_m_s, shared_prior
from fieldaero.estimate.joint_fit.problem import Problem
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["JointFit", "joint_fit"]

NOISE_SEARCH_STEPS = (18, 8, 5)  # chosen: of the search in each of the first rounds; later ones keep the noise
ROUNDS_FROM_FORMER = 2  # a former fit of the same laps is next to its end already
START_CDA_M2 = 0.3  # where the closure of a lap says nothing; chosen
START_WITHIN_M2 = (0.1, 1.0)  # chosen: a closure beyond is no place to begin


@dataclass(frozen=True, kw_only=True)
class JointFit:
    """Outcome of the joint fit.

    Attributes
    ----------
    cda_m2, covariance_m4
        Drag area of each lap, shape (K,), and their covariance, shape (K, K), for given
        scales of mass, power and speed.
    cell_height_m
        Height gained per cell of road, shape (cells,).
    wind_m_s
        Wind per segment, where the air goes, shape (K, n, 2).
    mean_wind_m_s, mean_wind_sd_m_s
        East and north, shape (2,).
    residual_m
        What the fit leaves of each segment's energy equation, shape (K, n).
    theta
        Logs of the noise parameters.
    theta_covariance
        Their covariance, shape (parameters, parameters); zero for those that play no part.
    covariance_slopes
        Derivative of ``covariance_m4`` by each, shape (parameters, K, K).
    weights, components
        Of the mean winds tried, shape (7,) or fewer.
    """

    cda_m2: Floats
    covariance_m4: Floats
    crr: float
    crr_se: float
    cell_height_m: Floats
    wind_m_s: Floats
    mean_wind_m_s: Floats
    mean_wind_sd_m_s: Floats
    residual_m: Floats
    theta: Floats
    theta_covariance: Floats
    covariance_slopes: Floats
    weights: Floats
    segments: Segments
    components: tuple[Component, ...]

    @property
    def noise(self) -> dict[str, float]:
        """Noise parameters by name."""
        return {p.name: float(v) for p, v in zip(PARAMETERS, np.exp(self.theta), strict=True)}


def joint_fit(
    segments: Segments,
    known: KnownBefore,
    *,
    theta: Floats | None = None,
    start: JointFit | None = None,
    hyper_uncertainty: bool = True,
) -> JointFit:
    """Fit K laps cut into segments.

    ``theta`` are noise parameters (logs) taken as given; without them they are estimated.  ``start`` is a
    former fit of about the same laps: its noise parameters are kept and its winds are where the fit begins,
    where shapes agree.  How uncertain the noise parameters are is then kept too, which is half of the work;
    ``hyper_uncertainty`` says whether it is worked out at all.
    """
    given = theta if theta is not None else (start.theta if start is not None else None)
    rows = _rows_in(start, segments)
    former = _carried_over(start, rows)
    cda, wind = _closure(segments, known), segments.expected_wind_m_s
    if former:
        cda, wind = former[0].cda_m2, former[0].wind_m_s
    current = start_values() if given is None else given
    spread = _half_spread_m_s(known, current)
    centred = shared_prior(segments, known, mean=np.zeros(2), sd=spread)
    problem = Problem.about(segments, centred, cda_m2=cda, wind_m_s=wind)
    searches = NOISE_SEARCH_STEPS if given is None else ()
    for k in range(ROUNDS_FROM_FORMER if former else ROUNDS):
        if k:
            problem = problem.moved_to(cda_m2=cda, wind_m_s=wind)
        if k < len(searches):
            current = most_likely_noise(current, problem, steps=searches[k])
            spread = _half_spread_m_s(known, current)
            problem = replace(problem, prior=shared_prior(segments, known, mean=np.zeros(2), sd=spread))
        centre, moved = step_to_estimate(problem, estimate(current, problem))
        cda, wind = centre.cda_m2, centre.wind_m_s
        if moved < SETTLED_M2 and k >= len(searches) - 1:
            break
    components, weights = mixture(centre, current, known, spread_sd_m_s=spread, former=former)
    uncertainty = None
    if hyper_uncertainty:
        if theta is None and start is not None and rows is not None and np.any(start.theta_covariance):
            uncertainty = start.theta_covariance, start.covariance_slopes[:, rows][:, :, rows]
        else:
            uncertainty = noise_uncertainty(current, centre.problem)
    return _outcome(components, weights, current, uncertainty)


def _half_spread_m_s(known: KnownBefore, theta: Floats) -> float:
    """Half of the mean wind's variance, as a standard deviation: each mean wind tried has it about itself."""
    return mean_wind_sd_m_s(known, theta) / float(np.sqrt(2.0))


def _rows_in(start: JointFit | None, segments: Segments) -> list[int] | None:
    """Places of the laps at hand in a former fit; None where it did not have them all, cut alike."""
    if start is None or start.segments.per_lap != segments.per_lap:
        return None
    place = {round(float(s), 3): k for k, s in enumerate(start.segments.start_s)}
    rows = [place.get(round(float(s), 3), -1) for s in segments.start_s]
    return None if -1 in rows else rows


def _carried_over(start: JointFit | None, rows: list[int] | None) -> tuple[Component, ...]:
    """Linearisations of a former fit for the laps at hand, empty where there are none."""
    if start is None or rows is None:
        return ()
    return tuple(replace(c, cda_m2=c.cda_m2[rows], wind_m_s=c.wind_m_s[rows]) for c in start.components)


def _closure(segments: Segments, known: KnownBefore) -> Floats:
    """Drag area that closes each lap in still air, to begin with, shape (K,)."""
    rest = segments.base_m - known.crr * segments.roll_m
    fine = segments.unknown_s <= 0.0
    share = np.sum(np.where(fine, segments.roll_m, 0.0), axis=1) / np.sum(segments.roll_m, axis=1)
    cda = (np.sum(np.where(fine, rest, 0.0), axis=1) - known.height_gain_m * share) / np.sum(
        np.where(fine, segments.still_air_m_per_m2, 0.0), axis=1
    )
    return np.asarray(np.clip(np.nan_to_num(cda, nan=START_CDA_M2), *START_WITHIN_M2))


def _outcome(
    components: list[Component], weights: Floats, theta: Floats, uncertainty: tuple[Floats, Floats] | None
) -> JointFit:
    segments = components[0].problem.segments
    best = components[int(np.argmax(weights))]

    def mixed(values: Iterable[Floats]) -> Floats:
        return np.asarray(np.tensordot(weights, np.array(list(values)), axes=1))

    cda = mixed(c.estimate.local[:, -1] for c in components)
    covariances, shared_variances = zip(*(cda_covariance(c.estimate) for c in components), strict=True)
    away = np.array([c.estimate.local[:, -1] - cda for c in components])
    covariance = mixed(covariances) + np.einsum("c,ci,cj->ij", weights, away, away)
    shared = mixed(c.estimate.shared for c in components)
    apart = np.array([c.estimate.shared[:CELLS] - shared[:CELLS] for c in components])
    sd = np.sqrt(mixed(shared_variances) + weights @ apart**2)
    if uncertainty is None:
        uncertainty = np.zeros((len(theta), len(theta))), np.zeros((len(theta), len(cda), len(cda)))
    return JointFit(
        cda_m2=cda,
        covariance_m4=(covariance + covariance.T) / 2.0,
        crr=float(shared[CRR]),
        crr_se=float(sd[CRR]),
        cell_height_m=shared[CELLS : CELLS + segments.per_lap],
        wind_m_s=mixed(c.wind_m_s for c in components),
        mean_wind_m_s=np.mean(segments.expected_wind_m_s, axis=(0, 1)) + shared[[MEAN_EAST, MEAN_NORTH]],
        mean_wind_sd_m_s=sd[[MEAN_EAST, MEAN_NORTH]],
        residual_m=_residual(best)[:, : segments.per_lap],
        theta=theta,
        theta_covariance=uncertainty[0],
        covariance_slopes=uncertainty[1],
        weights=weights,
        segments=segments,
        components=tuple(components),
    )


def _residual(c: Component) -> Floats:
    equations = c.problem.equations
    fitted = (equations.local @ c.estimate.local[:, :, None])[:, :, 0] + equations.shared @ c.estimate.shared
    return np.asarray(equations.right - fitted)
