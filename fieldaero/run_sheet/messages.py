"""What is wrong with a run sheet, in one sentence: file, key, what was found, what is allowed."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from fieldaero.basics.errors import RunSheetError
from fieldaero.basics.formatting import one_line
from fieldaero.run_sheet.schema import NOT_ALLOWED, READING_MISSING, SheetTable, StartLineTable, table_of

__all__ = ["checked", "closest", "run_sheet_error", "shown", "toml_remedy"]

Model = TypeVar("Model", bound=BaseModel)

TABLES = {name: table for name, field in SheetTable.model_fields.items() if (table := table_of(field.annotation))}
TABLES["start_line"] = StartLineTable
MANY = {name for name, field in SheetTable.model_fields.items() if get_origin(field.annotation) is tuple}
ORDER = {"extra_forbidden": 0, "missing": 1}
HOLDS = {
    "weather": "an observation, as readings (time, temperature_c, pressure_hpa, relative_humidity_pct) or as a metar",
    "setups": "one for each setup, with its name",
    "rides": "one for each ride, with its file and its laps",
    "system": "rider, bike and all that is carried, with mass_kg",
}
TYPES = {
    "float_type": "allowed is a number, without quotes",
    "int_type": "allowed is a whole number, without quotes",
    "string_type": "allowed is text in quotes",
    "bool_type": "allowed is true or false, without quotes",
    "datetime_type": "allowed is a time like 2026-05-03T07:10:00Z, without quotes",
    "tuple_type": "allowed is a list like [ ... ]",
    "model_type": "allowed is a table",
    "finite_number": "allowed is a finite number",
}


def run_sheet_error(where: str, errors: Sequence[ErrorDetails], *, of: type[BaseModel] = SheetTable) -> RunSheetError:
    """Put the first problem that the schema ``of`` a table found into a sentence, and say how many more there are."""
    # A missing or unknown key explains others better than they explain it.
    first = min(errors, key=lambda error: ORDER.get(error["type"], 2))
    more = len({str(error["loc"]) for error in errors}) - 1
    tail = f" ({more} more after this one)" if more > 0 else ""
    return RunSheetError(f"{where}: {_sentence(first, of)}{tail}")


def checked(model: type[Model], table: Mapping[str, Any], *, where: str) -> Model:
    """Return one table of a run sheet, checked by itself.

    Examples
    --------
    >>> from fieldaero.run_sheet.schema import Setup
    >>> checked(Setup, {"name": "aero", "mas_change_kg": 1.0}, where="setup 2")
    Traceback (most recent call last):
    fieldaero.basics.errors.RunSheetError: setup 2: mas_change_kg is not a known key; did you mean \
mass_change_kg? allowed are name, mass_change_kg, description, photos, known_added_cda_m2, known_added_cda_sd_m2.
    """
    try:
        return model.model_validate(table)
    except ValidationError as problem:
        raise run_sheet_error(where, problem.errors(include_url=False), of=model) from None


def toml_remedy(text: str, problem: tomllib.TOMLDecodeError) -> str:
    """Return what to do about TOML that cannot be read; a heading or key that stands twice is told apart."""
    lines = text.split("\n")
    at = re.search(r"\(at line (\d+)", str(problem))
    line = lines[int(at[1]) - 1].strip() if at and int(at[1]) <= len(lines) else ""
    if str(problem).startswith(("Cannot declare", "Cannot overwrite")):
        heading = re.match(r"\[+\s*(\w+)\s*\]", line)
        if heading is None:
            return f"{one_line(shown(line))} gives something that is there already; keep one of the two"
        table = heading[1]
        return f"every heading of it has two brackets, [[{table}]]" if table in MANY else f"keep one heading [{table}]"
    return f"correct that line, which reads {one_line(shown(line))}" if line else "correct that line"


def _sentence(error: ErrorDetails, root: type[BaseModel]) -> str:
    kind, found = error["type"], error.get("input")
    names = [p for p in error["loc"] if not (isinstance(p, str) and p.startswith(("function-", "constrained-")))]
    key = _path(names)
    if kind == "extra_forbidden":
        allowed = _keys(names[:-1], root)
        guess = closest(str(names[-1]), allowed)
        return f"{key} is not a known key;{guess} allowed are {', '.join(allowed)}."
    if kind == "missing":
        table = HOLDS.get(str(names[-1])) if len(names) == 1 else None
        return f"{key} is missing; add it{f': {table}' if table else ''}."
    if kind == "literal_error":
        return f"{key} is {shown(found)}; allowed is {error['ctx']['expected'].replace(chr(39), chr(34))}."
    if kind == NOT_ALLOWED:
        return f"{key} is {shown(found)}; {error['ctx']['allowed']}."
    if kind in ("value_error", READING_MISSING):  # of a whole table
        text = str(error["ctx"]["error"]) if kind == "value_error" else error["msg"]
        return f"{key}: {text}." if key else f"{text}."
    if kind == "tuple_type" and names and names[-1] in MANY:
        return f"{key} is a single table; write its heading with two brackets, [[{names[-1]}]]."
    return f"{key} is {shown(found)}; {TYPES.get(kind, error['msg'][0].lower() + error['msg'][1:])}."


def _path(loc: Sequence[int | str]) -> str:
    parts: list[str] = []
    previous = ""
    for part in loc:
        if isinstance(part, int):
            parts[-1] = f"[[{previous}]] no. {part + 1}" if previous in MANY else f"{parts[-1]}, value {part + 1}"
        elif part in TABLES and not parts:
            parts.append(f"[{part}]" if part not in MANY else f"[[{part}]]")
        else:
            parts.append(str(part))
        previous = str(part)
    return ", ".join(parts)


def _keys(loc: Sequence[int | str], root: type[BaseModel]) -> list[str]:
    table = next((str(part) for part in reversed(loc) if isinstance(part, str)), "")
    model = TABLES.get(table, root)
    return [field.alias or name for name, field in model.model_fields.items()]


def closest(word: str, allowed: Sequence[str]) -> str:
    """Return " did you mean ...?" for the closest of the allowed words, empty where none is close.

    Examples
    --------
    >>> closest("mass", ["mass_kg", "crr"]), closest("colour", ["mass_kg", "crr"])
    (' did you mean mass_kg?', '')
    """
    found = difflib.get_close_matches(word, allowed, n=1, cutoff=0.6)
    return f" did you mean {found[0]}?" if found else ""


def shown(found: Any) -> str:
    """Return what was found as TOML would have it: text in quotes; long values are cut."""
    text = f'"{found}"' if isinstance(found, str) else str(found).lower() if isinstance(found, bool) else str(found)
    return text if len(text) <= 60 else text[:57] + "..."
