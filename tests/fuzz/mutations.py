"""Strategies that take something sound and spoil it."""

from __future__ import annotations

import copy
import datetime
import json
import math
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st

NUMBERS = st.one_of(
    st.sampled_from([0, 1, -1, 2, 3, 12, 24, 60, 90, 180, 360, 366, 1e-9, 0.5, 0.999, 1.0, 1e9, 2**63, 10**30]),
    st.floats(-500, 500),
    st.floats(),
    st.integers(),
)
#: The units of the trade, and words that people write in their place.
UNITS = [
    "", "m", "ft", "in", "mm", "m2", "ft2", "V", "mV", "A", "mA", "W", "Wh", "degC", "degF", "K", "ohm", "mohm",
    "cfm", "m3/h", "m3/s", "L/s", "Pa", "inH2O", "AWG", "mm2", "%", "%/K", "s", "min", "h", "kg", "lb", "uF", "W/m2K",
    "1/h", "F", "C", "°C", "Ω", "²", "parsecs", "V A", "m/s", "kn", "Btu/h", "volts", "watt",
]  # fmt: skip
_DIGITS = st.one_of(
    st.builds("{:g}".format, st.floats(-1e4, 1e4)),
    st.sampled_from([
        "0", "-0", "1", "1e5", "1e400", "-1e400", "1.5.2", ".", ".5", "5.", "1,5", "1_000", "0x1F", "nan", "inf",
        "-inf", "٣", "½", "1e", "+-1", "9**9**9**9", "1/2", "", "- 5", "１２",
    ]),
)  # fmt: skip
MEASURES = st.builds(
    "{}{}{}".format, _DIGITS, st.sampled_from(["", " ", "  ", "\t", "\u00a0", "\n"]), st.sampled_from(UNITS)
)
TEXTS = st.one_of(
    MEASURES,
    st.sampled_from([
        "", " ", "nan", "true", "NULL", "none", "panel", "fan", "12:00", "24:00", "24:01", "25:61", "2023-02-29",
        "../../etc/passwd", "UTC", "Europe/London", "Mars/Olympus", "x" * 300, "a\nb", "\u202e", "é", "\x7f", "{}",
        "{0}", "%s", "<script>", "</svg>", "shared", "series", "roof", "fan-12v-120x25", "panel-20w", "18 AWG",
        "awg-18", "single-glass", "plain-hole", "wax-opener", "fan.1", "con", "-", "--help",
    ]),
    st.text(st.characters(codec="utf-8"), max_size=12),
)  # fmt: skip
VALUES = st.one_of(
    NUMBERS,
    TEXTS,
    st.booleans(),
    st.sampled_from([
        [], {}, [[]], [{}], {"id": "x"}, [1, 2], [[1, 2]], [[0, 0]], [[300, 1], [100, 50]], [[100, 50], [300, 1]],
        ["roof", "east"], [["roof", "east"]], [["roof", "roof"]], [5, 6, 7], [13], [1.5], ["12 V"] * 12,
        {"family": "barrel-5.5x2.1", "body": "plug"}, {"a": {"b": {"c": 1}}}, datetime.date(2023, 6, 1),
        datetime.time(12, 0), datetime.datetime(2023, 6, 1), None,
    ]),
).map(copy.deepcopy)  # fmt: skip


