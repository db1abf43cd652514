"""A test while it is being put together: its rides, laps given to setups, the rest of the run sheet.

A :class:`Draft` never changes; every step returns a new one, so that a step can be taken
back by keeping the former.  It becomes a run sheet (text), a session and a result by the
same functions as a run sheet on disk.  What reads, fits and analyses is imported where it is
used: an empty draft is there at once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.physics.system import System
from fieldaero.plan.lap_order import Balance, design_balance
from fieldaero.run_sheet.schema import FIRST_SETUP, NOT_USED, SCHEMA, USUAL_CHOICES, USUAL_SMALLEST_DIFFERENCE_M2
from fieldaero.run_sheet.sheet import RunSheet, run_sheet_from_text
from fieldaero.run_sheet.toml_text import toml_text

if TYPE_CHECKING:
    from fieldaero.answers.result import Result
    from fieldaero.estimate.session import Session
    from fieldaero.laps.lap import Lap, LapSource
    from fieldaero.laps.lap_list import LapListing
    from fieldaero.laps.start_line import StartLine
    from fieldaero.laps.track import Track
    from fieldaero.rides.ride import Ride

__all__ = ["Draft", "DraftLap", "DraftRide", "Row", "SheetTables", "empty_draft", "read_draft_ride", "shared_line"]

SEE_MARKS = " To see the lap marks as they are, choose the lap button on page 3."
SHEET_NAME = "runsheet.toml"
NO_FOLDER = "files at hand"  # there is none: nothing that a sheet names is looked for on a disk

Row = dict[str, Any]


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
    listing
        Its laps; None where none were found, and then ``problem`` says why.
    setups
        Setup of each lap, "-" for one that is not used.
    start_line
        The line that was set for this ride.
    shared_line
        The line of the first ride, at which the laps of a later one are cut as long as it has none of its own.
    """

    name: str
    content: bytes
    ride: Ride
    listing: LapListing | None
    setups: tuple[str, ...]
    lap_source: LapSource
    start_line: StartLine | None = None
    shared_line: StartLine | None = None
    problem: str = ""

    @property
    def laps(self) -> tuple[Lap, ...]:
        """The laps as they were found; none where there is no listing."""
        return self.listing.laps if self.listing is not None else ()

    @property
    def track(self) -> Track | None:
        """The track, worked out when the laps were found; None where there is no listing."""
        return self.listing.track if self.listing is not None else None


@dataclass(frozen=True, kw_only=True)
class SheetTables:
    """The tables of an unfinished run sheet apart from its rides, each by its name there.

    Their rows stay as they were typed or opened: a value that cannot be is told by the run sheet, not lost on the way.
    """

    title: str = "Untitled test"
    baseline: str = FIRST_SETUP
    system: Row = field(default_factory=dict)
    analysis: Row = field(default_factory=dict)
    course: Row = field(default_factory=dict)
    weather: Sequence[Row] = ()
    setups: Sequence[Row] = ({"name": FIRST_SETUP},)
    claims: Sequence[Row] = ()
    tunnel: Sequence[Row] = ()
    races: Sequence[Row] = ()


