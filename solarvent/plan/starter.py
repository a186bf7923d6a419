"""A commented starter plan from the answers to some questions."""

from __future__ import annotations

from dataclasses import dataclass, field

from solarvent.plan.checking import library_record
from solarvent.plan.edit import toml_value
from solarvent.plan.library import Library
from solarvent.plan.parts import USUAL_TILT, Fan

_HEAD = """\
# Written by "solarvent new --ask". Change what you like: every line says what it is.
#
# How to read this file: text and measures stand in quotes, and a measure carries its unit ("3.1 m", "8 ft", "20 W").
# Angles are plain numbers in degrees. A line that begins with # is a note. Keys that are left out take a usual value;
# for all keys and their meaning: solarvent schema, and the longer example that "solarvent new" writes."""


#: Ends of what is joined through the socket of a panel, which sits in the panel's own box.
_USB_JACK, _USB_PLUG = '{ family = "usb-a", body = "jack" }', '{ family = "usb-a", body = "plug" }'
_SOLDERED = '{ family = "soldered", positive = "plus" }'
EMBEDDED_YEAR = "latitude 36.1, longitude -79.95"


@dataclass
class FanKind:
    """Fans that are alike: the library entry on which they rest, what their label says otherwise, and how many.

    `size` is the width of the frame. [m]
    """

    part: str
    size: float
    volts: float
    label: dict[str, str] = field(default_factory=dict)
    count: int = 1


def fans_of(library: Library) -> dict[str, Fan]:
    """Read the fans of the library."""
    return {name: library_record("fans", name, library) for name in library.entries("fans")}


def likest_fan(library: Library, volts: float, size: float) -> str:
    """Name the fan of the library that is likest to one of a rated voltage [V] and a width of its frame [m]."""
    known = fans_of(library)

    def unlike(name: str) -> tuple[float, float]:
        return abs(known[name].rated_voltage / volts - 1), abs(known[name].size - size)

    # Fans in a pipe have no frame to be known by; one without its air in the free is known by a measured curve alone.
    return min((name for name, fan in known.items() if "inline" not in name and fan.free_air_flow), key=unlike)


@dataclass
class Answers:
    """What a person said, in the person's own units (``"metric"`` or ``"us"``).

    `plate` holds figures of a panel that is not in the library, as keys of a plan; `converter` is ``"nothing"`` or an
    entry of the library; `climate` is empty near the station whose year comes with the program. Tilt and azimuth are in
    [deg]. `battery_capacity` is empty without a battery.
    """

    units: str = "metric"
    use: str = "greenhouse"
    shape: str = "gable"
    length: str = "3.1 m"
    width: str = "2.5 m"
    eaves: str = "1.7 m"
    ridge: str = "2.4 m"
    cover: str = "twin-wall-4mm"
    hens: int = 0
    latitude: float = 36.1
    longitude: float = -79.95
    timezone: str = "America/New_York"
    climate: str = ""
    panel: str = "panel-20w"
    plate: dict[str, str] = field(default_factory=dict)
    cells: int = 36
    age: int = 0
    azimuth: float = 225.0
    tilt: float = USUAL_TILT
    fans: list[FanKind] = field(default_factory=list)
    converter: str = "nothing"
    battery_voltage: str = "12 V"
    battery_capacity: str = ""
    battery_kind: str = "lead-acid"
    battery_fuse: str = "5 A"
    evening: str = "22:00"
    lead: str = "4 m"
    wire: str = "18 AWG"
    branch: str = "20 AWG"
    inlet: str = "340 cm2"

    def fan_ids(self) -> list[str]:
        """Name the fans."""
        return [f"fan-{number}" for number in range(1, sum(kind.count for kind in self.fans) + 1)]


def plan_text(answers: Answers) -> str:
    """Write a plan from what was said: TOML with comments."""
    each = [kind for kind in answers.fans for _ in range(kind.count)]
    fans = [
        _fan(name, kind, answers, first=name == "fan-1") for name, kind in zip(answers.fan_ids(), each, strict=True)
    ]
    battery = [_battery(answers)] if answers.battery_capacity else []
    parts = [house_text(answers), _panel(answers), *fans, opening_text(answers), *battery, _wiring(answers), _MORE]
    return "\n\n".join(parts)


def _battery(answers: Answers) -> str:
    """Write the battery from which the fans run."""
    return "\n".join([
        _row("[battery]", "charged by the panel through a charge controller; the fans run from it"),
        _row(f'kind = "{answers.battery_kind}"', '"lead-acid", or "lithium" for LiFePO4'),
        _row(f'capacity = "{answers.battery_capacity}"', "by its label"),
        f'voltage = "{answers.battery_voltage}"',
        _row(f'fuse = "{answers.battery_fuse}"', "at its + pole"),
        _row('start = "18:00"', "of the evening in which the fans are wanted too"),
        f'end = "{answers.evening}"',
    ])  # fmt: skip


