"""Figures of a result hold its numbers: read back from what is drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_rgba

from fieldaero.publish import figures as plots
from tests.whole_sessions import sample_result

FIGURES = ("differences", "laps_by_time", "elevation", "residual", "budget")


@pytest.fixture(scope="module")
def result():
    return sample_result()


def drawn(axes, gid):
    return [line for line in axes.lines if line.get_gid() == gid]


@pytest.mark.parametrize("name", FIGURES)
def test_every_axis_says_what_it_shows_with_its_unit(result, name):
    figure = getattr(plots, name)(result)
    labelled = [axes.get_xlabel() for axes in figure.axes if axes.get_xlabel()]
    assert labelled
    assert all("[" in label for label in labelled)


@pytest.mark.parametrize("name", FIGURES)
def test_the_same_result_is_the_same_png_and_can_be_written_as_svg(result, name):
    first, second = (plots.figure_bytes(getattr(plots, name)(result), ".png") for _ in range(2))
    assert first == second
    assert b"<svg" in plots.figure_bytes(getattr(plots, name)(result), ".svg")


def test_differences_and_intervals_stand_where_the_result_puts_them(result):
    axes = plots.differences(result).axes[0]
    rows = result.comparison_results
    assert [line.get_xdata()[0] for line in drawn(axes, "difference")] == [c.delta_cda_m2 for c in rows]
    assert [tuple(line.get_xdata()) for line in drawn(axes, "interval")] == [c.interval95_m2 for c in rows]
    (band,) = [patch for patch in axes.patches if patch.get_gid() == "smallest"]
    assert (band.get_x(), band.get_width()) == pytest.approx((-0.002, 0.004))


def test_a_difference_that_is_not_resolved_is_hollow(result):
    one, other = result.comparison_results
    mixed = replace(result, comparison_results=(replace(one, verdict="not resolved"), other))
    hollow, filled = drawn(plots.differences(mixed).axes[0], "difference")
    assert to_rgba(hollow.get_markerfacecolor()) == to_rgba("white")
    assert to_rgba(filled.get_markerfacecolor()) == to_rgba(filled.get_color())


def test_the_upper_axis_is_in_watts_at_the_speed_reported(result):
    figure = plots.differences(result)
    figure.draw_without_rendering()
    (top,) = [child for child in figure.axes[0].child_axes if child.get_xlabel()]
    c = result.comparison_results[0]
    assert top.get_xlabel() == "power at 45 km/h [W]"
    assert top.get_xlim()[1] / figure.axes[0].get_xlim()[1] == pytest.approx(c.watts.value / c.delta_cda_m2)


def test_without_a_comparison_the_figure_of_differences_is_empty_not_an_error(result):
    axes = plots.differences(replace(result, comparison_results=())).axes[0]
    assert drawn(axes, "difference") == []


def test_every_used_lap_has_a_mark_at_its_drag_area(result):
    axes = plots.laps_by_time(result).axes[0]
    used = [row for row in result.lap_results if row.used]
    assert [line.get_ydata()[0] for line in drawn(axes, "lap")] == [row.cda_m2 for row in used]


def test_laps_left_out_are_hollow_and_say_why(result):
    axes = plots.laps_by_time(result).axes[0]
    marks = drawn(axes, "left out")
    assert marks
    assert all(to_rgba(mark.get_markerfacecolor()) == to_rgba("white") for mark in marks)
    texts = [text.get_text() for text in axes.texts]
    assert "lap 11: left out: stopped, braked, speed outside" in texts


def test_setups_differ_in_mark_and_in_stroke_not_in_colour_alone(result):
    laps = drawn(plots.laps_by_time(result).axes[0], "lap")
    assert len({(line.get_color(), line.get_marker()) for line in laps}) == len({line.get_marker() for line in laps})
    lines = drawn(plots.residual(result).axes[0], "lap")
    assert len({line.get_linestyle() for line in lines}) == len({line.get_color() for line in lines}) == 3


def test_virtual_elevation_of_the_laps_lies_about_the_road_profile(result):
    axes = plots.elevation(result).axes[0]
    (road,) = drawn(axes, "road")
    laps = np.array([line.get_ydata() for line in drawn(axes, "lap")])
    assert len(laps) == 11
    assert np.abs(laps.mean(axis=0) - road.get_ydata()).max() < 0.2
    assert np.ptp(road.get_ydata()) > 5.0


def test_residuals_are_virtual_elevation_less_the_road(result):
    found = result.supporting_data.elevation
    lines = drawn(plots.residual(result).axes[0], "lap")
    for line, lap in zip(lines, found.laps, strict=True):
        assert line.get_ydata() == pytest.approx(np.subtract(lap.elevation_m, found.road_m))


def test_numbers_of_laps_that_end_alike_do_not_cover_one_another(result):
    axes = plots.residual(result).axes[0]
    heights = sorted(text.xy[1] for text in axes.texts)
    low, high = axes.get_ylim()
    assert np.diff(heights).min() > 0.03 * (high - low)


def test_bars_of_the_budget_are_the_contributions(result):
    axes = plots.budget(result).axes[0]
    rows = [row for row in result.budget_rows if row.setup == "low extensions"]
    widths = {gid: [p.get_width() for p in axes.patches if p.get_gid() == gid] for gid in ("drag area", "difference")}
    assert widths["drag area"] == pytest.approx([abs(row.contribution_cda_m2) for row in rows])
    assert widths["difference"] == pytest.approx([abs(row.contribution_delta_m2) for row in rows])


def test_a_name_with_dollars_is_a_name_and_no_formula(result):
    renamed = replace(result.comparison_results[0], setup="$100 bar$ & <b>")
    figure = plots.differences(replace(result, comparison_results=(renamed,)))
    assert plots.figure_bytes(figure, ".png")


def test_no_figure_is_left_in_the_global_state(result):
    from matplotlib import _pylab_helpers

    for name in FIGURES:
        getattr(plots, name)(result)
    assert not _pylab_helpers.Gcf.figs
