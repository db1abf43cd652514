"""The joint fit: drag area of every lap, with the covariance between laps.

Three nested steps:

1. The noise parameters by restricted likelihood, at a point of linearisation.
2. Re-linearised in wind and drag areas (Gauss-Newton) until nothing moves.
3. The mean wind.  A road whose height nobody knows can look like a mean wind and the
   other way round, so the mean wind is hardly determined; yet its square adds to the
   drag of every lap, and its product with the slow wind to the differences.  A single
   linearisation would trust the first best mean wind.  So the fit is made about the
   expected mean wind and about six others on a circle round it (a rule exact to the
   fifth degree for a normal distribution in the plane, A. H. Stroud, Approximate
   Calculation of Multiple Integrals, 1971, formula E2r2: 5-1, from memory), each
   weighted with its likelihood; the result is their mixture, whose spread is part of
   the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldaero.estimate.joint_fit.equations import CELLS, CRR, MEAN_EAST, MEAN_NORTH, layout, linearise
from fieldaero.estimate.joint_fit.gauss_newton import (
    ROUNDS,
    ROUNDS_FROM_FORMER,
    SETTLED_M2,
    Component,
    advanced,
    mixture,
)
from fieldaero.estimate.joint_fit.likelihood import estimate
from fieldaero.estimate.joint_fit.noise import PARAMETERS, start_values
from fieldaero.estimate.joint_fit.noise_search import active_parameters, cda_covariance, noise_uncertainty, optimised
from fieldaero.estimate.joint_fit.priors import FitSettings, mean_wind_sd_m_s, shared_prior
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["FitSettings", "JointFit", "joint_fit"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class JointFit:
    """Outcome of the joint fit.

    Attributes
    ----------
    cda_m2, covariance_m4
        Drag area of each lap, shape (K,), and their covariance, shape (K, K), for given
        scales of mass, power and speed.
    crr, crr_se
        Coefficient of rolling resistance after the fit.
    cell_height_m
        Height gained per cell of road, shape (cells,).
    wind_m_s
        Wind per segment, where the air goes, shape (K, n, 2).
    mean_wind_m_s
        Mean wind, shape (2,), and its standard deviations.
    residual_m
        What the fit leaves of each segment's energy equation, shape (K, n).
    theta
        Logs of the noise parameters.
    theta_covariance
        Their covariance, shape (parameters, parameters); zero for those that play no part.
    covariance_slopes
        Derivative of ``covariance_m4`` by each, shape (parameters, K, K).
    weights
        Of the mean winds tried, shape (7,) or fewer.
    segments
        What was fitted.
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
    state: tuple[Component, ...]

    @property
    def noise(self) -> dict[str, float]:
        """Noise parameters by name."""
        return {p.name: float(v) for p, v in zip(PARAMETERS, np.exp(self.theta), strict=True)}


def joint_fit(
    segments: Segments,
    settings: FitSettings,
    *,
    theta: Floats | None = None,
    start: JointFit | None = None,
    hyper_uncertainty: bool = True,
) -> JointFit:
    """Fit a session.

    Parameters
    ----------
    segments
        K laps cut into segments.
    settings
        Priors.
    theta
        Noise parameters (logs), taken as given; None estimates them.
    start
        A former fit of about the same laps: its noise parameters are kept and its winds
        are where the fit begins, where shapes agree.  How uncertain the noise parameters
        are is then kept too, which is half of the work.
    hyper_uncertainty
        Whether to work out how uncertain the noise parameters are.

    Examples
    --------
    See ``tests/joint_fit``.
    """
    nodes = layout(segments)
    given = theta if theta is not None else (start.theta if start is not None else None)
    wind, cda = segments.expected_wind_m_s.copy(), _closure(segments, settings)
    local_sd = mean_wind_sd_m_s(settings, start_values() if given is None else given) / np.sqrt(2.0)
    free = active_parameters(segments)
    current = start_values() if given is None else given.copy()
    rows = _rows_in(start, segments)
    former = _carried_over(start, rows)
    if former:
        wind, cda = former[0].wind, former[0].cda
    centre: Component | None = None
    for k in range(ROUNDS_FROM_FORMER if former else ROUNDS):
        equations = linearise(segments, nodes, cda_m2=cda, wind_m_s=wind)
        prior = shared_prior(segments, settings, mean=np.zeros(2), sd=local_sd)
        if given is None and k < 3:
            current = optimised(current, free, segments, nodes, equations, prior, rounds=(18, 8, 5)[k])
            local_sd = mean_wind_sd_m_s(settings, current) / np.sqrt(2.0)
            prior = shared_prior(segments, settings, mean=np.zeros(2), sd=local_sd)
        found = estimate(current, segments=segments, nodes=nodes, equations=equations, prior=prior, gradient=False)
        centre, moved = advanced(np.zeros(2), found, equations, prior, segments, nodes, cda, wind)
        cda, wind = centre.cda, centre.wind
        if moved < SETTLED_M2 and (given is not None or k >= 2):
            break
    assert centre is not None
    components, weights = mixture(centre, current, segments, nodes, settings, local_sd, former)
    uncertainty = None
    if theta is None and start is not None and rows is not None and np.any(start.theta_covariance):
        uncertainty = start.theta_covariance, start.covariance_slopes[:, rows][:, :, rows]
    elif hyper_uncertainty:
        uncertainty = noise_uncertainty(current, free, components[0], segments, nodes)
    return _outcome(components, weights, current, segments, uncertainty if hyper_uncertainty else None)


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
    return tuple(replace(c, cda=c.cda[rows], wind=c.wind[rows]) for c in start.state)


