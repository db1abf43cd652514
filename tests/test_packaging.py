"""The list of packages in pyproject.toml leaves nothing out."""

from __future__ import annotations

import tomllib
from pathlib import Path

from tests.install import ANSWER, CORE

ROOT = Path(__file__).resolve().parent.parent


def test_every_package_of_the_tree_is_installed():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    in_tree = {
        ".".join(path.parent.relative_to(ROOT).parts)
        for path in (ROOT / "fieldaero").rglob("__init__.py")
        if not any(part.startswith("_") for part in path.parent.relative_to(ROOT).parts)
    }
    assert set(settings["packages"]) - set(settings["package-dir"]) == in_tree


def test_every_folder_that_is_mapped_into_the_package_is_there():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    for package, folder in settings["package-dir"].items():
        assert package in settings["packages"]
        assert (ROOT / folder).is_dir()


def test_the_script_that_tries_installations_knows_the_tests_and_the_answer():
    assert [name for name in CORE if not (ROOT / name).is_dir()] == []
    golden = ROOT / "tests" / "answers" / "golden" / "summary_sample.txt"
    assert ANSWER in golden.read_text(encoding="utf-8").splitlines()
