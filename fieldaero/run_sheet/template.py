"""A first run sheet made from rides: what the files know is filled in, what they cannot know is asked for.

Nothing is invented.  Weather and mass stand there as commented lines with the range
that is usual, so that an analysis of the untouched sheet says what is missing.  The
explanations are those of :mod:`fieldaero.run_sheet.schema`, which the pages show too.
"""

from __future__ import annotations

import os
import textwrap
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from pydantic import BaseModel

from fieldaero.basics.errors import RunSheetError
from fieldaero.basics.formatting import clock, duration, number, one_line
from fieldaero.basics.safety import SAFETY
from fieldaero.laps.lap import Lap, flag_words
from fieldaero.laps.lap_list import LapListing, course_in_words, list_laps
from fieldaero.laps.start_line import StartLine
from fieldaero.physics.system import System
from fieldaero.rides import read_ride
from fieldaero.rides.ride import check_power
from fieldaero.run_sheet.schema import (
    FIRST_SETUP,
    NOT_USED,
    SCHEMA,
    USUAL_CHOICES,
    USUAL_SMALLEST_DIFFERENCE_M2,
    USUAL_SYSTEM,
    AnalysisChoices,
    SystemTable,
    WeatherEntry,
    explained,
)
from fieldaero.run_sheet.toml_text import FILL_IN, toml_value

__all__ = ["draft_run_sheet", "planned_run_sheet"]


SAFETY_NOTES = "\n".join(textwrap.fill(line, 90, initial_indent="# - ", subsequent_indent="#   ") for line in SAFETY)

HEAD = f"""\
# Run sheet of fieldaero: the whole test on one page.
# Lines that begin with # are explanations. Lines marked FILL IN have to be
# completed: remove the # and write your own value.
#
# Before you ride:
{SAFETY_NOTES}

schema = {SCHEMA}
"""

WEATHER = """\
# FILL IN, from a hand-held meter at the course or from a weather station close by.
# More entries make the air follow the time of day: copy the block, one per reading.
"""

READINGS = tuple(key for key, field in WeatherEntry.model_fields.items() if field.description)

# Of [system] and [analysis]: what every sheet says, and what it says only where it is not the usual value.
SYSTEM_KEYS = ("mass_sd_kg", "wheel_inertia_kg_m2", "wheel_circumference_m", "power_at", "crr", "crr_sd")
RARE_SYSTEM_KEYS = ("drivetrain_efficiency", "power_scale_sd", "wheel_circumference_sd")
CHOICE_KEYS = ("report_speed_km_h", "report_distance_km", "report_power_w")
RARE_CHOICE_KEYS = ("roughness_length_m", "drift_sd_per_h", "estimate_crr")
TO_CHECK = ("wheel_circumference_m", "power_at")

SETUPS = f"""\
[[setups]]                      # one block for each setup
name = "{FIRST_SETUP}"
# mass_change_kg = 0.0          # what this setup adds to the mass above

# [[setups]]
# name = "second setup"
"""

RIDES = """\
# One block for each ride. In laps stands one name for each lap, in order: the name
# of a setup, or "-" for a lap that is not used. Entered below: "baseline" for every
# complete lap without a flag. Put the names of your setups in their places.
"""


def draft_run_sheet(paths: Sequence[str | os.PathLike[str]], *, folder: str | os.PathLike[str] = ".") -> str:
    """Return the text of a commented run sheet for these rides, in the order in which they were ridden.

    ``folder`` is where the sheet will lie; rides are named relative to it.  The text is complete apart from
    the lines marked FILL IN.
    """
    if not paths:
        raise RunSheetError("a run sheet needs at least one ride; name the ride files")
    listings: list[tuple[str, LapListing]] = []
    line: StartLine | None = None
    for path in paths:
        ride = read_ride(path)
        check_power(ride)
        listing = list_laps(ride, start_line=line)
        # Laps of one session are counted from one line, so later rides are cut at the line of the first.
        if line is None and listing.course is not None:
            line = listing.course.start_line
        listings.append((_named_from(path, folder), listing))
    parts = [
        _head(
            _title(listings[0][1]),
            baseline=FIRST_SETUP,
            smallest=f"{USUAL_SMALLEST_DIFFERENCE_M2}  # CHECK: a smaller difference would not matter to you; "
            "0.001 to 0.005",
            system=USUAL_SYSTEM,
            choices=USUAL_CHOICES,
        ),
        "\n\n".join(
            [WEATHER + _weather_entry(listings[0][1]), *(_weather_entry(listing) for _, listing in listings[1:])]
        )
        + "\n",
        SETUPS,
        "\n".join([RIDES + _ride_entry(*listings[0]), *(_ride_entry(*one) for one in listings[1:])]),
    ]
    return "\n".join(parts)


