"""A test planned before it is ridden: how many laps, in which order, and whether they can tell the difference.

The expected error (:mod:`fieldaero.plan.expected_error`) of a few laps is scaled to all numbers of
laps; :mod:`fieldaero.plan.resolving_power` turns it into the probability of an answer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from fieldaero.answers.cautions import STRONG_WIND_M_S
from fieldaero.basics.formatting import percent
from fieldaero.basics.quantities import number_within
from fieldaero.physics.flat_road import FlatRoad, seconds_over_distance, watts_at_speed
from fieldaero.plan.assumptions import planned_road, wind_at_rider_m_s
from fieldaero.plan.expected_error import ExpectedError, PlannedRide, expected_error
from fieldaero.plan.lap_order import balanced_order, changes_of_setup
from fieldaero.plan.ranges import (
    LAP_LENGTH_M,
    LAPS_PER_SETUP,
    POWER_W,
    RIDER_WIND_M_S,
    TIME_MIN,
    USUAL_TIME_MIN,
    USUAL_WIND_HEIGHT_M,
)
from fieldaero.plan.resolving_power import ENOUGH, resolvable_m2, resolving_power
from fieldaero.run_sheet.schema import USUAL_CHOICES, AnalysisChoices

__all__ = ["STEPS", "OtherCase", "Plan", "PowerPoint", "plan_test"]

Answer = Literal["go", "marginal", "no-go"]

HARDLY = 0.5  # power below which a test is called hopeless
LEAST_RECOMMENDED, CURVE_UP_TO = 3, 40  # laps per setup
REFERENCE_LAPS, MOST_REFERENCE_LAPS = 4, 6  # ridden in the simulator; other numbers of laps are scaled from them
WARM_UP_LAPS = 2
CHANGE_MIN = 3.0  # to stop, change, and roll up to the line again; common practice, no source
OUT_OF_REACH_S = 2.0
MOST_SAVED = 0.8  # of the drag: beyond it seconds mean nothing
OUT_OF_REACH = (
    f"Differences of one or two seconds over {USUAL_CHOICES.report_distance_km:g} km, such as small accessories give, "
    "are out of reach outdoors: they need a tunnel or an air-speed sensor"
)
MORE_WIND, LESS_WIND = 1.5, 0.5
REPORTED = {"report_speed_km_h", "report_distance_km", "report_power_w"}
STEPS = 3  # of the work, each about as long as the others: one for each wind


@dataclass(frozen=True, kw_only=True)
class PowerPoint:
    """What so many laps would do; ``probability`` is that of resolving the smallest difference."""

    laps_per_setup: int
    laps: int
    ride_min: float
    se_m2: float
    probability: float


@dataclass(frozen=True, kw_only=True)
class OtherCase:
    """What another wind would do to the same laps."""

    wind_m_s: float
    se_m2: float
    probability: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A planned test; setups begin with the baseline, and ``reason`` says why the answer is so.

    A reason has no full stop at its end, a caution has one.

    Attributes
    ----------
    ride_min, available_min
        Time for all of it, with warm-up and changes, and what there is.
    se_m2, half_width_m2
        Expected standard error of a difference, and half of its 95 % interval.
    probability
        That the smallest difference is resolved.
    smallest_difference_w, smallest_difference_s
        The smallest difference at the speed, distance and power of ``choices``.
    resolvable_m2, resolvable_w, resolvable_s
        What this plan resolves with a probability of 0.8; no seconds where that is most of the drag.
    wind_m_s, station_wind_m_s, station_height_m
        Wind at the rider's height, and as observed.
    curve
        What more or fewer laps would do.
    other_winds
        The same laps in half and in one and a half times the wind.
    ride
        What was assumed of road, rider and air.
    """

    answer: Answer
    reason: str
    setups: tuple[str, ...]
    order: tuple[str, ...]
    laps_per_setup: int
    changes: int
    warm_up_laps: int
    lap_s: float
    ride_min: float
    available_min: float
    se_m2: float
    half_width_m2: float
    probability: float
    smallest_difference_m2: float
    smallest_difference_w: float
    smallest_difference_s: float
    resolvable_m2: float
    resolvable_w: float
    resolvable_s: float | None
    wind_m_s: float
    station_wind_m_s: float
    station_height_m: float
    curve: tuple[PowerPoint, ...]
    other_winds: tuple[OtherCase, ...]
    ride: PlannedRide
    choices: AnalysisChoices
    cautions: tuple[str, ...]
    seed: int

    @property
    def true_cda_m2(self) -> dict[str, float]:
        """Drag area of each setup if all others have less drag than the baseline by the smallest difference."""
        cda, less = self.ride.cda_m2, self.smallest_difference_m2
        return {name: cda - (less if k else 0.0) for k, name in enumerate(self.setups)}

    def to_dict(self) -> dict[str, Any]:
        """Return the plan in JSON's own types."""
        told = asdict(self)
        reported = told.pop("choices").model_dump(include=REPORTED)
        return {"schema": 1, **told, **reported}