def _closure(segments: Segments, settings: FitSettings) -> Floats:
    rest = segments.base_m - settings.crr * segments.roll_m
    fine = segments.unknown_s <= 0.0
    share = np.sum(np.where(fine, segments.roll_m, 0.0), axis=1) / np.sum(segments.roll_m, axis=1)
    cda = (np.sum(np.where(fine, rest, 0.0), axis=1) - settings.height_gain_m * share) / np.sum(
        np.where(fine, segments.still_air_m_per_m2, 0.0), axis=1
    )
    return np.asarray(np.clip(np.nan_to_num(cda, nan=0.3), 0.1, 1.0))


def _outcome(
    components: list[Component],
    weights: Floats,
    theta: Floats,
    segments: Segments,
    uncertainty: tuple[Floats, Floats] | None,
) -> JointFit:
    def mixed(values: list[Floats]) -> Floats:
        return np.asarray(np.tensordot(weights, np.array(values), axes=1))

    cda = mixed([c.estimate.local[:, -1] for c in components])
    covariances, shared_variance = zip(*(cda_covariance(c.estimate) for c in components), strict=True)
    away = np.array([c.estimate.local[:, -1] - cda for c in components])
    covariance = mixed(list(covariances)) + np.einsum("c,ci,cj->ij", weights, away, away)
    shared = mixed([c.estimate.shared for c in components])
    apart = np.array([c.estimate.shared[:CELLS] - shared[:CELLS] for c in components])
    variance = mixed(list(shared_variance)) + weights @ apart**2
    n = segments.per_lap
    best = components[int(np.argmax(weights))]
    theta_covariance, slopes = uncertainty or (
        np.zeros((len(theta), len(theta))),
        np.zeros((len(theta), len(cda), len(cda))),
    )
    wind = mixed([c.wind for c in components])
    return JointFit(
        cda_m2=cda,
        covariance_m4=(covariance + covariance.T) / 2.0,
        crr=float(shared[CRR]),
        crr_se=float(np.sqrt(variance[CRR])),
        cell_height_m=shared[CELLS : CELLS + segments.per_lap],
        wind_m_s=wind,
        mean_wind_m_s=np.mean(segments.expected_wind_m_s, axis=(0, 1)) + shared[[MEAN_EAST, MEAN_NORTH]],
        mean_wind_sd_m_s=np.sqrt(variance[[MEAN_EAST, MEAN_NORTH]]),
        residual_m=_residual(best)[:, :n],
        theta=theta,
        theta_covariance=theta_covariance,
        covariance_slopes=slopes,
        weights=weights,
        segments=segments,
        state=tuple(components),
    )


def _residual(c: Component) -> Floats:
    fitted = (c.equations.local @ c.estimate.local[:, :, None])[:, :, 0] + c.equations.shared @ c.estimate.shared
    return np.asarray(c.equations.right - fitted)
