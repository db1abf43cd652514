"""Numbers and tables as text: the one place where anything is rounded for people.

Text, report and screen all round here, so that one result never appears with two
different last digits.  A value is given to the place of the second significant digit of
its standard uncertainty (JCGM 100:2008, 7.2.6: two significant digits of an uncertainty
usually suffice, and the estimate is rounded to be consistent with it).  Full precision
stays in JSON and CSV.

Negative numbers carry the minus sign U+2212; what is missing is an em dash.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from fractions import Fraction

__all__ = [
    "LAP_HEADINGS",
    "MISSING",
    "UNBROKEN",
    "clock",
    "counted",
    "decimals",
    "duration",
    "interval",
    "km_h",
    "name",
    "note",
    "number",
    "one_line",
    "p_value",
    "percent",
    "share_of",
    "shortened",
    "table",
    "unbroken",
    "value_with_uncertainty",
    "width",
]

MISSING = "—"
MINUS = "−"
MOST_DECIMALS = 9
CUT = "…"
UNBROKEN = "\u00a0"
LAP_HEADINGS = {
    "start": "start [UTC]",
    "start in ride": "start [into the ride]",
    "duration": "duration [min:s]",
    "distance": "distance [m]",
    "speed": "speed [km/h]",
    "power": "power [W]",
}
"""Of the tables that show laps, the same in the terminal, on the pages and in the report."""

LONGEST_NAME = 60  # columns
FIRST_RIGHT_TO_LEFT = 0x590
ISOLATE, END = "\u2068", "\u2069"
UNCERTAINTY_DIGITS = 2
LEAST_P = 0.001  # below it only the tail of an assumed distribution speaks


def decimals(uncertainty: float, *, digits: int = UNCERTAINTY_DIGITS) -> int:
    """Return the decimal places that show an uncertainty with so many significant digits, 0 to 9.

    Examples
    --------
    >>> decimals(0.00234), decimals(0.0996), decimals(17.0)
    (4, 2, 0)
    """
    size = abs(uncertainty)
    if not math.isfinite(size) or size == 0.0:
        return 0
    # By way of the printed form, because rounding may carry: 0.0996 is 0.10.
    exponent = int(f"{size:.{digits - 1}e}".split("e")[1])
    return min(max(digits - 1 - exponent, 0), MOST_DECIMALS)


def number(value: float | None, *, places: int = 0, signed: bool = False) -> str:
    """Return a number with so many decimal places; with ``signed`` a plus is shown too.

    Examples
    --------
    >>> number(-0.2514, places=3), number(3.2, places=1, signed=True), number(-0.0001, places=2), number(None)
    ('−0.251', '+3.2', '0.00', '—')
    """
    if value is None or math.isnan(value):
        return MISSING
    text = f"{abs(value):.{places}f}" if math.isfinite(value) else "∞"
    if not any(mark in text for mark in "123456789∞"):
        return text  # a zero has no sign
    if value < 0.0:
        return MINUS + text
    return "+" + text if signed else text


def value_with_uncertainty(
    value: float | None, uncertainty: float | None, *, unit: str = "", signed: bool = False
) -> str:
    """Return "value ± uncertainty unit", both to two significant digits of the standard uncertainty.

    Without an uncertainty the value has four significant digits.

    Examples
    --------
    >>> value_with_uncertainty(0.251349, 0.00234, unit="m²")
    '0.2513 ± 0.0023 m²'
    >>> value_with_uncertainty(-0.0043, 0.0996, unit="m²")
    '0.00 ± 0.10 m²'
    >>> value_with_uncertainty(12.3456, None, unit="s", signed=True)
    '+12.35 s'
    """
    if value is None or math.isnan(value):
        return MISSING
    after = f" {unit}" if unit else ""
    if uncertainty is None or not math.isfinite(uncertainty) or uncertainty <= 0.0:
        return number(value, places=decimals(value, digits=4), signed=signed) + after
    places = decimals(uncertainty)
    return f"{number(value, places=places, signed=signed)} ± {number(uncertainty, places=places)}{after}"


def interval(low: float | None, high: float | None, *, unit: str = "", signed: bool = False) -> str:
    """Return "low to high unit", both to two significant digits of half the interval's width.

    Half the width of a 95 % interval is about twice the standard uncertainty, so an
    interval is never written finer than the value it belongs to.

    Examples
    --------
    >>> interval(-0.01234, -0.00412, unit="m²")
    '−0.0123 to −0.0041 m²'
    >>> interval(None, 0.1)
    '—'
    """
    if low is None or high is None or math.isnan(low) or math.isnan(high):
        return MISSING
    half = (high - low) / 2.0
    places = decimals(half) if half > 0.0 and math.isfinite(half) else decimals(low if math.isfinite(low) else high)
    after = f" {unit}" if unit else ""
    return f"{number(low, places=places, signed=signed)} to {number(high, places=places, signed=signed)}{after}"


def percent(fraction: float | None, *, places: int = 0) -> str:
    """Return a bare fraction in per cent, with so many decimal places.

    Examples
    --------
    >>> percent(-0.0231, places=1), percent(0.5)
    ('−2.3 %', '50 %')
    """
    text = number(None if fraction is None else 100.0 * fraction, places=places)
    return text if text == MISSING else f"{text} %"


def p_value(p: float | None) -> str:
    """Return a probability to two significant digits, and nothing finer than 0.001 from below.

    Examples
    --------
    >>> p_value(0.0321), p_value(0.4567), p_value(0.00002), p_value(0.9996), p_value(float("nan"))
    ('0.032', '0.46', '< 0.001', '> 0.99', '—')
    """
    if p is None or math.isnan(p):
        return MISSING
    if p < LEAST_P:
        return f"< {LEAST_P:g}"
    return f"{p:.{min(decimals(p), 3)}f}" if p <= 0.99 else "> 0.99"


def counted(count: int, noun: str) -> str:
    """Return a number with its noun, in the plural where it takes one.

    Examples
    --------
    >>> counted(1, "sample"), counted(3, "sample")
    ('1 sample', '3 samples')
    """
    return f"{count} {noun}{'' if count == 1 else 's'}"


def share_of(part: int, whole: int, noun: str) -> str:
    """Return in words how many of a number of things, and their share; never 100 % unless all.

    Examples
    --------
    >>> share_of(3, 12, "sample"), share_of(1, 900, "sample")
    ('3 of 12 samples (25 %)', '1 of 900 samples (under 1 %)')
    """
    share = part / whole
    words = "under 1 %" if share < 0.01 else percent(min(share, 0.99) if part < whole else 1.0)
    return f"{part} of {counted(whole, noun)} ({words})"


def duration(seconds: float | None, *, places: int = 0) -> str:
    """Return a duration as m:ss or h:mm:ss, the seconds with so many decimal places.

    Examples
    --------
    >>> duration(151.42, places=1), duration(59.96, places=1), duration(3725.0), duration(None)
    ('2:31.4', '1:00.0', '1:02:05', '—')
    """
    if seconds is None or not math.isfinite(seconds):
        return MISSING
    steps = 10**places
    ticks = round(Fraction(abs(seconds)) * steps)  # rounded once, before it is cut into minutes
    minutes, rest = divmod(ticks, 60 * steps)
    hours, minutes = divmod(minutes, 60)
    tail = f"{rest / steps:0{3 + places if places else 2}.{places}f}"
    text = f"{hours}:{minutes:02d}:{tail}" if hours else f"{minutes}:{tail}"
    return MINUS + text if seconds < 0.0 and ticks else text


def km_h(speed_m_s: float | None, *, places: int = 1) -> str:
    """Return a speed in kilometres per hour; the heading names the unit.

    Examples
    --------
    >>> km_h(10.0), km_h(None)
    ('36.0', '—')
    """
    return number(None if speed_m_s is None else 3.6 * speed_m_s, places=places)


def clock(moment: datetime | None, *, zone: tzinfo = UTC) -> str:
    """Return the time of day in a zone, HH:MM:SS; the heading names the zone.

    Examples
    --------
    >>> from datetime import timedelta, timezone
    >>> clock(datetime(2030, 6, 2, 7, 10, 59, 600000, tzinfo=UTC), zone=timezone(timedelta(hours=2)))
    '09:10:59'
    """
    return MISSING if moment is None else f"{moment.astimezone(zone):%H:%M:%S}"


def one_line(text: str) -> str:
    r"""Return text on one line, without characters that steer a terminal; names of files may hold them.

    Examples
    --------
    >>> one_line("two\nlines and \x1b[31mred")
    'two lines and [31mred'
    """
    spaced = "".join(" " if character.isspace() else character for character in text)
    kept = "".join(character for character in spaced if unicodedata.category(character) not in ("Cc", "Cs", "Co"))
    # Marks that turn the direction of writing would let a name disguise what follows it.
    return " ".join("".join(c for c in kept if unicodedata.bidirectional(c) not in _TURNING).split())


_TURNING = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}


def width(text: str) -> int:
    """Return the columns that text takes in a terminal: wide characters two, combining ones none.

    Examples
    --------
    >>> width("CdA"), width("車輪"), width("e\u0301"), width("m²")
    (3, 4, 1, 2)
    """
    columns = 0
    for character in text:
        if unicodedata.combining(character) or unicodedata.category(character) in ("Mn", "Me", "Cf"):
            continue
        columns += 2 if unicodedata.east_asian_width(character) in ("W", "F") else 1
    return columns


def unbroken(text: str) -> str:
    r"""Return text whose numbers stay on one line with their unit and their uncertainty, by non-breaking spaces.

    Examples
    --------
    >>> unbroken("a 95 % interval of 0.25 ± 0.01 m²").split(" ")
    ['a', '95\xa0%', 'interval', 'of', '0.25\xa0±\xa00.01\xa0m²']
    """
    return _JOINED.sub(UNBROKEN, text)


_JOINED = re.compile(r"(?<=\d) (?=(?:m²|W|s|%|km|km/h|m/s|min|kg|m|MB)\b|%)| (?=±)|(?<=±) |(?<=^[<>]) ")


def shortened(text: str, columns: int) -> str:
    """Return text cut to so many columns, its last one an ellipsis where something is missing.

    Examples
    --------
    >>> shortened("a rather long name", 10), shortened("short", 10)
    ('a rather …', 'short')
    """
    if width(text) <= columns:
        return text
    kept = ""
    for character in text:
        if width(kept + character) > columns - 1:
            break
        kept += character
    return kept + CUT


def name(text: str) -> str:
    """Return a name that somebody typed for a sentence or a table, on one line and not too long.

    A name written from right to left would drag the numbers beside it along, so each is isolated (Unicode
    Standard Annex 9, FSI and PDI), which costs nothing where it is not needed.

    Examples
    --------
    >>> name("road bar"), len(name("a" * 300))
    ('road bar', 60)
    """
    return _isolated(shortened(one_line(text), LONGEST_NAME))


def note(text: str) -> str:
    """Return a text that somebody typed in full, on one line, isolated as a name is."""
    return _isolated(one_line(text))


def _isolated(text: str) -> str:
    return text if all(ord(c) < FIRST_RIGHT_TO_LEFT or c == CUT for c in text) else f"{ISOLATE}{text}{END}"


def table(header: Sequence[str], rows: Sequence[Sequence[str]], *, left: Sequence[int] = (0,)) -> str:
    """Return a table in aligned columns; those in ``left`` are set to the left, all others, the numbers, to the right.

    Examples
    --------
    >>> print(table(["setup", "laps"], [["stock bar", "12"], ["車輪", "9"]]))
    setup      laps
    stock bar    12
    車輪          9
    """
    lines = [[one_line(cell) for cell in line] for line in (header, *rows)]
    widths = [max(map(width, column)) for column in zip(*lines, strict=True)]
    out = []
    for line in lines:
        cells = []
        for index, (cell, columns) in enumerate(zip(line, widths, strict=True)):
            fill = " " * (columns - width(cell))
            cells.append(cell + fill if index in left else fill + cell)
        out.append("  ".join(cells).rstrip())
    return "\n".join(out)
