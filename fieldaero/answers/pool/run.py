"""From run sheets, or results already made, to pooled comparisons."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path

from fieldaero.answers.analysis import analyse_session
from fieldaero.answers.pool.comparison import compared, terms_of
from fieldaero.answers.pool.legs import Chain, Leg, chain_of, pooled_leg, ridden_setups, session_contrast, way
from fieldaero.answers.pool.pooled import Pooled, PooledComparison
from fieldaero.answers.pool.sheets import (
    check_laps_once,
    check_related,
    check_sheets_once,
    labels,
    named_setups,
    near_misses,
)
from fieldaero.answers.result import Result
from fieldaero.answers.rows import InputFile
from fieldaero.basics.errors import CannotAnswerError, RunSheetError
from fieldaero.basics.formatting import counted
from fieldaero.basics.version import VERSION
from fieldaero.estimate.session import open_session
from fieldaero.run_sheet.messages import closest
from fieldaero.run_sheet.sheet import read_run_sheet

__all__ = ["pool_results", "pool_sheets"]


def pool_sheets(
    paths: Sequence[str | os.PathLike[str]],
    *,
    versus: str | None = None,
    progress: Callable[[str], None] | None = None,
) -> Pooled:
    """Analyse several sessions and pool what they say of the same setups.

    Parameters
    ----------
    paths
        Two run sheets or more.
    versus
        Setup that all others are compared with; the first sheet's baseline if not given.
    progress
        Called with a few words before each longer step.

    Returns
    -------
    One pooled comparison per setup, direct where sessions had it and ``versus``, else by way of common setups.

    Raises
    ------
    RunSheetError, RideError, WeatherError
        Where a sheet or a file it names cannot be read, a sheet or lap is given twice, or a
        sheet has no setup in common with the others.
    CannotAnswerError
        Where the input is in order but the laps cannot answer.
    """
    say = progress or (lambda _: None)
    where = [Path(path) for path in paths]
    sheets = [read_run_sheet(path) for path in where]
    check_sheets_once(where, sheets)
    names = labels(where)
    check_related({name: named_setups(sheet) for name, sheet in zip(names, sheets, strict=True)})
    known = [setup for sheet in sheets for setup in named_setups(sheet)]
    if versus is not None and versus not in known:
        raise RunSheetError(
            f'"{versus}" is not a setup of these sheets;{closest(versus, known)} allowed are '
            + ", ".join(f'"{name}"' for name in dict.fromkeys(known))
        )
    results = []
    for name, sheet in zip(names, sheets, strict=True):
        say(f"analysing {name}")
        results.append(analyse_session(open_session(sheet, progress=progress), progress=progress))
    return pool_results(results, sheets=names, versus=versus)


def pool_results(results: Sequence[Result], *, sheets: Sequence[str], versus: str | None = None) -> Pooled:
    """Pool results that are already made; see :func:`pool_sheets`.

    Parameters
    ----------
    results
        Of :func:`fieldaero.answers.analysis.analyse`, one per session.
    sheets
        What the sessions are called, as many, each name once.
    versus
        Setup that all others are compared with; the first result's baseline if not given.

    Returns
    -------
    The pooled comparisons.

    Raises
    ------
    RunSheetError
        Where a lap counts twice.
    CannotAnswerError
        Where no session has usable laps of two setups, or none of ``versus``, or sessions no setup in common.
    """
    check_laps_once(results, sheets)
    setups = {name: ridden_setups(result) for name, result in zip(sheets, results, strict=True)}
    check_related(setups, error=CannotAnswerError)
    base = results[0].baseline if versus is None else versus
    ridden = tuple(dict.fromkeys(name for own in setups.values() for name in own))
    if base not in ridden or len(ridden) < 2:
        raise CannotAnswerError(
            f'no usable laps of "{base}" and of another setup; name one that was ridden to compare with (--versus): '
            + ", ".join(f'"{name}"' for name in ridden)
        )
    chains = _chains(_Sessions(results, sheets), ridden, base)
    terms = terms_of(results, sheets, versus=base)
    comparisons = compared(chains, terms=terms)
    return Pooled(
        versus=base,
        version=VERSION,
        inputs=tuple(
            InputFile(file=name if k == 0 else (Path(name).parent / one.file).as_posix(), sha256=one.sha256)
            for name, result in zip(sheets, results, strict=True)
            for k, one in enumerate(result.inputs)
        ),
        sheets=tuple(sheets),
        pooled_comparisons=comparisons,
        warnings=(*near_misses(setups), *terms.warnings, *_warnings(results, setups, comparisons)),
    )


class _Sessions:
    """The sessions, and pairs of setups pooled over those that have both, each worked out once."""

    def __init__(self, results: Sequence[Result], sheets: Sequence[str]) -> None:
        self.sessions = list(zip(sheets, results, strict=True))
        self.legs: dict[tuple[str, str], Leg] = {}

    def having(self, *setups: str) -> list[tuple[str, Result]]:
        """Return the sessions that have all of these setups."""
        return [(name, result) for name, result in self.sessions if set(setups) <= set(ridden_setups(result))]

    def leg(self, setup: str, versus: str) -> Leg:
        """Return a pair that at least one session has."""
        if (setup, versus) not in self.legs:
            self.legs[setup, versus] = pooled_leg(
                [
                    session_contrast(result, sheet=name, setup=setup, versus=versus)
                    for name, result in self.having(setup, versus)
                ]
            )
        return self.legs[setup, versus]


def _chains(sessions: _Sessions, ridden: Sequence[str], base: str) -> list[Chain]:
    """Each setup but the base against it: directly where sessions had both, else the best way round."""
    others = [name for name in ridden if name != base]
    variances: dict[tuple[str, str], float] = {}
    if not all(sessions.having(name, base) for name in others):
        variances = {
            (setup, versus): sessions.leg(setup, versus).effect.effect.standard_error ** 2
            for j, setup in enumerate(ridden)
            for versus in ridden[:j]
            if sessions.having(setup, versus)
        }
    chains = []
    for name in others:
        steps = (base, name) if sessions.having(name, base) else way(variances, start=base, goal=name)
        assert steps is not None  # the sheets are related, and each setup was ridden in one of them
        chains.append(chain_of([sessions.leg(b, a) for a, b in pairwise(steps)]))
    return chains


def _warnings(
    results: Sequence[Result], setups: Mapping[str, Sequence[str]], comparisons: Sequence[PooledComparison]
) -> list[str]:
    found = [
        f'{name}: only "{own[0]}" has usable laps, so this session adds no difference.'
        for name, own in setups.items()
        if len(own) == 1
    ]
    if not any(c.link == "direct" and len(c.sessions) > 1 for c in comparisons):
        found.append(
            "No comparison was ridden in two sessions, so nothing is averaged over sessions. Name another setup to "
            "compare with by --versus."
        )
    for name, result in zip(setups, results, strict=True):
        if result.warnings:
            count = len(result.warnings)
            found.append(f"{name}: its own analysis has {counted(count, 'warning')}; see them with fieldaero analyse.")
    return found
