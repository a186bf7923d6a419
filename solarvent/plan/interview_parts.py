"""The questions on panel, fans and what stands between them; what a person cannot know follows from what is known."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import parse
from solarvent.plan.asking import NOTHING, Asking, Question, choose, field, whole
from solarvent.plan.fields import Current, Flow, Length, Power, Voltage
from solarvent.plan.library import Library
from solarvent.plan.starter import Answers, FanKind

#: The best point of a usual plate beside its ends (typical).
_BEST_VOLTAGE, _BEST_CURRENT = 0.82, 0.93
#: Volts of a cell with nothing joined, warm in the sun; and the numbers of cells that are sold (typical). [V]
_CELL, _CELLS = 0.58, (10, 12, 18, 20, 36, 54, 60, 72)
_OTHER, _METERED = "other", "metered"
_MOST_FANS = 12


def ask_panel(answers: Answers, library: Library) -> Asking:
    """Ask for the panel: one of the library, or its plate or two readings of a meter."""
    panels = {name: _panel_words(entry) for name, entry in library.entries("panels").items()}
    del panels["panel-20w-by-watts"]
    answers.panel = yield choose(
        "Your panel", "panel-20w",
        "Choose by the watts on its label. No label, or it cannot be read: take the last one if you have a meter, or"
        " else choose by its size. Not bought yet: take the default, and ask solarvent size afterwards.",
        panels | {_OTHER: "another one, by its label", _METERED: "one without a label, by two readings of a meter"},
    )  # fmt: skip
    if answers.panel == _METERED:
        yield from _readings(answers)
        return
    if answers.panel == _OTHER:
        yield from _plate(answers)
    answers.age = yield Question(
        "How many years has it been in the sun", "0",
        "A panel loses about half a percent a year, some twice that.",
        whole(0, 60),
    )  # fmt: skip


def _readings(answers: Answers) -> Asking:
    """Ask for the two readings that say all of a panel without a label, and fill in the rest as of a usual plate."""
    volts = yield Question(
        "Volts with nothing joined", "20 V",
        "DC volts across the bare panel, in any sun: they hardly depend on the light, and are a tenth less when it is"
        ' hot. A "12 V" panel shows 18 to 22 V.',
        field(Voltage, "V"),
    )  # fmt: skip
    amperes = yield Question(
        "Amperes through the meter alone", "1.2 A",
        "10 A range straight across the bare panel for a few seconds, square to a clear noon sun; a panel bears it."
        " Amperes follow the light: under thin cloud double what you read.",
        field(Current, "A"),
    )  # fmt: skip
    _take(answers, volts, amperes, "", "")


def _plate(answers: Answers) -> Asking:
    """Ask for the figures of a label; what it does not say follows from what it does."""
    watts = yield Question("Watts on its label", "20 W", "Pmax or Pmpp: the largest figure in W.", field(Power, "W"))
    volts = yield Question(
        "Its open-circuit volts, Voc", "none",
        'The highest voltage on the label. "none" if it gives watts alone: then a usual "12 V" panel of so many watts'
        " is taken.",
        _or_nothing(field(Voltage, "V")),
    )  # fmt: skip
    if not volts:
        answers.plate = {"watts": watts}
        return
    least = parse(watts, "power") / parse(volts, "voltage")
    amperes = yield Question(
        "Its short-circuit amperes, Isc", f"{least / _BEST_VOLTAGE / _BEST_CURRENT:.2g} A",
        "The highest current on the label. Not given: the default goes by the watts.", field(Current, "A"),
    )  # fmt: skip
    best_volts = yield Question(
        "Its volts at the best point, Vmp", f"{_BEST_VOLTAGE * parse(volts, 'voltage'):.3g} V",
        "Smaller than Voc. Not given: take the default, four fifths of it.", _below(Voltage, "voltage", "V", volts),
    )  # fmt: skip
    best_amperes = yield Question(
        "Its amperes at the best point, Imp", f"{_BEST_CURRENT * parse(amperes, 'current'):.3g} A",
        "A little smaller than Isc. Not given: take the default.", _below(Current, "current", "A", amperes),
    )  # fmt: skip
    _take(answers, volts, amperes, best_volts, best_amperes)


def _take(answers: Answers, volts: str, amperes: str, best_volts: str, best_amperes: str) -> None:
    """Keep the figures of a panel; its best point is that of a usual plate where it is not given."""
    answers.plate = {
        "v_oc": volts,
        "i_sc": amperes,
        "v_mp": best_volts or f"{_BEST_VOLTAGE * parse(volts, 'voltage'):.3g} V",
        "i_mp": best_amperes or f"{_BEST_CURRENT * parse(amperes, 'current'):.3g} A",
    }
    answers.cells = min(_CELLS, key=lambda count: abs(count * _CELL - parse(volts, "voltage")))


def _below(kind: Any, dimension: str, unit: str, limit: str) -> Any:
    """Read a quantity that is smaller than another one."""
    read = field(kind, unit)

    def checked(text: str) -> str:
        value = str(read(text))
        if parse(value, dimension) >= parse(limit, dimension):
            raise QuantityError.single("", f"{value} is not below {limit}", "it is the smaller one on a label")
        return value

    return checked


def ask_fans(answers: Answers, library: Library) -> Asking:
    """Ask for the fans, one kind after the other."""
    known = library.entries("fans")
    fans = {name: f"{entry.get('name')}, {entry['rated_current']}" for name, entry in known.items()}
    more, usual = True, "fan-24v-120x25" if _volts_of(answers, library) > 15 else "fan-usb-120"
    while more:
        part = yield choose(
            "Your fan", usual,
            "Its frame is as wide as it is long; the label gives volts and amperes. If the label differs, choose the"
            ' last one. Not bought yet: on a "12 V" panel 24 V fans are safe and start early.',
            fans | {_OTHER: "another one, by its label (scrap computer fans too)"},
        )  # fmt: skip
        if part == _OTHER:
            kind = yield from _label(answers, library)
        else:
            kind = FanKind(part, str(known[part]["size"]), parse(known[part]["rated_voltage"], "voltage"))
        kind.count = yield Question(
            "How many of these", "1", "Alike ones only; others come after it.", whole(1, _MOST_FANS)
        )
        answers.fans.append(kind)
        room = _MOST_FANS - sum(known.count for known in answers.fans)
        more = room > 0 and (yield choose(
            "Any other fan on the same panel", "no", "Such as one of another size.", {"no": "no", "yes": "yes"}
        )) == "yes"  # fmt: skip


def _label(answers: Answers, library: Library) -> Generator[Question, Any, FanKind]:
    """Ask what the label of a fan says, and find the known fan that is most like it."""
    volts = yield Question(
        "Volts on its label", "12 V",
        "Of a computer's fan: 12 V, if the label cannot be read. Of its wires red and black carry the power; a yellow,"
        " white or blue one stays free.",
        field(Voltage, "V"),
    )  # fmt: skip
    size = yield Question(
        "Width of its frame", "80 mm" if answers.units == "metric" else "3.15 in",
        "Outside, edge to edge: 80, 92, 120 and 140 mm are usual.", field(Length),
    )  # fmt: skip
    known = library.entries("fans")

    def unlike(name: str) -> tuple[float, float]:
        entry = known[name]
        off = abs(parse(entry["rated_voltage"], "voltage") / parse(volts, "voltage") - 1)
        return off, abs(parse(entry["size"], "length") - parse(size, "length"))

    base = min((name for name in known if "inline" not in name), key=unlike)
    entry = known[base]
    current = yield Question(
        "Amperes on its label", str(entry["rated_current"]),
        'Like "0.16 A". Only watts are given: divide them by the volts. No label: take the default.',
        field(Current, "A"),
    )  # fmt: skip
    flow = yield Question(
        "Air that it moves", str(entry["free_air_flow"]),
        'With nothing in its way, as in its data sheet: "60 m3/h", "35 cfm". Not known: take the default, that of a'
        " usual fan of this size.",
        field(Flow),
    )  # fmt: skip
    kind = FanKind(base, size, parse(volts, "voltage"))
    given = {"rated_current": current, "free_air_flow": flow, "size": size}
    kind.label = {key: value for key, value in given.items() if value != entry[key]}
    scale = kind.volts / parse(entry["rated_voltage"], "voltage")
    if abs(scale - 1) > 1e-6:
        keys = ("rated_voltage", "start_voltage", "stop_voltage", "maximum_voltage")
        kind.label |= {key: f"{scale * parse(entry[key], 'voltage'):.3g} V" for key in keys}
    return kind


def ask_between(answers: Answers, library: Library) -> Asking:
    """Ask what stands between panel and fans."""
    volts = _volts_of(answers, library)
    usual = "nothing"
    if min(kind.volts for kind in answers.fans) < 7:
        usual = "buck-5v" if volts > 15 else "panel-usb-socket"
    answers.converter = yield choose(
        "What stands between panel and fans", usual,
        "Nothing, if the fans' leads go straight to the panel. The USB socket of a panel is a regulator. Not built yet:"
        " take the default, and ask solarvent size afterwards.",
        {"nothing": "nothing: straight"} | library.names("converters"),
    )  # fmt: skip


def _volts_of(answers: Answers, library: Library) -> float:
    """Open-circuit voltage of the panel that was chosen. [V]"""
    if answers.plate:
        return parse(answers.plate.get("v_oc", "22 V"), "voltage")
    return parse(library.entries("panels")[answers.panel].get("v_oc", "22 V"), "voltage")


def _or_nothing(read: Any) -> Any:
    """Read a value, or one of the words for none, which is empty."""
    return lambda text: "" if text.lower() in NOTHING else read(text)


def _panel_words(entry: dict[str, Any]) -> str:
    """Name a panel with its size, by which an old one is known."""
    return f"{entry.get('name')}" + (f" ({entry['width']} x {entry['height']})" if "width" in entry else "")
