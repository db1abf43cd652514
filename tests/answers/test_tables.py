"""Tables of a result: headings with units, a reason beside every lap that does not count."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldaero.answers.tables import SHIFT, behind_table, comparison_table, lap_table, setup_table
from tests.whole_sessions import sample_result


@pytest.fixture(scope="module")
def result():
    return sample_result()


def column(cells, heading):
    return [row[cells.header.index(heading)] for row in cells.rows]


def test_every_difference_is_told_in_four_units_with_its_interval(result):
    cells = comparison_table(result)
    assert [heading for heading in cells.header if "[" in heading] == [
        "drag area [m²]",
        "drag area [%]",
        "power at 45 km/h [W]",
        "time over 40 km at 250 W [s]",
    ]
    assert all(" to" in cell.replace("\u00a0", " ") for row in cells.rows for cell in row[3:])
    assert "by plain closure [m²]" in behind_table(result).header


def test_laps_that_do_not_count_are_marked_with_the_reason(result):
    cells = lap_table(result)
    unused = [k for k, row in enumerate(result.lap_results) if not row.used]
    assert list(cells.muted) == unused
    assert {remark.startswith("left out") for remark in column(cells, "remarks")} == {True, False}
    assert all(column(cells, "remarks")[k].startswith("left out") for k in unused)


def test_a_lap_says_what_leaving_it_out_would_do_where_that_is_asked_for(result):
    assert SHIFT not in lap_table(result).header
    shifts = column(lap_table(result, shifts=True), SHIFT)
    assert [cell == "—" for cell in shifts] == [not row.used for row in result.lap_results]


def test_an_outlier_is_marked(result):
    rows = tuple(replace(row, outlier=row.lap == 3) for row in result.lap_results)
    assert column(lap_table(replace(result, lap_results=rows)), "remarks")[2] == "outlier"


def test_a_column_that_says_nothing_is_left_out(result):
    blank = tuple(replace(row, yaw_deg_median=None) for row in result.lap_results)
    assert "yaw [°]" in lap_table(result).header
    assert "yaw [°]" not in lap_table(replace(result, lap_results=blank)).header
    assert setup_table(result).header[0] == "setup"
