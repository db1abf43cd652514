"""Seconds over courses that the run sheet asks for, from the run sheet to the summary."""

from __future__ import annotations

import shutil

import pytest

from fieldaero.answers.analysis import analyse
from fieldaero.basics.errors import RunSheetError
from fieldaero.draft.open_files import open_draft
from fieldaero.run_sheet.sheet import read_run_sheet
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from tests.cli.command_line import fieldaero

GPX = """<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><rte>
{}
</rte></gpx>"""


def gpx_line() -> str:
    """A straight road north over open water, 20 km with a hill of 60 m in the middle."""
    points = []
    for k in range(201):
        height = 60.0 * max(0.0, 1.0 - abs(k - 100) / 50.0)
        points.append(f'<rtept lat="{-30.0 + k * 0.0009:.6f}" lon="-120.0"><ele>{height:.1f}</ele></rtept>')
    return GPX.format("\n".join(points))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    target = tmp_path_factory.mktemp("races")
    for file in sample_folder().iterdir():
        shutil.copy(file, target)
    (target / "hill.gpx").write_text(gpx_line(), encoding="utf-8")
    races = """
[[races]]
name = "flat road"
distance_km = 40
power_w = 250
[[races]]
name = "hill"
file = "hill.gpx"
wind_speed_m_s = 3.0
wind_from_deg = 0
[[races]]
name = "test loop"
distance_km = 90
road = "lap"
"""
    with (target / SAMPLE_SHEET).open("a", encoding="utf-8") as sheet:
        sheet.write(races)
    return target


@pytest.fixture(scope="module")
def result(folder):
    return analyse(folder / SAMPLE_SHEET)


def rows(result, race):
    return [r for r in result.race_results if r.race == race]


def test_the_flat_course_gives_the_seconds_of_the_comparison(result):
    for row, pair in zip(rows(result, "flat road"), result.comparison_results, strict=True):
        assert (row.setup, row.versus) == (pair.setup, pair.versus)
        assert row.delta_s == pytest.approx(pair.seconds.value, abs=0.01)


def test_the_interval_of_the_flat_course_takes_in_what_mass_and_rolling_do_too(result):
    for row, pair in zip(rows(result, "flat road"), result.comparison_results, strict=True):
        narrow = pair.seconds.interval95[1] - pair.seconds.interval95[0]
        wide = row.interval95_s[1] - row.interval95_s[0]
        assert 0.9 * narrow < wide < 1.5 * narrow


def test_a_planned_route_is_taken_with_its_climb(result):
    row = rows(result, "hill")[0]
    assert row.distance_km == pytest.approx(20.0, rel=0.01)
    assert 50.0 < row.ascent_m < 60.1
    assert "wind 3 m/s from 0°" in row.assumed


def test_long_courses_are_as_ready(result):
    assert rows(result, "test loop")[0].distance_km == pytest.approx(90.0)


def test_summary_json_and_table_tell_them(result):
    assert "Over a course" in result.summary()
    assert [r["race"] for r in result.to_dict()["races"]] == [r.race for r in result.race_results]
    assert len(result.races) == len(result.race_results) == 4 * 2  # the sample asks for one course already


def test_in_a_draft_the_route_becomes_numbers_and_the_seconds_stay(folder, result):
    text = (folder / SAMPLE_SHEET).read_text(encoding="utf-8")
    files = {name: (folder / name).read_bytes() for name in ("morning.fit", "hill.gpx")}
    draft = open_draft(text, name=SAMPLE_SHEET, files=files)
    assert "file" not in draft.tables.races[1]
    again = rows(draft.result(), "hill")[0]
    assert again.delta_s == pytest.approx(rows(result, "hill")[0].delta_s, abs=0.05)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ('name = "x"', "distance_km is missing"),
        ('name = "x"\ndistance_km = -3', "-3"),
        ('name = "x"\ndistance_km = 40\nfile = "hill.gpx"', "more than one of"),
        ('name = "x"\ndistance_km = 40\nwind_speed_m_s = 2.0', "without wind_from_deg"),
        ('name = "x"\ndistance_m = [0, 100]\nheight_m = [1]', "as many of each"),
    ],
)
def test_a_course_that_cannot_be_is_refused_in_one_sentence(folder, table, says):
    sheet = folder / "wrong.toml"
    text = (sample_folder() / SAMPLE_SHEET).read_text(encoding="utf-8")
    sheet.write_text(f"{text}\n[[races]]\n{table}\n", encoding="utf-8")
    with pytest.raises(RunSheetError, match=says):
        read_run_sheet(sheet)


def test_a_course_file_that_is_not_there_is_named_by_the_command(folder):
    sheet = folder / "missing.toml"
    text = (sample_folder() / SAMPLE_SHEET).read_text(encoding="utf-8")
    sheet.write_text(f'{text}\n[[races]]\nname = "x"\nfile = "nowhere.gpx"\n', encoding="utf-8")
    done = fieldaero("analyse", sheet)
    assert done.exit_code == 2
    assert "missing.toml: [[races]] no. 2: nowhere.gpx" in done.stderr
