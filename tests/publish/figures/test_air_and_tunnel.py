from __future__ import annotations

from dataclasses import replace

import pytest

from fieldaero.publish import figures as plots
from tests.whole_sessions import sample_result


@pytest.fixture(scope="module")
def result():
    return sample_result()


def drawn(axes, gid):
    return [line for line in axes.lines if line.get_gid() == gid]


def test_wind_and_yaw_of_every_used_lap_are_drawn(result):
    wind, yaw = plots.air(result).axes
    used = [row for row in result.supporting_data.air if row.wind_m_s is not None]
    assert [line.get_ydata()[0] for line in drawn(wind, "wind")] == [row.wind_m_s for row in used]
    assert [tuple(line.get_ydata()) for line in drawn(yaw, "yaw")] == [(r.yaw_low_deg, r.yaw_high_deg) for r in used]
    assert wind.get_ylim()[0] == 0.0
    assert (wind.get_ylabel(), yaw.get_ylabel(), yaw.get_xlabel()[-5:]) == ("wind [m/s]", "yaw [°]", "[min]")


def test_shares_of_yaw_are_drawn_in_per_cent_and_make_up_the_whole(result):
    (axes,) = plots.yaw_ridden(result).axes
    assert len(axes.patches) == len(result.supporting_data.yaw_ridden)
    assert [sum(patch.get_data().values) for patch in axes.patches] == pytest.approx([100.0] * len(axes.patches))


def test_a_sweep_is_drawn_as_given_and_the_field_beside_it(result):
    sweeps = [row for row in result.tunnel_results if row.versus is None]
    panels = plots.tunnel(result).axes
    assert len(panels) == len(sweeps) > 0
    for axes, row in zip(panels, sweeps, strict=True):
        (field,) = drawn(axes, "field")
        assert set(field.get_ydata()) == {row.field_m2}
        (points,) = axes.containers
        assert tuple(points.lines[0].get_xdata()) == row.sweep_yaw_deg
        assert tuple(points.lines[0].get_ydata()) == row.sweep_cda_m2


def test_without_a_sweep_there_is_an_empty_figure_and_no_error(result):
    (axes,) = plots.tunnel(replace(result, tunnel_results=())).axes
    assert not axes.lines


NAMES = ("differences", "laps_by_time", "elevation", "residual", "air", "yaw_ridden", "tunnel", "budget")


@pytest.mark.parametrize("name", NAMES)
def test_set_to_a_narrow_page_nothing_sticks_out_and_nothing_is_lost(result, name):
    wide, narrow = (getattr(plots, name)(result) for _ in range(2))
    plots.at_page_width(narrow, width_inch=5.4)
    narrow.draw_without_rendering()

    box = narrow.get_tightbbox()
    assert box.x0 >= -0.05
    assert box.x1 <= 5.45
    for before, after in zip(wide.axes, narrow.axes, strict=True):
        assert len(before.lines) == len(after.lines)
        assert [len(axes.get_legend().get_texts()) if axes.get_legend() else 0 for axes in (before, after)].count(
            0
        ) in (0, 2)


def test_long_names_leave_room_for_what_is_drawn(result):
    long = "a name of more than thirty letters in all"
    rows = tuple(replace(row, setup=long) for row in result.comparison_results)
    figure = plots.at_page_width(plots.differences(replace(result, comparison_results=rows)), width_inch=5.4)
    figure.draw_without_rendering()
    assert figure.axes[0].get_window_extent().width > 0.25 * figure.bbox.width
