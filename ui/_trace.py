"""The trace over time, the laps behind it as bands, and a brush that picks laps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from _looks import colour_of, ink, mark_of
from fieldaero.draft.air import draft_system, mean_air_density_kg_m3
from fieldaero.draft.draft import Draft, DraftRide
from fieldaero.draft.lap_table import LapRow
from fieldaero.draft.trace import Quantity, Trace, clock_ticks_s, shown_span, trace_of, virtual_elevation_trace
from fieldaero.physics.system import System
from fieldaero.run_sheet.schema import NOT_USED

__all__ = ["BRUSH", "SHOWN", "brushed_s", "trace_chart", "trace_for"]

SHOWN: dict[str, Quantity | None] = {
    "speed": "speed",
    "power": "power",
    "recorded elevation": "elevation",
    "virtual elevation": None,
}
BRUSH = "pick"
HEIGHT = 330


def trace_for(now: Draft, draft_ride: DraftRide, what: str) -> Trace:
    """Return the trace that is asked for; the same one is worked out once only."""
    quantity = SHOWN[what]
    sha256 = draft_ride.ride.source.sha256
    if quantity is not None:
        return _recorded(sha256, quantity, draft_ride)
    laps = draft_ride.laps
    ends = tuple((lap.start_s, lap.end_s) for lap in laps)
    return _virtual(sha256, ends, draft_system(now), mean_air_density_kg_m3(now, draft_ride.name), draft_ride)


@st.cache_data(max_entries=24, show_spinner=False)
def _recorded(sha256: str, quantity: Quantity, _draft_ride: DraftRide) -> Trace:
    return trace_of(_draft_ride.ride, quantity)


@st.cache_data(max_entries=24, show_spinner=False)
def _virtual(
    sha256: str, ends: tuple[tuple[float, float], ...], system: System, air_density_kg_m3: float, _draft_ride: DraftRide
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
    shape = alt.Shape("setup:N", scale=alt.Scale(domain=names, range=[mark_of(name, setups) for name in names]))
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
