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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from fieldaero.joint_fit.equations import CELLS, CRR, MEAN_EAST, MEAN_NORTH, Equations, Layout, layout, linearise
from fieldaero.joint_fit.likelihood import Estimate, SharedPrior, estimate
from fieldaero.joint_fit.noise import AIR_SD, BRAKE_SD, PARAMETERS, SLOW_SD, start_values
from fieldaero.joint_fit.segments import Segments

__all__ = ["FitSettings", "JointFit", "joint_fit"]

Floats = NDArray[np.float64]

MEAN_OVER_SLOW = 2.5  # a mean wind is some 2 to 3 times its slow variation; common practice, no source
LEAST_MEAN_SD_M_S = 0.2
BRAKING_LOSS = (0.15, 0.15)  # height lost per metre under the brakes (deceleration over g), mean and sd
AIR_SCALE_SD = 0.05
CLOSED_WITHIN_M = 0.01
TWINS_DIFFER_M = 0.15  # level of the two sides of one road, and a metre or two of position on a slope
SETTLED_M2 = 2e-5
ROUNDS = 6
FURTHEST_STEP_M_S = 3.0


@dataclass(frozen=True, kw_only=True)
class FitSettings:
    """What is known before the fit.

    Attributes
    ----------
    crr, crr_sd
        Coefficient of rolling resistance.
    wind_sd_m_s
        Standard deviation of either component of the mean wind about the expected one;
        None where no wind was observed, and it then follows from how much the wind varies.
    height_gain_m, height_gain_sd_m
        Height of the finish above the start; 0 on a closed course, an infinite sd where unknown.
    height_precision, height_information
        What an altimeter says of the cells' heights, or None.
    """

    crr: float
    crr_sd: float
    wind_sd_m_s: float | None = None
    height_gain_m: float = 0.0
    height_gain_sd_m: float = CLOSED_WITHIN_M
    height_precision: Floats | None = None
    height_information: Floats | None = None

    def __post_init__(self) -> None:
        if not (self.crr_sd > 0.0 and self.height_gain_sd_m > 0.0):
            raise ValueError("crr_sd and height_gain_sd_m must be above zero")


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
    state: tuple[_Component, ...]

    @property
    def noise(self) -> dict[str, float]:
        """Noise parameters by name."""
        return {p.name: float(v) for p, v in zip(PARAMETERS, np.exp(self.theta), strict=True)}


