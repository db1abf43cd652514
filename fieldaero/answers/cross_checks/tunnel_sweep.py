"""A tunnel's sweep of drag area by yaw: read, interpolated, and weighted with the yaw of a ride.

Between its points the sweep is a shape-preserving cubic (F. N. Fritsch and J. Butland,
SIAM J. Sci. Stat. Comput. 5 (1984) 300-304, from memory): smooth, through every point, and without
a hump that no point shows, which an ordinary cubic spline throws beside a stall.  A sweep
to one side only is mirrored, so that the curve is level at zero yaw, as a bike that is
alike left and right must be.  Beyond its last point the sweep is held at that point's
value.  The sd of a point is taken as its own, independent of the others'.
"""

from __future__ import annotations

import csv
import hashlib
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from fieldaero.basics.errors import RunSheetError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond
from fieldaero.basics.quantities import Floats
from fieldaero.run_sheet.schema import FEWEST_YAW_ANGLES, TunnelSweep
from fieldaero.run_sheet.sheet import RunSheet

__all__ = ["SWEEP_COLUMNS", "Sweep", "SweepMean", "read_sweep_csv", "read_sweeps"]


SWEEP_COLUMNS = ("yaw_deg", "cda_m2", "sd_m2")
"""Columns of a sweep's CSV file; sd_m2 may be left out."""

LARGEST_BYTES = 1_000_000
SMALLEST_CDA_M2, LARGEST_CDA_M2, LARGEST_SD_M2, LARGEST_YAW_DEG = 0.01, 2.0, 0.1, 90.0


@dataclass(frozen=True, kw_only=True)
class SweepMean:
    """A sweep's weighted mean drag area with its standard uncertainty, and the share of time beyond the sweep."""

    cda_m2: float
    se_m2: float
    beyond_share: float


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """Drag area by yaw of one setup.

    Attributes
    ----------
    setup, note
        As in the run sheet.
    yaw_deg, cda_m2, sd_m2
        Points in rising yaw, flow from the rider's right positive, shape (n,), n >= 3; sd 0 where none is stated.
    sd_stated
        Whether it is.
    file, sha256
        Where it was read from; None for one in the run sheet itself.
    """

    setup: str
    yaw_deg: Floats
    cda_m2: Floats
    sd_m2: Floats
    sd_stated: bool
    note: str = ""
    file: str | None = None
    sha256: str | None = None

    @property
    def mirrored(self) -> bool:
        """Whether the sweep goes to one side only and stands for both."""
        return bool(self.yaw_deg[0] >= 0.0 or self.yaw_deg[-1] <= 0.0)

    def mean(self, *, yaw_deg: Floats, weights: Floats, time_s: Floats) -> SweepMean:
        """Weight the sweep with a distribution of yaw.

        ``weights`` may have any positive scale; ``time_s`` is the time spent at each yaw; all of shape (m,).

        Examples
        --------
        >>> sweep = Sweep(setup="bare", yaw_deg=np.array([-10.0, 0.0, 10.0]), cda_m2=np.array([0.22, 0.25, 0.24]),
        ...               sd_m2=np.full(3, 0.001), sd_stated=True)
        >>> mean = sweep.mean(yaw_deg=np.array([0.0, 10.0]), weights=np.array([3.0, 1.0]), time_s=np.ones(2))
        >>> round(mean.cda_m2, 4), round(mean.se_m2, 6)
        (0.2475, 0.000791)
        """
        share = weights / np.sum(weights)
        value = float(share @ self._curve(self.cda_m2, yaw_deg))
        slope = np.zeros(len(self.cda_m2))
        for i, sd in enumerate(self.sd_m2):
            # The curve is not linear in its points, so the step is as large as the error that it stands for.
            step = max(sd, 1e-6) * np.eye(len(slope))[i]
            up, down = (share @ self._curve(self.cda_m2 + sign * step, yaw_deg) for sign in (1.0, -1.0))
            slope[i] = (up - down) / (2.0 * step[i])
        return SweepMean(
            cda_m2=value,
            se_m2=float(np.sqrt(np.sum((slope * self.sd_m2) ** 2))),
            beyond_share=float(np.sum(time_s[self._beyond(yaw_deg)]) / np.sum(time_s)),
        )

    def _beyond(self, yaw_deg: Floats) -> NDArray[np.bool_]:
        if self.mirrored:
            size, ends = np.abs(yaw_deg), np.abs(self.yaw_deg)
            return np.asarray((size < ends.min()) | (size > ends.max()))
        return np.asarray((yaw_deg < self.yaw_deg[0]) | (yaw_deg > self.yaw_deg[-1]))

    def _curve(self, cda_m2: Floats, yaw_deg: Floats) -> Floats:
        """Drag area at some yaw [m2]; beyond the sweep the value of its end."""
        x, y = self.yaw_deg, cda_m2
        if self.mirrored:
            order = np.argsort(np.abs(x))
            x, y = np.abs(x)[order], y[order]
            other = slice(None, 0, -1) if x[0] == 0.0 else slice(None, None, -1)
            x, y = np.concatenate([-x[other], x]), np.concatenate([y[other], y])
        return np.asarray(PchipInterpolator(x, y)(np.clip(yaw_deg, x[0], x[-1])))


def read_sweeps(run_sheet: RunSheet) -> tuple[Sweep, ...]:
    """Return the sweeps of a run sheet, those in files read from beside it."""
    sweeps = []
    for number, table in enumerate(run_sheet.tunnel, start=1):
        if table.file is None:
            sweeps.append(_from_table(table))
        else:
            where = f"{run_sheet.path.name}: [[tunnel]] no. {number}, file"
            sweeps.append(read_sweep_csv(run_sheet.path.parent / table.file, table=table, where=where))
    return tuple(sweeps)


