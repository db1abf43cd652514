"""The public face: every name is there, is explained, and is loaded only when it is wanted."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import subprocess
import sys

import pytest

import fieldaero
from tests.cli.command_line import ROOT

FUNCTIONS = [name for name in fieldaero.__all__ if inspect.isfunction(getattr(fieldaero, name))]
SECTION = re.compile(r"^(Parameters|Returns|Raises)\n-+$", re.MULTILINE)
DELEGATES = re.compile(r"see :func:`(\w+)`")  # to a function of the same parameters, or explained there


def sections(function) -> set[str]:
    doc = inspect.getdoc(function)
    found = set(SECTION.findall(doc))
    for name in DELEGATES.findall(doc):
        found |= set(SECTION.findall(inspect.getdoc(getattr(fieldaero, name))))
    return found


def test_the_public_list_is_what_can_be_loaded():
    assert sorted(fieldaero.__all__) == sorted([*fieldaero._WHERE, *fieldaero._ROOMS])
    assert len(set(fieldaero.__all__)) == len(fieldaero.__all__)


def test_the_list_that_type_checkers_read_is_the_same():
    text = (ROOT / "fieldaero" / "__init__.py").read_text(encoding="utf-8")
    imported = {
        alias.asname or alias.name
        for block in ast.parse(text).body
        if isinstance(block, ast.If)
        for line in block.body
        if isinstance(line, ast.ImportFrom)
        for alias in line.names
    }
    assert imported == set(fieldaero.__all__)


@pytest.mark.parametrize("name", fieldaero.__all__)
def test_every_name_is_loaded_from_the_room_that_lists_it(name):
    value = getattr(fieldaero, name)
    if inspect.ismodule(value):
        assert value.__name__ == f"fieldaero.{fieldaero._ROOMS[name]}"
        return
    room = importlib.import_module(f"fieldaero.{fieldaero._WHERE[name]}")
    assert value is getattr(room, name)
    assert name in room.__all__


@pytest.mark.parametrize("name", fieldaero.__all__)
def test_every_name_is_explained(name):
    doc = inspect.getdoc(getattr(fieldaero, name))
    assert doc
    assert doc.splitlines()[0].endswith((".", ":", ";"))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_function_says_what_it_takes_and_returns(name):
    function = getattr(fieldaero, name)
    signature = inspect.signature(function)
    needed = {"Parameters"} if signature.parameters else set()
    needed |= set() if signature.return_annotation in ("None", None) else {"Returns"}
    assert sections(function) >= needed


@pytest.mark.parametrize("name", FUNCTIONS)
def test_parameters_that_are_explained_exist_and_all_are(name):
    function = getattr(fieldaero, name)
    doc = inspect.getdoc(function)
    if "Parameters\n---" not in doc:
        pytest.skip("explained elsewhere")
    block = re.split(r"\n\n\w+\n-+\n", doc.split("Parameters\n----------\n")[1])[0]
    told = {one.strip() for line in block.splitlines() if not line.startswith(" ") for one in line.split(",")}
    assert told - {""} == set(inspect.signature(function).parameters)


def test_dir_shows_every_public_name_before_it_is_loaded():
    code = "import fieldaero; print(set(fieldaero.__all__) <= set(dir(fieldaero)), 'analyse' in vars(fieldaero))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == "True False\n"


def test_the_package_alone_loads_no_heavy_library():
    code = "import sys, fieldaero; print([n for n in ('numpy', 'pandas', 'scipy', 'matplotlib') if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="module 'fieldaero' has no attribute 'analyze'"):
        fieldaero.analyze  # noqa: B018
    assert not hasattr(fieldaero, "_nothing")
