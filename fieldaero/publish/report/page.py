"""The report as one HTML file."""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from fieldaero.answers.result import Result
from fieldaero.answers.rows import TunnelResult
from fieldaero.answers.supporting_rows import Background
from fieldaero.answers.wording import claim_sentence, known_drag_sentence, tunnel_sentence, yaw_sentence
from fieldaero.basics.errors import CannotAnswerError, RunSheetError
from fieldaero.basics.formatting import interval, number, value_with_uncertainty
from fieldaero.basics.safety import SAFETY
from fieldaero.compare.verdict import NOT_RESOLVED
from fieldaero.publish.photos import photo
from fieldaero.publish.report import answer_tables, lap_tables
from fieldaero.publish.report.answer import NO_LAP, answer, told_verdict
from fieldaero.publish.report.drawings import drawings
from fieldaero.publish.report.names import name, note
from fieldaero.publish.report.palette import DARK, LIGHT

__all__ = ["html_report"]

JOINED = re.compile(r"(?<=\d) (?=(?:m²|W|s|%|km|km/h|m/s|min|kg|m|MB)\b|%)| (?=±)|(?<=±) |(?<=^[<>]) ")


@dataclass(frozen=True, kw_only=True)
class _Picture:
    source: str
    width: int
    height: int
    alternative: str


def html_report(result: Result, *, strict_photos: bool = True) -> str:
    """Return the report of a result: one HTML file without scripts, and without anything to fetch.

    Parameters
    ----------
    result
        From :func:`fieldaero.answers.analysis.analyse`.
    strict_photos
        Whether a photograph that cannot be shown is an error; if not, the report says so in its place.

    Returns
    -------
    The file's text, the same for the same result and photographs.

    Raises
    ------
    RunSheetError
        For a photograph that is missing, broken, too large or outside the run sheet's folder.
    CannotAnswerError
        For a result that was read from a file, without its fit.
    """
    background = result.background
    if background is None or result.session is None:
        raise CannotAnswerError("this result comes without its fit; analyse the run sheet again")
    pictures = _pictures(result, background, strict=strict_photos)  # first, because it can fail
    html: str = _template().render(_content(result, background, pictures))
    return html


