"""Air density over the rides, as drawn under the weather."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd

from _looks import accent
from fieldaero.draft.air import RideAir

__all__ = ["density_chart"]

HEIGHT = 190


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
    return alt.layer(band, line).properties(height=HEIGHT)
