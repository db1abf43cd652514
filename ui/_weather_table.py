"""Weather: readings in a table, reports as issued, and the density that follows from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import pandas as pd
import streamlit as st

from _edits import base_rows, edits_of, folded
from _files import take
from _looks import help_on, note, show_drawn
from _state import attempt, draft, edition
from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.formatting import number
from fieldaero.draft.air import air_over_rides
from fieldaero.draft.draft import Draft
from fieldaero.run_sheet.schema import CourseFacts, WeatherEntry, allowed_range

__all__ = ["weather", "with_reports", "with_weather_rows"]

NUMBERS = {
    "temperature_c": "temperature [°C]",
    "pressure_hpa": "pressure [hPa]",
    "altimeter_hpa": "altimeter [hPa]",
    "relative_humidity_pct": "humidity [%]",
    "dew_point_c": "dew point [°C]",
    "wind_speed_m_s": "wind [m/s]",
    "wind_from_deg": "from [°]",
    "wind_height_m": "height [m]",
}


def with_weather_rows(now: Draft, rows: Sequence[Mapping[str, Any]], edits: Mapping[str, Any]) -> Draft:
    """Fold the editor's edits into the readings; reports stay as they are."""
    reports = [row for row in now.tables.weather if "metar" in row]
    readings = [_plain(row) for row in folded([dict(r) for r in rows], edits)]
    # A time alone was put there to begin with, and is no reading as long as nobody writes one beside it.
    return now.with_table("weather", [*(row for row in readings if set(row) != {"time"}), *reports])


def with_reports(now: Draft, text: str, *, month: datetime | None) -> Draft:
    """Put pasted reports in the place of the former ones; empty text takes them away."""
    readings = [row for row in now.tables.weather if "metar" not in row]
    entry = {"metar": text.strip(), **({"time": month} if month else {})}
    return now.with_table("weather", [*readings, *([entry] if text.strip() else [])])


def weather() -> None:
    """Show weather to be filled in, and the air density over the rides that it gives."""
    st.header("Weather")
    st.write(
        "Enter one row per reading. Temperature, pressure at the course and humidity are needed, wind is optional. "
        "One row is enough; with more rows the air density follows the time of day."
    )
    _table()
    left, right = st.columns([1, 2])
    with left:
        _elevation()
    with right, st.expander("Airport reports (METAR) or a weather file", expanded=bool(_reports())):
        _pasted()
        dropped = st.file_uploader(
            "Weather file (CSV: time, temperature_c, pressure_hpa, relative_humidity_pct, …)",
            accept_multiple_files=True,
            key=f"weather_file_{st.session_state.get('drops', 0)}",
        )
        if dropped:
            take(dropped)
    _density()


def _readings() -> list[dict[str, Any]]:
    """Return the readings; to begin with, a row for the start of the first ride and one for the end of the last."""
    rows = [dict(row) for row in draft().tables.weather if "metar" not in row]
    if rows or _reports():
        return rows
    starts = [ride.ride.clock(0.0) for ride in draft().rides[:1]]
    ends = [ride.ride.clock(ride.ride.duration_s) for ride in draft().rides[-1:]]
    return [{"time": moment.replace(second=0, microsecond=0)} for moment in [*starts, *ends] if moment is not None]


def _reports() -> str:
    return "\n".join(str(row["metar"]) for row in draft().tables.weather if "metar" in row)


def _table() -> None:
    key, rows = base_rows("weather", _readings)
    shown = pd.DataFrame({"time": [row.get("time") for row in rows]})
    shown["time"] = pd.to_datetime(shown["time"], utc=True).dt.tz_localize(None)
    for column in NUMBERS:
        shown[column] = pd.Series([row.get(column) for row in rows], dtype="float64")
    st.data_editor(
        shown,
        key=key,
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        on_change=_fold,
        column_config={
            "time": st.column_config.DatetimeColumn(
                "time [UTC]", format="YYYY-MM-DD HH:mm", help="UTC. A single reading needs no time."
            ),
            **{
                column: st.column_config.NumberColumn(label, help=help_on(WeatherEntry, column))
                for column, label in NUMBERS.items()
            },
        },
    )


def _fold() -> None:
    rows, edits = edits_of("weather")
    attempt(lambda: with_weather_rows(draft(), rows, edits), "the weather", own_widget=True)


def _plain(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row as the run sheet holds it: times aware, numbers as numbers."""
    plain: dict[str, Any] = {}
    for column, value in row.items():
        if column == "time":
            moment = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
            plain[column] = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        else:
            plain[column] = float(value) if isinstance(value, int | float) else value
    return plain


def _elevation() -> None:
    key = f"elevation_{edition()}"

    def fold() -> None:
        course = dict(draft().tables.course)
        course.pop("elevation_m", None)
        if st.session_state[key] is not None:
            course["elevation_m"] = st.session_state[key]
        attempt(lambda: draft().with_table("course", course), "the elevation", own_widget=True)

    lowest, highest = allowed_range(CourseFacts, "elevation_m")
    st.number_input(
        "Elevation of the course [m]",
        min_value=lowest,
        max_value=highest,
        value=draft().tables.course.get("elevation_m"),
        step=1.0,
        format="%.0f",
        key=key,
        on_change=fold,
        placeholder="above sea level",
        help=help_on(CourseFacts, "elevation_m"),
    )


def _pasted() -> None:
    key, month_key = f"metar_{edition()}", f"metar_month_{edition()}"
    dated = any(ride.ride.start_time is not None for ride in draft().rides)

    def fold() -> None:
        day: date | None = st.session_state.get(month_key)
        month = datetime(day.year, day.month, 1, tzinfo=UTC) if day else None
        attempt(lambda: with_reports(draft(), st.session_state[key], month=month), "the reports", own_widget=True)

    st.text_area(
        "Reports of one station, as issued",
        value=_reports(),
        key=key,
        on_change=fold,
        placeholder="METAR XXXX 030720Z 24005KT 9999 18/10 Q1021=",
        help="From the station closest to the course: reports that cover the ride. They need the elevation.",
    )
    if not dated:
        st.date_input(
            "Any day of the month of the reports",
            value=None,
            key=month_key,
            on_change=fold,
            help="The reports name only the day.",
        )


def _density() -> None:
    try:
        airs = air_over_rides(draft())
    except FieldaeroError as problem:
        st.info(f"No air density yet: {problem}.")
        return
    if not airs:
        st.info("The weather is complete. The air density appears here as soon as there is a ride.")
        return
    from _ride_charts import density_chart  # not before there is a ride

    rides, tables = [ride.ride.source.sha256 for ride in draft().rides], draft().tables
    shown = (rides, tables.weather, tables.course)
    show_drawn(lambda: density_chart(airs), of=shown, key="density")
    first = airs[0].air_density_kg_m3.tolist()
    note(
        f"Air density over the ride: {number(first[0], places=4)} kg/m³ at its start and "
        f"{number(airs[-1].air_density_kg_m3.tolist()[-1], places=4)} kg/m³ at its end. The band is one standard "
        "uncertainty of the readings."
    )
