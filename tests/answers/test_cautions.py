"""What a reader must mind: doubts about the level of the drag areas, and what is no reason for one."""

from __future__ import annotations

from fieldaero.answers.analysis import analyse_session
from fieldaero.answers.result import Result
from tests.simulator.sessions import OUT_AND_BACK, session
from tests.whole_sessions import AIR, brought_together

STORM = AIR | {"wind_speed_m_s": 9.0, "wind_from_deg": 250.0, "wind_height_m": 10.0}


def level_doubts(result: Result) -> list[str]:
    return [sentence for sentence in result.warnings if "check these first" in sentence]


def test_braking_at_the_turns_of_a_road_ridden_there_and_back_is_no_reason_to_doubt_wind_and_crr():
    result = analyse_session(brought_together(session(course=OUT_AND_BACK).ride))
    used = [row for row in result.lap_results if row.used]
    assert all("braked" in row.flags for row in used)
    # Plain closure takes the brakes for drag.
    assert all(row.closure_cda_m2 > 1.1 * row.cda_m2 for row in used)
    assert level_doubts(result) == []


def test_a_wind_that_did_not_blow_is_doubted_by_the_laps_that_were_ridden_without_brakes():
    result = analyse_session(brought_together(session(braked_laps=(3,)).ride, weather=(STORM,)))
    rows = {row.lap: row for row in result.lap_results if row.used}
    assert [lap for lap, row in rows.items() if "braked" in row.flags] == [4]
    said = level_doubts(result)
    assert [sentence.split(":")[0] for sentence in said] == ["bare", "faired"]
    # The faired laps are 3 and 4, of which 4 was braked.
    assert "and plain closure 0." in said[0]
    assert f"plain closure of the laps without brakes {rows[3].closure_cda_m2:.4f} m²" in said[1]
