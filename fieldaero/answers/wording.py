"""Verdicts, claims, tunnel, known drag, races and yaw in plain sentences: the same on every page and in every file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldaero.answers.rows import (
    ClaimResult,
    ComparisonResult,
    KnownDragResult,
    RaceResult,
    SecondsResult,
    TunnelResult,
    WattsResult,
    YawResult,
)
from fieldaero.basics import formatting
from fieldaero.basics.formatting import (
    decimals,
    duration,
    interval,
    name,
    note,
    number,
    percent,
    value_with_uncertainty,
)
from fieldaero.compare.verdict import MOST_FURTHER_LAPS, NO_DIFFERENCE, NOT_RESOLVED

if TYPE_CHECKING:
    from fieldaero.answers.result import Result

__all__ = [
    "NOTHING_TO_COMPARE",
    "UNIT_SIGNS",
    "also_found",
    "claim_sentence",
    "cross_check_sections",
    "difference_sentence",
    "drift_sentence",
    "is_resolved",
    "known_drag_sentence",
    "pair_words",
    "probability_words",
    "race_sentence",
    "repeat_sentence",
    "tunnel_reasons",
    "tunnel_sentence",
    "verdict_head",
    "verdict_reasons",
    "worth_sentence",
    "yaw_sentence",
]


UNIT_SIGNS = {"m2": "m²", "percent": "%"}
AGAINST_ZERO = {"lower drag": "still lower drag", "higher drag": "in truth higher drag"}
NO_LAP = "One of the two setups has no usable lap."
NOTHING_TO_COMPARE = "Only one setup has usable laps, so there is nothing to compare."


def pair_words(setup: str, versus: str) -> str:
    """Name two setups that are compared."""
    return f"{name(setup)} against {name(versus)}"


def is_resolved(row: ComparisonResult) -> bool:
    """Say whether the laps gave an answer."""
    return row.verdict != NOT_RESOLVED


def verdict_head(row: ComparisonResult) -> str:
    """Tell what was compared and the verdict."""
    return f"{pair_words(row.setup, row.versus)}: {row.verdict}."


def verdict_reasons(row: ComparisonResult, result: Result) -> str:
    """Tell the difference behind a verdict, what it is worth, and what would settle it if it is open."""
    if row.delta_cda_m2 is None or row.se_m2 is None or row.interval95_m2 is None:
        return NO_LAP
    whole = next((s.cda_m2 for s in result.setup_results if s.setup == row.versus), None)
    told = [
        difference_sentence(row.delta_cda_m2, row.se_m2, row.interval95_m2, p_value=row.p_value, versus_cda_m2=whole),
        worth_sentence(row.watts, row.seconds),
    ]
    if row.verdict == NO_DIFFERENCE and row.smallest_difference_m2 is not None:
        limit = number(row.smallest_difference_m2, places=decimals(row.smallest_difference_m2))
        told.append(f"The whole interval lies within the smallest difference that matters, {limit} m².")
    if not is_resolved(row):
        told.append(
            f"About {row.further_laps} further laps like these would settle it."
            if row.further_laps is not None
            else f"Even {MOST_FURTHER_LAPS} further laps like these would not settle it: wait for calmer air."
        )
    return " ".join(filter(None, told))


def difference_sentence(
    delta_cda_m2: float,
    se_m2: float,
    interval95_m2: tuple[float, float],
    *,
    p_value: float | None,
    versus_cda_m2: float | None = None,
    which: str = "95 % interval",
) -> str:
    """Tell a difference of drag area with its interval, and as a share of the other setup's where that is given."""
    share, chance = "", "" if p_value is None else f", p {formatting.p_value(p_value)}"
    if versus_cda_m2:
        places = decimals(100.0 * se_m2 / versus_cda_m2)
        share = f" ({number(100.0 * delta_cda_m2 / versus_cda_m2, places=places, signed=True)} %)"
    return (
        f"The drag area differs by {value_with_uncertainty(delta_cda_m2, se_m2, unit='m²', signed=True)}{share}, "
        f"{which} {interval(*interval95_m2, unit='m²', signed=True)}{chance}."
    )


def worth_sentence(watts: WattsResult | None, seconds: SecondsResult | None) -> str:
    """Tell a difference as watts at a speed and seconds over a distance; empty without either."""
    told = []
    if watts is not None:
        told.append(f"{_worth(watts.value, watts.interval95, 'W')} at {watts.speed_km_h:g} km/h")
    if seconds is not None:
        where = f"over {seconds.distance_km:g} km at {seconds.power_w:g} W"
        told.append(f"{_worth(seconds.value, seconds.interval95, 's')} {where}")
    return f"That is {' and '.join(told)}." if told else ""


