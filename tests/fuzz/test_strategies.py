"""Files drawn by structure rather than by byte: each gives a result or a named error."""

from __future__ import annotations

import math
import struct

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from fieldaero.rides.formats.csv_columns import KNOWN_COLUMNS
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.weather.station_csv import WEATHER_COLUMNS
from tests.fuzz.targets import FORMATS, outcome
from tests.rides.formats.fit_files import START_FIT_S, by_hand, definition

RIDE_COLUMNS = (*sorted(KNOWN_COLUMNS), "mystery")

few = settings(max_examples=100, suppress_health_check=list(HealthCheck))

odd_numbers = st.one_of(
    st.floats(width=64),
    st.integers(-(10**40), 10**40),
    st.sampled_from(["", "NaN", "inf", "-inf", "1e999", "1,5", "1.234,5", "--", "0x1F", "１２", "9" * 400, "−5"]),
).map(str)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
stamps = st.one_of(
    st.datetimes().map(lambda time: time.isoformat() + "Z"),
    st.datetimes().map(lambda time: time.isoformat() + "+05:45"),
    st.sampled_from(["", "2026-02-30T00:00:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59.999999-14:00"]),
    words,
)


@st.composite
def csv_files(draw, columns=RIDE_COLUMNS, time=("timestamp", "time_s")):
    head = draw(st.lists(st.sampled_from(columns), max_size=8))
    head += draw(st.sampled_from([[], ["power_w"], [time[-1], "power_w", "speed_m_s"]]))
    rising = draw(st.booleans())
    rows = []
    for number in range(draw(st.integers(0, 6))):
        cells = [str(number) if rising and name == "time_s" else draw(st.one_of(odd_numbers, stamps)) for name in head]
        rows.append(cells[: draw(st.sampled_from([len(cells), len(cells), len(cells) - 1]))])
    delimiter = draw(st.sampled_from([",", ";", "\t", "|"]))
    ending = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    text = ending.join(delimiter.join(row) for row in [head, *rows])
    return text.encode(draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-7"])), errors="replace")


@few
@given(csv_files())
@example(b'time_s,power_w,speed_m_s\n0,1,1\n1,"' + b"x" * 140_000 + b'",2\n')
def test_any_csv(data):
    outcome("csv", data)


@few
@given(csv_files(columns=WEATHER_COLUMNS, time=("time", "temperature_c")))
@example(b'time,temperature_c\n2026-05-03T07:00Z,"' + b"1" * 140_000 + b'"\n')
def test_any_weather_csv(data):
    outcome("csv", b"time," + data)


@st.composite
def fit_files(draw):
    """Definitions of any fields of any message, and records of any bytes that fit them."""
    body = b""
    sizes = {}
    for _ in range(draw(st.integers(1, 3))):
        local = draw(st.integers(0, 3))
        message = draw(st.sampled_from([20, 20, 20, 19, 18, 21, 0, 206, 207, 34, 12, 0xFFFF]))
        fields = draw(
            st.lists(
                st.tuples(
                    st.sampled_from([253, 0, 1, 2, 3, 4, 5, 6, 7, 13, 73, 78, 254, 200]),
                    st.sampled_from([0, 1, 2, 3, 4, 8, 16]),
                    st.sampled_from([0, 1, 2, 7, 10, 13, 0x83, 0x84, 0x85, 0x86, 0x88, 0x89, 0x8C, 0x8E, 0xFF]),
                ),
                max_size=6,
            )
        )
        stamped = draw(st.booleans())
        fields = [(253, 4, 0x86), *fields] if stamped else fields
        body += definition(local, message, fields)
        sizes[local] = (stamped, sum(size for _, size, _ in fields))
        for second in range(draw(st.integers(0, 4))):
            stamped, size = sizes[local]
            head = struct.pack("<I", START_FIT_S + second) if stamped else b""
            rest = size - len(head)
            body += bytes([local]) + head + draw(st.binary(min_size=rest, max_size=rest))
    return by_hand(body, size=draw(st.sampled_from([None, None, 0, 5, 2**32 - 1])))


@few
@given(fit_files())
def test_any_fit(data):
    outcome("fit", data)


@st.composite
def xml_trees(draw, root, points, leaves, depth=3):
    """Elements in any order and nesting, with text that is seldom a number."""

    def element(level: int) -> str:
        name = draw(st.sampled_from([*points, *points, *leaves] if level else list(points)))
        inner = "".join(element(level + 1) for _ in range(draw(st.integers(0, 3)))) if level < depth else ""
        text = draw(st.one_of(odd_numbers, stamps))
        text = text.replace("&", "&amp;").replace("<", "&lt;") if draw(st.integers(0, 9)) else text
        attributes = ' lat="{}" lon="{}"'.format(*(draw(odd_numbers).replace('"', "") for _ in "ab"))
        return f"<{name}{attributes}>{inner}{text}</{name}>"

    space = draw(st.sampled_from(["", ' xmlns="urn:x"', ' xmlns:x="urn:y"']))
    body = "".join(element(0) for _ in range(draw(st.integers(0, 4))))
    head = draw(st.sampled_from(["", '<?xml version="1.0"?>', '<?xml version="1.0" encoding="latin-1"?>', BOMB]))
    return f"{head}<{root}{space}>{body}</{root}>".encode(errors="replace")


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True))
    + "]>"
)


