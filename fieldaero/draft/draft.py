"""A test while it is being put together: rides on the table, laps given to setups, the rest of the run sheet.

A :class:`Draft` never changes; every step returns a new one, so that a step can be taken
back by keeping the former.  It becomes a run sheet (text), a session and a result by the
same functions as a run sheet on disk.  What reads, fits and analyses is imported where it is
used: an empty draft is there at once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomli_w

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.plan.lap_order import Balance, design_balance
from fieldaero.run_sheet.schema import NOT_USED
from fieldaero.run_sheet.sheet import RunSheet, run_sheet_from_text

if TYPE_CHECKING:
    from fieldaero.answers.result import Result
    from fieldaero.estimate.session import Session
    from fieldaero.laps.lap import LapSource
    from fieldaero.laps.lap_list import LapListing
    from fieldaero.laps.start_line import StartLine
    from fieldaero.rides.ride import Ride

__all__ = ["Draft", "DraftLap", "DraftRide", "empty_draft", "read_draft_ride"]

SHEET_NAME = "runsheet.toml"
NO_FOLDER = "files at hand"  # there is none: nothing that a sheet names is looked for on a disk
FIRST_SETUP = "baseline"


@dataclass(frozen=True, kw_only=True)
class DraftLap:
    """Which lap is meant: the ride's file name, and the lap's number in it, from 1."""

    ride: str
    lap: int


@dataclass(frozen=True, kw_only=True)
class DraftRide:
    """One ride of the draft.

    Attributes
    ----------
    name
        File name, unlike those of the other rides.
    content
        The file's bytes, never changed.
    ride
        As read.
    listing
        Its laps with their flags; None where none were found, and then ``problem`` says why.
    setups
        Setup of each lap, "-" for one that is not used.
    lap_source, start_line
        How the laps were found.
    """

    name: str
    content: bytes
    ride: Ride
    listing: LapListing | None
    setups: tuple[str, ...]
    lap_source: LapSource
    start_line: StartLine | None = None
    problem: str = ""


@dataclass(frozen=True, kw_only=True)
class Draft:
    """The test as it stands.

    Attributes
    ----------
    rides
        In the order of the test.
    tables
        The run sheet's other tables by their names there: title, baseline, system, analysis, course,
        weather, setups, claims, tunnel.
    """

    rides: tuple[DraftRide, ...] = ()
    tables: Mapping[str, Any] = field(default_factory=dict)

    @property
    def setups(self) -> tuple[str, ...]:
        """Names of the setups, in their order."""
        return tuple(str(setup["name"]) for setup in self.tables.get("setups", ()))

    @property
    def baseline(self) -> str:
        """Name of the setup that the others are compared with."""
        return str(self.tables.get("baseline", ""))

    @property
    def laps(self) -> tuple[DraftLap, ...]:
        """All laps, in order."""
        return tuple(DraftLap(ride=r.name, lap=k + 1) for r in self.rides for k in range(len(r.setups)))

    def setup_of(self, lap: DraftLap) -> str:
        """Return the setup of a lap, "-" for one that is not used."""
        return self._ride(lap.ride).setups[lap.lap - 1]

    def with_ride(self, content: bytes, *, name: str) -> Draft:
        """Add a ride, its laps not yet used.

        Parameters
        ----------
        content
            Bytes of the file.
        name
            Its name.

        Raises
        ------
        RideError
            If it is no ride, has no power, or lies there already.
        """
        for other in self.rides:
            if other.ride.source.sha256 == hashlib.sha256(content).hexdigest():
                raise RideError(f"{name}: the same ride as {other.name}, which is there already")
        listed = read_draft_ride(content, name=self._free_name(name))
        if not listed.ride.has("power_w"):
            raise RideError(
                f"{name}: no power in this file, so there is nothing to weigh the air with. Check that the power meter "
                "was paired, or that the export kept its data."
            )
        return replace(self, rides=(*self.rides, listed))

    def without_ride(self, name: str) -> Draft:
        """Take a ride out."""
        return replace(self, rides=tuple(r for r in self.rides if r.name != name))

    def with_laps_by(self, name: str, lap_source: LapSource, start_line: StartLine | None = None) -> Draft:
        """Find the laps of a ride in another way; its laps are then not used until they are given to setups again."""
        found = _listed(self._ride(name), lap_source, start_line)
        return replace(self, rides=tuple(found if r.name == name else r for r in self.rides))

    def assigned(self, laps: Sequence[DraftLap], setup: str) -> Draft:
        """Give laps to a setup, or take them out with "-".

        Raises
        ------
        RunSheetError
            If there is no such setup.
        """
        if setup != NOT_USED and setup not in self.setups:
            raise RunSheetError(f'"{setup}" is no setup; there are {", ".join(self.setups) or "none"}')
        wanted = set(laps)
        return replace(
            self,
            rides=tuple(
                replace(
                    r,
                    setups=tuple(
                        setup if DraftLap(ride=r.name, lap=k + 1) in wanted else own for k, own in enumerate(r.setups)
                    ),
                )
                for r in self.rides
            ),
        )

    def with_pattern(self, laps: Sequence[DraftLap], pattern: Sequence[str]) -> Draft:
        """Give laps to setups in order, the pattern repeated as often as it takes ("-" leaves a lap out).

        Raises
        ------
        RunSheetError
            For an empty pattern or a name that is no setup.
        """
        if not pattern:
            raise RunSheetError("the pattern is empty; write setups in the order they were ridden")
        draft = self
        for name in dict.fromkeys(pattern):
            mine = [lap for k, lap in enumerate(laps) if pattern[k % len(pattern)] == name]
            draft = draft.assigned(mine, name)
        return draft

    def with_table(self, name: str, value: Any) -> Draft:
        """Replace a table of the run sheet; laps of a setup that is gone are no longer used."""
        draft = replace(self, tables={**self.tables, name: deepcopy(value)})
        if name != "setups":
            return draft
        known = {*draft.setups, NOT_USED}
        return replace(
            draft,
            rides=tuple(replace(r, setups=tuple(s if s in known else NOT_USED for s in r.setups)) for r in draft.rides),
        )

    def with_setup_renamed(self, old: str, new: str) -> Draft:
        """Give a setup another name, with its laps, claims and tunnel numbers.

        Raises
        ------
        RunSheetError
            If the new name is empty, "-" or taken.
        """
        if not new.strip() or new == NOT_USED or (new in self.setups and new != old):
            raise RunSheetError(f'"{new}" cannot name a setup; give each a name of its own, not empty and not "-"')
        tables = deepcopy(dict(self.tables))
        for setup in tables.get("setups", ()):
            if setup["name"] == old:
                setup["name"] = new
        for row in (*tables.get("claims", ()), *tables.get("tunnel", ())):
            for key in ("setup", "versus"):
                if row.get(key) == old:
                    row[key] = new
        if tables.get("baseline") == old:
            tables["baseline"] = new
        return replace(
            self,
            tables=tables,
            rides=tuple(replace(r, setups=tuple(new if s == old else s for s in r.setups)) for r in self.rides),
        )

    def sheet_text(self) -> str:
        """Write the run sheet, whether or not it is complete."""
        tables = {"schema": 1, **deepcopy(dict(self.tables))}
        tables["rides"] = [_ride_table(r) for r in self.rides]
        return tomli_w.dumps({key: value for key, value in tables.items() if value not in ({}, [], ())})

    def run_sheet(self) -> RunSheet:
        """Validate the run sheet.

        Raises
        ------
        RunSheetError
            Where something is missing or cannot be; the message says what.
        """
        for what in ("weather", "tunnel", "races"):
            for number, row in enumerate(self.tables.get(what, ()), start=1):
                if "file" in row:
                    # A path typed or opened on a page must never be read where the pages are served.
                    raise RunSheetError(
                        f"[[{what}]] no. {number} names the file {row['file']}; on a page add the file itself, and its "
                        "values are taken into the table"
                    )
        return run_sheet_from_text(self.sheet_text(), path=Path(NO_FOLDER, SHEET_NAME))

    def session(self, *, former: Session | None = None) -> Session:
        """Bring it all together as from disk; what has not changed since ``former`` is taken over from it.

        Raises
        ------
        CannotAnswerError, RunSheetError, WeatherError
            Without laps, or where the tables say what cannot be.
        """
        if not self.rides:
            raise CannotAnswerError("there is no ride yet; add the file of a ride")
        for ride in self.rides:
            if ride.listing is None:
                raise CannotAnswerError(f"{ride.name}: {ride.problem}")
        from fieldaero.estimate.session import session_of

        return session_of(self.run_sheet(), [r.ride for r in self.rides], former=former)

    def result(self, *, former: Result | None = None, keep_noise: bool = False) -> Result:
        """Analyse the test as it stands.

        Parameters
        ----------
        former
            A result of the same rides, to take over what has not changed.
        keep_noise
            Whether the noise parameters of ``former`` are kept too: an answer in a fraction of the time, which
            differs from the full one by little where only some laps or inputs are others.
        """
        from fieldaero.answers.analysis import analyse_session

        session = self.session(former=None if former is None else former.session)
        start = former.estimates.fit if keep_noise and former is not None and former.estimates is not None else None
        return analyse_session(session, start=start)

    def balance(self) -> Balance:
        """Say how the laps are spread over setups and time."""
        ridden = []
        first = next((r.ride.start_time for r in self.rides if r.ride.start_time is not None), None)
        for r in self.rides:
            away = 0.0
            if first is not None and r.ride.start_time is not None:
                away = (r.ride.start_time - first).total_seconds()
            for lap, setup in zip(r.listing.laps if r.listing else (), r.setups, strict=False):
                if setup != NOT_USED:
                    ridden.append((setup, (away + (lap.start_s + lap.end_s) / 2.0) / 3600.0))
        return design_balance(ridden, setups=self.setups)

    def _ride(self, name: str) -> DraftRide:
        return next(r for r in self.rides if r.name == name)

    def _free_name(self, name: str) -> str:
        taken = {r.name for r in self.rides}
        path, number = Path(name), 2
        while name in taken:
            name = f"{path.stem}-{number}{path.suffix}"
            number += 1
        return name


def empty_draft() -> Draft:
    """Return a draft without rides, with the usual values where there are any and one setup to begin with."""
    return Draft(
        tables={
            "title": "Untitled test",
            "baseline": FIRST_SETUP,
            "system": {
                "mass_sd_kg": 0.5,
                "wheel_inertia_kg_m2": 0.14,
                "wheel_circumference_m": 2.105,
                "power_at": "crank",
                "crr": 0.0045,
                "crr_sd": 0.0007,
            },
            "analysis": {
                "smallest_difference_m2": 0.002,
                "report_speed_km_h": 45.0,
                "report_distance_km": 40.0,
                "report_power_w": 250.0,
            },
            "course": {},
            "weather": [],
            "setups": [{"name": FIRST_SETUP}],
            "claims": [],
            "tunnel": [],
        }
    )


def read_draft_ride(
    content: bytes, *, name: str, lap_source: LapSource | None = None, start_line: StartLine | None = None
) -> DraftRide:
    """Read a ride and find its laps, none of them used yet.

    Parameters
    ----------
    content, name
        Bytes of the file, and what it is called.
    lap_source, start_line
        How to find the laps; None chooses by what the ride holds.

    Raises
    ------
    RideError
        If it is no ride.
    """
    from fieldaero.rides import read_ride_bytes

    ride = read_ride_bytes(content, name=name)
    bare = DraftRide(name=name, content=content, ride=ride, listing=None, setups=(), lap_source=lap_source or "button")
    return _listed(bare, lap_source, start_line)


def _listed(ride: DraftRide, lap_source: LapSource | None, start_line: StartLine | None) -> DraftRide:
    from fieldaero.laps.lap_list import list_laps

    try:
        listing = list_laps(ride.ride, lap_source=lap_source, start_line=start_line)
    except (CannotAnswerError, RideError) as problem:
        return replace(
            ride,
            listing=None,
            setups=(),
            lap_source=lap_source or "repeat",  # the last way that was tried
            start_line=start_line,
            problem=_on_a_page(str(problem), ride),
        )
    return replace(
        ride,
        listing=listing,
        setups=(NOT_USED,) * len(listing.laps),
        lap_source=listing.lap_source,
        start_line=start_line,
        problem="",
    )


def _on_a_page(problem: str, ride: DraftRide) -> str:
    """Say what the command line says without the file's name, which stands beside it, and in the words of the pages."""
    for file in {ride.name, ride.ride.source.file}:
        problem = problem.removeprefix(f"{file}: ")
    problem = problem[:1].upper() + problem[1:]
    return problem.replace('ask for lap_source = "button"', "choose the lap button on page 3")


def _ride_table(ride: DraftRide) -> dict[str, Any]:
    table: dict[str, Any] = {"file": ride.name, "lap_source": ride.lap_source, "laps": list(ride.setups)}
    if ride.start_line is not None:
        line = ride.start_line
        table["start_line"] = {
            "latitude_deg": line.latitude_deg,
            "longitude_deg": line.longitude_deg,
            "heading_deg": line.heading_deg,
        }
    return table
