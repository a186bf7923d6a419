"""The questions on panel, fans and what stands between them; what a person cannot know follows from what is known."""

from __future__ import annotations

from typing import Any

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import parse
from solarvent.inputs.asking import NOTHING, Asking, Question, choose, field, whole
from solarvent.inputs.fields import Current, Flow, Length, Power, Voltage
from solarvent.inputs.library import Library
from solarvent.inputs.starter import Answers

#: The best point of a usual plate beside its ends (typical).
_BEST_VOLTAGE, _BEST_CURRENT = 0.82, 0.93
#: Volts of a cell with nothing joined, warm in the sun; and the numbers of cells that are sold (typical). [V]
_CELL, _CELLS = 0.58, (10, 12, 18, 20, 36, 54, 60, 72)
_OTHER = "other"


def ask_panel(answers: Answers, library: Library) -> Asking:
    """Ask for the panel: one of the library, or its plate or two readings of a meter."""
    panels = {name: _panel_words(entry) for name, entry in library.entries("panels").items()}
    del panels["panel-20w-by-watts"]
    answers.panel = yield choose(
        "Your panel", "panel-20w",
        "Choose by the watts on its label. No label, or it cannot be read: choose by its size, or the last one if you"
        " have a meter. Not bought yet: take the default, and ask solarvent size afterwards.",
        panels | {_OTHER: "another one: from its label, or from a meter in the sun"},
    )  # fmt: skip
    if answers.panel == _OTHER:
        yield from _plate(answers)
    answers.age = yield Question(
        "How many years has it been in the sun", "0",
        "A panel loses about half a percent a year, some twice that. 0 for a new one, and for one that you metered.",
        whole(0, 60),
    )  # fmt: skip


def _plate(answers: Answers) -> Asking:
    """Ask for the figures of a plate; what it does not say follows from what it does."""
    watts = yield Question(
        "Watts on its label", "none", 'Like "40 W"; "none" if it has no label.', _or_nothing(field(Power))
    )
    open_circuit = yield Question(
        "Volts with nothing joined (Voc), from the label or a meter", "none" if watts else "22 V",
        "Meter: DC volts across the bare panel in any sun; it hardly depends on the light, and is a tenth less if hot. "
        + ('"none" takes a usual "12 V" panel of these watts.' if watts else 'A "12 V" panel shows 18 to 22 V.'),
        _or_nothing(field(Voltage)) if watts else field(Voltage),
    )  # fmt: skip
    if not open_circuit:
        answers.plate = {"watts": watts}
        return
    volts = parse(open_circuit, "voltage")
    usual = 1.15 * parse(watts, "power") / (_BEST_VOLTAGE * volts) / (1.15 * _BEST_CURRENT) if watts else 1.2
    short = yield Question(
        "Amperes through the meter alone (Isc), from the label or a meter", f"{usual:.2g} A",
        "Meter: 10 A range across the bare panel for a few seconds, square to a clear noon sun. Amperes follow the"
        " light: in half the light, double what you read.",
        field(Current),
    )  # fmt: skip
    amperes = parse(short, "current")

    def below(kind: Any, dimension: str, limit: float) -> Any:
        read = field(kind)

        def checked(text: str) -> str:
            if parse(text, dimension) >= limit:
                raise QuantityError.single("", f"{text} is not below {limit:g}", "it is the smaller one on a label")
            return str(read(text))

        return checked

    best_volts = yield Question(
        "Volts at its best (Vmp), from the label", f"{_BEST_VOLTAGE * volts:.3g} V",
        "Take the default if you do not know: four fifths of Voc.", below(Voltage, "voltage", volts),
    )  # fmt: skip
    best_amperes = yield Question(
        "Amperes at its best (Imp), from the label", f"{_BEST_CURRENT * amperes:.3g} A",
        "Take the default if you do not know: a little less than Isc.", below(Current, "current", amperes),
    )  # fmt: skip
    answers.plate = {"v_oc": open_circuit, "i_sc": short, "v_mp": best_volts, "i_mp": best_amperes}
    answers.cells = min(_CELLS, key=lambda count: abs(count * _CELL - volts))


