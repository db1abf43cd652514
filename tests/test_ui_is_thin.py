"""Pages show and ask; they compute nothing: no numerical library, no arithmetic on what carries a unit."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.test_units_in_names import ends_in_a_unit

UI = Path(__file__).resolve().parents[1] / "ui"
PAGES = sorted(UI.rglob("*.py"))
FORBIDDEN = {"numpy", "scipy", "math", "cmath", "statistics", "statsmodels"}
ARITHMETIC = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.FloorDiv, ast.Mod, ast.Pow, ast.MatMult)
LONGEST = 300
# What pages are made of; run_sheet for the sign of a lap that is not used, simulator for the shape of
# a planned course.
ROOMS = {"basics", "run_sheet", "simulator", "draft", "plan", "answers", "publish"}


def roots(tree: ast.AST) -> set[str]:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


def rooms(tree: ast.AST) -> set[str]:
    """The folders of the package that a page imports from."""
    modules = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
    return {module.split(".")[1] for module in modules if module.startswith("fieldaero.")}


def name_of(node: ast.AST) -> str:
    """The name of a value as far as the text tells it: of a variable, an attribute or a column."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        return node.attr
    if isinstance(node, ast.Subscript):
        if isinstance(node.slice, ast.Constant) and isinstance(node.slice.value, str):
            return node.slice.value
        return name_of(node.value)
    if isinstance(node, ast.UnaryOp):
        return name_of(node.operand)
    return ""


def physics(tree: ast.AST) -> list[str]:
    """Arithmetic one side of which is called by a name that ends in a unit."""
    return [
        f"line {node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(tree)
        if isinstance(node, ast.BinOp)
        and isinstance(node.op, ARITHMETIC)
        and any("_" in name and ends_in_a_unit(name) for name in (name_of(node.left), name_of(node.right)))
    ]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(UI).as_posix())
def test_a_page_computes_nothing_and_takes_what_is_made_for_pages(page):
    tree = ast.parse(page.read_text(encoding="utf-8"))
    assert rooms(tree) <= ROOMS
    assert not roots(tree) & FORBIDDEN
    assert physics(tree) == []


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(UI).as_posix())
def test_a_page_is_a_room(page):
    assert len(page.read_text(encoding="utf-8").splitlines()) <= LONGEST


@pytest.mark.parametrize(
    "slip",
    ["watts = row.power_w * 2", "x = speed_m_s ** 3", "y = table['mass_kg'] + 1", "z = -wind_m_s - 1.0"],
)
def test_the_walk_sees_arithmetic_on_quantities(slip):
    assert len(physics(ast.parse(slip))) == 1


def test_the_walk_leaves_text_and_counting_alone():
    assert physics(ast.parse("n = len(rows) + 1\ntext = 'a' + name\nx = low - room")) == []
