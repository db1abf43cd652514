"""A plan handed to the desk brings its setups and leaves what was ridden."""

from __future__ import annotations

from types import SimpleNamespace

from fieldaero.draft.draft import empty_desk
from fieldaero.draft.open_files import files_beside, open_on_desk
from fieldaero.draft.plan_handover import with_plan
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder


def plan(*setups):
    return SimpleNamespace(setups=setups, smallest_difference_m2=0.0031234)


def test_an_empty_desk_takes_setups_baseline_and_smallest_difference():
    desk = with_plan(empty_desk(), plan("stock", "aero"))
    assert desk.setups == ("stock", "aero")
    assert desk.baseline == "stock"
    assert desk.tables["analysis"]["smallest_difference_m2"] == 0.00312


def test_what_was_said_of_a_setup_and_setups_with_laps_stay():
    path = sample_folder() / SAMPLE_SHEET
    text = path.read_text(encoding="utf-8")
    sample = open_on_desk(text, name=path.name, files=files_beside(path, text))
    desk = with_plan(sample, plan("low extensions", "new"))
    assert desk.setups == ("low extensions", "new", "road bar", "narrow extensions")
    assert desk.tables["setups"][0]["description"].startswith("clip-on")
    assert [desk.setup_of(lap) for lap in desk.laps] == [sample.setup_of(lap) for lap in sample.laps]
