"""A run sheet written anew keeps what stood in it, and always reads back as what was asked for."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.run_sheet.toml_text import toml_text, toml_value

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
    assert read(f"name = {toml_value(name)}")["name"] == name


DRAFT = """\
schema = 1
baseline = "baseline"

# Weigh everything.
[system]                        # rider and bike
# mass_kg =                     # FILL IN: all together; usually 60 to 110
mass_sd_kg = 0.5                # how well it is known

# crr = 0.004                   # smooth asphalt
# grease = none that is known

# Wind and air.
[[weather]]
time = 2026-05-03T07:10:00Z
# temperature_c =               # in the shade

[[setups]]                      # one block for each setup
name = "baseline"
# mass_change_kg = 0.0          # what it adds

# [[setups]]
# name = "second setup"

# One block for each ride.
[[rides]]
file = "a.fit"
laps = ["baseline"]

# After lunch.
[[rides]]
file = "b.fit"
laps = [
    # lap_source = "line"
    "-",
]

# After coffee.
[[rides]]
file = "c.fit"
laps = []

# The end.
"""


def changed(change, former=DRAFT):
    tables = read(former)
    change(tables)
    text = toml_text(tables, former=former)
    assert read(text) == tables
    return text


def test_a_row_is_added_below_its_table_and_above_what_leads_to_the_next():
    text = changed(lambda t: t["setups"].append({"name": "aero"}))
    above, below = DRAFT.split('\n# [[setups]]\n# name = "second setup"\n')
    assert text == f'{above}\n[[setups]]\nname = "aero"\n\n# [[setups]]\n# name = "second setup"\n{below}'
    assert changed(lambda t: t["setups"].pop(), text) == DRAFT


def test_a_row_is_added_in_the_middle_and_in_front():
    new = '[[rides]]\nfile = "new.fit"\n'
    text = changed(lambda t: t["rides"].insert(1, {"file": "new.fit"}))
    assert text == DRAFT.replace("\n# After lunch.", f"\n{new}\n# After lunch.")
    text = changed(lambda t: t["rides"].insert(0, {"file": "new.fit"}))
    assert text == DRAFT.replace("# One block for each ride.\n", f"# One block for each ride.\n{new}\n")


@pytest.mark.parametrize(
    ("row", "begins", "ends"),
    [
        (0, '[[rides]]\nfile = "a', "# After lunch."),
        (1, "# After lunch.", "# After coffee."),
        (2, "# After coffee.", "# The end."),
    ],
)
def test_a_row_is_taken_out_with_what_leads_to_it_and_no_more(row, begins, ends):
    text = changed(lambda t: t["rides"].pop(row))
    gone = DRAFT[DRAFT.index(begins) : DRAFT.index(ends)]
    left = DRAFT.replace(gone, "" if row else "\n")
    assert text == left


@pytest.mark.parametrize("key", ["weather", "setups", "rides", "system"])
def test_a_table_is_taken_out_and_what_leads_to_others_stays(key):
    text = changed(lambda t: t.pop(key))
    for line in ("# Weigh everything.", "# Wind and air.", "# One block for each ride.", "# The end."):
        assert text.count(line) == 1
    for line in ("# After lunch.", "# After coffee."):
        assert text.count(line) == (key != "rides")


def test_a_new_value_takes_the_place_of_its_key_in_a_comment():
    text = changed(lambda t: t["system"].update(mass_kg=84.0, crr=0.0045, grease="old"))
    for old, new in (
        ("# mass_kg =                     # FILL IN: all", "mass_kg = 84.0                  # all"),
        ("# crr = 0.004                   #", "crr = 0.0045                    #"),
        ("# grease = none that is known\n", '# grease = none that is known\ngrease = "old"\n'),
    ):
        assert new in text
        assert old in DRAFT
    assert text.count("mass_kg") == text.count("crr") == 1
    text = changed(lambda t: t["weather"][0].update(temperature_c=18.0))
    assert text == DRAFT.replace("# temperature_c =               #", "temperature_c = 18.0            #")
    text = changed(lambda t: t["rides"][1].update(lap_source="repeat"))
    assert text == DRAFT.replace('    "-",\n]\n', '    "-",\n]\nlap_source = "repeat"\n')


def test_a_new_key_stands_in_its_table_and_a_new_table_at_the_end():
    text = changed(lambda t: (t.update(title="x"), t["rides"][0].update(lap_source="line"), t.update(course={"a": 1})))
    assert text == (
        DRAFT.replace('baseline = "baseline"\n', 'baseline = "baseline"\ntitle = "x"\n').replace(
            'laps = ["baseline"]\n', 'laps = ["baseline"]\nlap_source = "line"\n'
        )
        + "\n[course]\na = 1\n"
    )


def test_a_table_in_a_row_keeps_its_layout():
    former = '[[rides]]\nfile = "a.fit"\n[rides.start_line]  # at the oak\nheading_deg = 90.0\n\n# next\n[course]\n'
    text = changed(lambda t: t["rides"][0]["start_line"].update(heading_deg=80.0), former)
    assert text == former.replace("90.0", "80.0")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('[[rides]]\nfile = "b', '[["rides"]]\nfile = "b'),
        ('[[rides]]\nfile = "a', '[["rides"]]\nfile = "a'),
        ("[system]", '["system"]'),
        ('file = "b.fit"', "file = '''\n[[rides]]\n[system]\n# crr = 1\n'''"),
        ('file = "c.fit"', "file = '''\n[[rides]]\nfile = 'c.fit'\n'''"),
        ('name = "baseline"', 'name = "base\u2028line"  # \u0085'),
    ],
)
def test_an_odd_layout_still_reads_back_as_it_should(old, new):
    assert old in DRAFT
    former = DRAFT.replace(old, new)
    for key in ("rides", "setups", "weather"):
        changed(lambda t, key=key: t[key].insert(0, {"file": "new.fit", "laps": ["-"]}), former)
        changed(lambda t, key=key: t[key].pop(), former)
    changed(lambda t: t["system"].update(crr=0.005, mass_kg=84.0), former)
    changed(lambda t: t["rides"][2].update(laps=["-", "-"]), former)


def test_lines_end_as_in_the_former_text():
    former = DRAFT.replace("\n", "\r\n")
    assert toml_text(read(former), former=former) == former
    text = changed(lambda t: (t["system"].update(mass_kg=84.0), t["setups"].append({"name": "aero"})), former)
    assert text.count("\r\n") == text.count("\n") == former.count("\n") + 3
    assert changed(lambda t: t.pop("weather"), DRAFT).count("\r") == 0


NEW_RIDES = [{"file": f"{name}.fit", "laps": ["baseline"]} for name in "xyz"]
NEW_SETUPS = [{"name": "aero"}, {"name": "low", "mass_change_kg": 0.5}]


@given(
    setups=st.lists(st.sampled_from(read(DRAFT)["setups"] + NEW_SETUPS), max_size=4),
    weather=rows,
    rides=st.lists(st.sampled_from(read(DRAFT)["rides"] + NEW_RIDES), max_size=6),
)
def test_comments_outside_the_rows_outlive_any_change(setups, weather, rides):
    tables = read(DRAFT) | {"setups": setups, "weather": weather, "rides": rides}
    text = toml_text(tables, former=DRAFT)
    assert read(text) == tables
    for line in ("# Weigh everything.", "# Wind and air.", "# One block for each ride.", "# The end."):
        assert text.count(line) == 1
