"""The house keeps its plan: imports run downwards, heavy libraries stay in their rooms."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "fieldaero", "ui", "tests", "sample_rides"}
ROOMS = sorted(p for p in (ROOT / "fieldaero").rglob("*.py"))


def imported_names(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


def test_imports_run_downwards_only():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c(['--no-cache'])"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("room", ROOMS, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_drawing_and_pages_stay_in_their_rooms(room):
    inside = room.relative_to(ROOT / "fieldaero").as_posix()
    roots = {name.split(".")[0] for name in imported_names(room)}
    assert "streamlit" not in roots
    if not inside.startswith(("publish/figures/", "publish/report/")):
        assert "matplotlib" not in roots


def test_an_analysis_waits_for_no_library_it_does_not_need():
    # Each of these takes a fifth of a second or more to import; the whole of an analysis takes about one and a half.
    slow = ("scipy.stats", "matplotlib", "streamlit", "weasyprint", "jinja2")
    code = f"import sys, fieldaero.answers.analysis; print([name for name in {slow!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_top_level_holds_what_was_agreed():
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if tracked.returncode != 0:
        pytest.skip("not a git checkout: an unpacked sdist has no list of tracked files")
    top = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_developers_md_has_a_sentence_for_each_folder_and_for_no_other():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text[text.index("| folder |") : text.index("### Words, symbols and signs")]
    named = [match.group(1) for row in table.splitlines() if (match := re.match(r"\| `(\w+)/?` \|", row))]
    folders = {path.parent.name for path in (ROOT / "fieldaero").glob("*/__init__.py")}
    assert sorted(named) == sorted(folders | {"ui"})


def test_the_way_of_the_data_fits_on_a_page():
    contract = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ][0]
    assert len(contract["layers"]) <= 20
    entries = {path.name for path in (ROOT / "fieldaero").iterdir() if path.name != "__pycache__"}
    assert len(entries - {"__init__.py", "__main__.py", "py.typed"}) <= 16


def test_tests_mirror_the_house():
    folders = {path.parent.relative_to(ROOT / "fieldaero") for path in (ROOT / "fieldaero").glob("*/**/__init__.py")}
    assert [str(folder) for folder in sorted(folders) if not (ROOT / "tests" / folder).is_dir()] == []