def planned_run_sheet(
    setups: Sequence[str],
    order: Sequence[str],
    *,
    smallest_difference_m2: float,
    system: System = USUAL_SYSTEM,
    choices: AnalysisChoices = USUAL_CHOICES,
) -> str:
    """Return the text of a commented run sheet for a test that has yet to be ridden.

    The setups begin with the baseline, ``order`` is the setup of each lap.  An analysis of the sheet says what
    is missing: first the mass, which is weighed on the day, then the weather, then the ride.
    """
    laps = "\n".join(f"    {toml_value(name)},  # test lap {k}" for k, name in enumerate(order, start=1))
    return "\n".join(
        [
            _head(
                "Planned test",
                baseline=setups[0],
                smallest=f"{smallest_difference_m2:.5f}  # as planned: a smaller difference would not matter to you",
                system=system,
                choices=choices,
            ),
            WEATHER + "[[weather]]\n" + _line("# time", "", "like 2026-05-03T07:10:00Z") + f"\n{_readings()}\n",
            *(f"[[setups]]\nname = {toml_value(name)}\n" for name in setups),
            "# FILL IN: the ride's file, and one name for each of its laps in order; the planned\n"
            '# order is entered, "-" stands for laps that are not used: rolling in, dry laps, rolling out.\n'
            '# After a ride, "fieldaero laps" lists its laps.\n[[rides]]\nfile = "ride.fit"\nlap_source = "button"\n'
            f'laps = [\n    "-",  # rolling in and dry laps: one entry for each\n{laps}\n    "-",  # rolling out\n]\n',
        ]
    )


def _head(title: str, *, baseline: str, smallest: str, system: System, choices: AnalysisChoices) -> str:
    """Return the sheet down to its weather; ``smallest`` is a number with its comment."""
    usual = {"drivetrain_efficiency": USUAL_SYSTEM.efficiency, "power_scale_sd": USUAL_SYSTEM.power_scale_sd}
    lines = [
        f"{HEAD}title = {toml_value(title)}",
        _line("baseline", toml_value(baseline), "the setup that the others are compared with"),
        "",
        "[system]                        # rider, bike and everything carried",
        _line("# mass_kg", "", FILL_IN + explained(SystemTable, "mass_kg")),
        *(_stated(SystemTable, key, getattr(system, key)) for key in SYSTEM_KEYS),
    ]
    for key in RARE_SYSTEM_KEYS:
        if getattr(system, key) != getattr(USUAL_SYSTEM, key):
            lines.append(_stated(SystemTable, key, getattr(system, key)))
        elif key in usual:
            lines.append(_line(f"# {key}", str(usual[key]), explained(SystemTable, key)))
    lines += [
        "",
        "[analysis]",
        f"smallest_difference_m2 = {smallest}",
        *(_stated(AnalysisChoices, key, getattr(choices, key)) for key in CHOICE_KEYS),
        *(
            _stated(AnalysisChoices, key, getattr(choices, key))
            for key in RARE_CHOICE_KEYS
            if getattr(choices, key) != getattr(USUAL_CHOICES, key)
        ),
    ]
    return "\n".join(lines) + "\n"


def _stated(table: type[BaseModel], key: str, value: str | float) -> str:
    check = "CHECK: " if key in TO_CHECK else ""
    return _line(key, toml_value(value), check + explained(table, key))


def _line(key: str, value: str, comment: str) -> str:
    return f"{key} = {value}".ljust(31) + f" # {comment}"


def _named_from(path: str | os.PathLike[str], folder: str | os.PathLike[str]) -> str:
    """Name a ride as seen from the sheet, with forward slashes, which TOML and all systems take."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return Path(path).resolve().as_posix()


def _title(listing: LapListing) -> str:
    when = listing.ride.start_time
    return f"Test of {when:%Y-%m-%d}" if when else "Test"


def _weather_entry(listing: LapListing) -> str:
    start = listing.ride.start_time
    if start is None:
        head = "[[weather]]                     # the ride has no clock time, so these values hold for all of it"
        return f"{head}\n{_readings()}"
    end = listing.ride.clock(listing.ride.duration_s)
    return (
        f"[[weather]]\ntime = {_toml_time(start)}     # start of {one_line(listing.ride.source.file)}, UTC; "
        f"it ends at {clock(end)}\n{_readings()}"
    )


def _readings() -> str:
    return "\n".join(_line(f"# {key}", "", explained(WeatherEntry, key)) for key in READINGS)


def _toml_time(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%S}Z"


def _ride_entry(name: str, listing: LapListing) -> str:
    course = listing.no_course if listing.course is None else course_in_words(listing.course)
    usable = [lap.number in listing.complete and not lap.flags for lap in listing.laps]
    lines = ["[[rides]]", f"file = {toml_value(name)}"]
    lines += [f"# {one_line(note)}" for note in listing.ride.notes]
    lines.append(f'lap_source = "{listing.lap_source}"   # {one_line(listing.why)}')
    lines.append(f"# {one_line(course)}")
    if not any(usable):
        lines.append("# No lap is complete and free of flags. Enter those that you trust, or ride again.")
    lines.append("laps = [")
    for lap, use in zip(listing.laps, usable, strict=True):
        setup = f'"{FIRST_SETUP if use else NOT_USED}",'
        lines.append(f"    {setup:<12}  # {_lap_in_words(lap, listing)}")
    return "\n".join([*lines, "]\n"])


def _lap_in_words(lap: Lap, listing: LapListing) -> str:
    power = listing.power_w(lap)
    words = [f"lap {lap.number}: {duration(lap.duration_s)}", f"{number(lap.distance_m)} m", f"{number(power)} W"]
    at = listing.ride.clock(lap.start_s)
    if at is not None:
        words.insert(1, f"from {clock(at)} UTC")
    if lap.number not in listing.complete:
        words.append("not a complete lap")
    words += flag_words(lap.flag_names)
    return ", ".join(words)
