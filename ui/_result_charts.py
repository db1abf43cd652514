"""Charts of differences, laps and budget: what is drawn comes from the result as it is."""

from __future__ import annotations

from typing import Any

import altair
import pandas as pd

from fieldaero.answers.lap_rows import lap_points
from fieldaero.answers.result import Result
from fieldaero.answers.wording import is_resolved
from fieldaero.basics.colours import COLOURS, GREY, chart_mark_of, colour_of
from fieldaero.basics.formatting import interval, value_with_uncertainty

alt: Any = altair  # the checker knows its encodings only in part

__all__ = ["budget_chart", "difference_chart", "lap_chart", "setup_scales"]


LEGEND = alt.Legend(title=None, orient="top", direction="horizontal", columns=2, labelLimit=240)


def setup_scales(setups: list[str], *, legend: Any = LEGEND) -> dict[str, Any]:
    """Return colour and shape of the setups, as encodings that share one legend."""
    colours = alt.Scale(domain=setups, range=[colour_of(name, setups) for name in setups])
    shapes = alt.Scale(domain=setups, range=[chart_mark_of(name, setups) for name in setups])
    return {
        "color": alt.Color("setup:N", scale=colours, legend=legend),
        "shape": alt.Shape("setup:N", scale=shapes, legend=legend),
    }


def difference_chart(result: Result) -> Any:
    """Draw every difference with its interval; the band is what is smaller than matters; hollow is not resolved."""
    setups = [row.setup for row in result.setup_results]
    rows = [
        {
            "pair": f"{c.setup} − {c.versus}",
            "setup": c.setup,
            "delta": c.delta_cda_m2,
            "low": c.interval95_m2[0] if c.interval95_m2 else None,
            "high": c.interval95_m2[1] if c.interval95_m2 else None,
            "resolved": "resolved" if is_resolved(c) else "not resolved",
            "verdict": c.verdict,
            "told": value_with_uncertainty(c.delta_cda_m2, c.se_m2, unit="m²", signed=True),
        }
        for c in result.comparison_results
        if c.delta_cda_m2 is not None
    ]
    frame = pd.DataFrame(rows)
    scales = setup_scales(setups, legend=None)
    y = alt.Y("pair:N", title=None, sort=[r["pair"] for r in rows], axis=alt.Axis(labelLimit=150, domain=False))
    base = alt.Chart(frame).encode(y=y)
    layers: list[Any] = []
    smallest = next((c.smallest_difference_m2 for c in result.comparison_results if c.smallest_difference_m2), None)
    if smallest is not None:
        band = pd.DataFrame([{"from": -smallest, "to": smallest}])
        layers.append(alt.Chart(band).mark_rect(color=GREY, opacity=0.28).encode(x=alt.X("from:Q"), x2=alt.X2("to")))
    layers += [
        alt.Chart(pd.DataFrame([{"zero": 0.0}])).mark_rule(color=GREY).encode(x=alt.X("zero:Q")),
        base.mark_rule(strokeWidth=3).encode(
            x=alt.X("low:Q", title=DIFFERENCE, axis=alt.Axis(tickCount=6)), x2=alt.X2("high"), color=scales["color"]
        ),
        base.mark_point(size=150, strokeWidth=2.5, opacity=1.0, fillOpacity=1.0).encode(
            x=alt.X("delta:Q"),
            fill=alt.condition(
                "datum.resolved == 'resolved'",
                scales["color"],
                alt.value("transparent"),
            ),
            tooltip=[alt.Tooltip("pair:N"), alt.Tooltip("verdict:N"), alt.Tooltip("told:N", title="difference")],
            **scales,
        ),
    ]
    return alt.layer(*layers).properties(height=80 + 46 * len(rows))


DIFFERENCE = "ΔCdA [m²], negative: less drag"


