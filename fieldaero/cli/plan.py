"""The command that plans a test before it is ridden."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fieldaero.cli.options import progress
from fieldaero.plan.ranges import (
    CDA_M2,
    TRIAL_SESSIONS,
    USUAL_CDA_M2,
    USUAL_SPEED_KM_H,
    USUAL_TIME_MIN,
    USUAL_WIND_HEIGHT_M,
)

if TYPE_CHECKING:
    from fieldaero.plan.assumptions import FormerTest
    from fieldaero.plan.expected_error import PlannedRide
    from fieldaero.plan.plan import Plan

__all__ = ["plan"]


class _Plan(click.Command):
    """The command whose help ends with the usual values, read from where they stand only when it is shown."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write what is taken where nothing is given."""
        from fieldaero.physics.system import USUAL_MASS_KG, System
        from fieldaero.run_sheet.schema import USUAL_CHOICES

        formatter.write_paragraph()
        formatter.write_text(
            f"What you do not give comes from the former test, or else is usual: {USUAL_MASS_KG:g} kg, "
            f"CdA {USUAL_CDA_M2:g} m2, Crr {System.crr:g}, {USUAL_SPEED_KM_H:g} km/h, differences in "
            f"{USUAL_CHOICES.in_watts} and in {USUAL_CHOICES.in_seconds}."
        )


@click.command(cls=_Plan)
@click.option("--wind-m-s", type=float, required=True, help="Expected mean wind, as a station or a forecast gives it.")
@click.option(
    "--wind-height-m",
    type=float,
    default=USUAL_WIND_HEIGHT_M,
    show_default=True,
    help="Height of that station's meter.",
)
@click.option("--lap-length-m", type=float, help="Length of a lap.")
@click.option(
    "--shape",
    type=click.Choice(["loop", "out-and-back"]),
    default="loop",
    show_default=True,
    help="Shape of the course.",
)
@click.option("--ride", metavar="RIDE", help="A ride on the course, instead of its length and shape.")
@click.option("--power-w", type=float, help="Power that you will hold.")
@click.option("--speed-km-h", type=float, help="Or the speed, on the flat in still air.")
@click.option(
    "--setup", "names", metavar="NAME", multiple=True, help="Name of a setup; once for each, the baseline first."
)
@click.option(
    "--setups", "count", type=int, help="Or only the number of setups, baseline included; 2 if none is named."
)
@click.option("--smallest-m2", type=float, help="Smallest difference that matters, in m2.")
@click.option("--smallest-w", type=float, help="Or in W, at the speed named below.")
@click.option("--smallest-s", type=float, help="Or in s, over the distance named below.")
@click.option("--laps", type=int, help="Laps per setup; as few as are enough if not given.")
@click.option(
    "--time-min", type=float, default=USUAL_TIME_MIN, show_default=True, help="Time for riding, changes included."
)
@click.option("--former", metavar="FILE", help="A former run sheet or result.json.")
@click.option("--mass-kg", type=float, help="Rider, bike and everything carried.")
@click.option("--cda-m2", type=float, help="About your drag area.")
@click.option("--crr", type=float, help="Coefficient of rolling resistance.")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Draws another balanced order.")
@click.option("--simulate", "sessions", metavar="N", type=int, help="Also ride this plan N times in the simulator.")
@click.option("--sheet", metavar="FILE", help="Also write the plan as a page to print (HTML).")
@click.option("--run-sheet", metavar="FILE", help="Also write a run sheet with this order, to be filled in.")
@click.option("--force", is_flag=True, help="Replace existing files.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def plan(
    *, sessions: int | None, sheet: str | None, run_sheet: str | None, force: bool, as_json: bool, **wishes: Any
) -> None:
    """Plan a test: how many laps, in which order, and whether they can tell the difference.

    The answer is go, marginal or no-go, with the expected error, the ride time and what
    more or fewer laps or another wind would do. One of the three --smallest options is
    needed. A former test gives your own mass, Crr, CdA, scatter and noise, and the
    speed, distance and power at which its run sheet reports differences.
    """
    from dataclasses import asdict

    from fieldaero.basics.errors import FieldaeroError
    from fieldaero.basics.output_files import json_text, write_text
    from fieldaero.plan.text import plan_text, trial_text
    from fieldaero.plan.trial import try_plan

    for path in (sheet, run_sheet):
        if path is not None and Path(path).exists() and not force:
            raise FieldaeroError(f"{path}: is there already and was left as it is; choose another name, or add --force")
        for taken in (wishes["ride"], wishes["former"]):
            both = path is not None and taken is not None and Path(path).exists() and Path(taken).exists()
            if both and Path(str(path)).samefile(str(taken)):
                raise FieldaeroError(f"{path}: is read for this plan, and no input is replaced; choose another name")
    if sheet is not None and run_sheet is not None and Path(sheet).absolute() == Path(run_sheet).absolute():
        raise FieldaeroError(f"{sheet}: is named for the page and the run sheet; choose two names")
    fewest, most = TRIAL_SESSIONS
    if sessions is not None and not fewest <= sessions <= most:
        raise FieldaeroError(f"--simulate is {sessions}; allowed is {fewest} to {most} sessions")
    made = _planned(**wishes)
    trial = None
    if sessions is not None:
        trial = try_plan(made, sessions=sessions, progress=progress())
    if sheet is not None:
        from fieldaero.plan.printed_page import printed_page

        write_text(printed_page(made), sheet, replace=force)
    if run_sheet is not None:
        from fieldaero.run_sheet.template import planned_run_sheet

        text = planned_run_sheet(
            made.setups,
            made.order,
            smallest_difference_m2=made.smallest_difference_m2,
            system=made.ride.system,
            choices=made.choices,
        )
        write_text(text, run_sheet, replace=force)
    if as_json:
        told = made.to_dict()
        click.echo(json_text(told if trial is None else {**told, "simulated": asdict(trial)}))
    else:
        click.echo(plan_text(made) + ("" if trial is None else f"\n\n{trial_text(trial)}"))
    for path, what in ((sheet, "page to print"), (run_sheet, "run sheet")):
        if path is not None:
            click.echo(f"Wrote the {what} to {path}.", err=True)


