"""A default is written down once: what pages, template, plan and command line propose is what the schema takes."""

from __future__ import annotations

import ast
import io
import tokenize
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldaero.draft.draft import empty_draft
from fieldaero.physics.system import USUAL_MASS_KG
from fieldaero.plan import ranges
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
    assert choices.pop("smallest_difference_m2") == USUAL_SMALLEST_DIFFERENCE_M2
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


# Where a plan is asked for: the values that a field begins with and its bounds, the options' defaults, what is checked.
PLAN_PLACES = [
    *(path.relative_to(ROOT).as_posix() for path in sorted((ROOT / "fieldaero/plan").glob("*.py"))),
    "fieldaero/cli/plan.py",
    "ui/_plan_form.py",
]


def proposed(tree: ast.Module) -> Iterator[ast.expr]:
    """What a module gives as a field's first value, low and high, as an option's default, or as a check's bounds."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            yield from (default for default in node.args.kw_defaults if default is not None)
        if isinstance(node, ast.AnnAssign) and node.value is not None:
            yield node.value
        if isinstance(node, ast.Call):
            yield from (word.value for word in node.keywords if word.arg in BOUNDS)
            if isinstance(node.func, ast.Name) and node.func.id in {"_number", "_of_sheet"}:
                yield from node.args[2:-2]  # between key and step


BOUNDS = {"low", "high", "default", "min_value", "max_value"}


@pytest.mark.parametrize("place", PLAN_PLACES)
def test_a_plan_takes_its_defaults_and_ranges_from_one_place(place):
    tree = ast.parse((ROOT / place).read_text(encoding="utf-8"))
    typed = [
        f"{node.value} in line {node.lineno}"
        for node in proposed(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and node.value not in {0, 1}
    ]
    assert typed == []


def test_the_ranges_of_a_plan_hold_what_it_takes_where_nothing_is_said():
    assert ranges.CDA_M2.low < ranges.USUAL_CDA_M2 < ranges.CDA_M2.high
    assert ranges.SPEED_KM_H.low < ranges.USUAL_SPEED_KM_H < ranges.SPEED_KM_H.high
    assert ranges.WIND_HEIGHT_M.low < ranges.USUAL_WIND_HEIGHT_M < ranges.WIND_HEIGHT_M.high
    assert ranges.TIME_MIN.low < ranges.USUAL_TIME_MIN < ranges.TIME_MIN.high
    assert ranges.POWER_W.low < USUAL_CHOICES.report_power_w < ranges.POWER_W.high
    assert ranges.SMALLEST_M2.low < USUAL_SMALLEST_DIFFERENCE_M2 < ranges.SMALLEST_M2.high
