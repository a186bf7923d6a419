"""The questions that lead to a first plan, one after the other, each with a default."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from typing import Any

from solarvent.base.quantities import convert, parse, show
from solarvent.plan.asking import (
    NOTHING,
    Asking,
    Question,
    area,
    battery_label,
    below,
    cable,
    choose,
    facing,
    field,
    heights,
    position,
    several,
    whole,
    zone,
)
from solarvent.plan.fields import ClockTime, Current, FloorLength, Flow, PartLength, Power, Voltage
from solarvent.plan.library import Library
from solarvent.plan.parts import USUAL_TILT
from solarvent.plan.starter import Answers, FanKind, fans_of, likest_fan, plan_text

#: The best point of a usual plate beside its ends (typical).
_BEST_VOLTAGE, _BEST_CURRENT = 0.82, 0.93
#: Volts of a cell with nothing joined, warm in the sun; and the numbers of cells that are sold (typical). [V]
_CELL, _CELLS = 0.58, (10, 12, 18, 20, 36, 54, 60, 72)
#: Short-circuit current above which 20 AWG is too thin: it may carry 5 A, and bears 1.56 times this (NEC 690.8). [A]
_STRONG = 3.2
#: Answers beside the entries of the library.
_OTHER, _METERED = "other", "metered"
_MOST_FANS = 12


def ask_panel(answers: Answers, library: Library) -> Asking:
    """Ask for the panel: one of the library, or its plate or two readings of a meter."""
    entries = library.entries("panels")
    panels = {name: words + _sides(entries[name], answers.units) for name, words in library.names("panels").items()}
    # For plans by hand: whoever knows the watts alone is asked for them as those of another panel.
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
    _take(answers, volts, amperes, *_usual_best(volts, amperes))


def _plate(answers: Answers) -> Asking:
    """Ask for the figures of a label; what it does not say follows from what it does."""
    watts = yield Question("Watts on its label", "20 W", "Pmax or Pmpp: the largest figure in W.", field(Power, "W"))
    volts = yield Question(
        "Its open-circuit volts, Voc", "none",
        'The highest voltage on the label. "none" if it gives watts alone: then a usual "12 V" panel of so many watts'
        " is taken.",
        lambda text: "" if text.lower() in NOTHING else field(Voltage, "V")(text),
    )  # fmt: skip
    if not volts:
        answers.plate = {"watts": watts}
        return
    usual = parse(watts, "power") / parse(volts, "voltage") / _BEST_VOLTAGE / _BEST_CURRENT
    amperes = yield Question(
        "Its short-circuit amperes, Isc", f"{usual:.2g} A",
        "The highest current on the label. Not given: the default goes by the watts.", field(Current, "A"),
    )  # fmt: skip
    usual_volts, usual_amperes = _usual_best(volts, amperes)
    best_volts = yield Question(
        "Its volts at the best point, Vmp", usual_volts,
        "Smaller than Voc. Not given: take the default, four fifths of it.", below(Voltage, "voltage", "V", volts),
    )  # fmt: skip
    best_amperes = yield Question(
        "Its amperes at the best point, Imp", usual_amperes,
        "A little smaller than Isc. Not given: take the default.", below(Current, "current", "A", amperes),
    )  # fmt: skip
    _take(answers, volts, amperes, best_volts, best_amperes)


def _usual_best(volts: str, amperes: str) -> tuple[str, str]:
    """Volts and amperes at the best point of a usual plate with these at its ends."""
    return f"{_BEST_VOLTAGE * parse(volts, 'voltage'):.3g} V", f"{_BEST_CURRENT * parse(amperes, 'current'):.3g} A"


def _take(answers: Answers, volts: str, amperes: str, best_volts: str, best_amperes: str) -> None:
    """Keep the figures of a panel."""
    answers.plate = {"v_oc": volts, "i_sc": amperes, "v_mp": best_volts, "i_mp": best_amperes}
    answers.cells = min(_CELLS, key=lambda count: abs(count * _CELL - parse(volts, "voltage")))


def ask_fans(answers: Answers, library: Library) -> Asking:
    """Ask for the fans, one kind after the other."""
    known = fans_of(library)
    fans = {name: f"{fan.name or name}, {show(fan.rated_current, 'current')}" for name, fan in known.items()}
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
            kind = FanKind(part, known[part].size, known[part].rated_voltage)
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
        "Outside, edge to edge: 80, 92, 120 and 140 mm are usual.", field(PartLength),
    )  # fmt: skip
    base = likest_fan(library, parse(volts, "voltage"), parse(size, "length"))
    entry = library.entries("fans")[base]
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
    kind = FanKind(base, parse(size, "length"), parse(volts, "voltage"))
    given = {"rated_current": current, "free_air_flow": flow, "size": size}
    kind.label = {key: value for key, value in given.items() if value != entry.get(key)}
    # Motors of one kind start at much the same share of their voltage (common practice, no source).
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
        {"nothing": "nothing: straight", "battery": "a charge controller with a battery"} | library.names("converters"),
    )  # fmt: skip
    entry = library.entries("converters").get(answers.converter, {})
    if answers.converter == "battery" or entry.get("needs_battery"):
        yield from _battery(answers)


def _battery(answers: Answers) -> Asking:
    """Ask for the battery behind a charge controller."""
    answers.battery_voltage, answers.battery_capacity = yield Question(
        "The battery, by its label", "12 V, 7 Ah",
        'Its volts and its ampere hours, like "12 V, 7 Ah" or "12.8 V, 100 Ah"; or volts and watt hours, "12 V, 84 Wh".'
        " Ampere hours alone say nothing.",
        battery_label,
    )  # fmt: skip
    answers.battery_kind = yield choose(
        "Its kind", "lead-acid", "AGM, gel and wet car batteries are lead-acid; LiFePO4 is lithium.",
        {"lead-acid": "lead-acid: AGM, gel or wet", "lithium": "lithium: LiFePO4"},
    )  # fmt: skip
    answers.battery_fuse = yield Question(
        "The fuse at its + pole", "5 A",
        "A battery sets a lead on fire in a short circuit: a fuse sits a hand's breadth from its + pole. None yet: take"
        " the default and buy one.",
        field(Current, "A"),
    )  # fmt: skip
    answers.evening = yield Question(
        "Until when are the fans wanted in the evening", "22:00",
        'From 18:00 on, by the clock, like "22:00", or "06:00" for the whole night.',
        field(ClockTime),
    )  # fmt: skip


def _volts_of(answers: Answers, library: Library) -> float:
    """Open-circuit voltage of the panel that was chosen. [V]"""
    if answers.plate:
        return parse(answers.plate.get("v_oc", "22 V"), "voltage")
    return parse(library.entries("panels")[answers.panel].get("v_oc", "22 V"), "voltage")


def _sides(entry: dict[str, Any], system: str) -> str:
    """Write the size of a panel, by which an old one is known."""
    sides = [show(parse(entry[side], "length"), "length", system) for side in ("width", "height") if side in entry]
    return f" ({' x '.join(sides)})" if sides else ""


_USES = {
    "greenhouse": "greenhouse, or a polytunnel",
    "shed": "shed or workshop",
    "coop": "coop for hens or other animals",
    "camper": "camper, van or trailer",
}
_SHAPES = {
    "gable": "two roof slopes that meet in a ridge",
    "lean-to": "one slope against a wall of another house",
    "tunnel": "hoops under film",
    "dome": "dome",
    "box": "flat roof",
    "shed": "one roof slope, free-standing",
}
#: Use -> what its house is usually like: shape, cover, and floor and heights in metric and in US units.
_USUAL = {
    "greenhouse": ("gable", "twin-wall-4mm", ("3.1 m x 2.5 m", "10 ft x 8 ft"), ("1.7 m x 2.4 m", "5.5 ft x 8 ft")),
    "shed": ("gable", "boards", ("3 m x 2 m", "10 ft x 7 ft"), ("1.8 m x 2.2 m", "6 ft x 7 ft")),
    "coop": ("coop", "boards", ("2 m x 1.5 m", "7 ft x 5 ft"), ("1.2 m x 1.6 m", "4 ft x 5 ft")),
    "camper": ("box", "insulated-panel", ("4 m x 2 m", "13 ft x 7 ft"), ("1.9 m x 1.9 m", "6 ft x 6 ft")),
}
#: The free area of an inlet over the fans' own holes (common practice, no source: 1.5 to 3).
_INLET = 3.0
#: A climate of the other half of the world is taken if it is nearer by so much (our choice). [deg]
_OTHER_HALF = 3.0
#: Of the station whose year comes with the program. [deg]
_EMBEDDED = (Answers.latitude, Answers.longitude)


def interview(
    library: Library, boxed: Sequence[float] | None = None, units: str = "metric"
) -> Generator[Question, Any, Answers]:
    """Ask for a plan: yields each question, wants the value of its answer sent in return, and gives all answers.

    `boxed` are widths of fans that are known from boxes [m]: then only place, house and mounting are asked for. `units`
    are those that the first question offers.
    """
    units = yield choose(
        "Your units", units, "In which results are shown. An answer may use any of them, if it says which.",
        {"metric": "metric: m, degC, m3/h", "us": "us: ft, degF, cfm"},
    )  # fmt: skip
    answers = Answers(units)
    yield from _house(answers, library)
    yield from _place(answers, library)
    if boxed is None:
        yield from ask_panel(answers, library)
    direction = f"{'south' if answers.latitude >= 0 else 'north'}-west {USUAL_TILT:g}"
    answers.azimuth, answers.tilt = yield Question(
        "Where does the panel look, and how steep is it", direction,
        'A direction and degrees from flat: "south 30", "SW 45". "flat" is 0, upright 90. For the heat of the'
        " afternoon the west side is worth more than the noon side.",
        facing,
    )  # fmt: skip
    if boxed is None:
        yield from ask_fans(answers, library)
        yield from ask_between(answers, library)
        plate = answers.plate or library.entries("panels")[answers.panel]
        strong = parse(plate.get("i_sc", "0 A"), "current") > _STRONG
        answers.lead, answers.wire = yield Question(
            "Lead from the panel to the fans: length, thickness",
            f"{'4 m' if units == 'metric' else '13 ft'}, {'14 AWG' if strong else '18 AWG'}",
            "One way. The thickness is printed on the jacket, in AWG or mm2: 18 AWG and 0.75 mm2 are usual; telephone"
            " or bell wire is 24 AWG or 0.22 mm2, the power wires of a USB lead 24 to 28 AWG.",
            cable(library),
        )  # fmt: skip
        answers.branch = answers.wire if strong else answers.branch
    widths = boxed or [kind.size for kind in answers.fans for _ in range(kind.count)]
    # The hole of an axial fan is round within its square frame: pi / 4 of it.
    holes = sum(0.785 * width**2 for width in widths)
    unit = "cm2" if units == "metric" else "in2"
    answers.inlet = yield Question(
        "Opening through which fresh air comes in, besides cracks",
        f"{float(format(convert(_INLET * holes, 'area', unit), '.2g')):g} {unit}",
        'Its area, or its two sides: "20 cm x 30 cm", "8 in x 12 in"; "none" if there is none. The default is three'
        " times the fans' own holes. What lies in it (mesh, louvre, shutter) can be changed in the plan.",
        area,
    )  # fmt: skip
    return answers


def written_plan(library: Library, units: str = "metric") -> Generator[Question, Any, str]:
    """Ask for a whole plan, and return its text; see :func:`interview`."""
    answers = yield from interview(library, units=units)
    return plan_text(answers)


def _house(answers: Answers, library: Library) -> Asking:
    """Ask what is ventilated, and how large it is."""
    us = answers.units == "us"
    answers.use = yield choose("What is to be ventilated", "greenhouse", "Choose the nearest.", _USES)
    answers.shape, cover, floor, high = _USUAL[answers.use]
    if answers.use in ("greenhouse", "shed"):
        answers.shape = yield choose("Its roof", answers.shape, "Choose the nearest.", _SHAPES)
    answers.length, answers.width = yield Question(
        "Its floor, length x width", floor[us], 'Outside, paced out is good enough: "3 m x 2 m", "10 ft x 8 ft".',
        several(FloorLength, 2, "length x width"),
    )  # fmt: skip
    answers.eaves, answers.ridge = yield Question(
        "Its height, at the low wall x at the top", high[us],
        "From the floor. Twice the same for a flat roof; 0 m for hoops that start at the ground.", heights,
    )  # fmt: skip
    # What is never the whole of a wall.
    covers = library.names("covers")
    del covers["shade-cloth-50"], covers["insect-mesh"]
    answers.cover = yield choose(
        "What are walls and roof made of", cover,
        "Choose what most of it is made of. The file then takes back, a solid wall at the back, and [shade], cloth or"
        " paint against the sun; floor, leaf_area and watered say what the sun falls on.",
        covers,
    )  # fmt: skip
    if answers.use == "coop":
        answers.hens = yield Question(
            "How many hens live in it", "6", "They warm it, breathe out water and want air; 0 for none.", whole(0, 500)
        )


def _place(answers: Answers, library: Library) -> Asking:
    """Ask where it stands, and for a weather that is like the one there."""
    answers.latitude, answers.longitude = yield Question(
        "Where does it stand, latitude and longitude", f"{_EMBEDDED[0]}, {_EMBEDDED[1]}",
        'In degrees, from any map: "51.5, -2.6" or "51.5 N 2.6 W". Half a degree is near enough. The default is the'
        " place of the weather year that comes with the program.",
        position,
    )  # fmt: skip
    here = answers.latitude, answers.longitude
    near = max(abs(value - own) for value, own in zip(here, _EMBEDDED, strict=True)) <= 1
    # The names of this family of zones have their sign turned round: GMT-5 is five hours east.
    east = round(answers.longitude / 15)
    usual = f"Etc/GMT{-east:+d}" if east else "UTC"
    answers.timezone = yield Question(
        "Your time zone", "America/New_York" if near else usual,
        'Its name, which often is a town: "Europe/London", "America/Denver", "Auckland". The default goes by the sun'
        " and knows no daylight saving.",
        zone,
    )  # fmt: skip
    if near:
        return
    climates = library.entries("climates")
    north = answers.latitude >= 0

    def unlike(name: str) -> float:
        usual = float(climates[name].get("latitude", 90))
        # Degrees apart; a climate of the other half of the world does as well, if none of this one is as near.
        return abs(abs(usual) - abs(answers.latitude)) + (_OTHER_HALF if (usual >= 0) != north else 0)

    answers.climate = yield choose(
        "Which climate is most like yours", min(climates, key=unlike),
        "The default is the one of the nearest latitude, and may be wrong for your coast or your height. A real year of"
        " hours is better: the plan says how to fetch one.",
        library.names("climates"),
    )  # fmt: skip
