"""What the answer rests on, and how far it can be relied on."""

from __future__ import annotations

from fieldaero.answers.result import Result
from fieldaero.basics.formatting import number

__all__ = ["limitations", "trust_sentence"]


def trust_sentence(result: Result) -> str:
    """Tell how many laps the answer rests on, in what wind, and whether there are cautions."""
    course = result.supporting_data.course
    laps = f"{course.laps_used} lap{'' if course.laps_used == 1 else 's'}"
    weak = (
        "the weak points that the analysis found are listed under Cautions"
        if result.warnings
        else "the analysis found no weak point"
    )
    return (
        f"The result rests on one session of {laps}, {number(course.road_ridden_km, places=1)} km of road in a wind of "
        f"{number(result.wind.mean_m_s, places=1)} m/s at the rider's height; {weak}."
    )


def limitations(result: Result) -> list[str]:
    """Return what this test cannot say."""
    limits = [
        "One rider, one bike, one road and one session: another rider or another day may give other differences, and "
        "the intervals do not count that. Several sessions can be pooled.",
        "The setups are compared as they were ridden. If a position changes with a part, the two are one setup here.",
        "Rolling resistance, mass and power scale are taken to be the same for all setups, apart from stated changes "
        "of mass; a tyre pressure or a meter's zero that changes between setups would pass for drag.",
        "Watts and seconds are for a flat road without wind; on another course they differ.",
        "The intervals trust the model of wind and noise, whose sizes were estimated from this ride.",
    ]
    yaw = result.yaw_result.yaw_rms_deg
    if yaw is not None:
        limits.append(
            f"The laps met yaw of {number(yaw, places=1)}° (root mean square). The result says nothing of larger yaw."
        )
    if not result.supporting_data.course.closed:
        limits.append(
            "The course does not end where it begins, so the drag areas themselves depend on the height between its "
            "ends."
        )
    return limits
