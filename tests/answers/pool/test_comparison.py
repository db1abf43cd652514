"""What is told of a pooled comparison: against published numbers, and where it must be careful."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy import stats

from fieldaero.answers.pool.comparison import further_sessions
from fieldaero.compare.verdict import HIGHER, LOWER, NO_DIFFERENCE, NOT_RESOLVED
from fieldaero.statistics.contrast import Contrast
from tests.answers.pool.pooled_days import chain, day, days, pooled
from tests.published.test_random_effects import VARIANCE, Y

FIVE = days([-0.006, -0.005, -0.007, -0.0055, -0.0065], [0.001] * 5)


def only(*chains, **choices):
    return pooled(*chains, **choices).pooled_comparisons[0]


def test_a_published_key_comparison_comes_through_with_all_its_numbers():
    # Kacker, Metrologia 41 (2004) 132, example 1; metafor by way of statsmodels' tests, and PyMARE 0.0.13.
    # Taken as thousandths of a square metre, though measured in another trade.
    c = only(chain(days(Y / 1000.0, np.sqrt(VARIANCE) / 1000.0)))
    assert c.delta_cda_m2 * 1000.0 == pytest.approx(62.39006527, abs=1e-6)
    assert c.se_m2 * 1000.0 == pytest.approx(0.29572669, abs=1e-6)
    assert [b * 1000.0 for b in c.interval95_m2] == pytest.approx([61.7081183, 63.07201225], abs=1e-6)
    assert c.session_sd_m2**2 * 1e6 == pytest.approx(0.29434289, abs=1e-6)
    assert (c.q, c.q_p_value) == pytest.approx((24.801897741835, 0.00167935146372742), rel=1e-6)
    assert c.i_squared == pytest.approx(0.67744403741711, rel=1e-6)
    assert c.verdict == HIGHER
    assert any("differ by more than their own errors allow (p 0.002)" in note for note in c.notes)


@pytest.mark.parametrize(
    ("deltas", "smallest", "says"),
    [
        ([-0.006, -0.005, -0.007], None, LOWER),
        ([0.006, 0.005, 0.007], None, HIGHER),
        ([0.0002, -0.0002, 0.0001], 0.003, NO_DIFFERENCE),
        ([0.0002, -0.0002, 0.0001], None, NOT_RESOLVED),
        ([-0.006, 0.005, 0.001], 0.002, NOT_RESOLVED),
    ],
)
def test_each_verdict_in_its_case(deltas, smallest, says):
    choices = {} if smallest is None else {"smallest_difference_m2": smallest}
    assert only(chain(days(deltas, [0.0008] * 3)), **choices).verdict == says


def test_two_sessions_are_wide_and_say_why():
    c = only(chain(days([-0.006, -0.0061], [0.001] * 2)))
    half = (c.interval95_m2[1] - c.interval95_m2[0]) / 2.0
    assert half / c.se_m2 == pytest.approx(stats.t.ppf(0.975, 1), rel=1e-6)
    assert c.verdict == NOT_RESOLVED
    assert c.prediction95_m2 is None
    assert any("12.7 standard errors" in note and "with a third it is 4.3" in note for note in c.notes)
    assert [one.interval95_m2 for one in c.left_out] == [None, None]


def test_one_session_gives_no_verdict_over_sessions():
    c = only(chain([day(1, -0.006, 0.0005)]))
    assert (c.interval95_m2, c.p_value, c.df, c.session_sd_m2, c.verdict) == (None, None, None, None, NOT_RESOLVED)
    assert c.interval95_without_session_scatter_m2 == pytest.approx(day(1, -0.006, 0.0005).interval95_m2)
    assert any(note.startswith("One session cannot show") for note in c.notes)


def test_an_indirect_comparison_says_so_and_by_which_way():
    c = only(chain(days([-0.006] * 3, [0.001] * 3), days([-0.002] * 3, [0.001] * 3, pair=("lowest", "low"))))
    assert (c.setup, c.versus, c.link, c.via) == ("lowest", "high", "indirect", ("low",))
    assert c.delta_cda_m2 == pytest.approx(-0.008)
    assert any(note.startswith("Indirect: no session had both") for note in c.notes)
    assert c.verdict == LOWER


def test_several_comparisons_hold_together():
    alone = only(chain(FIVE))
    both = pooled(chain(FIVE), chain(days([-0.003] * 5, [0.001] * 5, pair=("wide", "high")))).pooled_comparisons[0]
    assert both.interval95_alone_m2 == pytest.approx(alone.interval95_m2)
    t = (both.interval95_m2[1] - both.delta_cda_m2) / both.se_m2
    # Between the two neighbours that are known in closed form: one comparison, and Bonferroni's bound for two.
    assert stats.t.ppf(0.975, 4) < t <= stats.t.ppf(1 - 0.025 / 2, 4) + 1e-6


def test_leaving_a_session_out_is_pooling_the_others():
    c = only(chain(FIVE))
    for k, one in enumerate(c.left_out):
        rest = only(chain([*FIVE[:k], *FIVE[k + 1 :]]))
        assert one.sheet == FIVE[k].sheet
        assert one.delta_cda_m2 == pytest.approx(rest.delta_cda_m2)
        assert one.interval95_m2 == pytest.approx(rest.interval95_m2)


def test_a_session_on_which_the_verdict_rests_is_named():
    sessions = days([-0.0016, -0.0019, -0.0013, -0.0012, 0.0010], [0.0004] * 5)
    c = only(chain(sessions))
    assert c.verdict == NOT_RESOLVED
    assert [n for n in c.notes if "rests on" in n] == ["The verdict rests on day5.toml: without it, it is lower drag."]


def test_of_three_sessions_none_is_said_to_carry_the_verdict():
    c = only(chain(days([-0.006, -0.005, -0.007], [0.0008] * 3)))
    assert c.verdict == LOWER
    assert NOT_RESOLVED in {one.verdict for one in c.left_out}  # two sessions hardly settle anything
    assert not any("rests on" in note for note in c.notes)


def test_watts_and_seconds_are_those_of_the_difference():
    c = only(chain(FIVE), report_speed_km_h=36.0, report_distance_km=10.0, report_power_w=200.0)
    # At the hub and 10 m/s: 1/2 rho dCdA v^3 by hand.
    assert c.watts.value == pytest.approx(0.5 * 1.2 * c.delta_cda_m2 * 1000.0)
    assert c.watts.interval95 == pytest.approx([600.0 * b for b in c.interval95_m2])
    assert c.seconds.interval95[0] < c.seconds.value < c.seconds.interval95[1] < 0.0


def test_a_time_without_drag_is_not_given():
    c = only(chain(days([-0.2, -0.3], [0.01, 0.01])), report_power_w=200.0)
    assert c.interval95_m2[0] < -0.3  # more than all the drag there is
    assert c.seconds.value < 0.0
    assert c.seconds.interval95 is None


def test_further_sessions_are_the_fewest_that_settle_it():
    mean = Contrast(estimate=-0.003, standard_error=0.0015, df=2.0, method="")
    more = further_sessions(mean, sessions=3, smallest_difference_m2=None)

    def half(extra):
        return stats.t.ppf(0.975, 2 + extra) * 0.0015 * np.sqrt(3 / (3 + extra))

    assert half(more) < 0.003 <= half(more - 1)
    assert further_sessions(mean, sessions=3, smallest_difference_m2=0.01) <= more
    hopeless = Contrast(estimate=1e-5, standard_error=0.0015, df=2.0, method="")
    assert further_sessions(hopeless, sessions=3, smallest_difference_m2=None) is None


def test_the_summary_tells_the_doubts_and_draws_every_session():
    result = pooled(chain(FIVE), chain([day(9, 0.001, 0.0005, pair=("wide", "high"))]), smallest_difference_m2=0.002)
    text = result.summary()
    assert "low against high: lower drag. The drag area differs by −0.00600 ± 0.00045 m²" in text
    assert "95 % interval without scatter between sessions" in text.replace("\n  ", " ")
    forest = text.split("low against high, session by session [m²]\n")[1].split("\n\n")[0].splitlines()
    assert [line.split()[0] for line in forest[1:]] == [*(s.sheet for s in FIVE), "together"]
    assert all(line.count("■") == 1 for line in forest[1:-1])
    assert forest[-1].count("◆") == 1
    # All of it less drag than nothing: marks and lines lie left of zero.
    zero = forest[1].index("│")
    assert all("─" not in line[zero:].split("  ")[0] for line in forest[1:])
    assert text == result.summary()


def test_the_drawing_is_to_scale():
    text = pooled(chain(days([-0.004, 0.0, 0.004], [0.001] * 3))).summary()
    lines = [line.split("  ")[1] for line in text.splitlines() if line.startswith("day") and "■" in line]
    left, middle, right = (line.index("■") for line in lines)
    assert {len(line) for line in lines} == {41}
    assert middle == 20  # zero, where the others show the line
    assert middle - left == right - middle > 0
    assert (lines[0][middle], lines[2][middle]) == ("│", "│")


def test_tables_and_json_hold_the_same_and_no_nan():
    result = pooled(chain(FIVE), chain([day(9, 0.001, 0.0005, pair=("wide", "high"))]))
    told = json.loads(json.dumps(result.to_dict(), allow_nan=False))
    assert [c["verdict"] for c in told["pooling"]] == result.comparisons["verdict"].tolist()
    assert told["pooling"][0]["interval95_m2"] == pytest.approx(
        result.comparisons.loc[0, ["interval95_low_m2", "interval95_high_m2"]].tolist()
    )
    assert told["pooling"][1]["interval95_m2"] is None
    assert np.isnan(result.comparisons.loc[1, "interval95_low_m2"])
    assert len(result.sessions) == 6
    assert result.sessions.groupby("comparison")["weight"].sum().tolist() == pytest.approx([1.0, 1.0])
