"""One linearisation after the other, and the mixture over mean winds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.estimate.joint_fit.equations import MEAN_EAST, MEAN_NORTH, Equations, Layout, linearise
from fieldaero.estimate.joint_fit.likelihood import Estimate, SharedPrior, estimate
from fieldaero.estimate.joint_fit.priors import FitSettings, shared_prior
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["ROUNDS", "ROUNDS_FROM_FORMER", "SETTLED_M2", "Component", "advanced", "mixture"]

Floats = NDArray[np.float64]

SETTLED_M2 = 2e-5
ROUNDS = 10
ROUNDS_FROM_FORMER = 2  # a former fit of the same laps is next to its end already
FURTHEST_STEP_M_S = 3.0


@dataclass(frozen=True, kw_only=True)
class Component:
    """One linearisation, converged.

    Attributes
    ----------
    mean
        Mean wind away from the expected one [m/s], shape (2,).
    cda
        Drag areas of the laps [m2], shape (K,).
    wind
        Wind per segment, where the air goes [m/s], shape (K, n, 2).
    estimate, equations, prior
        What they were found from.
    """

    mean: Floats
    cda: Floats
    wind: Floats
    estimate: Estimate
    equations: Equations
    prior: SharedPrior


def advanced(
    mean: Floats,
    found: Estimate,
    equations: Equations,
    prior: SharedPrior,
    segments: Segments,
    nodes: Layout,
    cda: Floats,
    wind: Floats,
) -> tuple[Component, float]:
    """Move the point of linearisation to the estimate.

    Parameters
    ----------
    mean
        Mean wind away from the expected one [m/s], shape (2,).
    found, equations, prior, segments, nodes
        The estimate and what it was made of.
    cda, wind
        Where it was linearised [m2], shape (K,), and [m/s], shape (K, n, 2).

    Returns
    -------
    The new point, no further than :data:`FURTHEST_STEP_M_S` of wind away, and how far the drag
    areas would have moved in a whole step [m2].
    """
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
        Component(
            mean=mean,
            cda=cda + share * (new_cda - cda),
            wind=wind + share * (target - wind),
            estimate=found,
            equations=equations,
            prior=prior,
        ),
        moved,
    )


def mixture(
    centre: Component,
    theta: Floats,
    segments: Segments,
    nodes: Layout,
    settings: FitSettings,
    spread_sd: float,
    former: Sequence[Component],
) -> tuple[list[Component], Floats]:
    """Fit about six mean winds round the expected one.

    Parameters
    ----------
    centre
        The fit about the expected one.
    theta
        Noise parameters (logs), shape (parameters,).
    segments, nodes, settings
        What is fitted, and the priors.
    spread_sd
        Half of the mean wind's variance, as a standard deviation [m/s]; the six lie twice that away.
    former
        Where an earlier mixture of the same laps ended; empty without.

    Returns
    -------
    All seven or those that can be solved, and their weights, which sum to one.
    """
    components, log_weight = [centre], [np.log(0.5)]
    for k in range(6):
        angle = k * np.pi / 3.0
        mean = 2.0 * spread_sd * np.array([np.cos(angle), np.sin(angle)])
        prior = shared_prior(segments, settings, mean=mean, sd=spread_sd)
        cda, wind = centre.cda, centre.wind + mean
        before = next((c for c in former if np.allclose(c.mean, mean)), None)
        if before is not None:
            cda, wind = before.cda, before.wind
        one: Component | None = None
        try:
            for _ in range(1 if before is not None else ROUNDS):
                equations = linearise(segments, nodes, cda_m2=cda, wind_m_s=wind)
                found = estimate(
                    theta, segments=segments, nodes=nodes, equations=equations, prior=prior, gradient=False
                )
                one, moved = advanced(mean, found, equations, prior, segments, nodes, cda, wind)
                cda, wind = one.cda, one.wind
                if moved < SETTLED_M2:
                    break
        except np.linalg.LinAlgError:
            continue
        assert one is not None
        components.append(one)
        log_weight.append(np.log(1.0 / 12.0))
    score = np.array(log_weight) - np.array([c.estimate.objective for c in components])
    weights = np.exp(score - score.max())
    return components, weights / weights.sum()
