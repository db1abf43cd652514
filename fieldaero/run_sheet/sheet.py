"""The run sheet: which ride, which lap, which setup, what weather; the whole test on one page of TOML."""

from __future__ import annotations

import hashlib
import os
import tomllib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomli_w
from pydantic import ValidationError

from fieldaero.basics.errors import RideError, RunSheetError, WeatherError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond
from fieldaero.physics.system import System
from fieldaero.rides.local_positions import LOCAL_FRAME
from fieldaero.run_sheet.messages import closest, run_sheet_error, toml_remedy
from fieldaero.run_sheet.schema import (
    NOT_USED,
    AnalysisChoices,
    Claim,
    CourseFacts,
    Race,
    Setup,
    SheetTable,
    StartLineTable,
    SystemTable,
    TunnelSweep,
    WeatherEntry,
)
from fieldaero.weather.metar import parse_metar
from fieldaero.weather.observation import Observation, observation_from_readings
from fieldaero.weather.station_csv import read_weather_csv

if TYPE_CHECKING:
    from fieldaero.laps.lap import LapSource
    from fieldaero.laps.start_line import StartLine

__all__ = [
    "AnalysisChoices",
    "Claim",
    "CourseFacts",
    "RideEntry",
    "RunSheet",
    "Setup",
    "TunnelSweep",
    "WeatherEntry",
    "check_lap_list",
    "check_ride_file",
    "read_run_sheet",
    "run_sheet_from_text",
    "toml_table",
]

SCHEMA = 1
LARGEST_BYTES = 5_000_000


@dataclass(frozen=True, kw_only=True)
class RideEntry:
    """A ride of the test: its file, where that lies, and the setup of each lap ("-" for one not used)."""

    file: str
    path: Path
    lap_source: LapSource
    laps: tuple[str, ...]
    start_line: StartLine | None = None


@dataclass(frozen=True, kw_only=True)
class RunSheet:
    """A validated run sheet.

    Attributes
    ----------
    path, sha256
        Where it lies, and of which bytes it was made.
    title, baseline
        As written.
    system
        Rider and bike, defaults filled in.
    analysis, course, weather, setups, rides, claims, tunnel, races
        The tables.
    defaults_used
        One sentence per default that matters to the result.
    """

    path: Path
    sha256: str
    title: str
    baseline: str
    system: System
    analysis: AnalysisChoices
    course: CourseFacts
    weather: tuple[WeatherEntry, ...]
    setups: tuple[Setup, ...]
    rides: tuple[RideEntry, ...]
    claims: tuple[Claim, ...]
    tunnel: tuple[TunnelSweep, ...]
    races: tuple[Race, ...]
    defaults_used: tuple[str, ...]
    table: SheetTable

    def setup(self, name: str) -> Setup:
        """Return the setup of that name; KeyError where there is none."""
        for setup in self.setups:
            if setup.name == name:
                return setup
        raise KeyError(name)

    def observations(self, *, date: datetime | None) -> tuple[Observation, ...]:
        """Return the weather as observations.

        Parameters
        ----------
        date
            Start of the first ride: its year and month complete the reports of an entry without a time.

        Raises
        ------
        WeatherError
            For a reading that is missing or impossible, with the entry it stands in.
        """
        found: list[Observation] = []
        for number, entry in enumerate(self.weather, start=1):
            source = f"{self.path.name}: [[weather]] no. {number}"
            found += _entry_observations(entry, source, self.path.parent, date, self.course)
        return tuple(found)

    def to_toml(self) -> str:
        """Write the run sheet as TOML that reads back as the same."""
        return tomli_w.dumps(_without_none(self.table.model_dump(by_alias=True, exclude_unset=True)))


def read_run_sheet(path: str | os.PathLike[str]) -> RunSheet:
    """Read a run sheet; the rides that it names are not opened.

    Parameters
    ----------
    path
        A TOML file of schema 1.

    Returns
    -------
    The run sheet, checked.

    Raises
    ------
    RunSheetError
        With file, key, what was found and what is allowed.
    """
    where = Path(path)
    try:
        if where.is_dir():
            raise RunSheetError(f"{where}: is a folder; name the run sheet in it, a file like test.toml")
        if beyond(where.stat().st_size, LARGEST_BYTES):
            raise RunSheetError(
                f"{where}: {where.stat().st_size / 1e6:.0f} MB is too large for a run sheet; allowed are "
                f"{LARGEST_BYTES / 1e6:.0f} MB. Is it a ride? If not, {HOW_TO_LIFT}"
            )
        data = where.read_bytes()
    except FileNotFoundError:
        raise RunSheetError(f"{where}: there is no such file; give the path of a run sheet (TOML)") from None
    except OSError as problem:
        raise RunSheetError(f"{where}: cannot be read: {problem.strerror}") from None
    if not data.strip():
        raise RunSheetError(f"{where}: is empty; a first run sheet comes from: fieldaero init RIDE")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RunSheetError(
            f"{where}: is not UTF-8 text; a run sheet is a TOML file, saved as UTF-8. If this is a ride, a run sheet "
            f"comes from: fieldaero init {where.name}"
        ) from None
    return run_sheet_from_text(text, path=where, sha256=hashlib.sha256(data).hexdigest())


