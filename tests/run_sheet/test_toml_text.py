"""A run sheet written anew keeps what stood in it, and always reads back as what was asked for."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.run_sheet.toml_text import quoted, toml_text

FORMER = """\
# my test
title = "bars"   # a working title

[system]
crr = 0.0045
# weighed on Sunday
mass_kg = 83.5

[[setups]]
name = "a"      # the old one

[[setups]]
name = "b"      # the new one

[[weather]]
temperature_c = 18.0
[[rides]]
file = "r.fit"
laps = [
    "-",        # rolling in
    "a",        # first lap
]
"""

names = st.text(min_size=1, max_size=8)
rows = st.lists(st.fixed_dictionaries({"name": names}, optional={"mass_change_kg": st.floats(-5, 5)}), max_size=4)


def read(text=FORMER):
    return tomllib.loads(text)


def test_nothing_changed_is_the_same_text():
    assert toml_text(read(), former=FORMER) == FORMER


@pytest.mark.parametrize(
    ("change", "old", "new"),
    [
        (lambda t: t.update(title="two bars"), '"bars"   #', '"two bars"   #'),
        (lambda t: t["system"].update(mass_kg=84.0), "mass_kg = 83.5", "mass_kg = 84.0"),
        (lambda t: t["rides"][0].update(laps=["-", "b"]), '"a",        # first', '"b",        # first'),
    ],
)
def test_a_changed_value_changes_itself_only(change, old, new):
    tables = read()
    change(tables)
    assert toml_text(tables, former=FORMER) == FORMER.replace(old, new)


def test_a_table_in_pieces_still_reads_back_as_it_should():
    weather = "[[weather]]\ntemperature_c = 18.0\n"
    pieces = FORMER.replace(weather, "").replace('[[setups]]\nname = "b"', f'{weather}[[setups]]\nname = "b"')
    assert pieces != FORMER
    tables = read(pieces)
    assert read(toml_text(tables, former=pieces)) == tables
    tables["setups"] = [{"name": "b"}, {"name": "c"}, {"name": "a"}]
    assert read(toml_text(tables, former=pieces)) == tables


def test_a_former_text_that_is_no_toml_is_passed_over():
    assert read(toml_text({"title": "x"}, former="title = ")) == {"title": "x"}


@given(title=names, setups=rows, laps=st.lists(names, max_size=4))
def test_whatever_is_changed_reads_back(title, setups, laps):
    tables = {"title": title, "system": {"crr": 0.004}, "setups": setups, "rides": [{"file": "r.fit", "laps": laps}]}
    assert read(toml_text(tables, former=FORMER)) == tables
    assert read(toml_text(tables)) == tables


@given(names)
def test_a_quoted_text_reads_back(name):
    assert read(f"name = {quoted(name)}")["name"] == name
