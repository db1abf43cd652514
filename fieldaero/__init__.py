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
    from fieldaero import plots
    from fieldaero.analysis import analyse, analyse_session
    from fieldaero.closure import lap_closure, virtual_elevation
    from fieldaero.course import find_course
    from fieldaero.errors import (
        CannotAnswerError,
        FieldaeroError,
        OutOfRangeError,
        RideError,
        RunSheetError,
        WeatherError,
    )
    from fieldaero.laps import find_laps
    from fieldaero.pool import Pooled, pool_results, pool_sheets
    from fieldaero.quality import flag_laps
    from fieldaero.readers import read_ride, write_csv
    from fieldaero.result import Result
    from fieldaero.ride import Ride
    from fieldaero.run_sheet import RunSheet, read_run_sheet
    from fieldaero.session import open_session
    from fieldaero.simulate import simulate_session
    from fieldaero.system import System

_ROOMS = ("plots",)  # whole rooms among the names: fa.plots.differences(result)

_WHERE = {
    "CannotAnswerError": "errors",
    "FieldaeroError": "errors",
    "OutOfRangeError": "errors",
    "Pooled": "pool",
    "Result": "result",
    "Ride": "ride",
    "RideError": "errors",
    "RunSheet": "run_sheet",
    "RunSheetError": "errors",
    "System": "system",
    "WeatherError": "errors",
    "analyse": "analysis",
    "analyse_session": "analysis",
    "find_course": "course",
    "find_laps": "laps",
    "flag_laps": "quality",
    "lap_closure": "closure",
    "open_session": "session",
    "pool_results": "pool",
    "pool_sheets": "pool",
    "read_ride": "readers",
    "read_run_sheet": "run_sheet",
    "simulate_session": "simulate",
    "virtual_elevation": "closure",
    "write_csv": "readers",
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
        return import_module(f"fieldaero.{name}")
    if name not in _WHERE:
        raise AttributeError(f"module 'fieldaero' has no attribute {name!r}")
    value = getattr(import_module(f"fieldaero.{_WHERE[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