def run_sheet_from_text(text: str, *, path: Path, sha256: str | None = None) -> RunSheet:
    """Make a run sheet from its text; ``path`` names it and gives the folder that rides are relative to.

    Raises
    ------
    RunSheetError
        As :func:`read_run_sheet`.
    """
    raw = toml_table(text, name=path.name)
    if raw.get("schema", SCHEMA) != SCHEMA:
        raise RunSheetError(f"{path.name}: schema is {raw['schema']}; allowed is {SCHEMA}")
    try:
        table = SheetTable.model_validate(raw)
    except ValidationError as problem:
        raise run_sheet_error(path.name, problem) from None
    _check_names(table, path.name)
    system, defaults = _system(table.system)
    claims = tuple(
        claim if claim.versus is not None else claim.model_copy(update={"versus": table.baseline})
        for claim in table.claims
    )
    folder = path.parent
    return RunSheet(
        path=path,
        sha256=sha256 or hashlib.sha256(text.encode()).hexdigest(),
        title=table.title,
        baseline=table.baseline,
        system=system,
        analysis=table.analysis,
        course=table.course,
        weather=table.weather,
        setups=table.setups,
        rides=tuple(
            RideEntry(
                file=ride.file,
                path=folder / ride.file,
                lap_source=ride.lap_source,
                laps=ride.laps,
                start_line=None if ride.start_line is None else _start_line(ride.start_line),
            )
            for ride in table.rides
        ),
        claims=claims,
        tunnel=table.tunnel,
        races=table.races,
        defaults_used=defaults,
        table=table,
    )


