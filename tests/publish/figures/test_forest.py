"""The forest plot holds what was pooled: read back from what is drawn."""

from __future__ import annotations

import io

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.image import imread

from fieldaero.basics.errors import FieldaeroError
from fieldaero.publish.figures import figure_bytes, forest_plot
from tests.answers.pool.pooled_days import chain, day, days, pooled

DELTAS, SES = [-0.006, -0.004, -0.007], [0.001, 0.002, 0.0015]


def drawn(axes, gid):
    return [line for line in axes.lines if line.get_gid() == gid]


@pytest.fixture
def three():
    return pooled(chain(days(DELTAS, SES)), smallest_difference_m2=0.002)


@pytest.fixture
def panel(three):
    return forest_plot(three).axes[0]


def test_each_session_has_a_square_at_its_difference(panel):
    assert [line.get_xdata()[0] for line in drawn(panel, "session")] == pytest.approx(DELTAS)
    assert [line.get_ydata()[0] for line in drawn(panel, "session")] == [0, 1, 2]


def test_the_more_a_session_weighs_the_larger_its_square(panel, three):
    sides = [line.get_markersize() for line in drawn(panel, "session")]
    weights = [row.weight for row in three.pooled_comparisons[0].sessions]
    assert np.argsort(sides).tolist() == np.argsort(weights).tolist() == [1, 2, 0]


def test_lines_are_the_intervals_sessions_first_then_mean_and_prediction(panel, three):
    c = three.pooled_comparisons[0]
    wanted = [*(row.interval95_m2 for row in c.sessions), c.interval95_m2]
    lines = drawn(panel, "interval")
    assert [tuple(line.get_xdata()) for line in lines[:4]] == [pytest.approx(one) for one in wanted]
    assert lines[4].get_linestyle() == ":"
    assert max(lines[4].get_xdata()) == pytest.approx(min(c.prediction95_m2[1], panel.get_xlim()[1]))


def test_the_diamond_stands_at_the_pooled_difference_and_differs_in_shape(panel, three):
    (mark,) = drawn(panel, "pooled")
    assert mark.get_xdata()[0] == pytest.approx(three.pooled_comparisons[0].delta_cda_m2)
    assert mark.get_marker() != drawn(panel, "session")[0].get_marker()


def test_an_interval_beyond_the_panel_is_cut_off_with_arrows():
    axes = forest_plot(pooled(chain(days([-0.001, 0.001], [0.001, 0.001])))).axes[0]
    assert [line.get_marker() for line in drawn(axes, "cut off")] == ["<", ">"]
    low, high = axes.get_xlim()
    assert low <= min(drawn(axes, "interval")[2].get_xdata()) < max(drawn(axes, "interval")[2].get_xdata()) <= high


def test_the_band_is_the_smallest_difference_that_matters(panel):
    (band,) = [patch for patch in panel.patches if patch.get_gid() == "smallest"]
    assert (band.get_x(), band.get_width()) == pytest.approx((-0.002, 0.004))


def test_every_axis_has_a_unit_and_the_upper_one_is_in_watts(panel, three):
    panel.figure.draw_without_rendering()
    assert "[m²]" in panel.get_xlabel()
    (top,) = [child for child in panel.child_axes if child.get_xlabel()]
    assert top.get_xlabel() == "power at 45 km/h [W]"
    c = three.pooled_comparisons[0]
    assert top.get_xlim()[1] / panel.get_xlim()[1] == pytest.approx(c.watts.value / c.delta_cda_m2)


def test_title_and_names_tell_setups_verdict_and_sheets(panel):
    assert panel.get_title(loc="left") == "low against high: lower drag"
    assert [label.get_text() for label in panel.get_yticklabels()] == [
        "day1.toml",
        "day2.toml",
        "day3.toml",
        "together",
        "one further session",
    ]


def test_one_panel_per_comparison_and_the_indirect_one_says_so():
    legs = days([-0.006] * 2, [0.001] * 2), [day(4, -0.002, 0.001, pair=("lowest", "low"))]
    figure = forest_plot(pooled(chain(legs[0]), chain(*legs)))
    assert len(figure.axes) == 2
    assert "indirect by way of low" in figure.axes[1].get_title(loc="left")
    names = [label.get_text() for label in figure.axes[1].get_yticklabels()]
    assert names == [
        "day1.toml (low − high)",
        "day2.toml (low − high)",
        "day4.toml (lowest − low)",
        "together, without session scatter",
    ]


def test_marks_and_band_can_be_told_apart_in_grey(panel):
    def grey(colour):
        return float(np.dot(to_rgb(colour), [0.2126, 0.7152, 0.0722]))  # Rec. ITU-R BT.709

    session, mean = (grey(drawn(panel, gid)[0].get_color()) for gid in ("session", "pooled"))
    band = grey(panel.patches[0].get_facecolor())
    assert session + 0.2 < mean < band - 0.2 < 0.8


def test_no_figure_is_left_in_the_global_state(three):
    from matplotlib import _pylab_helpers

    forest_plot(three)
    assert not _pylab_helpers.Gcf.figs


def test_a_figure_is_the_same_file_each_time_as_png_and_has_something_on_it(three):
    first, second = (figure_bytes(forest_plot(three), ".png") for _ in range(2))
    assert first == second
    pixels = imread(io.BytesIO(first))
    assert pixels[..., :3].std() > 0.05


def test_another_kind_of_file_is_refused(three):
    with pytest.raises(FieldaeroError, match=r"allowed is \.svg or \.png"):
        figure_bytes(forest_plot(three), ".jpeg")