@dataclass(frozen=True, kw_only=True)
class Draft:
    """The test as it stands: its rides in their order, and the rest of its run sheet.

    ``opened_text`` is the run sheet as it was opened; its comments, order and layout are kept when it is saved.
    """

    rides: tuple[DraftRide, ...] = ()
    tables: SheetTables = field(default_factory=SheetTables)
    opened_text: str = ""

    @property
    def setups(self) -> tuple[str, ...]:
        """Names of the setups, in their order."""
        return tuple(str(setup["name"]) for setup in self.tables.setups)

    @property
    def baseline(self) -> str:
        """Name of the setup that the others are compared with."""
        return self.tables.baseline

    @property
    def laps(self) -> tuple[DraftLap, ...]:
        """All laps, in order."""
        return tuple(DraftLap(ride=r.name, lap=k + 1) for r in self.rides for k in range(len(r.setups)))

    def setup_of(self, lap: DraftLap) -> str:
        """Return the setup of a lap, "-" for one that is not used."""
        return self._ride(lap.ride).setups[lap.lap - 1]

    def with_ride(self, content: bytes, *, name: str) -> Draft:
        """Add a ride, its laps not yet used."""
        for other in self.rides:
            if other.ride.source.sha256 == hashlib.sha256(content).hexdigest():
                raise RideError(f"{name}: the same ride as {other.name}, which is part of the test already")
        from fieldaero.rides.ride import check_power

        listed = read_draft_ride(content, name=self._free_name(name), shared_line=shared_line(self.rides))
        check_power(listed.ride)
        return replace(self, rides=(*self.rides, listed))

    def without_ride(self, name: str) -> Draft:
        """Take a ride out."""
        return self.with_rides([r for r in self.rides if r.name != name])

    def with_rides(self, rides: Sequence[DraftRide]) -> Draft:
        """Put rides in the place of the former ones; later ones are cut at the line of the first, as in a session."""
        cut: list[DraftRide] = []
        for ride in rides:
            line = shared_line(cut)
            moved = ride.start_line is None and ride.shared_line != line
            if moved:
                again = _listed(replace(ride, shared_line=line), ride.lap_source, None)
                # As many laps as before are the same laps, cut a little further on.
                ride = replace(again, setups=ride.setups) if len(again.setups) == len(ride.setups) else again
            cut.append(ride)
        return replace(self, rides=tuple(cut))

    def with_laps_by(self, name: str, lap_source: LapSource, start_line: StartLine | None = None) -> Draft:
        """Find the laps of a ride in another way; its laps are then not used until they are given to setups again."""
        found = _listed(self._ride(name), lap_source, start_line)
        return self.with_rides([found if r.name == name else r for r in self.rides])

    def with_laps_at(self, name: str, *, latitude_deg: float, longitude_deg: float, heading_deg: float) -> Draft:
        """Find the laps of a ride between passes of a start line."""
        from fieldaero.laps.start_line import StartLine

        line = StartLine(latitude_deg=latitude_deg, longitude_deg=longitude_deg, heading_deg=heading_deg)
        return self.with_laps_by(name, "line", line)

    def assigned(self, laps: Sequence[DraftLap], setup: str) -> Draft:
        """Give laps to a setup, or take them out with "-"."""
        if setup != NOT_USED and setup not in self.setups:
            raise RunSheetError(f'"{setup}" is not a setup; the setups are {", ".join(self.setups) or "not named yet"}')
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
        """Give laps to setups in order, the pattern repeated as often as it takes ("-" leaves a lap out)."""
        if not pattern:
            raise RunSheetError("the pattern is empty; write setups in the order they were ridden")
        draft = self
        for name in dict.fromkeys(pattern):
            mine = [lap for k, lap in enumerate(laps) if pattern[k % len(pattern)] == name]
            draft = draft.assigned(mine, name)
        return draft

    def with_table(self, name: str, value: Any) -> Draft:
        """Replace a table of the run sheet; laps of a setup that is gone are no longer used."""
        draft = replace(self, tables=replace(self.tables, **{name: deepcopy(value)}))
        if name != "setups":
            return draft
        known = {*draft.setups, NOT_USED}
        return replace(
            draft,
            rides=tuple(replace(r, setups=tuple(s if s in known else NOT_USED for s in r.setups)) for r in draft.rides),
        )

    def with_setup_renamed(self, old: str, new: str) -> Draft:
        """Give a setup another name, with its laps, claims and tunnel numbers."""
        if not new.strip() or new == NOT_USED or (new in self.setups and new != old):
            raise RunSheetError(f'"{new}" cannot name a setup; give each a name of its own, not empty and not "-"')
        tables = deepcopy(self.tables)
        for setup in tables.setups:
            if setup["name"] == old:
                setup["name"] = new
        for row in (*tables.claims, *tables.tunnel):
            for key in ("setup", "versus"):
                if row.get(key) == old:
                    row[key] = new
        if tables.baseline == old:
            tables = replace(tables, baseline=new)
        return replace(
            self,
            tables=tables,
            rides=tuple(replace(r, setups=tuple(new if s == old else s for s in r.setups)) for r in self.rides),
        )

    def sheet_text(self) -> str:
        """Write the run sheet, whether or not it is complete."""
        tables = {"schema": SCHEMA} | {f.name: getattr(self.tables, f.name) for f in fields(SheetTables)}
        tables["rides"] = [_ride_table(r) for r in self.rides]
        said = {key: value for key, value in tables.items() if value not in ({}, [], ())}
        return toml_text(said, former=self.opened_text)

    def run_sheet(self) -> RunSheet:
        """Validate the run sheet."""
        for what in ("weather", "tunnel", "races"):
            for number, row in enumerate(getattr(self.tables, what), start=1):
                if "file" in row:
                    # A path typed or opened on a page must never be read where the pages are served.
                    raise RunSheetError(
                        f"[[{what}]] no. {number} names the file {row['file']}; on a page add the file itself, and its "
                        "values are taken into the table"
                    )
        return run_sheet_from_text(self.sheet_text(), path=Path(NO_FOLDER, SHEET_NAME))

    def session(self, *, former: Session | None = None) -> Session:
        """Bring it all together as from disk; what has not changed since ``former`` is taken over from it."""
        if not self.rides:
            raise CannotAnswerError("there is no ride yet; add the file of a ride")
        for ride in self.rides:
            if ride.listing is None:
                raise CannotAnswerError(f"{ride.name}: {ride.problem}")
        from fieldaero.estimate.session import session_of

        listings = [ride.listing for ride in self.rides if ride.listing is not None]
        return session_of(self.run_sheet(), [r.ride for r in self.rides], listings=listings, former=former)

    def result(self, *, former: Result | None = None, keep_noise: bool = False) -> Result:
        """Analyse the test as it stands.

        What has not changed since ``former``, a result of the same rides, is taken over.  With ``keep_noise`` its noise
        parameters are kept too: an answer in a fraction of the time, which differs from the full one by little where
        only some laps or inputs are others.
        """
        from fieldaero.answers.analysis import analyse_session

        session = self.session(former=None if former is None else former.session)
        start = former.estimates.fit if keep_noise and former is not None else None
        return analyse_session(session, start=start)

    def balance(self) -> Balance:
        """Say how the laps are spread over setups and time."""
        ridden = []
        first = next((r.ride.start_time for r in self.rides if r.ride.start_time is not None), None)
        for r in self.rides:
            away = 0.0
            if first is not None and r.ride.start_time is not None:
                away = (r.ride.start_time - first).total_seconds()
            for lap, setup in zip(r.laps, r.setups, strict=True):
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
        tables=SheetTables(
            system={
                key: getattr(System, key)
                for key in ("mass_sd_kg", "wheel_inertia_kg_m2", "wheel_circumference_m", "power_at", "crr", "crr_sd")
            },
            analysis={
                "smallest_difference_m2": USUAL_SMALLEST_DIFFERENCE_M2,
                **USUAL_CHOICES.model_dump(include={"report_speed_km_h", "report_distance_km", "report_power_w"}),
            },
        )
    )