def _from_table(table: TunnelSweep) -> Sweep:
    n = len(table.yaw_deg)
    sd = np.zeros(n) if table.sd_m2 is None else np.broadcast_to(np.asarray(table.sd_m2, dtype=np.float64), (n,))
    return Sweep(
        setup=table.setup,
        yaw_deg=np.array(table.yaw_deg, dtype=np.float64),
        cda_m2=np.array(table.cda_m2, dtype=np.float64),
        sd_m2=np.array(sd),
        sd_stated=table.sd_m2 is not None,
        note=table.note,
    )


def read_sweep_csv(path: Path, *, table: TunnelSweep, where: str) -> Sweep:
    """Read a sweep from a CSV file with the columns of :data:`SWEEP_COLUMNS`, in any order.

    A single ``sd_m2`` in the run sheet's entry stands for all points if the file has none; ``where`` is the place in
    the run sheet that names the file, for messages.
    """
    rows, sha256 = _rows(path, where)
    name = path.name
    points = {column: np.array([row[column] for row in rows]) for column in SWEEP_COLUMNS if column in rows[0]}
    if len(rows) < FEWEST_YAW_ANGLES:
        raise RunSheetError(
            f"{name}: {len(rows)} points of yaw; allowed are {FEWEST_YAW_ANGLES} or more; add the rest of the sweep"
        )
    yaw = points["yaw_deg"]
    falls = np.flatnonzero(np.diff(yaw) <= 0.0)
    if len(falls):
        k = int(falls[0])
        raise RunSheetError(
            f"{name}: yaw_deg {yaw[k + 1]:g} comes after {yaw[k]:g}; each has to be larger than the one before; sort "
            "the table by yaw and keep one row per angle"
        )
    sd = points.get("sd_m2")
    stated = sd is not None or table.sd_m2 is not None
    if sd is None:
        if isinstance(table.sd_m2, tuple):
            raise RunSheetError(f"{where}: sd_m2 is a list beside a file; give one value, or a column sd_m2 in {name}")
        sd = np.full(len(yaw), table.sd_m2 or 0.0)
    elif table.sd_m2 is not None:
        raise RunSheetError(f"{where}: sd_m2 is given here and as a column of {name}; keep one of them")
    return Sweep(
        setup=table.setup,
        yaw_deg=yaw,
        cda_m2=points["cda_m2"],
        sd_m2=sd,
        sd_stated=stated,
        note=table.note,
        file=table.file,
        sha256=sha256,
    )


def _rows(path: Path, where: str) -> tuple[list[dict[str, float]], str]:
    name = path.name
    try:
        size_mb = path.stat().st_size / 1e6
        if beyond(1e6 * size_mb, LARGEST_BYTES):
            raise RunSheetError(
                f"{where}: {name} has {size_mb:.0f} MB; tables of a sweep up to {LARGEST_BYTES / 1e6:.0f} MB are read. "
                f"Keep one row per angle, or {HOW_TO_LIFT}"
            )
        content = path.read_bytes()
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RunSheetError(f"{where}: {name} is not UTF-8 text; save the sweep as CSV in UTF-8") from None
    except OSError as problem:
        reason = problem.strerror or "unreadable"
        raise RunSheetError(
            f"{where}: {name} cannot be read ({reason}); give the path of a CSV file relative to the run sheet"
        ) from None
    if "\0" in text:
        raise RunSheetError(f"{where}: {name} is no table of a sweep; save it as CSV, one row per angle")
    lines = csv.reader(text.splitlines())
    rows = []
    try:
        header = [cell.strip() for cell in next(lines, [])]
        _check_header(header, name)
        for row in lines:
            if any(cell.strip() for cell in row):
                rows.append(_point(header, row, f"{name}, line {lines.line_num}"))
    except csv.Error as problem:
        raise RunSheetError(f"{where}: {name} is not readable as CSV ({problem}); check its quotes") from None
    if not rows:
        raise RunSheetError(f"{name}: no points in it; allowed are {FEWEST_YAW_ANGLES} or more, one row per angle")
    return rows, hashlib.sha256(content).hexdigest()


def _check_header(header: list[str], name: str) -> None:
    allowed = f"allowed are {', '.join(SWEEP_COLUMNS)}, separated by commas"
    for column in ("yaw_deg", "cda_m2"):
        if column not in header:
            raise RunSheetError(f"{name}: column {column} is missing in its first line; {allowed}; add it")
    for column in header:
        if column not in SWEEP_COLUMNS:
            raise RunSheetError(f"{name}: unknown column {column!r}; {allowed}; take it out or rename it")
        if header.count(column) > 1:
            raise RunSheetError(f"{name}: column {column} appears twice; {allowed}; keep one")


def _point(header: list[str], row: list[str], where: str) -> dict[str, float]:
    if len(row) != len(header):
        raise RunSheetError(
            f"{where}: {len(row)} cells for {len(header)} columns; write decimals with a point, cells with a comma"
        )
    ranges = {
        "yaw_deg": (-LARGEST_YAW_DEG, LARGEST_YAW_DEG, "degrees"),
        "cda_m2": (SMALLEST_CDA_M2, LARGEST_CDA_M2, "m2"),
        "sd_m2": (0.0, LARGEST_SD_M2, "m2"),
    }
    point = {}
    for column, cell in zip(header, row, strict=True):
        low, high, unit = ranges[column]
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise RunSheetError(
                f"{where}: {column} is {cell.strip()!r}; allowed is a number from {low:g} to {high:g} {unit}; "
                "correct it or take the row out"
            )
        point[column] = value
    return point
