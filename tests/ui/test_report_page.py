"""The page of the report: what there is to take away, and what is missing."""

from __future__ import annotations

import pytest

from tests.ui.pages import drawn, opened, words


def downloads(at):
    return [element.proto.label for element in at.get("download_button")]


def test_without_rides_it_says_where_to_begin():
    at = opened("report", sample=False)
    assert "nothing to report" in at.info[0].value


def test_figures_tables_result_and_run_sheet_can_be_taken():
    at = opened("report")
    labels = downloads(at)
    assert labels.count("Virtual elevation") == 2
    for label in ("Laps", "Setups", "Comparisons", "Result as JSON", "Summary as text", "Run sheet (TOML)"):
        assert label in labels


def test_it_spells_out_what_the_rides_give_away():
    at = opened("report")
    (choice,) = at.get("radio")
    assert choice.value == "without the place"
    assert "often where you live" in words(at)
    assert "latitude stays in whole degrees" in words(at)
    assert "Photographs" not in words(at)


def test_photographs_that_are_not_on_the_draft_are_left_out_of_the_pack_and_that_is_said():
    at = opened("report")
    draft = at.session_state["the_draft"]
    first, *rest = draft.tables.setups
    at.session_state["the_draft"] = draft.with_table("setups", [{**first, "photos": ["bar.jpg"]}, *rest])
    at.run()
    assert "leave them out" in words(at)
    at.button(key="make_pack").click().run()
    drawn(at)
    assert not at.error
    assert "Data pack (ZIP), without the place" in downloads(at)


def test_the_report_can_be_made_where_it_is_installed():
    pytest.importorskip("fieldaero.publish.report")
    at = opened("report")
    at.button(key="make_report").click().run()
    drawn(at)
    assert "Report (HTML)" in downloads(at)


def test_a_test_without_a_result_says_so_and_keeps_its_run_sheet():
    at = opened("report")
    draft = at.session_state["the_draft"]
    at.session_state["the_draft"] = draft.with_table("system", {**draft.tables.system, "mass_kg": 8350.0})
    at.run()
    assert "8350" in at.error[0].value
    assert "Run sheet (TOML)" in downloads(at)
