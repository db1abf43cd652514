"""The run sheet: which ride, which lap, which setup, what weather; the whole test on one page of TOML."""

from __future__ import annotations

import hashlib
import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from fieldaero.basics.errors import RideError, RunSheetError, WeatherError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond
from fieldaero.physics.system import System
from fieldaero.rides.local_positions import LOCAL_FRAME
from fieldaero.run_sheet.messages import closest, run_sheet_error, shown, toml_remedy
from fieldaero.run_sheet.schema import (
    FIRST_SETUP,
    NOT_USED,
    READING_MISSING,
    SCHEMA,
    AnalysisChoices,
    Claim,
    CourseFacts,
    Race,
    RideTable,
    Setup,
    SheetTable,
    StartLineTable,
    SystemTable,
    TunnelSweep,
    WeatherEntry,
)
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.weather.metar import parse_metar
from fieldaero.weather.observation import Observation, observation_from_readings
from fieldaero.weather.station_csv import read_weather_csv

if TYPE_CHECKING:
    from fieldaero.laps.lap import LapSource
    from fieldaero.laps.start_line import StartLine

__all__ = [
    "RideEntry",
    "RunSheet",
    "check_lap_list",
    "check_ride_file",
    "check_unfinished",
    "entry_observations",
    "read_run_sheet",
    "ride_entry",
    "run_sheet_from_text",
    "system_of",
    "toml_table",
]

Table = TypeVar("Table", bound=BaseModel)

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
    """A validated run sheet; ``system`` with defaults filled in, ``defaults_used`` a sentence for each that matters."""

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

    def to_toml(self) -> str:
        """Write the run sheet as TOML that reads back as the same."""
        return toml_text(self.table.model_dump(by_alias=True, exclude_unset=True))

    def observations(self, *, date: datetime | None) -> tuple[Observation, ...]:
        """Return the weather as observations; year and month of ``date`` complete reports without a time."""
        found: list[Observation] = []
        for number, entry in enumerate(self.weather, start=1):
            source = f"{self.path.name}: [[weather]] no. {number}"
            if entry.file is not None:
                found += read_weather_csv(self.path.parent / entry.file)
            else:
                found += entry_observations(entry, source=source, date=date, course=self.course)
        return tuple(found)


def read_run_sheet(path: str | os.PathLike[str]) -> RunSheet:
    """Read and check a run sheet; the rides that it names are not opened.

    Parameters
    ----------
    path
        A TOML file of schema 1.

    Returns
    -------
    The run sheet.

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
    """Make a run sheet from its text; ``path`` names it and gives the folder that rides are relative to."""
    raw = toml_table(text, name=path.name)
    _check_schema(raw, path.name)
    try:
        table = SheetTable.model_validate(raw)
    except ValidationError as problem:
        raise run_sheet_error(path.name, problem.errors(include_url=False)) from None
    for what, entries in (("rides", table.rides), ("setups", table.setups), ("weather", table.weather)):
        if not entries:
            raise RunSheetError(f"{path.name}: [[{what}]] is empty; allowed is one or more")
    _check_names(
        path.name,
        baseline=table.baseline,
        setups=table.setups,
        rides=table.rides,
        claims=table.claims,
        tunnel=table.tunnel,
    )
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
        system=system_of(table.system),
        analysis=table.analysis,
        course=table.course,
        weather=table.weather,
        setups=table.setups,
        rides=tuple(ride_entry(ride, folder=folder) for ride in table.rides),
        claims=claims,
        tunnel=table.tunnel,
        races=table.races,
        defaults_used=_defaults_used(table.system),
        table=table,
    )


def check_unfinished(tables: Mapping[str, Any], *, name: str) -> None:
    """Refuse what an unfinished run sheet says wrongly; tables, mass and readings may still be missing."""
    _check_schema(tables, name)
    try:
        SheetTable.model_validate(tables)
    except ValidationError as problem:
        wrong = [error for error in problem.errors(include_url=False) if not _may_wait(error)]
        if wrong:
            raise run_sheet_error(name, wrong) from None
    _check_names(
        name,
        baseline=tables.get("baseline"),
        setups=_entries(Setup, tables.get("setups", [{"name": FIRST_SETUP}])),
        rides=_entries(RideTable, tables.get("rides", ())),
        claims=_entries(Claim, tables.get("claims", ())),
        tunnel=_entries(TunnelSweep, tables.get("tunnel", ())),
    )


def _may_wait(error: ErrorDetails) -> bool:
    missing = error["type"] == "missing" and (len(error["loc"]) == 1 or error["loc"] == ("system", "mass_kg"))
    return missing or error["type"] == READING_MISSING


def _entries(model: type[Table], rows: Sequence[Mapping[str, Any]]) -> tuple[Table, ...]:
    return tuple(model.model_validate(row) for row in rows)


def _check_schema(tables: Mapping[str, Any], name: str) -> None:
    if tables.get("schema", SCHEMA) != SCHEMA:
        raise RunSheetError(f"{name}: schema is {shown(tables['schema'])}; allowed is {SCHEMA}")


def toml_table(text: str, *, name: str) -> dict[str, Any]:
    """Return what TOML says, as it stands there."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise RunSheetError(f"{name}: is not valid TOML: {problem}; {toml_remedy(text, problem)}") from None
    except (ValueError, RecursionError):  # the parser's own limits: digits of a whole number, depth of nested lists
        raise RunSheetError(
            f"{name}: holds a number of thousands of digits or hundreds of nested lists; a run sheet has neither, "
            "remove it"
        ) from None


