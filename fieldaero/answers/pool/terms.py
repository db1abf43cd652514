"""What pooled differences are weighed against and translated with: choices of the first sheet, mean rider and air."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldaero.answers.comparison_rows import flat_road, seconds_result, smallest_difference_m2, watts_result
from fieldaero.answers.result import Result, SecondsResult, WattsResult
from fieldaero.physics.flat_road import FlatRoad
from fieldaero.run_sheet.schema import AnalysisChoices

__all__ = ["Terms", "terms_of"]

Interval = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Terms:
    """Rider, road and choices that hold for all pooled comparisons.

    ``cda_m2`` is the drag area that differences are added to for times, the mean over the
    sessions that had the setup compared with.
    """

    choices: AnalysisChoices
    road: FlatRoad
    cda_m2: float
    warnings: tuple[str, ...]

    @property
    def smallest_difference_m2(self) -> float | None:
        """Smallest difference that matters, as a drag area."""
        return smallest_difference_m2(self.choices, road=self.road, cda_m2=self.cda_m2)

    def watts(self, delta_cda_m2: float, interval_m2: Interval | None) -> WattsResult:
        """Power that a difference costs at the speed reported at."""
        return watts_result(delta_cda_m2, interval_m2, choices=self.choices, road=self.road)

    def seconds(self, delta_cda_m2: float, interval_m2: Interval | None) -> SecondsResult | None:
        """Time that a difference costs over the distance reported; no interval where it holds no drag above zero."""
        return seconds_result(delta_cda_m2, interval_m2, choices=self.choices, road=self.road, cda_m2=self.cda_m2)


def terms_of(results: Sequence[Result], sheets: Sequence[str], *, versus: str) -> Terms:
    """Bring the sessions' terms together.

    Parameters
    ----------
    results, sheets
        The sessions and what they are called.
    versus
        Setup that the others are compared with; a session had it.
    """
    opened = [(r.session, r.estimates) for r in results if r.session is not None and r.estimates is not None]
    roads = [flat_road(session, estimates) for session, estimates in opened]
    choices = [session.run_sheet.analysis for session, _ in opened]
    chosen = next((c for c in choices if _smallest(c) is not None), choices[0])
    drag = [row.cda_m2 for r in results for row in r.setup_results if row.setup == versus and row.cda_m2 is not None]
    warnings = []
    for name, own in zip(sheets, choices, strict=True):
        if _smallest(own) not in (None, _smallest(chosen)):
            first = sheets[choices.index(chosen)]
            warnings.append(f"{name} calls another difference the smallest that matters than {first}; {first} counts.")
    return Terms(
        choices=chosen,
        road=FlatRoad(
            system=roads[0].system,
            crr=float(np.mean([road.crr for road in roads])),
            air_density_kg_m3=float(np.mean([road.air_density_kg_m3 for road in roads])),
            gravity_m_s2=float(np.mean([road.gravity_m_s2 for road in roads])),
        ),
        cda_m2=float(np.mean(drag)) if drag else math.nan,
        warnings=tuple(warnings),
    )


def _smallest(choices: AnalysisChoices) -> tuple[float, str] | None:
    for unit in ("m2", "w", "s"):
        value = getattr(choices, f"smallest_difference_{unit}")
        if value is not None:
            return float(value), unit
    return None
