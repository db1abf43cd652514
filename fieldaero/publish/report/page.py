"""The report as one HTML file."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from fieldaero.answers.result import Result
from fieldaero.answers.tables import behind_table, comparison_table, lap_table, setup_table
from fieldaero.answers.wording import (
    NOTHING_TO_COMPARE,
    claim_sentence,
    drift_sentence,
    is_resolved,
    known_drag_sentence,
    repeat_sentence,
    tunnel_reasons,
    tunnel_sentence,
    verdict_head,
    verdict_reasons,
    yaw_sentence,
)
from fieldaero.basics.errors import RunSheetError
from fieldaero.basics.formatting import name, note, number, unbroken
from fieldaero.basics.safety import SAFETY
from fieldaero.publish.photos import photo
from fieldaero.publish.report import answer_tables, lap_tables
from fieldaero.publish.report.answer import limitations, trust_sentence
from fieldaero.publish.report.drawings import drawings
from fieldaero.publish.report.palette import DARK, LIGHT

__all__ = ["html_report"]


@dataclass(frozen=True, kw_only=True)
class _Picture:
    source: str
    width: int
    height: int
    alternative: str


def html_report(result: Result, *, strict_photos: bool = True) -> str:
    """Return the report of a result: one HTML file without scripts, and without anything to fetch.

    The same for the same result and photographs.  A photograph that cannot be shown is an error, or with
    ``strict_photos=False`` a remark in its place.
    """
    pictures = _pictures(result, strict=strict_photos)  # first, because it can fail
    html: str = _template().render(_content(result, pictures))
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
    return unbroken(value).replace("kg/m³", "kg/\u2060m³") if type(value) is str else value


def _content(result: Result, pictures: dict[str, tuple[tuple[_Picture, ...], tuple[str, ...]]]) -> dict[str, Any]:
    return {
        "title": note(result.title),
        "baseline": name(result.baseline),
        "version": result.version,
        "colours": {"light": LIGHT, "dark": DARK},
        "verdicts": [
            {"head": verdict_head(c), "reasons": verdict_reasons(c, result), "resolved": is_resolved(c)}
            for c in result.comparison_results
        ],
        "nothing_to_compare": NOTHING_TO_COMPARE,
        "trust": trust_sentence(result),
        "figures": drawings(result),
        "differences": comparison_table(result),
        "behind": behind_table(result),
        "setup_means": setup_table(result),
        "races": answer_tables.races_table(result),
        "race_notes": list(dict.fromkeys(f"{name(row.race)}: {note(row.assumed)}" for row in result.race_results)),
        "claims": answer_tables.claims_table(result.claim_results),
        "claim_sentences": [claim_sentence(row) for row in result.claim_results],
        "tunnel": answer_tables.tunnel_table(result),
        "sweeps": answer_tables.sweep_table(result),
        "tunnel_sentences": [tunnel_sentence(row) for row in result.tunnel_results],
        "tunnel_notes": [f"{name(row.setup)}: {note(row.note)}" for row in result.tunnel_results if row.note],
        "tunnel_reasons": tunnel_reasons(result.tunnel_results),
        "known": answer_tables.known_drag_table(result),
        "known_sentences": [known_drag_sentence(row) for row in result.known_drag_results],
        "laps": lap_table(result),
        "lap_notes": [
            f"Lap {row.lap}: {note(sentence)}"
            for row in result.lap_results
            if row.used or row.why_not
            for sentence in row.flag_sentences
        ],
        "elevations": lap_tables.elevation_table(result),
        "profile": lap_tables.profile_table(result),
        "repeat": repeat_sentence(result),
        "drift": drift_sentence(result),
        "air": lap_tables.air_table(result),
        "yaw_shares": lap_tables.yaw_table(result),
        "yaw_sentence": yaw_sentence(result.yaw_result),
        "given": lap_tables.given_table(result),
        "budgets": answer_tables.budget_tables(result),
        "setups": [
            {
                "name": note(setup.setup),
                "description": note(setup.description),
                "mass": number(setup.mass_change_kg, places=2, signed=True) if setup.mass_change_kg else "",
                "pictures": pictures[setup.setup][0],
                "missing": pictures[setup.setup][1],
            }
            for setup in result.supporting_data.setups
        ],
        "constants": result.supporting_data.constants,
        "efficiency": number(result.supporting_data.course.efficiency, places=3),
        "limits": limitations(result),
        "warnings": [note(sentence) for sentence in result.warnings],
        "safety": SAFETY,
        "inputs": [{"file": name(one.file), "sha256": one.sha256} for one in result.inputs],
    }


def _pictures(result: Result, *, strict: bool) -> dict[str, tuple[tuple[_Picture, ...], tuple[str, ...]]]:
    folder = result.session.run_sheet.path.parent
    found = {}
    for setup in result.supporting_data.setups:
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