def _worth(value: float, bounds: tuple[float, float] | None, unit: str) -> str:
    if bounds is None:
        return f"{number(value, places=1, signed=True)} {unit} (no interval)"
    places = decimals((bounds[1] - bounds[0]) / 2.0)
    return f"{number(value, places=places, signed=True)} {unit} ({interval(*bounds, signed=True)})"


def cross_check_sections(result: Result) -> list[tuple[str, list[str]]]:
    """Return titles with their sentences; a title without sentences is left out."""
    reasons = tunnel_reasons(result.tunnel_results)
    explained = [f"What commonly explains such a gap (common practice, no source): {'; '.join(reasons)}."]
    sections = [
        ("Claims", [claim_sentence(row) for row in result.claim_results]),
        ("Tunnel", [*map(tunnel_sentence, result.tunnel_results), *(explained if reasons else [])]),
        ("Over a course", [race_sentence(row) for row in result.race_results]),
        ("Known drag", [known_drag_sentence(row) for row in result.known_drag_results]),
        ("Yaw", [yaw_sentence(result.yaw_result)]),
    ]
    return [(title, sentences) for title, sentences in sections if sentences]


def claim_sentence(row: ClaimResult) -> str:
    """Tell a claim, what was found, and the verdict."""
    unit = UNIT_SIGNS.get(row.unit, row.unit)
    does = "saves" if row.saves >= 0.0 else "costs no more than"
    claim = f"{name(row.setup)} {does} {abs(row.saves):g} {unit} against {name(row.versus)}{_conditions(row)}"
    told = [f"{claim}: {row.verdict}."]
    if not row.comparable:
        told.append("The run sheet says that the claim was made under other conditions than tested.")
    elif row.claimed_delta_cda_m2 is None or row.probability is None:
        told.append(NO_LAP)
    else:
        if row.verdict == "fell short":
            zero = AGAINST_ZERO.get(row.against_zero or "", "and no difference at all is shown")
            told = [f"{claim}: {row.verdict}, {zero}."]
        low, high = row.interval95 or (None, None)
        places = decimals((high - low) / 2.0) if low is not None and high is not None and high > low else 4
        told.append(
            f"Found: {number(row.found, places=places)} {unit}, 95 % interval {interval(low, high, unit=unit)}; "
            f"probability of at least the claim {probability_words(row.probability)}."
        )
        if row.verdict == "undecided":
            told.append(
                f"About {row.further_laps} further laps would decide it."
                if row.further_laps is not None
                else f"Even {MOST_FURTHER_LAPS} further laps would not decide it."
            )
        told += row.filled_in
    if row.note:
        told.append(f"{note(row.note).rstrip('.')}.")
    return " ".join(told)


def _conditions(row: ClaimResult) -> str:
    parts = []
    if row.unit == "s" and row.distance_km is not None:
        parts.append(f" over {row.distance_km:g} km")
    if row.unit == "s" and row.power_w is not None:
        parts.append(f" at {row.power_w:.0f} W")
    if row.unit == "W" and row.speed_km_h is not None:
        parts.append(f" at {row.speed_km_h:.4g} km/h")
    return "".join(parts)


def probability_words(value: float) -> str:
    """Tell a probability in per cent; what rounding would make certain is told as above or below."""
    return "below 1 %" if value < 0.01 else "above 99 %" if value > 0.99 else percent(value)


def tunnel_sentence(row: TunnelResult) -> str:
    """Tell field, tunnel and whether they agree."""
    head = name(row.setup) if row.versus is None else pair_words(row.setup, row.versus)
    signed = row.versus is not None
    if row.gap_m2 is None or row.normalised_error is None:
        return " ".join([f"{head}: no comparison.", *row.remarks])
    says = "they agree" if row.agrees else "they differ by more than either states"
    return " ".join(
        [
            f"{head}: field {value_with_uncertainty(row.field_m2, row.field_se_m2, signed=signed)} m², tunnel weighted "
            f"with the yaw ridden {value_with_uncertainty(row.tunnel_m2, row.tunnel_se_m2, signed=signed)} m²; gap "
            f"{interval(*(row.interval95_m2 or (None, None)), unit='m²', signed=True)}, En "
            f"{number(row.normalised_error, places=2)}: {says}.",
            *row.remarks,
        ]
    )


def tunnel_reasons(rows: Sequence[TunnelResult]) -> list[str]:
    """Return what commonly explains the gaps that were found."""
    return list(dict.fromkeys(reason for row in rows for reason in row.reasons))