def _template() -> Any:
    environment = Environment(
        loader=PackageLoader("fieldaero.publish.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_joined,
    )
    return environment.get_template("page.html")


def _joined(value: Any) -> Any:
    """Keep a number and its unit, and a value and its uncertainty, on one line."""
    return JOINED.sub("\u00a0", value).replace("kg/m³", "kg/\u2060m³") if type(value) is str else value


def _content(
    result: Result, background: Background, pictures: dict[str, tuple[tuple[_Picture, ...], tuple[str, ...]]]
) -> dict[str, Any]:
    found, trust = answer(result, background)
    tunnel_rows = [_named(row) for row in result.tunnel_results]
    return {
        "title": note(result.title),
        "baseline": name(result.baseline),
        "version": result.version,
        "colours": {"light": LIGHT, "dark": DARK},
        "found": found,
        "trust": trust,
        "verdicts": [
            {
                "setup": name(c.setup),
                "versus": name(c.versus),
                "verdict": told_verdict(c),
                "resolved": told_verdict(c) not in (NOT_RESOLVED, NO_LAP),
            }
            for c in result.comparison_results
        ],
        "figures": drawings(result, background),
        "differences": answer_tables.differences_table(result, background),
        "behind": answer_tables.behind_table(result),
        "setup_means": answer_tables.setups_table(result),
        "races": answer_tables.races_table(result),
        "race_notes": list(dict.fromkeys(f"{name(row.race)}: {note(row.assumed)}" for row in result.race_results)),
        "claims": answer_tables.claims_table(result.claim_results),
        "claim_sentences": [
            claim_sentence(replace(row, setup=name(row.setup), versus=name(row.versus), note=note(row.note)))
            for row in result.claim_results
        ],
        "tunnel": answer_tables.tunnel_table(result),
        "sweeps": answer_tables.sweep_table(result),
        "tunnel_sentences": [tunnel_sentence(row) for row in tunnel_rows],
        "tunnel_notes": [f"{row.setup}: {note(row.note)}" for row in tunnel_rows if row.note],
        "tunnel_reasons": list(dict.fromkeys(reason for row in result.tunnel_results for reason in row.reasons)),
        "known": answer_tables.known_drag_table(result),
        "known_sentences": [
            known_drag_sentence(replace(row, setup=name(row.setup), versus=name(row.versus)))
            for row in result.known_drag_results
        ],
        "laps": lap_tables.laps_table(result),
        "lap_notes": [
            f"Lap {row.lap}: {note(sentence)}"
            for row in result.lap_results
            if row.used or row.why_not
            for sentence in row.flag_sentences
        ],
        "elevations": lap_tables.elevation_table(result, background),
        "profile": lap_tables.profile_table(background),
        "repeat": _repeat(result, background),
        "drift": _drift(result),
        "air": lap_tables.air_table(background),
        "yaw_shares": lap_tables.yaw_table(background),
        "yaw_sentence": None if result.yaw_result is None else yaw_sentence(result.yaw_result),
        "given": lap_tables.given_table(result, background),
        "budgets": answer_tables.budget_tables(result),
        "setups": [
            {
                "name": note(setup.setup),
                "description": note(setup.description),
                "mass": number(setup.mass_change_kg, places=2, signed=True) if setup.mass_change_kg else "",
                "pictures": pictures[setup.setup][0],
                "missing": pictures[setup.setup][1],
            }
            for setup in background.setups
        ],
        "constants": background.constants,
        "efficiency": number(background.course.efficiency, places=3),
        "limits": _limits(result, background),
        "warnings": [note(sentence) for sentence in result.warnings],
        "safety": SAFETY,
        "inputs": [{"file": name(one.file), "sha256": one.sha256} for one in result.inputs],
    }


def _named(row: TunnelResult) -> TunnelResult:
    return replace(row, setup=name(row.setup), versus=None if row.versus is None else name(row.versus))


def _repeat(result: Result, background: Background) -> str:
    check = background.repeat_check
    if check is None:
        return "The baseline was ridden for fewer than two laps that count, so there is no repeat check."
    says = (
        "it holds zero, so the baseline repeated within its uncertainty"
        if check.repeats
        else "it leaves out zero, so something changed during the session that no setup explains"
    )
    change = value_with_uncertainty(check.change_m2, check.se_m2, signed=True)
    spread = interval(*check.interval95_m2, unit="m²", signed=True)
    return (
        f"The last lap of {name(result.baseline)} (lap {check.last}), {number(check.apart_min)} min after its first "
        f"(lap {check.first}), differs by {change} m². The 95 % interval is {spread}: {says}."
    )


def _drift(result: Result) -> str:
    drift = result.drift_m2_per_h
    if drift is None or drift.value is None:
        return "A steady drift through the session was not estimated."
    found = value_with_uncertainty(drift.value, drift.se, signed=True)
    return (
        f"Steady drift of drag area through the session: {found} m² per hour. It is part of the comparison, so that it "
        "does not pass for a difference of setups."
    )


def _limits(result: Result, background: Background) -> list[str]:
    limits = [
        "One rider, one bike, one road and one session: another rider or another day may give other differences, and "
        "the intervals do not count that. Several sessions can be pooled.",
        "The setups are compared as they were ridden. If a position changes with a part, the two are one setup here.",
        "Rolling resistance, mass and power scale are taken to be the same for all setups, apart from stated changes "
        "of mass; a tyre pressure or a meter's zero that changes between setups would pass for drag.",
        "Watts and seconds are for a flat road without wind; on another course they differ.",
        "The intervals trust the model of wind and noise, whose sizes were estimated from this ride.",
    ]
    yaw = result.yaw_result
    if yaw is not None and yaw.yaw_rms_deg is not None:
        limits.append(
            f"The laps met yaw of {number(yaw.yaw_rms_deg, places=1)}° in the root mean square. The result says "
            "nothing of larger yaw."
        )
    if not background.course.closed:
        limits.append("The course does not end where it begins, so drag areas themselves rest on the height between.")
    return limits


def _pictures(
    result: Result, background: Background, *, strict: bool
) -> dict[str, tuple[tuple[_Picture, ...], tuple[str, ...]]]:
    assert result.session is not None
    folder = result.session.run_sheet.path.parent
    found = {}
    for setup in background.setups:
        shown, missing = _of_setup(folder, setup.setup, setup.photos, strict=strict)
        found[setup.setup] = (tuple(shown), tuple(missing))
    return found


def _of_setup(folder: Path, setup: str, photos: Sequence[str], *, strict: bool) -> tuple[list[_Picture], list[str]]:
    shown, missing = [], []
    for number_of_photo, file in enumerate(photos, start=1):
        try:
            picture = photo(folder, file)
        except RunSheetError as problem:
            if strict:
                raise
            missing.append(note(str(problem)))
            continue
        shown.append(
            _Picture(
                source="data:image/jpeg;base64," + base64.b64encode(picture.jpeg).decode("ascii"),
                width=picture.width,
                height=picture.height,
                alternative=f"{name(setup)}, photograph {number_of_photo} of {len(photos)}",
            )
        )
    return shown, missing