def plan_test(
    ride: PlannedRide,
    *,
    setups: Sequence[str],
    smallest_difference_m2: float,
    wind_m_s: float,
    wind_height_m: float = USUAL_WIND_HEIGHT_M,
    laps_per_setup: int | None = None,
    available_min: float = USUAL_TIME_MIN,
    seed: int = 0,
    choices: AnalysisChoices = USUAL_CHOICES,
    progress: Callable[[str], None] | None = None,
) -> Plan:
    """Plan a test in the expected wind of a station, with as few laps as are enough unless their number is given.

    ``available_min`` is the time for riding, with warm-up and changes of setup.  ``choices`` say at which speed,
    distance and power differences are also told, and how rough the ground is for the wind.  ``progress`` is called
    before each of ``STEPS`` steps.  What cannot be planned is an OutOfRangeError, a rider who does not get round in
    this wind a CannotAnswerError.
    """
    say = progress or (lambda _: None)
    number_within(available_min, quantity="available_min", **TIME_MIN._asdict())
    number_within(ride.power_w, quantity="power_w", **POWER_W._asdict())
    number_within(ride.course.length_m, quantity="lap_length_m", **LAP_LENGTH_M._asdict())
    at_rider = wind_at_rider_m_s(
        wind_m_s=wind_m_s, wind_height_m=wind_height_m, roughness_length_m=choices.roughness_length_m
    )
    number_within(
        at_rider,
        quantity="wind at the rider's height in m/s",
        **RIDER_WIND_M_S._asdict(),
        hint="too strong for a test: wait for calmer air",
    )
    ride = replace(ride, wind_m_s=at_rider)
    wanted = laps_per_setup
    # Bad numbers of laps and names are refused before anything is simulated.
    balanced_order(setups, laps_per_setup=REFERENCE_LAPS if wanted is None else wanted, seed=seed)
    few = wanted if wanted is not None and wanted <= MOST_REFERENCE_LAPS else REFERENCE_LAPS
    reference = balanced_order(setups, laps_per_setup=few, seed=seed)
    say("riding in the expected wind")
    expected = expected_error(ride, order=reference, difference_m2=smallest_difference_m2)
    curve = tuple(
        _point(expected, setups, n, smallest_difference_m2, seed)
        for n in range(LAPS_PER_SETUP[0], max(CURVE_UP_TO, wanted or 0) + 1)
    )
    chosen = next(p for p in curve if p.laps_per_setup == wanted) if wanted else _chosen(curve, available_min)
    order = balanced_order(setups, laps_per_setup=chosen.laps_per_setup, seed=seed)
    laps = {"setup_laps": chosen.laps_per_setup, "baseline_laps": order.count(order[0]), "setups": len(setups)}
    _, half = resolving_power(smallest_difference_m2, se_m2=chosen.se_m2, **laps)
    resolvable = resolvable_m2(se_m2=chosen.se_m2, **laps)
    road = planned_road(ride)
    small = [smallest_difference_m2, resolvable]
    watts = watts_at_speed(small, road=road, speed_km_h=choices.report_speed_km_h).tolist()
    # What is out of reach is known over the usual distance, whatever a sheet reports at.
    usual_s = _seconds_saved(smallest_difference_m2, ride, road, USUAL_CHOICES)
    answer, reason = _answer(chosen, curve, available_min, usual_s, fixed=wanted is not None)
    other_winds = []
    for factor, named in ((LESS_WIND, "less"), (MORE_WIND, "more")):
        say(f"riding in {named} wind")
        other_winds.append(_in_other_wind(factor, ride, reference, smallest_difference_m2, laps))
    return Plan(
        answer=answer,
        reason=reason,
        setups=tuple(setups),
        order=order,
        laps_per_setup=chosen.laps_per_setup,
        changes=changes_of_setup(order),
        warm_up_laps=WARM_UP_LAPS,
        lap_s=expected.lap_s,
        ride_min=chosen.ride_min,
        available_min=available_min,
        se_m2=chosen.se_m2,
        half_width_m2=half,
        probability=chosen.probability,
        smallest_difference_m2=smallest_difference_m2,
        smallest_difference_w=watts[0],
        smallest_difference_s=_seconds_saved(smallest_difference_m2, ride, road, choices),
        resolvable_m2=resolvable,
        resolvable_w=watts[1],
        resolvable_s=(
            None if resolvable > MOST_SAVED * ride.cda_m2 else _seconds_saved(resolvable, ride, road, choices)
        ),
        wind_m_s=at_rider,
        station_wind_m_s=wind_m_s,
        station_height_m=wind_height_m,
        curve=curve,
        other_winds=tuple(other_winds),
        ride=ride,
        choices=choices,
        cautions=_cautions(at_rider),
        seed=seed,
    )


