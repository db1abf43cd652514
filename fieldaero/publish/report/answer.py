"""The answer in two sentences: what was found, and how far it can be relied on."""

from __future__ import annotations

from collections.abc import Sequence

from fieldaero.answers.result import ComparisonResult, Result
from fieldaero.answers.supporting_rows import Background
from fieldaero.basics.formatting import decimals, interval, number
from fieldaero.compare.verdict import HIGHER, LOWER, NO_DIFFERENCE, NOT_RESOLVED
from fieldaero.publish.report.names import name

__all__ = ["NO_LAP", "answer", "told_verdict"]

NO_LAP = "no usable lap"
TOLD_SINGLY = 3  # comparisons; more are named by verdict, the numbers stand in the table
GROUPS = (
    (LOWER, "lower drag with {}"),
    (HIGHER, "higher drag with {}"),
    (NO_DIFFERENCE, "no difference that matters with {}"),
    (NOT_RESOLVED, "not resolved for {}"),
)


def answer(result: Result, background: Background) -> tuple[str, str]:
    """Return the two sentences.

    Verdicts are those of the result, which were decided from unrounded values.
    """
    return _found(result), _trust(result, background)


def _found(result: Result) -> str:
    rows = [row for row in result.comparison_results if row.versus == result.baseline] or list(
        result.comparison_results
    )
    if not rows:
        return "This session holds one setup only, so there is nothing to compare."
    if len(rows) > TOLD_SINGLY:
        return f"Against {name(result.baseline)}: {_grouped(rows)}."
    told = "; ".join(_told(row) for row in rows)
    return f"{told[0].upper()}{told[1:]}."


def _grouped(rows: Sequence[ComparisonResult]) -> str:
    parts = []
    for verdict, words in GROUPS:
        own = [name(row.setup) for row in rows if row.delta_cda_m2 is not None and told_verdict(row) == verdict]
        if own:
            parts.append(words.format(", ".join(own)))
    untested = [name(row.setup) for row in rows if row.delta_cda_m2 is None]
    if untested:
        parts.append(f"no usable lap for the comparison with {', '.join(untested)}")
    return "; ".join(parts)


def told_verdict(row: ComparisonResult) -> str:
    """Return the verdict in words; one that has no laps is told apart from one that its laps leave open."""
    return NO_LAP if row.delta_cda_m2 is None else row.verdict or NOT_RESOLVED


def _told(row: ComparisonResult) -> str:
    setup, versus = name(row.setup), name(row.versus)
    if row.delta_cda_m2 is None:
        return f"between {setup} and {versus} nothing can be said, because one of the two has no usable lap"
    if row.interval95_m2 is None:
        return f"whether {setup} differs from {versus} is not resolved, because one of the two has a single lap"
    spread = interval(*row.interval95_m2, unit="m²", signed=True)
    places = decimals((row.interval95_m2[1] - row.interval95_m2[0]) / 2.0)
    size = number(abs(row.delta_cda_m2), places=places)
    if row.verdict in (LOWER, HIGHER):
        than = "lower" if row.verdict == LOWER else "higher"
        watts = ""
        if row.watts is not None and row.watts.interval95 is not None:
            ends = sorted(abs(x) for x in row.watts.interval95)
            does = "saves" if row.verdict == LOWER else "costs"
            watts = f", which {does} {interval(ends[0], ends[1])} W at {row.watts.speed_km_h:g} km/h"
        return f"with {setup} drag area is {size} m² {than} than with {versus} (95 % interval {spread}){watts}"
    if row.verdict == NO_DIFFERENCE:
        limit = "" if row.smallest_difference_m2 is None else f" of {_limit(row.smallest_difference_m2)} m²"
        return (
            f"with {setup} there is no difference that matters to {versus}: the 95 % interval, {spread}, lies within "
            f"the smallest difference that matters{limit}"
        )
    more = (
        f"; about {row.further_laps} further laps would settle it, if difference and scatter stay as found"
        if row.further_laps is not None
        else "; no reasonable number of further laps would settle it at this scatter"
    )
    return f"whether {setup} differs from {versus} is not resolved: the 95 % interval runs from {spread}{more}"


def _limit(value_m2: float) -> str:
    return number(value_m2, places=decimals(value_m2))


def _trust(result: Result, background: Background) -> str:
    course, wind = background.course, result.wind
    air = "" if wind is None else f" in a wind of {number(wind.mean_m_s, places=1)} m/s at the rider's height"
    ridden = number(course.road_ridden_km, places=1)
    laps = f"{course.laps_used} lap{'' if course.laps_used == 1 else 's'}, {ridden} km of road"
    weak = (
        "; the weak points that the analysis found are listed under Cautions"
        if result.warnings
        else ", and the analysis found no weak point"
    )
    several = " hold for all comparisons together and" if len(result.comparison_results) > 1 else ""
    if all(row.interval95_m2 is None for row in result.comparison_results):
        return f"The drag areas rest on {laps}{air}{weak}."
    return f"The intervals{several} rest on one session of {laps}{air}{weak}."
