"""fieldaero: wind-tunnel rigour for cycling aerodynamics, from ride files.

    import fieldaero as fa

    result = fa.analyse("runsheet.toml")
    print(result.summary())
    result.laps, result.setups, result.comparisons     # pandas frames

Names are loaded when they are first used, so that the command line's help is there at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldaero.answers.analysis import analyse, analyse_session
    from fieldaero.answers.pool import Pooled, pool_results, pool_sheets
    from fieldaero.answers.result import Result
    from fieldaero.basics.errors import (
        CannotAnswerError,
        FieldaeroError,
        OutOfRangeError,
        RideError,
        RunSheetError,
        WeatherError,
    )
    from fieldaero.estimate.closure import lap_closure, virtual_elevation
    from fieldaero.estimate.session import open_session
    from fieldaero.laps.course import find_course
    from fieldaero.laps.find_laps import find_laps
    from fieldaero.laps.flags import flag_laps
    from fieldaero.physics.system import System
    from fieldaero.publish import figures as plots
    from fieldaero.rides import read_ride, write_csv
    from fieldaero.rides.ride import Ride
    from fieldaero.run_sheet.sheet import RunSheet, read_run_sheet
    from fieldaero.simulator import simulate_session

_ROOMS = {"plots": "publish.figures"}  # whole rooms among the names: fa.plots.differences(result)

_WHERE = {
    "CannotAnswerError": "basics.errors",
    "FieldaeroError": "basics.errors",
    "OutOfRangeError": "basics.errors",
    "Pooled": "answers.pool",
    "Result": "answers.result",
    "Ride": "rides.ride",
    "RideError": "basics.errors",
    "RunSheet": "run_sheet.sheet",
    "RunSheetError": "basics.errors",
    "System": "physics.system",
    "WeatherError": "basics.errors",
    "analyse": "answers.analysis",
    "analyse_session": "answers.analysis",
    "find_course": "laps.course",
    "find_laps": "laps.find_laps",
    "flag_laps": "laps.flags",
    "lap_closure": "estimate.closure",
    "open_session": "estimate.session",
    "pool_results": "answers.pool",
    "pool_sheets": "answers.pool",
    "read_ride": "rides",
    "read_run_sheet": "run_sheet.sheet",
    "simulate_session": "simulator",
    "virtual_elevation": "estimate.closure",
    "write_csv": "rides",
}

__all__ = [
    "CannotAnswerError",
    "FieldaeroError",
    "OutOfRangeError",
    "Pooled",
    "Result",
    "Ride",
    "RideError",
    "RunSheet",
    "RunSheetError",
    "System",
    "WeatherError",
    "analyse",
    "analyse_session",
    "find_course",
    "find_laps",
    "flag_laps",
    "lap_closure",
    "open_session",
    "plots",
    "pool_results",
    "pool_sheets",
    "read_ride",
    "read_run_sheet",
    "simulate_session",
    "virtual_elevation",
    "write_csv",
]


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return import_module(f"fieldaero.{_ROOMS[name]}")
    if name not in _WHERE:
        raise AttributeError(f"module 'fieldaero' has no attribute {name!r}")
    value = getattr(import_module(f"fieldaero.{_WHERE[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