def toml_table(text: str, *, name: str) -> dict[str, Any]:
    """Return what TOML says, as it stands there.

    Raises
    ------
    RunSheetError
        Where it is no TOML; with ``name`` and what is wrong.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise RunSheetError(f"{name}: is not valid TOML: {problem}; {toml_remedy(text, problem)}") from None
    except (ValueError, RecursionError):  # the parser's own limits: digits of a whole number, depth of nested lists
        raise RunSheetError(
            f"{name}: holds a number of thousands of digits, or lists within lists by the hundred; a run sheet has "
            "neither, take it out"
        ) from None


def _start_line(table: StartLineTable) -> StartLine:
    from fieldaero.laps.start_line import StartLine  # heavy, and few sheets name a line

    latitude, longitude = table.latitude_deg, table.longitude_deg
    if latitude is None or longitude is None:
        assert table.east_m is not None
        assert table.north_m is not None
        latitude, longitude = (float(x) for x in LOCAL_FRAME.to_degrees(table.east_m, table.north_m))
    return StartLine(latitude_deg=latitude, longitude_deg=longitude, heading_deg=table.heading_deg)


def check_lap_list(run_sheet: RunSheet, ride_index: int, n_laps: int) -> None:
    """Refuse a lap list that does not name each lap of the ride.

    Raises
    ------
    RunSheetError
        With the ride, how many laps it has and how many are named.
    """
    entry = run_sheet.rides[ride_index]
    if len(entry.laps) == n_laps:
        return
    raise RunSheetError(
        f"{run_sheet.path.name}: [[rides]] no. {ride_index + 1}, laps names {len(entry.laps)} laps, and {entry.file} "
        f'has {n_laps} by lap_source = "{entry.lap_source}"; name each in order, with "-" for one that is not used. '
        f"To see them: fieldaero laps {entry.file} --source {entry.lap_source}"
    )


def check_ride_file(run_sheet: RunSheet, ride_index: int) -> None:
    """Refuse a ride that is not where the run sheet says.

    Parameters
    ----------
    run_sheet
        The run sheet.
    ride_index
        Which of its rides, 0-based.

    Raises
    ------
    RideError
        With the run sheet, the path, and the name of a file there that is nearly the same.
    """
    entry = run_sheet.rides[ride_index]
    if entry.path.exists():
        return
    folder = entry.path.parent
    beside = sorted(one.name for one in folder.iterdir()) if folder.is_dir() else []
    raise RideError(
        f"{run_sheet.path.name}: [[rides]] no. {ride_index + 1}, {entry.file}: no such file at {entry.path};"
        f"{closest(entry.path.name, beside)} a ride's name is relative to the run sheet; mend it there"
    )


def _check_names(table: SheetTable, file: str) -> None:
    for what, entries in (("rides", table.rides), ("setups", table.setups), ("weather", table.weather)):
        if not entries:
            raise RunSheetError(f"{file}: [[{what}]] is empty; allowed is one or more")
    names = [setup.name for setup in table.setups]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise RunSheetError(f'{file}: [[setups]] names "{twice}" twice; each setup needs a name of its own')

    def known(name: str | None, where: str, *, dash: bool = False) -> None:
        if name is None or name in names or (dash and name == NOT_USED):
            return
        unused = ' or "-"' if dash else ""
        raise RunSheetError(
            f'{file}: {where} is "{name}", which is no setup;{closest(name, names)} allowed are '
            f"{', '.join(chr(34) + n + chr(34) for n in names)}{unused}"
        )

    known(table.baseline, "baseline")
    if any(setup.name == table.baseline and setup.known_added_cda_m2 is not None for setup in table.setups):
        raise RunSheetError(
            f"{file}: known_added_cda_m2 is given for the baseline, to which it is relative; give it to the setup that "
            "is ridden with the known drag"
        )
    for number, ride in enumerate(table.rides, start=1):
        for lap, name in enumerate(ride.laps, start=1):
            known(name, f"[[rides]] no. {number}, laps, lap {lap}", dash=True)
    for number, claim in enumerate(table.claims, start=1):
        known(claim.setup, f"[[claims]] no. {number}, setup")
        known(claim.versus, f"[[claims]] no. {number}, versus")
        if claim.setup == (claim.versus or table.baseline):
            raise RunSheetError(f"{file}: [[claims]] no. {number} compares {claim.setup!r} with itself")
    for number, sweep in enumerate(table.tunnel, start=1):
        known(sweep.setup, f"[[tunnel]] no. {number}, setup")


def _system(table: SystemTable) -> tuple[System, tuple[str, ...]]:
    given = table.model_dump(exclude_none=True)
    system = System(**given)
    sentences = []
    if "crr" not in given:
        sentences.append(f"crr is not given: {system.crr} with a standard uncertainty of {system.crr_sd} is taken.")
    if "wheel_circumference_m" not in given:
        sentences.append(f"wheel_circumference_m is not given: {system.wheel_circumference_m} m is taken.")
    return system, tuple(sentences)


def _entry_observations(
    entry: WeatherEntry, source: str, folder: Path, date: datetime | None, course: CourseFacts
) -> list[Observation]:
    if entry.file is not None:
        return read_weather_csv(folder / entry.file)
    elevation = entry.elevation_m if entry.elevation_m is not None else course.elevation_m
    if entry.metar is not None:
        month = entry.time or date
        if month is None:
            raise WeatherError(f"{source}: a metar report needs its year and month; add time, any moment of that month")
        try:
            return parse_metar(entry.metar, year=month.year, month=month.month, elevation_m=elevation)
        except WeatherError as problem:
            raise WeatherError(f"{source}: {problem}") from None
    errors: dict[str, Any] = {}
    if entry.temperature_sd_c is not None:
        errors["temperature_sd_c"] = entry.temperature_sd_c
    if entry.pressure_sd_hpa is not None:
        errors["pressure_sd_pa"] = entry.pressure_sd_hpa * 100.0
    if entry.relative_humidity_sd_pct is not None:
        errors["relative_humidity_sd"] = entry.relative_humidity_sd_pct / 100.0
    assert entry.temperature_c is not None
    return [
        observation_from_readings(
            time=entry.time,
            temperature_c=entry.temperature_c,
            pressure_hpa=entry.pressure_hpa,
            altimeter_hpa=entry.altimeter_hpa,
            elevation_m=elevation if entry.altimeter_hpa is not None else None,
            relative_humidity_pct=entry.relative_humidity_pct,
            dew_point_c=entry.dew_point_c,
            wind_speed_m_s=entry.wind_speed_m_s,
            wind_from_deg=entry.wind_from_deg,
            wind_height_m=entry.wind_height_m,
            source=source,
            **errors,
        )
    ]


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list | tuple):
        return [_without_none(v) for v in value]
    return value