@few
@given(xml_trees("gpx", ("trk", "trkseg", "trkpt", "rte"), ("ele", "time", "power", "type", "extensions", "cad")))
@example(BOMB.encode() + b"<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>&i;</time></trkpt></trkseg></trk></gpx>")
@example(b"<gpx>" + b"<trk>" * 100_000)
def test_any_gpx(data):
    outcome("gpx", data)


@few
@given(
    xml_trees(
        "TrainingCenterDatabase",
        ("Activities", "Activity", "Lap", "Track", "Trackpoint"),
        ("Time", "Watts", "DistanceMeters", "TotalTimeSeconds", "TriggerMethod", "Creator", "Name", "Course"),
        depth=5,
    )
)
def test_any_tcx(data):
    outcome("tcx", data)


groups = st.one_of(
    st.from_regex(r"\A(METAR|SPECI|COR|AUTO|NIL)\Z"),
    st.from_regex(r"\A[A-Z]{4} [0-3]\d{5}Z\Z"),
    st.from_regex(r"\A(\d{3}|VRB|///)\d{2,3}(G\d{2})?(KT|MPS|KMH|)\Z"),
    st.from_regex(r"\AM?\d{1,2}/(M?\d{1,2}|//|XX)?\Z"),
    st.from_regex(r"\A(Q|A|QNH)[\d/]{3,5}\Z"),
    st.from_regex(r"\A(RMK|TEMPO|NOSIG|=|T\d{8}|R\d\d/\d{4}|\+?TSRA|(FEW|BKN)\d{3})\Z"),
    st.text(st.characters(codec="utf-8"), max_size=8),
)


@few
@given(st.lists(groups, max_size=9))
def test_any_metar(drawn):
    outcome("metar", " ".join(["METAR XXXX 030720Z", *drawn]).encode())


SHEET = FORMATS["sheet"].seeds()[1].decode()
values = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(2**70), 2**70),
        st.floats(),
        words,
        st.datetimes(),
        st.sampled_from(["stock bar", "-", "crank", "s"]),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(words, inner, max_size=2)),
    max_leaves=5,
)


@few
@given(st.data())
def test_any_run_sheet(data):
    import tomllib

    table = tomllib.loads(SHEET)
    for _ in range(data.draw(st.integers(1, 3))):
        spot = table
        while True:
            keys = list(spot) if isinstance(spot, dict) else list(range(len(spot)))
            if not keys:
                break
            key = data.draw(st.sampled_from(keys))
            if isinstance(spot[key], dict | list) and data.draw(st.integers(0, 4)):
                spot = spot[key]
                continue
            new = data.draw(values)
            if new is None:
                del spot[key]
            else:
                spot[key] = new
            break
    outcome("sheet", toml_text(without_none(table)).encode(errors="replace"))


def without_none(value):
    if isinstance(value, dict):
        return {key: without_none(one) for key, one in value.items() if one is not None}
    if isinstance(value, list):
        return [without_none(one) for one in value if one is not None]
    return value


def test_lists_within_lists_by_the_thousand_are_refused():
    assert outcome("sheet", b"schema = " + b"[" * 20_000) == "RunSheetError"


def test_a_whole_number_of_thousands_of_digits_is_refused():
    assert outcome("sheet", b"schema = " + b"9" * 5000) == "RunSheetError"
    assert math.isinf(float("9" * 5000))
