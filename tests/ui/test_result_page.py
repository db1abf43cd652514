"""The page of the result: verdict first, what-if beside the original, nothing lost when a fit fails."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.ui.pages import drawn, opened, words

DRAFT = "the_draft"


def draft(at):
    return at.session_state[DRAFT]


def put(at, new):
    at.session_state[DRAFT] = new
    at.run()
    drawn(at)


def laps_pills(at):
    return next(group for group in at.button_group if str(group.key).startswith("what_if_laps"))


def leave_out(at, lap):
    pills = laps_pills(at)
    pills.set_value([one for one in pills.value if one.lap != lap]).run()
    drawn(at)


@pytest.fixture(scope="module")
def shared():
    return opened("result")


def test_without_rides_it_says_so_and_where_to_go():
    at = opened("result", sample=False)
    assert "nothing to compare" in at.info[0].value
    at.button(key="sample_here").click().run()
    assert "lower drag" in words(at)


def test_it_opens_with_the_verdict_in_words_beside_the_mark(shared):
    told = words(shared)
    assert "●" in told
    assert "<strong>low extensions against road bar: lower drag.</strong> The drag area differs" in told


def test_every_section_is_there(shared):
    assert [heading.value for heading in shared.header] == [
        "Differences",
        "What carries the answer",
        "Laps",
        "Virtual elevation, lap on lap",
        "Residual to the road profile",
        "Repeat check and drift",
        "Uncertainty budget",
        "Claims, tunnel and course",
        "Take it with you",
    ]


def test_a_lap_left_out_changes_the_answer_and_not_the_test():
    at = opened("result")
    before, sheet = words(at), draft(at).sheet_text()
    leave_out(at, 10)
    assert "What if." in words(at)
    assert words(at) != before
    assert draft(at).sheet_text() == sheet
    at.button(key="what_if_back").click().run()
    assert "What if." not in words(at)
    assert len(laps_pills(at).value) == 11


def test_a_what_if_can_be_kept_and_taken_back():
    at = opened("result")
    leave_out(at, 10)
    at.button(key="what_if_keep").click().run()
    assert draft(at).balance().laps["low extensions"] == 3
    assert len(laps_pills(at).value) == 10
    at.button(key="take_back").click().run()
    assert draft(at).balance().laps["low extensions"] == 4
    assert len(laps_pills(at).value) == 11


def test_what_is_tried_outlives_a_look_at_another_page():
    at = opened("result")
    mass = next(field for field in at.number_input if field.label == "Mass [kg]")
    mass.set_value(86.0).run()
    at.switch_page("screens/report.py").run()
    at.switch_page("screens/result.py").run()
    assert "What if." in words(at)
    assert next(field for field in at.number_input if field.label == "Mass [kg]").value == 86.0


def test_a_larger_smallest_difference_can_turn_the_verdict():
    at = opened("result")
    field = next(f for f in at.number_input if f.label.startswith("Smallest difference"))
    field.set_value(0.08).run()
    assert "no difference that matters" in words(at)


def test_another_baseline_is_compared_with():
    at = opened("result")
    at.selectbox(key="result_baseline").set_value("low extensions").run()
    assert draft(at).baseline == "low extensions"
    assert "road bar against low extensions: higher drag" in words(at)


def test_a_failed_fit_leaves_the_last_result_marked_as_of_before():
    at = opened("result")
    put(at, draft(at).with_table("system", {**draft(at).tables.system, "mass_kg": 8350.0}))
    assert "8350" in at.error[0].value
    assert "as of before" in at.warning[0].value
    assert "low extensions against road bar: lower drag" in words(at)


def test_a_first_fit_that_fails_says_what_to_do():
    at = opened("result", sample=False)
    other = opened("result")
    rides = tuple(replace(ride, setups=("-",) * len(ride.setups)) for ride in draft(other).rides)
    put(at, replace(draft(other), rides=rides))
    assert "pick whole laps and give them to their setups" in at.error[0].value
    assert not at.header


def test_one_setup_has_nothing_to_be_compared_with():
    at = opened("result")
    new = draft(at)
    others = [lap for lap in new.laps if new.setup_of(lap) not in ("road bar", "-")]
    put(
        at,
        new.assigned(others, "-")
        .with_table("setups", [{"name": "road bar"}])
        .with_table("claims", [])
        .with_table("tunnel", []),
    )
    assert "Only one setup has usable laps, so there is nothing to compare" in words(at)


def test_a_single_lap_is_told_as_one():
    at = opened("result")
    new = draft(at)
    put(at, new.assigned([lap for lap in new.laps if new.setup_of(lap) != "-"][1:], "-"))
    assert "not resolved" in words(at)
    assert "fewer than two laps" in words(at)


def test_without_weather_it_says_what_is_missing():
    at = opened("result", sample=False)
    other = opened("result")
    put(at, draft(other).with_table("weather", []))
    assert "weather" in at.error[0].value


def test_the_quick_answer_gives_way_to_the_full_one():
    import sys

    from tests.ui.pages import APP

    at = opened("result")
    leave_out(at, 10)
    kept = at.session_state["the_outcomes"]
    assert [o.quick for o in kept.values()] == [False, True]
    assert str(APP.parent) in sys.path
    (work,) = at.session_state["the_work"].values()
    full = work.result()
    quick = list(kept.values())[-1].result
    for a, b in zip(quick.comparison_results, full.comparison_results, strict=True):
        assert abs(a.delta_cda_m2 - b.delta_cda_m2) < 0.1 * b.se_m2
    at.run()
    assert not any(o.quick for o in at.session_state["the_outcomes"].values())


def test_names_that_look_like_markup_stay_names():
    at = opened("result")
    put(at, draft(at).with_setup_renamed("low extensions", "<b>low</b>"))
    assert "&lt;b&gt;low&lt;/b&gt; against road bar" in words(at)
