"""A test put together step by step becomes the same run sheet and the same result as one from disk."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.draft.draft import Draft, DraftLap, empty_draft
from fieldaero.estimate.session_laps import found_laps
from fieldaero.rides import read_ride_bytes, write_csv
from tests.draft.sample_draft import RIDE, ride_bytes, sample_draft, sample_draft_result
from tests.whole_sessions import cut, sample_result


@pytest.fixture
def content() -> bytes:
    return ride_bytes()


@pytest.fixture
def sample() -> Draft:
    return sample_draft()


@pytest.fixture(scope="module")
def ridden() -> Draft:
    return empty_draft().with_ride(ride_bytes(), name=RIDE)


def test_the_sample_on_the_draft_gives_the_numbers_of_the_sample_on_disk(sample):
    mine, disk = sample_draft_result().to_dict(), sample_result().to_dict()
    assert mine["laps"] == disk["laps"]
    assert mine["comparisons"] == disk["comparisons"]


def test_a_ride_just_added_has_laps_that_are_not_used(ridden):
    assert len(ridden.laps) == 16
    assert {ridden.setup_of(lap) for lap in ridden.laps} == {"-"}


def test_a_ride_without_laps_says_so_in_the_words_of_a_page_and_another_way_can_be_chosen(content, tmp_path):
    ride = read_ride_bytes(content, name=RIDE)
    first = ride.table[ride.table["time_s"] < 300.0]  # the way to the line and one lap: nothing is repeated
    marks = tuple(mark for mark in ride.lap_marks if mark.end_s < 300.0)
    short = write_csv(replace(ride, table=first, lap_marks=marks), tmp_path / "short.csv").read_bytes()
    (found,) = empty_draft().with_ride(short, name="short.csv").rides
    assert found.problem.startswith("No lap was found")
    assert "choose the lap button on page 3" in found.problem
    assert found.lap_source != "button"  # what is chosen already cannot be chosen
    (marked,) = empty_draft().with_ride(short, name="short.csv").with_laps_by("short.csv", "button").rides
    assert marked.listing is not None


def test_a_step_leaves_the_former_draft_as_it_was(ridden):
    lap = ridden.laps[3]
    after = ridden.assigned([lap], "baseline")
    assert (ridden.setup_of(lap), after.setup_of(lap)) == ("-", "baseline")


def test_a_pattern_is_laid_over_the_chosen_laps_and_repeated(ridden):
    draft = ridden.with_table("setups", [{"name": "baseline"}, {"name": "low"}])
    draft = draft.with_pattern(draft.laps[2:8], ["baseline", "low", "low", "baseline"])
    assert [draft.setup_of(lap) for lap in draft.laps[1:9]] == [
        "-",
        "baseline",
        "low",
        "low",
        "baseline",
        "baseline",
        "low",
        "-",
    ]


def test_a_pattern_with_a_name_that_is_no_setup_is_refused(ridden):
    with pytest.raises(RunSheetError, match='"lo" is not a setup; the setups are baseline'):
        ridden.with_pattern(ridden.laps, ["baseline", "lo"])


def test_laps_of_a_setup_that_is_gone_are_not_used(sample):
    draft = sample.with_table("setups", [s for s in sample.tables.setups if s["name"] != "low extensions"])
    before = {lap for lap in sample.laps if sample.setup_of(lap) == "low extensions"}
    assert len(before) == 4
    assert {draft.setup_of(lap) for lap in before} == {"-"}
    assert draft.balance().laps == {"road bar": 4, "narrow extensions": 3}


def test_a_renamed_setup_keeps_its_laps_claims_and_tunnel_numbers(sample):
    draft = sample.with_setup_renamed("narrow extensions", "narrow bar")
    assert draft.tables.claims[0]["setup"] == "narrow bar"
    assert draft.tables.tunnel[0]["setup"] == "narrow bar"
    assert draft.balance().laps["narrow bar"] == 3
    draft.run_sheet()


@pytest.mark.parametrize("name", ["-", " ", "road bar"])
def test_a_name_that_cannot_be_or_is_taken_is_refused(sample, name):
    with pytest.raises(RunSheetError, match="cannot name a setup"):
        sample.with_setup_renamed("low extensions", name)


def test_the_balance_tells_how_far_apart_in_time_the_setups_were_ridden(ridden):
    draft = ridden.with_table("setups", [{"name": "baseline"}, {"name": "low"}])
    laps = draft.laps
    blocked = draft.assigned(laps[2:4], "baseline").assigned(laps[4:6], "low").balance()
    mirrored = draft.with_pattern(laps[2:6], ["baseline", "low", "low", "baseline"]).balance()
    listed = draft.rides[0].listing.laps
    apart = (listed[4].start_s + listed[5].end_s - listed[2].start_s - listed[3].end_s) / 2.0 / 3600.0
    assert blocked.middle_h["low"] - blocked.middle_h["baseline"] == pytest.approx(apart, rel=0.03)
    assert abs(mirrored.middle_h["low"] - mirrored.middle_h["baseline"]) < 0.1 * apart
    assert mirrored.order == ("baseline", "low", "low", "baseline")


def test_the_same_ride_twice_is_told(ridden, content):
    with pytest.raises(RideError, match=r"other\.fit: the same ride as morning\.fit"):
        ridden.with_ride(content, name="other.fit")


def test_a_ride_without_power_is_told_with_what_to_do():
    rows = "\n".join(f"{t},10.0," for t in range(60))
    with pytest.raises(RideError, match=r"slow\.csv: no usable power in this file.*paired"):
        empty_draft().with_ride(f"time_s,speed_m_s,power_w\n{rows}\n".encode(), name="slow.csv")


def test_a_file_that_is_no_ride_is_told():
    with pytest.raises(RideError, match="JPEG"):
        empty_draft().with_ride(b"\xff\xd8\xff\xe0" + bytes(range(256)), name="ride.fit")


def test_without_rides_there_is_no_session():
    with pytest.raises(CannotAnswerError, match="no ride yet"):
        empty_draft().session()


@pytest.mark.parametrize("what", ["weather", "tunnel", "races"])
def test_a_file_on_the_disk_of_the_server_is_never_read(sample, what):
    row = {"file": "../../etc/passwd", **({"setup": "road bar", "name": "x"})}
    with pytest.raises(RunSheetError, match=r"names the file ../../etc/passwd; on a page add the file itself"):
        sample.with_table(what, [row]).session()


def test_laps_found_in_another_way_are_to_be_given_to_setups_again(sample):
    draft = sample.with_laps_by(RIDE, "repeat")
    assert {draft.setup_of(lap) for lap in draft.laps} == {"-"}
    assert draft.rides[0].lap_source == "repeat"
    assert DraftLap(ride=RIDE, lap=1) in draft.laps


def test_a_former_result_changes_nothing_but_the_time_it_takes_and_a_quick_answer_is_next_to_it(sample):
    less = sample.assigned([sample.laps[3]], "-")
    mine, alone = less.result(former=sample_draft_result()), less.result()
    assert mine.to_dict() == alone.to_dict()
    quick = less.result(former=sample_draft_result(), keep_noise=True)
    for a, b in zip(quick.comparison_results, alone.comparison_results, strict=True):
        assert abs(a.delta_cda_m2 - b.delta_cda_m2) < 0.1 * b.se_m2
        assert a.verdict == b.verdict


def test_with_another_mass_only_what_does_not_depend_on_it_is_taken_over(sample):
    heavier = sample.with_table("system", {**sample.tables.system, "mass_kg": 86.0})
    former = sample_draft_result().session
    assert former is not None
    after = heavier.session(former=former)
    assert after.found is former.found
    assert after.rides[0].balance.weight_n[100] == pytest.approx(86.0 / 83.5 * former.rides[0].balance.weight_n[100])


def test_a_second_ride_is_cut_at_the_line_of_the_first_and_the_session_takes_these_laps(sample, tmp_path):
    whole = sample.rides[0].ride
    draft = empty_draft()
    for name, begin_s, end_s in (("one.csv", 0.0, 1500.0), ("two.csv", 1480.0, 3200.0)):
        part = replace(cut(whole, begin_s, end_s), lap_marks=())
        draft = draft.with_ride(write_csv(part, tmp_path / name).read_bytes(), name=name)
    draft = replace(draft, tables=replace(sample.tables, claims=(), tunnel=(), races=()))
    first, second = draft.rides
    assert second.shared_line == first.listing.course.start_line
    draft = draft.assigned(draft.laps, "road bar")
    found = draft.session().found
    alone = found_laps(draft.run_sheet(), [first.ride, second.ride])
    assert [[(lap.start_s, lap.end_s) for lap in laps] for laps in found.laps] == [
        [(lap.start_s, lap.end_s) for lap in laps] for laps in alone.laps
    ]
    assert draft.without_ride("one.csv").rides[0].shared_line is None
