"""A default is written down once: what pages, template, plan and command line propose is what the schema takes."""

from __future__ import annotations

import io
import tokenize
import tomllib
from pathlib import Path

from fieldaero.draft.draft import empty_draft
from fieldaero.physics.system import USUAL_MASS_KG
from fieldaero.plan.expected_error import PlannedRide
from fieldaero.run_sheet.schema import USUAL_CHOICES, USUAL_SMALLEST_DIFFERENCE_M2, USUAL_SYSTEM
from fieldaero.run_sheet.template import planned_run_sheet
from fieldaero.simulator import CourseShape, Scenario

ROOT = Path(__file__).resolve().parents[2]
TYPED_ONCE = ("2.105", "0.0045", "0.0007", "84.0")  # numbers that mean nothing else in the code


def test_the_template_proposes_the_defaults():
    sheet = tomllib.loads(planned_run_sheet(["a", "b"], ["a", "b"], smallest_difference_m2=0.003))
    usual = USUAL_SYSTEM
    assert {key: getattr(usual, key) for key in sheet["system"]} == sheet["system"]
    assert sheet["analysis"].pop("smallest_difference_m2") == 0.003
    assert {key: getattr(USUAL_CHOICES, key) for key in sheet["analysis"]} == sheet["analysis"]


def test_an_empty_draft_holds_the_defaults():
    tables = empty_draft().tables
    usual = USUAL_SYSTEM
    assert {key: getattr(usual, key) for key in tables.system} == tables.system
    choices = dict(tables.analysis)
    assert choices.pop("smallest_difference_m2") == USUAL_SMALLEST_DIFFERENCE_M2, USUAL_SYSTEM
    assert {key: getattr(USUAL_CHOICES, key) for key in choices} == choices


def test_plan_and_simulator_take_the_usual_mass():
    course = CourseShape()
    assert PlannedRide(course=course, power_w=200.0, wind_m_s=0.0).system.mass_kg == USUAL_MASS_KG
    assert Scenario(setups={"a": 0.25}, order=("a",)).system.mass_kg == USUAL_MASS_KG


def test_no_default_is_typed_a_second_time():
    copies = []
    for path in [*(ROOT / "fieldaero").rglob("*.py"), *(ROOT / "ui").rglob("*.py")]:
        shown = path.relative_to(ROOT).as_posix()
        for token in tokenize.generate_tokens(io.StringIO(path.read_text(encoding="utf-8")).readline):
            if token.type == tokenize.NUMBER and token.string in TYPED_ONCE:
                copies.append((token.string, shown))
    assert sorted(copies) == sorted((number, "fieldaero/physics/system.py") for number in TYPED_ONCE)
