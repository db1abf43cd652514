"""A plan handed to the draft brings its setups and leaves what was ridden."""

from __future__ import annotations

from types import SimpleNamespace

from fieldaero.draft.draft import empty_draft
from fieldaero.draft.open_files import files_beside, open_draft
from fieldaero.draft.what_if import with_plan
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder


def plan(*setups):
    return SimpleNamespace(setups=setups, smallest_difference_m2=0.0031234)


def test_an_empty_draft_takes_setups_baseline_and_smallest_difference():
    draft = with_plan(empty_draft(), plan("stock", "aero"))
    assert draft.setups == ("stock", "aero")
    assert draft.baseline == "stock"
    assert draft.tables.analysis["smallest_difference_m2"] == 0.00312


def test_what_was_said_of_a_setup_and_setups_with_laps_stay():
    path = sample_folder() / SAMPLE_SHEET
    text = path.read_text(encoding="utf-8")
    sample = open_draft(text, name=path.name, files=files_beside(path, text))
    draft = with_plan(sample, plan("low extensions", "new"))
    assert draft.setups == ("low extensions", "new", "road bar", "narrow extensions")
    assert draft.tables.setups[0]["description"].startswith("clip-on")
    assert [draft.setup_of(lap) for lap in draft.laps] == [sample.setup_of(lap) for lap in sample.laps]
