"""Claims, tunnel, known drag and yaw told in plain sentences for the summary."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldaero.answers.race_rows import RaceResult
from fieldaero.answers.rows import ClaimResult, KnownDragResult, TunnelResult, YawResult
from fieldaero.basics.formatting import decimals, duration, interval, number, value_with_uncertainty

if TYPE_CHECKING:
    from fieldaero.answers.result import Result

__all__ = [
    "claim_sentence",
    "cross_check_sections",
    "known_drag_sentence",
    "race_sentence",
    "tunnel_sentence",
    "yaw_sentence",
]

UNIT_SIGNS = {"m2": "m²", "percent": "%"}
AGAINST_ZERO = {"lower drag": "still lower drag", "higher drag": "in truth higher drag"}


def cross_check_sections(result: Result) -> list[tuple[str, list[str]]]:
    """Return the summary's sections as titles with their sentences; without sentences a section is left out."""
    return [
        ("Claims", [claim_sentence(row) for row in result.claim_results]),
        ("Tunnel", [*map(tunnel_sentence, result.tunnel_results), *_reasons(result.tunnel_results)]),
        ("Over a course", [race_sentence(row) for row in result.race_results]),
        ("Known drag", [known_drag_sentence(row) for row in result.known_drag_results]),
        ("Yaw", [] if result.yaw_result is None else [yaw_sentence(result.yaw_result)]),
    ]


def claim_sentence(row: ClaimResult) -> str:
    """Tell a claim, what was found, and the verdict."""
    unit = UNIT_SIGNS.get(row.unit, row.unit)
    does = "saves" if row.saves >= 0.0 else "costs no more than"
    text = f"{row.setup} {does} {abs(row.saves):g} {unit} against {row.versus}{_conditions(row)}: {row.verdict}"
    note = f" {row.note.rstrip('.')}." if row.note else ""
    if not row.comparable:
        return f"{text}, as the run sheet says that the claim was made under other conditions than tested.{note}"
    if row.claimed_delta_cda_m2 is None or row.probability is None:
        return f"{text}, for one of the two has no lap that can be used.{note}"
    if row.verdict == "fell short":
        text += f", {AGAINST_ZERO.get(row.against_zero or '', 'and no difference at all is shown')}"
    low, high = row.interval95 or (None, None)
    places = decimals((high - low) / 2.0) if low is not None and high is not None and high > low else 4
    text += (
        f". Found: {number(row.found, places=places)} {unit}, 95 % interval {interval(low, high, unit=unit)}; "
        f"probability of at least the claim {_probability(row.probability)}."
    )
    if row.verdict == "undecided":
        text += (
            f" About {row.further_laps} further laps would decide it."
            if row.further_laps is not None
            else " More laps than 200 would be needed to decide it."
        )
    return " ".join([text, *row.filled_in]) + note


def _conditions(row: ClaimResult) -> str:
    parts = []
    if row.unit == "s" and row.distance_km is not None:
        parts.append(f" over {row.distance_km:g} km")
    if row.unit == "s" and row.power_w is not None:
        parts.append(f" at {row.power_w:.0f} W")
    if row.unit == "W" and row.speed_km_h is not None:
        parts.append(f" at {row.speed_km_h:.4g} km/h")
    return "".join(parts)


def _probability(value: float) -> str:
    return "below 1 %" if value < 0.01 else "above 99 %" if value > 0.99 else f"{100.0 * value:.0f} %"


def tunnel_sentence(row: TunnelResult) -> str:
    """Tell field, tunnel and whether they agree."""
    head = row.setup if row.versus is None else f"{row.setup} against {row.versus}"
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


def _reasons(rows: Sequence[TunnelResult]) -> list[str]:
    reasons = list(dict.fromkeys(reason for row in rows for reason in row.reasons))
    return [f"What commonly explains such a gap (common practice, no source): {'; '.join(reasons)}."] if reasons else []


def known_drag_sentence(row: KnownDragResult) -> str:
    """Tell a known drag area, what was recovered of it, and whether that agrees."""
    known = f"{number(row.known_m2, places=4, signed=True)}" + (
        f" ± {number(row.known_sd_m2, places=4)}" if row.known_sd_m2 else ""
    )
    head = f"{row.setup} against {row.versus}: known {known} m²"
    if row.normalised_error is None:
        return f"{head}; no lap of one of the two can be used."
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
    head = f"{row.setup} against {row.versus} over {row.race}, {row.distance_km:.1f} km{rise}: "
    if row.delta_s is None or row.versus_time_s is None:
        return head + "no answer, for the drag areas that the interval allows lie outside what riders have."
    half = None if row.interval95_s is None else (row.interval95_s[1] - row.interval95_s[0]) / 2.0
    told = number(row.delta_s, places=1 if half is None else decimals(half), signed=True)
    spread = "" if row.interval95_s is None else f", 95 % interval {interval(*row.interval95_s, unit='s', signed=True)}"
    return f"{head}{told} s of {duration(row.versus_time_s)}{spread} ({row.assumed})."


def yaw_sentence(row: YawResult) -> str:
    """Tell how drag area changes with yaw, or that these laps cannot."""
    if row.yaw_rms_deg is None:
        return "Yaw is not known, so nothing tells how drag area changes with it; that takes positions in the rides."
    if not row.enough_spread or row.change_at_10_deg is None:
        return (
            f"Yaw was {number(row.yaw_rms_deg, places=1)}° in the root mean square, and varied too little to "
            "tell how drag area changes with it; that takes more wind than is good for comparing setups, or a tunnel."
        )
    low, high = row.interval95_change_at_10_deg or (None, None)
    zero = low is not None and high is not None and low <= 0.0 <= high
    ends = (None, None) if low is None or high is None else (100.0 * low, 100.0 * high)
    places = 1 if low is None or high is None else decimals(50.0 * (high - low))
    change = number(100.0 * row.change_at_10_deg, places=places, signed=True)
    return (
        f"From 0° to 10° of yaw drag area changes by {change} %, 95 % interval "
        f"{interval(*ends, unit='%', signed=True)}{', which holds no change' if zero else ''}; yaw was "
        f"{number(row.yaw_rms_deg, places=1)}° in the root mean square."
    )