def places(content: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Name every place in nested tables and lists."""
    steps = content.items() if isinstance(content, dict) else enumerate(content) if isinstance(content, list) else ()
    found = []
    for key, value in steps:
        found += [(*way, key), *places(value, (*way, key))]
    return found


def _at(content: Any, way: Sequence[Any]) -> Any:
    for step in way:
        content = content[step]
    return content


@st.composite
def spoilt(draw: st.DrawFn, bases: Sequence[dict[str, Any]], most: int = 4) -> dict[str, Any]:
    """Give one of some tables with a few places changed: key, value, type, unit, order or depth."""
    content = copy.deepcopy(bases[draw(st.integers(0, len(bases) - 1))])
    for _ in range(draw(st.integers(1, most))):
        ways = places(content)
        if not ways:
            break
        way = ways[draw(st.integers(0, len(ways) - 1))]
        table, key = _at(content, way[:-1]), way[-1]
        change = draw(
            st.sampled_from(["value", "value", "value", "measure", "drop", "rename", "wrap", "swap", "double", "add"])
        )
        if change == "value":
            table[key] = draw(VALUES)
        elif change == "measure":
            table[key] = draw(MEASURES)
        elif change == "drop":
            del table[key]
        elif change == "rename" and isinstance(table, dict):
            table[draw(st.sampled_from([f"{key}s", key[1:], key.upper(), "id", "part", "", "ключ"]))] = table.pop(key)
        elif change == "wrap":
            table[key] = draw(st.sampled_from([[table[key]], {"value": table[key]}, [[table[key]]]]))
        elif change == "swap":
            other = ways[draw(st.integers(0, len(ways) - 1))]
            table[key] = copy.deepcopy(_at(content, other)) if other[: len(way)] != way else table[key]
        elif change == "double" and isinstance(table, list):
            table.extend(copy.deepcopy(table) * draw(st.integers(1, 3)))
        elif change == "add":
            target = table[key] if isinstance(table[key], dict | list) else table
            word = draw(st.sampled_from(["colour", "id", "part", "watts", "curve", "count", "wire", "file", "behind"]))
            target.append(draw(VALUES)) if isinstance(target, list) else target.update({word: draw(VALUES)})
    return content


def toml(content: dict[str, Any]) -> bytes:
    """Write tables as a TOML file, all on long lines; what TOML has no word for is left out."""
    return "".join(
        f"{json.dumps(key)} = {_inline(value)}\n" for key, value in content.items() if value is not None
    ).encode()


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return (
            "{"
            + ", ".join(f"{json.dumps(key)} = {_inline(item)}" for key, item in value.items() if item is not None)
            + "}"
        )
    if isinstance(value, list):
        return "[" + ", ".join(_inline(item) for item in value if item is not None) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


TOML_TOKENS = [
    b"[", b"]", b"[[", b"]]", b"=", b'"', b"'", b'"""', b"#", b"\n", b"\r", b"\r\n", b"\t", b",", b".", b"{", b"}",
    b"\\u12", b"\\", b"nan", b"inf", b"1e999", b"0x", b"1979-05-27", b"true", b"\x00", b"\xff", b"\xef\xbb\xbf",
    b"\xff\xfe", b"\xc3", b"[a.b.c]", b"id = \"x\"\n", b"[[fan]]\n", b"9" * 50, b"a." * 20, b"[" * 60,
]  # fmt: skip


@st.composite
def mangled(draw: st.DrawFn, bases: Sequence[bytes], tokens: Sequence[bytes], most: int = 4) -> bytes:
    """Give one of some texts with a few slices cut, doubled, moved or written over."""
    raw = bases[draw(st.integers(0, len(bases) - 1))]
    for _ in range(draw(st.integers(1, most))):
        start = draw(st.integers(0, len(raw)))
        end = min(len(raw), start + draw(st.integers(0, 40)))
        change = draw(st.sampled_from(["cut", "double", "token", "token", "bytes", "end", "move"]))
        if change == "cut":
            raw = raw[:start] + raw[end:]
        elif change == "double":
            raw = raw[:end] + raw[start:end] * draw(st.integers(1, 4)) + raw[end:]
        elif change == "token":
            raw = raw[:start] + draw(st.sampled_from(tokens)) + raw[start:]
        elif change == "bytes":
            raw = raw[:start] + draw(st.binary(max_size=6)) + raw[end:]
        elif change == "end":
            raw = raw[:start]
        else:
            to = draw(st.integers(0, len(raw)))
            piece, rest = raw[start:end], raw[:start] + raw[end:]
            raw = rest[:to] + piece + rest[to:]
    return raw
