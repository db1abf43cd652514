"""Everything that one linear solution of the joint fit needs, in one frozen record."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.equations import Equations, WindNodes, linearise, wind_nodes
from fieldaero.estimate.joint_fit.priors import SharedPrior
from fieldaero.estimate.joint_fit.segments import Segments

__all__ = ["Problem"]


@dataclass(frozen=True, kw_only=True)
class Problem:
    """The laps, the priors, and the equations about drag areas, shape (K,), and winds, shape (K, n, 2)."""

    segments: Segments
    prior: SharedPrior
    nodes: WindNodes
    cda_m2: Floats
    wind_m_s: Floats
    equations: Equations

    @classmethod
    def about(cls, segments: Segments, prior: SharedPrior, *, cda_m2: Floats, wind_m_s: Floats) -> Problem:
        """Write the equations of laps about a point."""
        nodes = wind_nodes(segments)
        equations = linearise(segments, nodes, cda_m2=cda_m2, wind_m_s=wind_m_s)
        return cls(segments=segments, prior=prior, nodes=nodes, cda_m2=cda_m2, wind_m_s=wind_m_s, equations=equations)

    def moved_to(self, *, cda_m2: Floats, wind_m_s: Floats) -> Problem:
        """Return the same problem about another point."""
        equations = linearise(self.segments, self.nodes, cda_m2=cda_m2, wind_m_s=wind_m_s)
        return replace(self, cda_m2=cda_m2, wind_m_s=wind_m_s, equations=equations)
