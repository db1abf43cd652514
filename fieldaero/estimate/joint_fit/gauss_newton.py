"""The point of linearisation moved to the estimate until nothing moves, and the mixture over mean winds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.equations import MEAN_EAST, MEAN_NORTH
from fieldaero.estimate.joint_fit.likelihood import Estimate, estimate
from fieldaero.estimate.joint_fit.priors import KnownBefore, shared_prior
from fieldaero.estimate.joint_fit.problem import Problem

__all__ = ["ROUNDS", "SETTLED_M2", "Component", "mixture", "step_to_estimate"]

SETTLED_M2 = 2e-5  # chosen: about a hundredth of a lap's standard error
ROUNDS = 10  # at most, chosen
FURTHEST_STEP_M_S = 3.0  # of wind in one round, chosen: beyond it the square of the wind is no straight line
POSSIBLE_CDA_M2 = (0.02, 3.0)  # an estimate on the way may lie anywhere; chosen far outside of any rider
# The rule E2r2: 5-1 for a normal distribution in the plane: its centre, and a hexagon at twice its standard deviation.
CENTRE_WEIGHT, HEXAGON_WEIGHT, HEXAGON_SD = 1.0 / 2.0, 1.0 / 12.0, 2.0


@dataclass(frozen=True, kw_only=True)
class Component:
    """The fit about one mean wind: its last problem and estimate, and the point that follows from them.

    ``cda_m2`` are the drag areas of the laps, shape (K,), ``wind_m_s`` the wind per segment,
    where the air goes, shape (K, n, 2).
    """

    problem: Problem
    estimate: Estimate
    cda_m2: Floats
    wind_m_s: Floats

    @property
    def mean_m_s(self) -> Floats:
        """The mean wind, away from the expected one, that the prior lies about, shape (2,)."""
        return self.problem.prior.mean[[MEAN_EAST, MEAN_NORTH]]


def step_to_estimate(problem: Problem, found: Estimate) -> tuple[Component, float]:
    """Move the point of linearisation to the estimate, no further than :data:`FURTHEST_STEP_M_S` of wind.

    Beside it stands how far the drag areas moved [m2], the more the shorter the step was cut.
    """
    mean = found.shared[[MEAN_EAST, MEAN_NORTH]]
    wind = problem.segments.expected_wind_m_s + mean + problem.nodes.slow_wind(found.local) - problem.wind_m_s
    cda = np.clip(found.local[:, -1], *POSSIBLE_CDA_M2) - problem.cda_m2
    furthest = float(np.max(np.abs(wind)))
    share = min(1.0, FURTHEST_STEP_M_S / furthest) if furthest > 0.0 else 1.0
    component = Component(
        problem=problem,
        estimate=found,
        cda_m2=problem.cda_m2 + share * cda,
        wind_m_s=problem.wind_m_s + share * wind,
    )
    return component, float(np.max(np.abs(cda))) / share


def mixture(
    centre: Component, theta: Floats, known: KnownBefore, *, spread_sd_m_s: float, former: Sequence[Component]
) -> tuple[list[Component], Floats]:
    """Fit about six mean winds round the expected one too.

    ``spread_sd_m_s`` is half of the mean wind's variance, as a standard deviation; the six lie twice that
    away.  ``former`` is where an earlier mixture of the same laps ended, empty without.  Returned are all seven
    or those that can be solved, and their weights, which sum to one.
    """
    components, log_weight = [centre], [np.log(CENTRE_WEIGHT)]
    for angle in np.arange(6) * np.pi / 3.0:
        mean = HEXAGON_SD * spread_sd_m_s * np.array([np.cos(angle), np.sin(angle)])
        before = next((c for c in former if np.allclose(c.mean_m_s, mean)), None)
        cda, wind = (centre.cda_m2, centre.wind_m_s + mean) if before is None else (before.cda_m2, before.wind_m_s)
        prior = shared_prior(centre.problem.segments, known, mean=mean, sd=spread_sd_m_s)
        problem = replace(centre.problem, prior=prior)
        try:
            component = _settled(theta, problem, cda, wind, rounds=ROUNDS if before is None else 1)
        except np.linalg.LinAlgError:
            continue
        components.append(component)
        log_weight.append(np.log(HEXAGON_WEIGHT))
    score = np.array(log_weight) - np.array([c.estimate.objective for c in components])
    weights = np.exp(score - score.max())
    return components, weights / weights.sum()


def _settled(theta: Floats, problem: Problem, cda_m2: Floats, wind_m_s: Floats, *, rounds: int) -> Component:
    for _ in range(rounds):
        problem = problem.moved_to(cda_m2=cda_m2, wind_m_s=wind_m_s)
        component, moved = step_to_estimate(problem, estimate(theta, problem))
        cda_m2, wind_m_s = component.cda_m2, component.wind_m_s
        if moved < SETTLED_M2:
            break
    return component