def house_text(answers: Answers, title: str = "") -> str:
    """Write what stands before the parts: place, weather, house and target."""
    title = title or f"My {answers.use}"
    rise = "10 degF" if answers.units == "us" else "6 K"
    green = answers.use == "greenhouse"
    floor = "boards" if answers.use in ("shed", "camper") else "soil"
    return "\n".join([
        _HEAD,
        "",
        "plan_version = 1",
        f"title = {toml_value(title)}",
        _row(f'units = "{answers.units}"', 'how results are shown: "metric" or "us"; the file itself may mix both'),
        "",
        _row("[place]", "where it stands: decides the path of the sun"),
        _row(f"latitude = {answers.latitude:g}", "degrees, north is positive"),
        _row(f"longitude = {answers.longitude:g}", "degrees, east is positive"),
        _row(f'timezone = "{answers.timezone}"', "clock times follow it"),
        _row("wind_share = 0.5", "hedges and fences leave half of the open wind; 1.0 on a bare field"),
        _row('# record_low = "-20 degC"', "coldest air to plan for: a cold panel gives its highest voltage"),
        "",
        "[weather]",
        *_weather(answers),
        "",
        _row("[house]", "outside measures"),
        f'shape = "{answers.shape}"',
        f'length = "{answers.length}"',
        f'width = "{answers.width}"',
        _row(f'eaves = "{answers.eaves}"', "height of the low wall"),
        _row(f'ridge = "{answers.ridge}"', "height at the top"),
        _row(f'cover = "{answers.cover}"', "see: solarvent parts covers"),
        f'use = "{answers.use}"',
        _row(f'planting = "{"half" if green else "empty"}"', "leaf on the floor, which cools: empty, half, full"),
        _row("# leaf_area = 2", "in its place, m2 of leaf for each m2 of floor"),
        _row("# watered = true", "floor and plants get water; left out: where something grows"),
        _row(f'floor = "{floor}"', '"soil", "lawn", "gravel", "slab" (concrete) or "boards"'),
        _row('# back = "boards"', "a solid wall at the back; see: solarvent parts covers"),
        _row('tightness = "average"', 'cracks: "tight", "average" or "leaky"'),
        *_animals(answers),
        "",
        _row("[target]", "what would be enough, and when"),
        _row(f'rise = "{rise}"', "no more than this above the air outside"),
        'start = "12:00"',
        'end = "18:00"',
        _row("# months = [5, 6, 7, 8, 9]", "left out: the warm ones of your half of the world"),
    ])  # fmt: skip


def _animals(answers: Answers) -> list[str]:
    """Write the hens, whose warmth and breath count."""
    if not answers.hens:
        return []
    weight = "4 lb" if answers.units == "us" else "1.8 kg"
    return [
        "",
        _row("[animals]", "their warmth and their breath count"),
        f"count = {answers.hens}",
        f'weight = "{weight}"',
    ]


def opening_text(answers: Answers) -> str:
    """Write where fresh air comes in."""
    # Where there is none, the entry stands there as a note, to be taken in later.
    none = answers.inlet.startswith("0 ")
    rows = [
        _row("[[opening]]", "where fresh air comes in: low, at the far end from the fans"),
        'id = "inlet"',
        _row('part = "wire-mesh"', "what lies in it; see: solarvent parts openings"),
        f'area = "{Answers.inlet if none else answers.inlet}"',
    ]
    if none:
        rows = ["# No opening for fresh air: the fans draw through the cracks. With one, take the # away.",
                *(f"# {row}" for row in rows)]  # fmt: skip
    return "\n".join(rows)


def _row(entry: str, note: str) -> str:
    """Write a line with its note in a column of its own."""
    return f"{entry:<29} # {note}"


def _weather(answers: Answers) -> list[str]:
    """Write the source of the weather, and how to come by a better one."""
    if not answers.climate:
        return ["# the year of hours that comes with the program", f'embedded = "{EMBEDDED_YEAR}"']
    return [
        _row(f'climate = "{answers.climate}"', "a kind of place, by its months: no heat waves"),
        "# A real year is better. Fetch one:",
        f"#     solarvent weather fetch --lat {answers.latitude:g} --lon {answers.longitude:g} -o my-year.csv",
        "# and put this in place of the line with climate:",
        '# file = "my-year.csv"',
    ]


def _panel(answers: Answers) -> str:
    """Write the panel."""
    if answers.plate:
        rows = [f'{key} = "{value}"' for key, value in answers.plate.items()]
        if "v_oc" in answers.plate:
            rows.append(_row(f"cells_in_series = {answers.cells}", "counted from its volts"))
    else:
        rows = [_row(f'part = "{answers.panel}"', "figures from the library; see: solarvent parts panels")]
    # The library holds their usual factor: the line is there for what somebody metered.
    if answers.panel.startswith("panel-usb"):
        rows.append(_row("# plate_factor = 0.6", "what it gives of its label, if metered; else taken as usual, 0.6"))
    if _has_socket(answers):
        rows.append(f"outlet = {_SOLDERED}")
    if answers.age:
        rows.append(_row(f"age = {answers.age}", "years in the sun"))
    return "\n".join([
        "[[panel]]",
        'id = "panel"',
        *rows,
        _row(f"tilt = {answers.tilt:g}", "degrees from flat"),
        _row(f"azimuth = {answers.azimuth:g}", "where it looks: 0 north, 90 east, 180 south, 270 west"),
        _row('mounting = "free"', 'air behind it: "free", "close" (a gap under 25 mm) or "flush" on the roof'),
        _row("soiling_ratio = 0.95", "5 % of the light is lost in dust"),
        _row('# behind = "single-glass"', "if it hangs inside, behind a window or the glazing"),
    ])  # fmt: skip


