"""A drag area known beforehand, recovered from the laps: the proof of a rider's own chain from meter to verdict.

A setup of known addition, for instance a flat disc of known area on a rod with its drag
coefficient, is ridden against the baseline like any other.  The difference that the laps
give is compared with what was known by the normalised error En
(:func:`fieldaero.statistics.normalised_error.normalised_error`).  The expanded uncertainty of the
laps' difference is half its own 95 % interval, which is a little more than two standard
errors where laps are few (JCGM 100:2008, G.3); that of the known drag area is twice the
stated one.
"""

from __future__ import annotations

from collections.abc import Sequence

from fieldaero.answers.rows import ComparisonResult, KnownDragResult
from fieldaero.run_sheet.sheet import RunSheet
from fieldaero.statistics.normalised_error import normalised_error

__all__ = ["known_drag_results"]


def known_drag_results(run_sheet: RunSheet, *, comparisons: Sequence[ComparisonResult]) -> tuple[KnownDragResult, ...]:
    """Return one row per setup whose addition to the baseline's drag area is known.

    In the order of the setups; without numbers for a setup that has no laps.
    """
    return tuple(
        _row(setup.name, run_sheet.baseline, setup.known_added_cda_m2, setup.known_added_cda_sd_m2, comparisons)
        for setup in run_sheet.setups
        if setup.known_added_cda_m2 is not None
    )


def _row(
    setup: str, baseline: str, known: float, known_sd: float | None, comparisons: Sequence[ComparisonResult]
) -> KnownDragResult:
    found = next((c for c in comparisons if (c.setup, c.versus) == (setup, baseline)), None)
    if found is None or found.delta_cda_m2 is None or found.interval95_alone_m2 is None:
        return KnownDragResult(setup=setup, versus=baseline, known_m2=known, known_sd_m2=known_sd)
    low, high = found.interval95_alone_m2
    error = float(
        normalised_error(
            value=found.delta_cda_m2,
            reference=known,
            expanded_uncertainty=(high - low) / 2.0,
            reference_expanded_uncertainty=2.0 * (known_sd or 0.0),
        )
    )
    return KnownDragResult(
        setup=setup,
        versus=baseline,
        known_m2=known,
        known_sd_m2=known_sd,
        recovered_m2=found.delta_cda_m2,
        se_m2=found.se_m2,
        df=found.df,
        interval95_m2=(low, high),
        gap_m2=found.delta_cda_m2 - known,
        normalised_error=error,
        agrees=abs(error) <= 1.0,
    )
