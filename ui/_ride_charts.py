"""Charts of the rides: a trace with its laps as bands and a brush that picks laps, the track, the air density."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from _looks import accent, ink
from fieldaero.basics.colours import chart_mark_of, colour_of
from fieldaero.draft.air import RideAir, air_density_of_ride_kg_m3, draft_system
from fieldaero.draft.draft import Draft, DraftRide
from fieldaero.draft.lap_table import LapRow
from fieldaero.draft.road_map import TrackMap
from fieldaero.draft.trace import Quantity, Trace, clock_ticks_s, shown_span, trace_of, virtual_elevation_trace
from fieldaero.run_sheet.schema import NOT_USED

__all__ = ["BRUSH", "PLACE", "SHOWN", "brushed_s", "density_chart", "map_chart", "trace_chart", "trace_for"]

SHOWN: dict[str, Quantity | None] = {
    "speed": "speed",
    "power": "power",
    "recorded elevation": "elevation",
    "virtual elevation": None,
}
BRUSH = "pick"
PLACE = "place"  # a point picked on the map
HEIGHT = 330
DENSITY_HEIGHT = 190


def trace_for(now: Draft, draft_ride: DraftRide, what: str) -> Trace:
    """Return the trace that is asked for; the same one is worked out once only."""
    quantity = SHOWN[what]
    sha256 = draft_ride.ride.source.sha256
    if quantity is not None:
        return _recorded(sha256, quantity, draft_ride)
    laps = draft_ride.laps
    ends = tuple((lap.start_s, lap.end_s) for lap in laps)
    return _virtual(sha256, ends, draft_system(now), air_density_of_ride_kg_m3(now, draft_ride), draft_ride)


@st.cache_data(max_entries=24, show_spinner=False)
def _recorded(sha256: str, quantity: Quantity, _draft_ride: DraftRide) -> Trace:
    return trace_of(_draft_ride.ride, quantity)


@st.cache_data(max_entries=24, show_spinner=False)
def _virtual(
    sha256: str, ends: tuple[tuple[float, float], ...], system: Any, air_density_kg_m3: float, _draft_ride: DraftRide
) -> Trace:
    laps = _draft_ride.listing.laps if _draft_ride.listing else ()
    return virtual_elevation_trace(_draft_ride.ride, laps, system=system, air_density_kg_m3=air_density_kg_m3)


def brushed_s(event: Mapping[str, Any]) -> tuple[float, float] | None:
    """Return from when to when the brush lies on the ride's clock, None where there is none."""
    ends = event.get("selection", {}).get(BRUSH, {}).get("time_s")
    return (float(ends[0]), float(ends[1])) if ends else None


def trace_chart(
    draft_ride: DraftRide, trace: Trace, rows: Sequence[LapRow], setups: Sequence[str]
) -> alt.LayerChart | alt.FacetChart:
    """Draw the trace of one ride with its laps as bands, each in its setup's colour and with its mark and number."""
    ride = draft_ride.ride
    bands = pd.DataFrame(
        {
            "start_s": [row.start_s for row in rows],
            "end_s": [row.end_s for row in rows],
            "lap": [str(row.of.lap) for row in rows],
            "setup": [_named(row.setup) for row in rows],
            "flags": [", ".join(row.flags) or "none" for row in rows],
        }
    )
    names = [*setups, _named(NOT_USED)]
    colour = alt.Color(
        "setup:N",
        scale=alt.Scale(domain=names, range=[colour_of(name, setups) for name in names]),
        legend=alt.Legend(orient="bottom", title=None, labelLimit=220, symbolOpacity=1.0, columns=2),
    )
    shape = alt.Shape("setup:N", scale=alt.Scale(domain=names, range=[chart_mark_of(name, setups) for name in names]))
    start = ride.start_time
    zero = f"{start.timestamp():.3f}" if start else "0"
    across = alt.X(
        "start_s:Q",
        title="time [UTC]" if start else "time into the ride [h:min]",
        scale=alt.Scale(domain=[float(ride.time_s[0]), float(ride.time_s[-1])], nice=False),
        axis=alt.Axis(
            values=list(clock_ticks_s(ride)),
            labelExpr=f"utcFormat(({zero} + datum.value) * 1000, '%H:%M')",
            grid=False,
            labelOverlap=True,
        ),
    )
    tooltip = [alt.Tooltip("lap:N"), alt.Tooltip("setup:N"), alt.Tooltip("flags:N")]
    bands_drawn = alt.Chart(bands).mark_rect(opacity=0.22).encode(x=across, x2="end_s:Q", color=colour, tooltip=tooltip)
    at_top = alt.Chart(bands).transform_calculate(middle_s="(datum.start_s + datum.end_s) / 2")
    marks = at_top.mark_point(filled=True, size=55, opacity=1.0).encode(
        x="middle_s:Q", y=alt.value(9), color=colour, shape=shape, tooltip=tooltip
    )
    numbers = at_top.mark_text(fontSize=11, color=ink()).encode(x="middle_s:Q", y=alt.value(24), text="lap:N")
    points = trace.to_frame()
    brush = alt.selection_interval(name=BRUSH, encodings=["x"])
    line = (
        alt.Chart(points)
        .mark_line(strokeWidth=1, color=ink(), invalid="break-paths-filter-domains")
        .encode(
            x="time_s:Q",
            y=alt.Y(
                "value:Q",
                title=trace.label,
                scale=alt.Scale(domain=list(shown_span(trace)), nice=False),
                axis=alt.Axis(tickCount=5),
            ),
        )
        .add_params(brush)
    )
    ends = alt.Chart(bands).mark_rule(strokeWidth=0.6, opacity=0.4, color=ink()).encode(x="start_s:Q")
    return alt.layer(bands_drawn, ends, line, marks, numbers).properties(height=HEIGHT)