def read_draft_ride(
    content: bytes,
    *,
    name: str,
    lap_source: LapSource | None = None,
    start_line: StartLine | None = None,
    shared_line: StartLine | None = None,
) -> DraftRide:
    """Read a ride and find its laps, none of them used yet; without a source it is chosen by what the ride holds."""
    from fieldaero.rides import read_ride_bytes

    ride = read_ride_bytes(content, name=name)
    bare = DraftRide(
        name=name, content=content, ride=ride, listing=None, setups=(), lap_source="repeat", shared_line=shared_line
    )
    return _listed(bare, lap_source, start_line)


def shared_line(rides: Sequence[DraftRide]) -> StartLine | None:
    """Return the line of the first ride that has one; a session counts the laps of all its rides from there."""
    for ride in rides:
        if ride.listing is not None and ride.listing.course is not None:
            return ride.start_line or ride.listing.course.start_line
    return None


def _listed(ride: DraftRide, lap_source: LapSource | None, start_line: StartLine | None) -> DraftRide:
    """Find the laps of a ride, none of them used yet."""
    from fieldaero.laps.lap_list import laps_as_found

    try:
        listing = laps_as_found(ride.ride, lap_source=lap_source, start_line=start_line or ride.shared_line)
    except (CannotAnswerError, RideError) as problem:
        return replace(
            ride,
            listing=None,
            setups=(),
            lap_source=lap_source or "repeat",  # the last way that was tried
            start_line=start_line,
            problem=problem.message[:1].upper() + problem.message[1:] + (SEE_MARKS if problem.hint else ""),
        )
    return replace(
        ride,
        listing=listing,
        setups=(NOT_USED,) * len(listing.laps),
        lap_source=listing.lap_source,
        start_line=start_line,
        problem="",
    )


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