def _point(expected: ExpectedError, setups: Sequence[str], n: int, smallest: float, seed: int) -> PowerPoint:
    order = balanced_order(setups, laps_per_setup=n, seed=seed)
    own = order.count(order[0])
    se = expected.se_for_m2(setup_laps=n, baseline_laps=own)
    power, _ = resolving_power(smallest, se_m2=se, setup_laps=n, baseline_laps=own, setups=len(setups))
    riding = (len(order) + WARM_UP_LAPS) * expected.lap_s / 60.0
    return PowerPoint(
        laps_per_setup=n,
        laps=len(order),
        ride_min=riding + changes_of_setup(order) * CHANGE_MIN,
        se_m2=se,
        probability=power,
    )


def _chosen(curve: Sequence[PowerPoint], available_min: float) -> PowerPoint:
    """Return as few laps as are enough; else as many as the time allows, or the least if it allows none."""
    fits = [p for p in curve if p.ride_min <= available_min] or [curve[0]]
    enough = [p for p in fits if p.probability >= ENOUGH and p.laps_per_setup >= LEAST_RECOMMENDED]
    return enough[0] if enough else fits[-1]


def _answer(
    chosen: PowerPoint, curve: Sequence[PowerPoint], available_min: float, usual_s: float, *, fixed: bool
) -> tuple[Answer, str]:
    n, chance = chosen.laps_per_setup, percent(chosen.probability)
    if usual_s <= OUT_OF_REACH_S:
        over = f"{usual_s:.1f} s over {USUAL_CHOICES.report_distance_km:g} km"
        return "no-go", f"the smallest difference is worth {over}. {OUT_OF_REACH}"
    if chosen.ride_min > available_min:
        return "no-go", (
            f"{n} laps per setup take {chosen.ride_min:.0f} min, but there are only {available_min:.0f} min; take "
            "fewer laps, a shorter course, or fewer setups"
        )
    told = f"{n} laps per setup resolve the smallest difference with a probability of {chance}"
    if chosen.probability >= ENOUGH:
        return "go", f"{told} in {chosen.ride_min:.0f} min"
    enough = next((p for p in curve if p.probability >= ENOUGH), None)
    limit = "" if fixed or chosen is curve[-1] else f"; no more fit into {available_min:.0f} min"
    need = (
        f"{enough.laps_per_setup} laps per setup ({enough.ride_min:.0f} min) would be enough"
        if enough
        else f"not even {curve[-1].laps_per_setup} laps per setup would be enough"
    )
    answer: Answer = "marginal" if chosen.probability >= HARDLY else "no-go"
    return answer, f"{told}{limit}; {need}. Calmer air helps more than more laps"


def _seconds_saved(difference_m2: float, ride: PlannedRide, road: FlatRoad, choices: AnalysisChoices) -> float:
    made = seconds_over_distance(
        -difference_m2,
        cda_m2=ride.cda_m2,
        road=road,
        distance_km=choices.report_distance_km,
        power_w=choices.report_power_w,
    )
    return -float(made)


def _in_other_wind(
    factor: float, ride: PlannedRide, order: Sequence[str], smallest: float, laps: dict[str, int]
) -> OtherCase:
    other = replace(ride, wind_m_s=factor * ride.wind_m_s)
    expected = expected_error(other, order=order, difference_m2=smallest)
    se = expected.se_for_m2(setup_laps=laps["setup_laps"], baseline_laps=laps["baseline_laps"])
    return OtherCase(wind_m_s=other.wind_m_s, se_m2=se, probability=resolving_power(smallest, se_m2=se, **laps)[0])


def _cautions(wind_m_s: float) -> tuple[str, ...]:
    if wind_m_s <= STRONG_WIND_M_S:
        return (f"{OUT_OF_REACH}.",)
    strong = f"Wind of {wind_m_s:.1f} m/s at the rider's height brings gusts that move a bike; wait for calmer air."
    return (strong, f"{OUT_OF_REACH}.")