def ask_fans(answers: Answers, library: Library) -> Asking:
    """Ask for the fans, all alike."""
    known = library.entries("fans")
    fans = {name: f"{entry.get('name')}, {entry['rated_current']}" for name, entry in known.items()}
    answers.fan = yield choose(
        "Your fan", "fan-24v-120x25" if _volts_of(answers, library) > 15 else "fan-usb-120",
        "Its frame is as wide as it is long; the label gives volts and amperes. If the label differs, choose the last"
        " one. Not bought yet: on a \"12 V\" panel 24 V fans are safe and start early.",
        fans | {_OTHER: "another one, from its label (scrap computer fans too)"},
    )  # fmt: skip
    if answers.fan == _OTHER:
        yield from _label(answers, library)
    else:
        answers.size = str(known[answers.fan]["size"])
        answers.fan_volts = parse(known[answers.fan]["rated_voltage"], "voltage")
    answers.fans = yield Question(
        "How many of them", "1", "Fans that are not alike: put in one kind now, and change the others in the plan.",
        whole(1, 12),
    )  # fmt: skip


def _label(answers: Answers, library: Library) -> Asking:
    """Ask what the label of a fan says, and find the known fan that is most like it."""
    volts = yield Question(
        "Volts on its label", "12 V", 'As printed: "12 V", "DC 5 V" is 5 V. No label: 12 V, if it is from a computer.',
        field(Voltage),
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

    base = min((name for name in known if name.startswith("fan-") and "inline" not in name), key=unlike)
    entry = known[base]
    current = yield Question(
        "Amperes on its label", str(entry["rated_current"]),
        'Like "0.16 A". Only watts are given: divide them by the volts. No label: take the default.', field(Current),
    )  # fmt: skip
    flow = yield Question(
        "Air it moves, from its label or its data sheet", str(entry["free_air_flow"]),
        'Like "60 m3/h" or "35 cfm", with nothing in its way. Not known: take the default, that of a usual fan of this'
        " size.",
        field(Flow),
    )  # fmt: skip
    answers.fan, answers.size, answers.fan_volts = base, size, parse(volts, "voltage")
    scale = answers.fan_volts / parse(entry["rated_voltage"], "voltage")
    given = {"rated_current": current, "free_air_flow": flow, "size": size}
    answers.label = {key: value for key, value in given.items() if value != entry[key]}
    if abs(scale - 1) > 1e-6:
        keys = ("rated_voltage", "start_voltage", "run_down_voltage", "maximum_voltage")
        answers.label |= {key: f"{scale * parse(entry[key], 'voltage'):.3g} V" for key in keys}


def ask_between(answers: Answers, library: Library) -> Asking:
    """Ask what stands between panel and fans."""
    volts = _volts_of(answers, library)
    usual = "nothing"
    if answers.fan_volts < 7:
        usual = "buck-5v" if volts > 15 else "panel-usb-socket"
    answers.converter = yield choose(
        "What stands between panel and fans", usual,
        "Nothing, if the fans' leads go straight to the panel. The USB socket of a panel is a regulator. Not built yet:"
        " take the default, and ask solarvent size afterwards.",
        {"nothing": "nothing: straight"} | library.names("converters"),
    )  # fmt: skip


def _volts_of(answers: Answers, library: Library) -> float:
    """Open-circuit voltage of the panel that was chosen. [V]"""
    if answers.panel == _OTHER:
        return parse(answers.plate.get("v_oc", "22 V"), "voltage")
    return parse(library.entries("panels")[answers.panel].get("v_oc", "22 V"), "voltage")


def _or_nothing(read: Any) -> Any:
    """Read a value, or one of the words for none, which is empty."""
    return lambda text: "" if text.lower() in NOTHING else read(text)


def _panel_words(entry: dict[str, Any]) -> str:
    """Name a panel with its size, by which an old one is known."""
    return f"{entry.get('name')}" + (f" ({entry['width']} x {entry['height']})" if "width" in entry else "")