@dataclass(frozen=True, kw_only=True)
class _Component:
    """One linearisation, converged."""

    mean: Floats
    cda: Floats
    wind: Floats
    estimate: Estimate
    equations: Equations
    prior: SharedPrior


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
        are where the fit begins, where shapes agree.
    hyper_uncertainty
        Whether to work out how uncertain the noise parameters are.

    Examples
    --------
    See ``tests/joint_fit``.
    """
    nodes = layout(segments)
    given = theta if theta is not None else (start.theta if start is not None else None)
    wind, cda = segments.expected_wind_m_s.copy(), _closure(segments, settings)
    local_sd = _mean_sd(settings, start_values() if given is None else given) / np.sqrt(2.0)
    free = _active(segments)
    current = start_values() if given is None else given.copy()
    same = start is not None and start.state[0].wind.shape == wind.shape
    if same:
        assert start is not None
        wind, cda = start.state[0].wind, start.state[0].cda
    centre: _Component | None = None
    for k in range(ROUNDS):
        equations = linearise(segments, nodes, cda_m2=cda, wind_m_s=wind)
        prior = _prior(segments, settings, mean=np.zeros(2), sd=local_sd)
        if given is None and k < 3:
            current = _optimised(current, free, segments, nodes, equations, prior, rounds=(18, 8, 5)[k])
            local_sd = _mean_sd(settings, current) / np.sqrt(2.0)
            prior = _prior(segments, settings, mean=np.zeros(2), sd=local_sd)
        found = estimate(current, segments=segments, nodes=nodes, equations=equations, prior=prior, gradient=False)
        centre, moved = _advanced(np.zeros(2), found, equations, prior, segments, nodes, cda, wind)
        cda, wind = centre.cda, centre.wind
        if moved < SETTLED_M2 and (given is not None or k >= 2):
            break
    assert centre is not None
    components, weights = _mixture(centre, current, segments, nodes, settings, local_sd, start if same else None)
    return _outcome(components, weights, current, free, segments, nodes, hyper_uncertainty=hyper_uncertainty)


def _mean_sd(settings: FitSettings, theta: Floats) -> float:
    if settings.wind_sd_m_s is not None:
        return settings.wind_sd_m_s
    return max(MEAN_OVER_SLOW * float(np.exp(theta[SLOW_SD])), LEAST_MEAN_SD_M_S)


def _active(segments: Segments) -> NDArray[np.intp]:
    off = set()
    if not np.any(segments.braked_s > 0.0):
        off.add(BRAKE_SD)
    if not segments.has_air_speed:
        off.add(AIR_SD)
    return np.array([i for i in range(len(PARAMETERS)) if i not in off], dtype=np.intp)


def _closure(segments: Segments, settings: FitSettings) -> Floats:
    rest = segments.base_m - settings.crr * segments.roll_m
    fine = segments.unknown_s <= 0.0
    share = np.sum(np.where(fine, segments.roll_m, 0.0), axis=1) / np.sum(segments.roll_m, axis=1)
    cda = (np.sum(np.where(fine, rest, 0.0), axis=1) - settings.height_gain_m * share) / np.sum(
        np.where(fine, segments.still_air_m_per_m2, 0.0), axis=1
    )
    return np.asarray(np.clip(np.nan_to_num(cda, nan=0.3), 0.1, 1.0))


def _prior(segments: Segments, settings: FitSettings, *, mean: Floats, sd: float) -> SharedPrior:
    total = np.ones(segments.per_lap)
    precision = np.outer(total, total) / settings.height_gain_sd_m**2
    information = total * settings.height_gain_m / settings.height_gain_sd_m**2
    if settings.height_precision is not None and settings.height_information is not None:
        precision = precision + settings.height_precision
        information = information + settings.height_information
    if segments.cells.twins is not None:
        # The heights of twins add up to what their edges' levels differ by, independent from edge to edge.
        T = segments.cells.twins
        level = 2.0 * np.eye(len(T)) - np.eye(len(T), k=1) - np.eye(len(T), k=-1)
        precision = precision + T.T @ np.linalg.solve(TWINS_DIFFER_M**2 * level, T)
    # An absolute height of 1 km per cell: nothing to the data, and H stays definite where a cell is unseen.
    precision = precision + np.eye(len(total)) * 1e-6
    return SharedPrior(
        mean=np.array([mean[0], mean[1], settings.crr, 0.0]),
        sd=np.array([sd, sd, settings.crr_sd, AIR_SCALE_SD]),
        braking_mean=BRAKING_LOSS[0],
        braking_sd=BRAKING_LOSS[1],
        precision=precision,
        information=information,
    )


def _optimised(
    theta: Floats,
    free: NDArray[np.intp],
    segments: Segments,
    nodes: Layout,
    equations: Equations,
    prior: SharedPrior,
    *,
    rounds: int,
) -> Floats:
    def value(part: Floats) -> tuple[float, Floats]:
        full = theta.copy()
        full[free] = part
        try:
            found = estimate(full, segments=segments, nodes=nodes, equations=equations, prior=prior, gradient=True)
        except np.linalg.LinAlgError:
            return 1e12, np.zeros(len(free))
        return found.objective, found.gradient[free]

    bounds = [(np.log(PARAMETERS[i].low), np.log(PARAMETERS[i].high)) for i in free]
    best = minimize(
        value, theta[free], jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": rounds, "ftol": 1e-6}
    )
    out = theta.copy()
    out[free] = best.x
    return out


def _advanced(
    mean: Floats,
    found: Estimate,
    equations: Equations,
    prior: SharedPrior,
    segments: Segments,
    nodes: Layout,
    cda: Floats,
    wind: Floats,
) -> tuple[_Component, float]:
    m = nodes.nodes
    slow = np.stack(
        [(nodes.weight @ found.local[:, o : o + m, None])[:, :, 0] for o in (0, m)],
        axis=2,
    )
    target = segments.expected_wind_m_s + found.shared[[MEAN_EAST, MEAN_NORTH]] + slow
    furthest = float(np.max(np.abs(target - wind)))
    share = min(1.0, FURTHEST_STEP_M_S / furthest) if furthest > 0.0 else 1.0
    new_cda = np.clip(found.local[:, -1], 0.02, 3.0)
    moved = float(np.max(np.abs(new_cda - cda))) / share
    return (
        _Component(
            mean=mean,
            cda=cda + share * (new_cda - cda),
            wind=wind + share * (target - wind),
            estimate=found,
            equations=equations,
            prior=prior,
        ),
        moved,
    )


def _mixture(
    centre: _Component,
    theta: Floats,
    segments: Segments,
    nodes: Layout,
    settings: FitSettings,
    spread_sd: float,
    start: JointFit | None,
) -> tuple[list[_Component], Floats]:
    components, log_weight = [centre], [np.log(0.5)]
    for k in range(6):
        angle = k * np.pi / 3.0
        mean = 2.0 * spread_sd * np.array([np.cos(angle), np.sin(angle)])
        prior = _prior(segments, settings, mean=mean, sd=spread_sd)
        cda, wind = centre.cda, centre.wind + mean
        former = None if start is None else next((c for c in start.state if np.allclose(c.mean, mean)), None)
        if former is not None:
            cda, wind = former.cda, former.wind
        one: _Component | None = None
        try:
            for _ in range(ROUNDS):
                equations = linearise(segments, nodes, cda_m2=cda, wind_m_s=wind)
                found = estimate(
                    theta, segments=segments, nodes=nodes, equations=equations, prior=prior, gradient=False
                )
                one, moved = _advanced(mean, found, equations, prior, segments, nodes, cda, wind)
                cda, wind = one.cda, one.wind
                if moved < 10.0 * SETTLED_M2:
                    break
        except np.linalg.LinAlgError:
            continue
        assert one is not None
        components.append(one)
        log_weight.append(np.log(1.0 / 12.0))
    score = np.array(log_weight) - np.array([c.estimate.objective for c in components])
    weights = np.exp(score - score.max())
    return components, weights / weights.sum()


def _cda_covariance(found: Estimate) -> tuple[Floats, Floats]:
    """Covariance of the lap drag areas, shape (K, K), and variances of the first shared unknowns."""
    K, p = found.local.shape
    unit = np.zeros((K, p, K))
    unit[np.arange(K), -1, np.arange(K)] = 1.0
    x, _ = found.chain.solve(unit, np.zeros((len(found.shared), K)))
    return x[:, -1, :], np.diagonal(found.chain.border)[:CELLS]


def _outcome(
    components: list[_Component],
    weights: Floats,
    theta: Floats,
    free: NDArray[np.intp],
    segments: Segments,
    nodes: Layout,
    *,
    hyper_uncertainty: bool,
) -> JointFit:
    def mixed(values: list[Floats]) -> Floats:
        return np.asarray(np.tensordot(weights, np.array(values), axes=1))

    cda = mixed([c.estimate.local[:, -1] for c in components])
    covariances, shared_variance = zip(*(_cda_covariance(c.estimate) for c in components), strict=True)
    away = np.array([c.estimate.local[:, -1] - cda for c in components])
    covariance = mixed(list(covariances)) + np.einsum("c,ci,cj->ij", weights, away, away)
    shared = mixed([c.estimate.shared for c in components])
    apart = np.array([c.estimate.shared[:CELLS] - shared[:CELLS] for c in components])
    variance = mixed(list(shared_variance)) + weights @ apart**2
    centre = components[0]
    n = segments.per_lap
    best = components[int(np.argmax(weights))]
    theta_covariance = np.zeros((len(theta), len(theta)))
    slopes = np.zeros((len(theta), len(cda), len(cda)))
    if hyper_uncertainty:
        theta_covariance, slopes = _hyper_uncertainty(theta, free, centre, segments, nodes)
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


def _residual(c: _Component) -> Floats:
    fitted = (c.equations.local @ c.estimate.local[:, :, None])[:, :, 0] + c.equations.shared @ c.estimate.shared
    return np.asarray(c.equations.right - fitted)


def _hyper_uncertainty(
    theta: Floats, free: NDArray[np.intp], centre: _Component, segments: Segments, nodes: Layout
) -> tuple[Floats, Floats]:
    step = 0.05
    K = segments.laps
    hessian = np.zeros((len(free), len(free)))
    slopes = np.zeros((len(theta), K, K))
    for a, i in enumerate(free):
        sides = []
        for sign in (1.0, -1.0):
            shifted = theta.copy()
            shifted[i] += sign * step
            sides.append(
                estimate(
                    shifted,
                    segments=segments,
                    nodes=nodes,
                    equations=centre.equations,
                    prior=centre.prior,
                    gradient=True,
                )
            )
        hessian[a] = (sides[0].gradient - sides[1].gradient)[free] / (2.0 * step)
        slopes[i] = (_cda_covariance(sides[0])[0] - _cda_covariance(sides[1])[0]) / (2.0 * step)
    hessian = (hessian + hessian.T) / 2.0
    values, vectors = np.linalg.eigh(hessian)
    # Where the likelihood is flat or bent the wrong way at a bound, the prior alone says how uncertain it is.
    least = 1.0 / max(p.log_sd for p in PARAMETERS) ** 2
    inverse = vectors @ np.diag(1.0 / np.maximum(values, least)) @ vectors.T
    covariance = np.zeros((len(theta), len(theta)))
    covariance[np.ix_(free, free)] = inverse
    return covariance, slopes