def lap_chart(result: Result) -> Any:
    """Draw every lap with its interval by time; laps that do not count are hollow, with the reason on hovering."""
    points = [p for p in lap_points(result.lap_results) if p.cda_m2 is not None]
    rows: list[dict[str, Any]] = [
        {
            "minutes": p.middle_min,
            "cda": p.cda_m2,
            "low": p.low_m2,
            "high": p.high_m2,
            "setup": p.setup,
            "used": p.used,
            "told": f"{p.ride}, lap {p.lap}",
            "what": f"{p.setup}, {interval(p.low_m2, p.high_m2, unit='m²')}" if p.used else p.reason,
            "label": "" if p.used else f"lap {p.lap}",
        }
        for p in points
    ]
    setups = [row.setup for row in result.setup_results if row.laps]
    used = [r for r in rows if r["used"]]
    lows, highs = [r["low"] for r in used], [r["high"] for r in used]
    room = 0.3 * (max(highs) - min(lows)) if used else 0.0
    domain = [min(lows) - room, max(highs) + room] if used else [0.1, 0.5]
    scales = setup_scales(setups)
    first = next((p.clock for p in points if p.clock is not None), None)
    title = "time since the first lap [min]" if first is None else "time since the first lap of the ride [min]"
    x = alt.X("minutes:Q", title=title, scale=alt.Scale(nice=False, padding=24))
    scale = alt.Scale(domain=domain, nice=False, clamp=True)
    y = alt.Y("cda:Q", title="drag area CdA [m²]", scale=scale)
    about = [alt.Tooltip("told:N", title="lap"), alt.Tooltip("what:N", title="says")]
    counted = alt.Chart(pd.DataFrame(used))
    layers = [
        counted.mark_rule(strokeWidth=2).encode(
            x=x, y=alt.Y("low:Q", scale=scale), y2=alt.Y2("high"), color=scales["color"]
        ),
        counted.mark_point(size=110, filled=True, opacity=1.0).encode(x=x, y=y, tooltip=about, **scales),
    ]
    apart = [r for r in rows if not r["used"] and domain[0] < float(r["cda"]) < domain[1]]
    if apart:
        left_out = alt.Chart(pd.DataFrame(apart)).encode(x=x, y=y)
        layers += [
            left_out.mark_point(size=90, color=GREY, strokeDash=[3, 2]).encode(tooltip=about),
            left_out.mark_text(dy=-13, color=GREY, fontSize=11).encode(text=alt.Text("label:N")),
        ]
    return alt.layer(*layers).properties(height=340)


def budget_chart(result: Result, setup: str, versus: str) -> Any:
    """Draw each input's contribution to the uncertainty of a drag area and of the difference, side by side."""
    rows = [
        {"input": row.input, "of": of, "contribution": abs(value)}
        for row in result.budget_rows
        if (row.setup, row.versus) == (setup, versus)
        for of, value in (
            (f"drag area of {setup}", row.contribution_cda_m2),
            ("difference", row.contribution_delta_m2),
        )
    ]
    names = list(dict.fromkeys(r["input"] for r in rows))
    order = [f"drag area of {setup}", "difference"]
    legend = alt.Legend(title=None, orient="top", columns=1, labelLimit=260)
    return (
        alt.Chart(pd.DataFrame(rows))
        .mark_bar(stroke=COLOURS[0], strokeWidth=1.5)
        .encode(
            y=alt.Y("input:N", title=None, sort=names, axis=alt.Axis(labelLimit=150)),
            yOffset=alt.YOffset("of:N", sort=order),
            x=alt.X("contribution:Q", title="standard uncertainty [m²]", axis=alt.Axis(tickCount=6)),
            fill=alt.Fill("of:N", scale=alt.Scale(domain=order, range=["transparent", COLOURS[0]]), legend=legend),
            tooltip=[
                alt.Tooltip("input:N"),
                alt.Tooltip("of:N"),
                alt.Tooltip("contribution:Q", format=".5f", title="contribution [m²]"),
            ],
        )
        .properties(height=320)
    )
