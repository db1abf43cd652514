"""What docstrings of the public face, of physics and of statistics have to say: shapes of arrays, and errors."""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

import fieldaero
from fieldaero.basics import errors
from tests.cli.command_line import ROOT

LIBRARIES = ("physics.", "statistics.")
ERRORS = set(errors.__all__)
ARRAY = re.compile(r"\b(NDArray|Floats|ArrayLike)\b")
SHAPE = re.compile(r"[Ss]hape|broadcast")
RAISES = re.compile(r"^Raises\n-+\n((?:.+\n?)+)", re.MULTILINE)


@dataclass(frozen=True)
class Room:
    name: str
    text: str
    tree: ast.Module

    @property
    def public(self) -> set[str]:
        """Its names that others are to use: in the libraries all it offers, elsewhere what ``fieldaero`` offers."""
        offered = set() if self.name.startswith(LIBRARIES) else set(fieldaero.__all__)
        for node in self.tree.body:
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
                names = set(ast.literal_eval(node.value))
                return names & offered if offered else names
        return set()

    def raised_in(self, function: ast.FunctionDef, seen: frozenset[str] = frozenset()) -> set[str]:
        """Errors of the house that a function, or a private one of its room that it calls, raises by name."""
        found: set[str] = set()
        caught = {ast.unparse(h.type) for h in ast.walk(function) if isinstance(h, ast.ExceptHandler) and h.type}
        private = {n.name: n for n in self.tree.body if isinstance(n, ast.FunctionDef) and n.name.startswith("_")}
        for node in ast.walk(function):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                found |= {ast.unparse(node.exc.func)} & ERRORS
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                called = private.get(node.func.id)
                if called is not None and called.name not in seen:
                    inner = self.raised_in(called, seen | {function.name})
                    found |= set() if "FieldaeroError" in caught else inner - caught
        return found


def rooms() -> Iterator[Room]:
    for path in sorted((ROOT / "fieldaero").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        name = path.relative_to(ROOT / "fieldaero").with_suffix("").as_posix().replace("/", ".")
        yield Room(name=name, text=text, tree=ast.parse(text))


FUNCTIONS = {
    f"{room.name}.{node.name}": (room, node)
    for room in rooms()
    for node in room.tree.body
    if isinstance(node, ast.FunctionDef) and node.name in room.public
}
METHODS = {
    f"{room.name}.{node.name}.{inner.name}": (room, inner)
    for room in rooms()
    for node in room.tree.body
    if isinstance(node, ast.ClassDef) and node.name in room.public
    for inner in node.body
    if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_")
}
BOTH = FUNCTIONS | METHODS
RAISING = {name: raised for name, (room, node) in BOTH.items() if (raised := room.raised_in(node))}
WITH_ARRAYS = [
    name
    for name, (_, node) in FUNCTIONS.items()
    if ARRAY.search(f"{ast.unparse(node.args)} -> {ast.unparse(node.returns) if node.returns else ''}")
]
CLASSES = {
    f"{room.name}.{node.name}": ast.get_source_segment(room.text, node)
    for room in rooms()
    for node in room.tree.body
    if isinstance(node, ast.ClassDef)
    and node.name in room.public
    and any(isinstance(line, ast.AnnAssign) and ARRAY.search(ast.unparse(line.annotation)) for line in node.body)
}


def accepted(name: str) -> set[str]:
    """The error and its bases, any of which may be named."""
    return {base.__name__ for base in inspect.getmro(getattr(errors, name)) if base.__name__ in ERRORS}


@pytest.mark.parametrize("name", sorted(RAISING))
def test_a_function_that_raises_an_error_of_the_house_says_which(name):
    doc = ast.get_docstring(BOTH[name][1]) or ""
    section = RAISES.search(doc + "\n")
    assert section, f"no Raises section for {sorted(RAISING[name])}"
    for error in RAISING[name]:
        assert any(word in section[1] for word in accepted(error)), error


@pytest.mark.parametrize("name", sorted(WITH_ARRAYS))
def test_a_function_of_arrays_says_their_shape(name):
    assert SHAPE.search(ast.get_docstring(FUNCTIONS[name][1]) or "")


@pytest.mark.parametrize("name", sorted(CLASSES))
def test_a_class_that_holds_arrays_says_their_shape(name):
    assert SHAPE.search(CLASSES[name])


def test_the_rules_are_not_empty():
    assert min(len(RAISING), len(WITH_ARRAYS)) > 10
    assert RAISING["run_sheet.sheet.read_run_sheet"] == {"RunSheetError"}