def _planned(
    *,
    names: tuple[str, ...],
    count: int | None,
    smallest_m2: float | None,
    smallest_w: float | None,
    smallest_s: float | None,
    laps: int | None,
    time_min: float,
    wind_m_s: float,
    wind_height_m: float,
    seed: int,
    former: str | None,
    **road: Any,
) -> Plan:
    from fieldaero.plan.assumptions import former_test
    from fieldaero.plan.assumptions import smallest_m2 as smallest
    from fieldaero.plan.plan import plan_test
    from fieldaero.run_sheet.schema import USUAL_CHOICES

    before = None if former is None else former_test(former)
    choices = USUAL_CHOICES if before is None else before.choices
    ride = _ride(former=before, **road)
    return plan_test(
        ride,
        setups=_setups(names, count),
        smallest_difference_m2=smallest(
            ride, difference_m2=smallest_m2, difference_w=smallest_w, difference_s=smallest_s, choices=choices
        ),
        wind_m_s=wind_m_s,
        wind_height_m=wind_height_m,
        laps_per_setup=laps,
        available_min=time_min,
        seed=seed,
        choices=choices,
    )


def _setups(names: tuple[str, ...], count: int | None) -> tuple[str, ...]:
    from fieldaero.basics.errors import FieldaeroError
    from fieldaero.run_sheet.schema import FIRST_SETUP, NOT_USED

    if names and count is not None and count != len(names):
        raise FieldaeroError(f"--setups is {count} and {len(names)} are named by --setup; give one or the other")
    if any(not name.strip() or name == NOT_USED for name in names):
        raise FieldaeroError(
            f'a setup has no name, or is called "{NOT_USED}", which stands for a lap that is not used; '
            "give it another name"
        )
    return names or (FIRST_SETUP, *(f"setup {k}" for k in range(2, (2 if count is None else count) + 1)))


def _ride(
    *,
    lap_length_m: float | None,
    shape: str,
    ride: str | None,
    power_w: float | None,
    speed_km_h: float | None,
    former: FormerTest | None,
    mass_kg: float | None,
    cda_m2: float | None,
    crr: float | None,
) -> PlannedRide:
    from fieldaero.basics.errors import FieldaeroError
    from fieldaero.basics.quantities import number_within
    from fieldaero.plan.assumptions import planned_ride, road_ridden
    from fieldaero.run_sheet.schema import SystemTable, allowed_range
    from fieldaero.simulator import CourseShape

    if (lap_length_m is None) == (ride is None):
        raise FieldaeroError("give the course once: by --lap-length-m, or by --ride with a ride on it")
    if power_w is not None and speed_km_h is not None:
        raise FieldaeroError("--power-w and --speed-km-h are both given; give one of them")
    if mass_kg is not None:
        low, high = allowed_range(SystemTable, "mass_kg")
        number_within(mass_kg, quantity="--mass-kg", low=low, high=high)
    if crr is not None:
        low, high = allowed_range(SystemTable, "crr")
        number_within(crr, quantity="--crr", low=low, high=high)
    course = CourseShape(shape="loop" if shape == "loop" else "out_and_back", length_m=lap_length_m or 0.0)
    if ride is not None:
        ridden = road_ridden(ride)
        course = ridden.course
        if power_w is None and speed_km_h is None:
            power_w = ridden.power_w
    planned = planned_ride(
        course, mass_kg=mass_kg, crr=crr, cda_m2=cda_m2, power_w=power_w, speed_km_h=speed_km_h, former=former
    )
    number_within(planned.cda_m2, quantity="--cda-m2", **CDA_M2._asdict())
    return planned