def known_drag_sentence(row: KnownDragResult) -> str:
    """Tell a known drag area, what was recovered of it, and whether that agrees."""
    known = f"{number(row.known_m2, places=4, signed=True)}" + (
        f" ± {number(row.known_sd_m2, places=4)}" if row.known_sd_m2 else ""
    )
    head = f"{pair_words(row.setup, row.versus)}: known {known} m²"
    if row.normalised_error is None:
        return f"{head}. {NO_LAP}"
    says = (
        "the chain from meter to verdict recovers it"
        if row.agrees
        else "the chain from meter to verdict does not recover it; look for the reason before believing other numbers"
    )
    return (
        f"{head}, recovered {value_with_uncertainty(row.recovered_m2, row.se_m2, signed=True)} m², 95 % interval "
        f"{interval(*(row.interval95_m2 or (None, None)), unit='m²', signed=True)}, En "
        f"{number(row.normalised_error, places=2)}: {says}."
    )


def race_sentence(row: RaceResult) -> str:
    """Tell the time over a course that a setup makes."""
    rise = f" with {row.ascent_m:.0f} m of climbing" if row.ascent_m >= 1.0 else ""
    head = f"{pair_words(row.setup, row.versus)} over {name(row.race)}, {row.distance_km:.1f} km{rise}: "
    if row.delta_s is None or row.versus_time_s is None:
        return head + "no answer, because the interval includes impossible drag areas."
    half = None if row.interval95_s is None else (row.interval95_s[1] - row.interval95_s[0]) / 2.0
    told = number(row.delta_s, places=1 if half is None else decimals(half), signed=True)
    spread = "" if row.interval95_s is None else f", 95 % interval {interval(*row.interval95_s, unit='s', signed=True)}"
    return f"{head}{told} s of {duration(row.versus_time_s)}{spread} ({row.assumed})."


def yaw_sentence(row: YawResult) -> str:
    """Tell how drag area changes with yaw, or that these laps cannot."""
    if row.yaw_rms_deg is None:
        return "Without positions in the rides, neither yaw nor its effect on drag area is known."
    ridden = f"{number(row.yaw_rms_deg, places=1)}° (root mean square)"
    if row.change_at_10_deg is None or row.interval95_change_at_10_deg is None:
        return (
            f"Yaw was {ridden} and varied too little to show how drag area changes with it; that takes a tunnel, or "
            "more wind than is good for comparing setups."
        )
    low, high = (100.0 * bound for bound in row.interval95_change_at_10_deg)
    zero = ", which includes no change" if low <= 0.0 <= high else ""
    change = number(100.0 * row.change_at_10_deg, places=decimals((high - low) / 2.0), signed=True)
    return (
        f"From 0° to 10° of yaw drag area changes by {change} %, 95 % interval "
        f"{interval(low, high, unit='%', signed=True)}{zero}; yaw was {ridden}."
    )


def repeat_sentence(result: Result) -> str:
    """Tell whether the baseline repeated."""
    check = result.supporting_data.repeat_check
    if check is None:
        return (
            "The baseline has fewer than two laps that count, so nothing shows whether it repeats. Ride it first and "
            "last."
        )
    says = (
        "it includes zero, so the baseline repeated within its uncertainty"
        if check.repeats
        else "it excludes zero, so something changed during the session that no setup explains"
    )
    change = value_with_uncertainty(check.change_m2, check.se_m2, signed=True)
    spread = interval(*check.interval95_m2, unit="m²", signed=True)
    return (
        f"The last lap of {name(result.baseline)} (lap {check.last}), {number(check.apart_min)} min after its first "
        f"(lap {check.first}), differs by {change} m². The 95 % interval is {spread}: {says}."
    )


def drift_sentence(result: Result) -> str:
    """Tell how drag area drifted through the session."""
    drift = result.drift_m2_per_h
    return (
        f"Steady drift of drag area through the session: {value_with_uncertainty(drift.value, drift.se, signed=True)} "
        "m² per hour. It is part of the comparison, so that it does not pass for a difference of setups."
    )


def also_found(result: Result) -> list[str]:
    """Tell drift, Crr, wind and scatter, which the fit found besides."""
    crr, origin = result.crr, result.wind.from_deg
    how = (
        f"from the run sheet's {value_with_uncertainty(crr.given, crr.given_sd)} and the laps"
        if crr.estimated
        else "as in the run sheet, because laps at about one speed do not show it"
    )
    whence = ", from a direction that is not known" if origin is None else f" from {number(origin)}°"
    found = [
        drift_sentence(result),
        f"Crr {value_with_uncertainty(crr.value, crr.se)}, {how}.",
        f"Wind at the rider's height {number(result.wind.mean_m_s, places=1)} m/s{whence}.",
    ]
    if result.lap_scatter_m2 is not None:
        found.append(f"Scatter from lap to lap {number(result.lap_scatter_m2, places=4)} m².")
    return found