def _fan(name: str, kind: FanKind, answers: Answers, first: bool) -> str:
    """Write one of the fans; the notes stand at the first."""
    rows = [
        ("[[fan]]", ""),
        (f'id = "{name}"', ""),
        (f'part = "{kind.part}"', "see: solarvent parts fans"),
        *((f'{key} = "{value}"', "") for key, value in kind.label.items()),
        *([(f"inlet = {_USB_PLUG}", "")] if _has_socket(answers) else []),
        ('outlet_opening = "hood"', "what the air passes behind it; see: solarvent parts openings"),
        ("# wall_azimuth = 90", "where its wall faces; left out: sheltered from wind"),
    ]
    if not first:
        return "\n".join(entry for entry, _ in rows if not entry.startswith("#"))
    return "\n".join(_row(entry, note) if note else entry for entry, note in rows)


def _has_socket(answers: Answers) -> bool:
    """Tell whether the fans go into the socket of the panel."""
    return answers.converter.startswith("panel-usb")


def _wiring(answers: Answers) -> str:
    """Write how it is joined."""
    # A layout word has no word for a socket in the panel and a hub behind it.
    if _has_socket(answers):
        return _runs(answers)
    straight = answers.converter in ("nothing", "battery")
    between = f'{"# " if straight else ""}converter = "{"buck-12v" if straight else answers.converter}"'
    return "\n".join([
        _row("[wiring]", "panel -> lead -> split -> a branch to each fan, all side by side"),
        _row('layout = "shared"', 'or "series": all fans in a chain; "one-each": a panel to each fan'),
        _row(between, "a regulator in the line; see: solarvent parts converters"),
        "",
        "[wiring.lead]",
        f'wire = "{answers.wire}"',
        _row(f'length = "{answers.lead}"', "one way; the current goes there and back"),
        "",
        _row("[wiring.branch]", "from the split to each fan"),
        # A short in a branch draws what the fuse of a battery lets through, as in the lead.
        f'wire = "{answers.wire if answers.battery_capacity else answers.branch}"',
        f'length = "{"3 ft" if answers.units == "us" else "1 m"}"',
    ])  # fmt: skip


def _runs(answers: Answers) -> str:
    """Write the way from the socket of a panel to the fans, part by part."""
    ids = answers.fan_ids()
    rows = [
        _row("[[converter]]", "the socket, which belongs to the panel"),
        'id = "socket"',
        _row(f'part = "{answers.converter}"', "see: solarvent parts converters"),
        f"inlet = {_SOLDERED}",
        f"outlet = {_USB_JACK}",
        "",
        _row("[[lead]]", "an extension; see: solarvent parts leads"),
        'id = "lead"',
        'part = "extension-usb-a-1m"',
        f'name = "USB-A extension, {answers.lead}"',
        f'wire = "{answers.wire}"',
        f'length = "{answers.lead}"',
        "",
    ]
    way = ["panel", "socket", "lead"]
    if len(ids) > 1:
        rows += [
            _row("[[splitter]]", "a hub without wits: one plug, and a receptacle for each fan"),
            'id = "split"',
            'part = "usb-a-to-two"',
            f"branches = {len(ids)}",
            "",
        ]
        way.append("split")
    runs = [f"    {toml_value([*way, name])}," for name in ids]
    return "\n".join([*rows, _row("[wiring]", "from the panel to each fan, by their ids"), "runs = [", *runs, "]"])


_MORE = """\
# More that a plan may have; take the # away and change it.
#
# [thermostat]                # in the line of the fans: none turns while the house is cool
# closes_at = "28 degC"
# opens_at = "24 degC"
#
# [battery]                   # charged by the panel; the fans run from it in the hours of need and in the evening
# kind = "lead-acid"          # or "lithium" (LiFePO4)
# capacity = "20 Ah"
# voltage = "12 V"
# fuse = "5 A"                # at its + pole
#
# [shade]                     # against the sun: "outside", "inside" (cloth) or "paint" on the cover
# place = "paint"
# transmittance = 0.6
#
# [[obstacle]]                # what stands near: "tree", "wall" or "ridge"
# kind = "tree"
# azimuth = 240               # direction of its middle, seen from the panel
# distance = "9 m"
# height = "4 m"              # of its top above the panel
# width = "5 m\""""
