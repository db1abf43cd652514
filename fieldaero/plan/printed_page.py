"""A plan as one page to print: the order to tick off, what to set up and check, and the safety notes.

One file of HTML with its own style, without scripts or anything fetched from elsewhere,
for a sheet of A4 in the pocket or on the car's dashboard.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape

from fieldaero.basics.formatting import number, one_line, shortened
from fieldaero.basics.safety import SAFETY
from fieldaero.plan.lap_pattern import letters_of
from fieldaero.plan.plan import Plan

__all__ = ["printed_page"]

CHECKS = (
    "Tyre pressure set and written down; the same at every change",
    "Power meter outdoors until it has settled to the temperature, then its zero offset",
    "Same bottles, equally full; same clothing and helmet",
    "Position marks on saddle, rests and hands",
    "Mounting level checked with an inclinometer",
    "Photographs of every setup, from the front and from the side",
    "Rider and bike weighed with everything carried",
    "Recording once a second; lap button pressed at the same place",
)
READINGS = ("temperature", "pressure", "humidity", "wind from", "wind speed")
MANY_LAPS = 36  # beyond it setups go by letters, to keep to one page
LONGEST_NAME = 28

STYLE = """
@page { size: A4; margin: 11mm; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 62rem; color: #1a1a1a; background: #fff;
  font: 0.95rem/1.4 Georgia, "Times New Roman", serif; }
h1 { font-size: 1.5rem; margin: 0 0 0.2rem; }
h2 { font-size: 1.05rem; margin: 0 0 0.4rem; padding-bottom: 0.15rem; border-bottom: 2px solid #1a1a1a; }
p { margin: 0.2rem 0; overflow-wrap: anywhere; }
.answer { border-left: 0.5rem solid #1a1a1a; padding: 0.2rem 0 0.2rem 0.7rem; margin: 0.6rem 0; }
.answer b { text-transform: uppercase; letter-spacing: 0.05em; }
dl { display: grid; grid-template-columns: repeat(auto-fill, minmax(11rem, 1fr)); gap: 0.3rem 1.2rem;
  margin: 0.6rem 0 1rem; }
dt { font-size: 0.82rem; color: #444; }
dd { margin: 0; }
.sides { display: grid; grid-template-columns: 1.25fr 1fr; gap: 1rem 1.6rem; }
section { min-width: 0; margin-bottom: 1rem; }
ol, ul { list-style: none; margin: 0; padding: 0; }
ol { columns: 11rem; column-gap: 1.2rem; }
li { position: relative; padding: 0.14rem 0 0.14rem 1.5rem; break-inside: avoid; overflow-wrap: anywhere; }
li::before { content: ""; position: absolute; left: 0; top: 0.32rem; width: 0.85rem; height: 0.85rem;
  border: 1.5px solid #1a1a1a; }
li i { display: inline-block; min-width: 1.7rem; color: #444; font-style: normal; }
li.change { border-top: 1px dashed #777; }
li small { color: #444; }
.many { columns: 4.2rem; column-gap: 0.6rem; }
table { border-collapse: collapse; width: 100%; font-size: 0.82rem; }
th, td { border: 1px solid #777; padding: 0.25rem; text-align: left; width: 26%; }
th:first-child { width: 22%; white-space: nowrap; }
td { height: 1.6rem; }
.safety { border: 2px solid #1a1a1a; padding: 0.5rem 0.8rem; }
.safety ul { columns: 20rem; column-gap: 1.6rem; }
.safety li { padding-left: 1rem; }
.safety li::before { content: "!"; border: 0; top: 0.1rem; font-weight: bold; }
footer { font-size: 0.8rem; color: #444; }
@media (max-width: 40rem) { .sides { grid-template-columns: 1fr; } }
@media print { html { font-size: 9.5pt; } body { padding: 0; max-width: none; font-size: 1rem; line-height: 1.3; }
  .sides { grid-template-columns: 1.25fr 1fr; } section { margin-bottom: 0.7rem; } }
"""


def printed_page(plan: Plan) -> str:
    """Return a plan as a page of HTML to print."""
    p = plan
    short = len(p.order) > MANY_LAPS
    many = ' class="many"' if short else ""
    letters = {name: letter for letter, name in letters_of(p.setups).items()}
    key = " · ".join(f"<b>{letters[name]}</b> {_name(name)}" if short else _name(name) for name in p.setups)
    order = _order(p, {name: letters[name] if short else _name(name) for name in p.setups})
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Test plan: {_text(p.setups[0])} and {len(p.setups) - 1} more</title>
<style>{STYLE}</style>
</head>
<body>
<header>
<h1>Test plan</h1>
<p>{key} (baseline first)</p>
<p class="answer"><b>{p.answer}</b>: {_text(p.reason)}.</p>
{_facts(p)}
</header>
<div class="sides">
<section><h2>Order</h2><p><small>A dashed line: change the setup. Then a rolling start.</small></p><ol{many}>
{order}
</ol></section>
<div>
<section><h2>Before the first lap</h2><ul>
{_items(CHECKS)}
</ul></section>
<section><h2>Weather, read beside the road</h2>
{_weather()}</section>
</div>
</div>
<section class="safety"><h2>Safety comes before any lap</h2><ul>
{_items(SAFETY)}
</ul></section>
<footer>{_text(p.cautions[-1])}<br>Date, rider, notes: ____________________</footer>
</body>
</html>
"""


def _text(words: str) -> str:
    return escape(one_line(words), quote=True)


def _name(words: str) -> str:
    return escape(shortened(one_line(words), LONGEST_NAME), quote=True)


def _items(lines: Iterable[str]) -> str:
    return "\n".join(f"<li>{_text(line)}</li>" for line in lines)


def _facts(p: Plan) -> str:
    shape = "there and back" if p.ride.course.shape == "out_and_back" else "loop"
    facts = (
        ("Lap", f"{shape}, {number(p.ride.course.length_m)} m, {number(p.lap_s / 60.0, places=1)} min"),
        ("Hold", f"{number(p.ride.power_w)} W"),
        ("Laps", f"{p.warm_up_laps} dry, then {len(p.order)} ({p.laps_per_setup} per setup)"),
        ("Ride time, changes included", f"{number(p.ride_min)} of {number(p.available_min)} min"),
        ("Wind at the rider", f"{number(p.wind_m_s, places=1)} m/s expected"),
        ("Expected standard error", f"{number(p.se_m2, places=4)} m²"),
        (
            "Smallest difference that matters",
            f"{number(p.smallest_difference_m2, places=4)} m², "
            f"{number(p.smallest_difference_s)} {p.choices.in_seconds}",
        ),
        ("Probability of resolving it", f"{number(100.0 * p.probability)} %"),
    )
    return "<dl>" + "".join(f"<div><dt>{name}</dt><dd>{escape(value)}</dd></div>" for name, value in facts) + "</dl>"


def _order(p: Plan, shown: Mapping[str, str]) -> str:
    rows = [f"<li><i>–</i>{shown[p.order[0]]} <small>dry lap</small></li>"] * p.warm_up_laps
    before = p.order[0]
    for lap, name in enumerate(p.order, start=1):
        changed = ' class="change"' if name != before else ""
        rows.append(f"<li{changed}><i>{lap}</i>{shown[name]}</li>")
        before = name
    return "\n".join(rows)


def _weather() -> str:
    head = "".join(f"<th>{when}</th>" for when in ("", "start", "middle", "end"))
    rows = "".join(f"<tr><th>{what}</th><td></td><td></td><td></td></tr>" for what in ("time", *READINGS))
    return f"<table><tr>{head}</tr>{rows}</table>"
