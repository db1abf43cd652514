"""A plan in plain text."""

from __future__ import annotations

from fieldaero.basics.formatting import counted, number, one_line, table
from fieldaero.basics.safety import SAFETY
from fieldaero.plan.plan import Plan, PowerPoint
from fieldaero.plan.resolving_power import ENOUGH
from fieldaero.plan.trial import TrialSummary

__all__ = ["differences", "plan_text", "trial_text"]

ROWS = (2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 30, 40)


def plan_text(plan: Plan) -> str:
    """Return a plan as text: the answer first, then the ride, its error, other cases, and what is out of reach."""
    p = plan
    parts = [
        f"{p.answer.upper()}: {one_line(p.reason)}.",
        _ride(p),
        _error(p),
        "Order: " + " · ".join(one_line(name) for name in p.order),
        "What more or fewer laps would do:\n" + _curve(p),
        "What the wind would do to the same laps:\n" + _winds(p),
        "\n".join(p.cautions),
        "Before you ride:\n" + "\n".join(f"  {line}" for line in SAFETY),
    ]
    return "\n\n".join(parts)


def trial_text(trial: TrialSummary) -> str:
    """Return what simulated sessions of a plan achieved, as text."""
    t = trial
    sessions = f"{counted(t.sessions, 'simulated session')} of this plan, {counted(t.comparisons, 'comparison')}"
    rows = [
        ["error of a difference [m²]", number(t.planned_se_m2, places=5), number(t.rmse_m2, places=5)],
        ["resolved", _share(t.promised), _share(t.resolved)],
        ["intervals that hold the truth", "95 %", _share(t.covered)],
        ["on the wrong side of zero", "at most 2.5 %", _share(t.wrong)],
    ]
    return (
        f"{sessions}:\n{table(['', 'planned', 'achieved'], rows)}\n"
        f"The achieved error is itself known to ±{number(t.rmse_se_m2, places=5)} m²."
    )


def _share(value: float) -> str:
    return f"{number(100.0 * value)} %"


def _ride(p: Plan) -> str:
    shape = "there and back" if p.ride.course.shape == "out_and_back" else "loop"
    return (
        f"{p.laps_per_setup} laps per setup, {len(p.order)} in all, after {p.warm_up_laps} dry laps; {p.changes} "
        f"changes of setup. Lap: {shape}, {number(p.ride.course.length_m)} m, {number(p.ride.power_w)} W, "
        f"{number(p.lap_s / 60.0, places=1)} min. Ride time with changes: {number(p.ride_min)} of "
        f"{number(p.available_min)} min.\nWind: {number(p.station_wind_m_s, places=1)} m/s at "
        f"{number(p.station_height_m, places=1)} m, {number(p.wind_m_s, places=1)} m/s at the rider's height."
        f"\n{_assumed(p)}"
    )


def _assumed(p: Plan) -> str:
    ride = p.ride
    return (
        f"Assumed: {number(ride.system.mass_kg, places=1)} kg, CdA {number(ride.cda_m2, places=3)} m², "
        f"Crr {number(ride.system.crr, places=4)}; CdA scatters by {number(ride.scatter_m2, places=4)} m² from lap to "
        f"lap; the wind changes slowly by {_share(ride.slow_share)} and gusts by {_share(ride.gust_share)} of its mean."
    )


def _error(p: Plan) -> str:
    rows = [
        [name, number(m2, places=4), number(watts, places=1), number(seconds, places=1)]
        for name, m2, watts, seconds in differences(p)
    ]
    header = ["", "m²", p.choices.in_watts, p.choices.in_seconds]
    return (
        f"Expected standard error of a difference: {number(p.se_m2, places=5)} m² (95 % interval: "
        f"±{number(p.half_width_m2, places=4)} m²).\n{table(header, rows)}"
    )


def differences(p: Plan) -> list[tuple[str, float, float, float | None]]:
    """Return the smallest difference, and what the plan resolves, each with its name and in m2, W and s."""
    return [
        (
            "smallest difference that matters",
            p.smallest_difference_m2,
            p.smallest_difference_w,
            p.smallest_difference_s,
        ),
        (f"resolved with a probability of {_share(ENOUGH)}", p.resolvable_m2, p.resolvable_w, p.resolvable_s),
    ]


def _curve(p: Plan) -> str:
    shown = [point for point in p.curve if point.laps_per_setup in (*ROWS, p.laps_per_setup)]
    header = ["laps per setup", "laps", "ride [min]", "standard error [m²]", "probability of resolving", ""]
    return table(header, [_point(point, p) for point in shown], left=(5,))


def _point(point: PowerPoint, p: Plan) -> list[str]:
    here = "this plan" if point.laps_per_setup == p.laps_per_setup else ""
    return [
        str(point.laps_per_setup),
        str(point.laps),
        number(point.ride_min),
        number(point.se_m2, places=5),
        _share(point.probability),
        here or ("takes too long" if point.ride_min > p.available_min else ""),
    ]


def _winds(p: Plan) -> str:
    cases = sorted(
        [*((c.wind_m_s, c.se_m2, c.probability) for c in p.other_winds), (p.wind_m_s, p.se_m2, p.probability)]
    )
    rows = [[number(w, places=1), number(se, places=5), _share(power)] for w, se, power in cases]
    return table(["wind at the rider [m/s]", "standard error [m²]", "probability of resolving"], rows, left=())