def ride_entry(table: RideTable, *, folder: Path) -> RideEntry:
    """Return the ride of a run sheet that lies in ``folder``."""
    return RideEntry(
        file=table.file,
        path=folder / table.file,
        lap_source=table.lap_source,
        laps=table.laps,
        start_line=None if table.start_line is None else _start_line(table.start_line),
    )


def _start_line(table: StartLineTable) -> StartLine:
    from fieldaero.laps.start_line import StartLine  # heavy, and few sheets name a line

    latitude, longitude = table.latitude_deg, table.longitude_deg
    if latitude is None or longitude is None:
        assert table.east_m is not None
        assert table.north_m is not None
        latitude, longitude = (float(x) for x in LOCAL_FRAME.to_degrees(table.east_m, table.north_m))
    return StartLine(latitude_deg=latitude, longitude_deg=longitude, heading_deg=table.heading_deg)


def check_lap_list(run_sheet: RunSheet, ride_index: int, n_laps: int) -> None:
    """Refuse a lap list that does not name each lap of the ride."""
    entry = run_sheet.rides[ride_index]
    if len(entry.laps) == n_laps:
        return
    raise RunSheetError(
        f"{run_sheet.path.name}: [[rides]] no. {ride_index + 1}, laps names {len(entry.laps)} laps, and {entry.file} "
        f'has {n_laps} by lap_source = "{entry.lap_source}"; name each in order, with "-" for one that is not used. '
        f"To see them: fieldaero laps {entry.file} --source {entry.lap_source}"
    )


def check_ride_file(run_sheet: RunSheet, ride_index: int) -> None:
    """Refuse a ride (0-based) that is not where the run sheet says, with the name of a file that is nearly the same."""
    entry = run_sheet.rides[ride_index]
    if entry.path.exists():
        return
    folder = entry.path.parent
    beside = sorted(one.name for one in folder.iterdir()) if folder.is_dir() else []
    raise RideError(
        f"{run_sheet.path.name}: [[rides]] no. {ride_index + 1}, {entry.file}: no such file at {entry.path};"
        f"{closest(entry.path.name, beside)} a ride's name is relative to the run sheet; correct it there"
    )


def _check_names(
    file: str,
    *,
    baseline: str | None,
    setups: Sequence[Setup],
    rides: Sequence[RideTable],
    claims: Sequence[Claim],
    tunnel: Sequence[TunnelSweep],
) -> None:
    """Refuse the name of a setup that stands twice, or that a table uses and no setup has.

    ``baseline`` is None in an unfinished sheet that does not name it yet.
    """
    names = [setup.name for setup in setups]
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

    known(baseline, "baseline")
    if any(setup.name == baseline and setup.known_added_cda_m2 is not None for setup in setups):
        raise RunSheetError(
            f"{file}: known_added_cda_m2 is given for the baseline, to which it is relative; give it to the setup that "
            "is ridden with the known drag"
        )
    for number, ride in enumerate(rides, start=1):
        for lap, name in enumerate(ride.laps, start=1):
            known(name, f"[[rides]] no. {number}, laps, lap {lap}", dash=True)
    for number, claim in enumerate(claims, start=1):
        known(claim.setup, f"[[claims]] no. {number}, setup")
        known(claim.versus, f"[[claims]] no. {number}, versus")
        if claim.setup == (claim.versus or baseline):
            raise RunSheetError(f"{file}: [[claims]] no. {number} compares {claim.setup!r} with itself")
    for number, sweep in enumerate(tunnel, start=1):
        known(sweep.setup, f"[[tunnel]] no. {number}, setup")


def system_of(table: SystemTable) -> System:
    """Return rider and bike with their defaults."""
    return System(**table.model_dump(exclude_none=True))


def _defaults_used(table: SystemTable) -> tuple[str, ...]:
    system, sentences = system_of(table), []
    if table.crr is None:
        sentences.append(f"crr is not given: {system.crr} with a standard uncertainty of {system.crr_sd} is taken.")
    if table.wheel_circumference_m is None:
        sentences.append(f"wheel_circumference_m is not given: {system.wheel_circumference_m} m is taken.")
    return tuple(sentences)


def entry_observations(
    entry: WeatherEntry, *, source: str, date: datetime | None, course: CourseFacts
) -> list[Observation]:
    """Return the observations of readings or reports; ``source`` names the entry, ``date`` is as in RunSheet."""
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