def _named(setup: str) -> str:
    return "not used" if setup == NOT_USED else setup


def map_chart(found: TrackMap | None, picked: float | None) -> alt.LayerChart | alt.FacetChart:
    """Draw the track in metres, without tiles, with the start line and the place that was picked."""
    if found is None:
        return alt.layer()
    (west, east), (south, north) = found.square_m
    across = alt.X("east_m:Q", title="east [m]", scale=alt.Scale(domain=[west, east], nice=False))
    up = alt.Y("north_m:Q", title="north [m]", scale=alt.Scale(domain=[south, north], nice=False))
    track = pd.DataFrame({"time_s": found.time_s, "east_m": found.east_m, "north_m": found.north_m, "lap": found.lap})
    base = alt.Chart(track).encode(x=across, y=up)
    road = base.mark_line(strokeWidth=1.5, color=ink(), opacity=0.55).encode(order="time_s:Q")
    place = alt.selection_point(name=PLACE, fields=["time_s"], on="click", nearest=True, toggle=False)
    targets = (
        base.mark_circle(size=70, color=accent())
        .encode(
            opacity=alt.value(0.02),
            tooltip=[alt.Tooltip("lap:Q", title="lap"), alt.Tooltip("time_s:Q", title="s into the ride", format=".0f")],
        )
        .add_params(place)
    )
    layers: list[Any] = [road, targets]
    if found.line_east_m is not None and found.line_north_m is not None:
        ends = pd.DataFrame({"east_m": found.line_east_m, "north_m": found.line_north_m})
        layers.append(alt.Chart(ends).mark_line(strokeWidth=5, color=accent()).encode(x="east_m:Q", y="north_m:Q"))
    if picked is not None:
        nearest = track.iloc[[found.index_at(float(picked))]]
        ring = alt.Chart(nearest).mark_point(size=160, strokeWidth=2.5, color=accent(), shape="circle")
        layers.append(ring.encode(x="east_m:Q", y="north_m:Q"))
    return alt.layer(*layers).properties(width=HEIGHT, height=HEIGHT)


def density_chart(airs: Sequence[RideAir]) -> alt.LayerChart | alt.FacetChart:
    """Return the density with its standard uncertainty, by time of day."""
    frame = pd.concat(
        pd.DataFrame(
            {
                "moment": pd.to_datetime(list(air.clock), utc=True)
                if air.clock
                else pd.to_datetime(air.time_s, unit="s", utc=True),
                "density": air.air_density_kg_m3,
                "low": air.low_kg_m3,
                "high": air.high_kg_m3,
                "ride": air.ride,
            }
        )
        for air in airs
    )
    clock = all(air.clock for air in airs)
    across = alt.X(
        "moment:T",
        scale=alt.Scale(type="utc"),
        title="time [UTC]" if clock else "time into the ride [h:min]",
        axis=alt.Axis(format="%H:%M", tickCount=8),
    )
    base = alt.Chart(frame).encode(x=across, detail="ride:N")
    band = base.mark_area(opacity=0.2, color=accent()).encode(
        y=alt.Y("low:Q", title="air density [kg/m³]", scale=alt.Scale(zero=False)), y2="high:Q"
    )
    line = base.mark_line(color=accent()).encode(
        y="density:Q", tooltip=["ride:N", alt.Tooltip("density:Q", format=".4f", title="kg/m³")]
    )
    return alt.layer(band, line).properties(height=DENSITY_HEIGHT)
