"""What a checklist begins with: the form of a step, readings to expect, where probes go; and what to have at hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil

import numpy as np

from solarvent.base.findings import called, listed
from solarvent.base.quantities import convert, shown_unit
from solarvent.bench.metering import Expected, expected_readings
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.operation import point
from solarvent.electrical.panel_model import Band, panel_parameters, single_diode
from solarvent.plan.connectors import read_families
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Panel, Splitter
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import cell_temperature
from solarvent.wiring.circuit import Circuit, Leaf, conductor_current_basis, loop_resistance
from solarvent.wiring.harness import Harness, build_harness
from solarvent.wiring.joints import PolarityTrace, in_words, positive_contact, worst_polarity


def volt_setting(highest: float) -> str:
    """Name the range for a voltage [V]; a 20 V range is too small for most panels."""
    span = next(span for span in (2, 20, 200, 600) if highest <= span)
    return f"DC volts, {span} V range"


def ampere_setting(highest: float) -> str:
    """Name the range for a current [A]; the small range has a fuse that a slip blows."""
    if highest > 10:
        return "a DC clamp meter, for this is more than the 10 A range bears"
    return "DC amperes, 10 A range, red lead in the 10 A socket"


def probe_at(plan: Plan, connector: Connector | None, setting: str) -> str:
    """Say where the probes go on an end of a lead; None is an end of which the plan does not say what it is."""
    if connector is None:
        return f"{setting}; red on the contact that should be +, black on the other"
    family = read_families(plan.library)[connector.family]
    positive = connector.positive or family.usual_positive
    contacts = (name for name in (family.power or family.positions) if name != positive)
    other = connector.negative or next(contacts, "other")
    if "centre" in family.positions:
        place = "in the hole" if connector.body == "plug" else "on the pin"
        place_of = {"centre": f"the centre, {place}", "sleeve": "the outer sleeve"}
    elif family.any_position:
        place_of = {name: f"the {name} wire" for name in (positive, other)}
    else:
        place_of = {}
    red, black = (place_of.get(name, f"the contact called {name}") for name in (positive, other))
    unsure = "" if connector.positive or family.fixed else "; the plan does not know this pole, so read the sign"
    # Its contacts lie deep in the plug.
    meter = "a USB meter, or " if family.voltage else ""
    return f"{meter}{setting}; red on {red}, black on {black}{unsure}"


def far_end(part: Lead | Splitter | Converter) -> Connector | None:
    """The end of a part towards the fans."""
    return part.branch if isinstance(part, Splitter) else part.outlet


#: Clear sky around noon on a panel that looks towards the sun (common practice, no source). [W/m2]
CLEAR_NOON = 900.0
MILD_AIR = 20.0
#: Of a cheap meter. [-]
METER = 0.03
#: Nobody gets at the wires between two USB plugs without cutting them.
USB_METER = "a USB meter between socket and plug; without one leave the figures out"


@dataclass(frozen=True)
class Step:
    """One step of a checklist: what to do, with the meter's setting and probes (`probe`; empty if no meter is used).

    `expect` and `tolerance` say what should be found, and between what it may lie (empty if there is no number);
    `otherwise` what it means if it is not so, and what to do then. `joins` are the pairs of parts that it joins; the
    `phase` of the work is written in by the checklist.
    """

    phase: str = field(default="", kw_only=True)
    do: str
    probe: str = ""
    expect: str = ""
    tolerance: str = ""
    otherwise: str = ""
    joins: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Bench:
    """What all steps need to know: plan, wiring, readings by band for one light [W/m2] and cell temperature [degC].

    `poles` is by fan ``"kept"``, ``"reversed"`` or ``"unknown"``, empty if the plan describes no connector; `plus` is
    by part the contact at its far end that is +, as far as the plan knows. `system` is that of lengths, ``"metric"`` or
    ``"us"``.
    """

    plan: Plan
    harness: Harness
    irradiance: float
    temp_cell: float
    bands: dict[str, tuple[Expected, ...]]
    system: str
    poles: dict[str, str]
    plus: dict[str, str]

    def called(self, panel: Panel | str) -> str:
        """Name a panel in a sentence: by its id only where there are several."""
        name = panel if isinstance(panel, str) else panel.id
        return "the panel" if len(self.plan.record.panel) == 1 else called("panel", [name])

    def built_in(self, panel: Panel) -> Converter | None:
        """Find the regulator in a panel's own box."""
        following = (self.harness.parts[name] for name in self.harness.after(panel.id))
        return next((part for part in following if isinstance(part, Converter) and part.built_in), None)

    def is_usb(self, connector: Connector | None) -> bool:
        """Whether an end is a USB plug or socket: moulded on, and its poles cannot be swapped."""
        return connector is not None and read_families(self.plan.library)[connector.family].voltage is not None


def prepare(
    plan: Plan, irradiance: float | None = None, temp_cell: float | None = None, system: str | None = None
) -> Bench:
    """Work out the readings that a checklist needs, by default in the plan's units.

    Light on the cells [W/m2] is by default that of a clear noon; their temperature [degC] that of the first panel in
    this light at 20 degC outside.
    """
    light = CLEAR_NOON if irradiance is None else irradiance
    panel = plan.record.panel[0]
    warm = float(cell_temperature(light, MILD_AIR, panel.noct)) if temp_cell is None else temp_cell
    readings = expected_readings(plan, light, warm)
    harness = build_harness(plan)
    return Bench(plan, harness, light, warm, readings, system or plan.record.units, *_poles(plan, harness))


def _poles(plan: Plan, harness: Harness) -> tuple[dict[str, str], dict[str, str]]:
    """Follow the poles from the panels to the fans, as far as the plan describes its connectors."""
    if all(end.connector is None for join in harness.joins for end in (join.source, join.sink)):
        return {}, {}
    trace = PolarityTrace(harness.parts, harness.joins, read_families(plan.library))
    plus: dict[str, str] = {}
    for join in trace.joins:
        end = join.source.connector
        if end is not None and not trace.families[end.family].any_position:
            contact = positive_contact(end, worst_polarity(trace.leaving(join.source)), False, trace.families)
            plus |= {join.source.part: contact} if contact else {}
    return {name: worst_polarity(arrivals) for name, arrivals in trace.fans().items()}, plus


def alike(parts: Sequence[Panel] | Sequence[Fan]) -> list[tuple[list[str], Panel | Fan]]:
    """Group parts with the same figures: the names of each group, and one of it."""
    groups: dict[str, list[Panel | Fan]] = {}
    for part in parts:
        key = part.model_copy(update={"id": None, "wall_azimuth": None} if isinstance(part, Fan) else {"id": None})
        groups.setdefault(key.model_dump_json(), []).append(part)
    return [([part.id for part in group], group[0]) for group in groups.values()]


def part_resistance(plan: Plan, part: object) -> float:
    """Both conductors of a lead, or trunk and one branch of a splitter, at 20 degC as on the bench. [ohm]"""
    if not isinstance(part, Lead | Splitter):
        return 0.0
    once = loop_resistance(part.length, plan.wire(part.wire).resistance_per_metre, part.wire_quality)
    return 2 * once if isinstance(part, Splitter) else once + part.resistance


def panel_alone(plan: Plan, panel: Panel, light: float, temp_cell: float, band: Band) -> tuple[float, float]:
    """Open-circuit voltage and short-circuit current of one panel. [V], [A]"""
    name, fan = panel.id, fan_electrical(plan.record.fan[0])
    parameters = panel_parameters(panel, np.array([light]), np.array([temp_cell]), band)
    reading = point(Circuit(Leaf(name), Leaf(fan.id)), {name: parameters}, {fan.id: fan}, {fan.id: "open"})
    return float(reading.open_circuit_voltage[0]), float(reading.short_circuit_current[0])


# --- what to have at hand ---------------------------------------------------------------------------------

#: Sizes in which small fuses are sold. [A]
_FUSES = (1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30)
_SPARE = 1.1
_CLIP_EACH = 0.3


@dataclass(frozen=True)
class Item:
    """One line of the list: what it is, what it is for, and how many or how much; `unit` is empty for pieces.

    `owned` is what the plan says is there; the rest is to be bought, or found.
    """

    item: str
    count: float
    why: str
    unit: str = ""
    owned: bool = False


def shopping(bench: Bench) -> list[Item]:
    """List what a plan needs."""
    return [*_parts(bench), *_cable(bench), *_joints(bench), *_fuses(bench), *_mounting(bench), *_tools(bench)]


def _parts(bench: Bench) -> Iterator[Item]:
    """Panels, fans, ready-made leads and splitters, converters, battery: those that a person wrote down are there."""
    record = bench.plan.record
    for kind, parts in (("panel", record.panel), ("fan", record.fan)):
        for names, one in alike(parts):
            words = called(kind, names)
            yield Item(one.name or f"{kind} as {listed(names)}", len(names), words, owned=one.owned)
    for word, kept in (("lead", record.lead), ("splitter", record.splitter)):
        groups: dict[tuple[str, bool], list[str]] = {}
        for own in kept:
            if own.id in bench.harness.parts:
                groups.setdefault((own.name or f"{word} {own.id}", own.owned), []).append(own.id)
        for (name, owned), ids in groups.items():
            yield Item(name, len(ids), called(word, ids), owned=owned)
    for name, part in bench.harness.parts.items():
        if isinstance(part, Lead) and part.diode and part not in record.lead:
            yield Item("blocking diode", 1, f"in line: {name}")
        if isinstance(part, Converter) and not part.built_in:
            written = part in record.converter
            what = "charge controller" if part.needs_battery else "converter"
            yield Item(part.name or what, 1, called(what, [name]), owned=written and part.owned)
    if (battery := record.storage) is not None:
        amp_hours = (battery.capacity or 0.0) / battery.voltage
        name = f"{battery.kind} battery, {battery.voltage:g} V, {amp_hours:.3g} Ah"
        yield Item(name, 1, "battery; in a box that breathes, where no spark is", owned=True)
        if record.thermostat is None and battery.fed == "when-needed":
            yield Item("switch, or a timer for direct current", 1, "in the + lead of the fans: on in the hours of need")
    if record.thermostat is not None:
        yield Item("thermostat for direct current", 1, "in the + lead of the fans", owned=True)


def _cable(bench: Bench) -> Iterator[Item]:
    """Two-core cable by gauge, for the leads that a layout word asks for."""
    ready = {part.id for part in bench.plan.record.lead}
    lengths: dict[str, dict[str, float]] = {}
    for name, part in bench.harness.parts.items():
        if isinstance(part, Lead) and name not in ready and part.length > 0:
            lengths.setdefault(part.wire, {})[name] = part.length
    unit = shown_unit("length", bench.system)
    for gauge, by_name in lengths.items():
        total = ceil(convert(_SPARE * sum(by_name.values()), "length", unit))
        names = ", ".join(by_name)
        yield Item(f"two-core cable {gauge}, copper, for outdoors", total, f"{names}; a tenth to spare", unit)


def _joints(bench: Bench) -> Iterator[Item]:
    """Plugs by family where the plan knows them; else pairs of plugs or terminals."""
    families = read_families(bench.plan.library)
    record = bench.plan.record
    built_in = (part for part in record.converter if part.built_in)
    ready = {part.id for part in (*record.panel, *record.fan, *built_in)}
    known: dict[str, int] = {}
    unknown = 0
    for join in bench.harness.joins:
        ends = [port for port in (join.source, join.sink) if port.connector is not None]
        if len(ends) < 2:
            unknown += 1
        for port in ends:
            if port.part not in ready and not bench.is_usb(port.connector):
                words = in_words(port.connector, families)  # type: ignore[arg-type]
                known[words] = known.get(words, 0) + 1
    for words, count in known.items():
        yield Item(words, count, "on leads and splitters, if these come without")
    if unknown:
        why = "one a joint; the plan does not say what the ends are"
        yield Item("pair of plugs, or a two-pole lever or screw terminal in a box", unknown, why)
    splits = [name for name, part in bench.harness.parts.items() if isinstance(part, Splitter)]
    made = [name for name in splits if name not in {part.id for part in bench.plan.record.splitter}]
    if made:
        yield Item("splitter, or a terminal block in a box", len(made), f"joints: {', '.join(made)}")


def _fuses(bench: Bench) -> Iterator[Item]:
    """Fuses where they protect something: from three panels side by side, each needs its own."""
    battery = bench.plan.record.storage
    if battery is not None and battery.fuse is not None:
        yield Item(
            f"{battery.fuse:g} A fuse with holder",
            1,
            "a hand's breadth from the + pole of the battery, before all else",
        )
    for typical in bench.bands["typical"]:
        panels = [panel for panel in bench.plan.record.panel if panel.id in typical.panels]
        each = max(float(conductor_current_basis(single_diode(panel).I_L_ref)) for panel in panels)
        size = next((size for size in _FUSES if size >= each), None)
        if size is None or all(bench.built_in(panel) for panel in panels):
            continue
        # Two panels can drive no more through a short in one than it gives itself; from three on the others can.
        side_by_side = len(panels) > 2 and bench.plan.record.wiring.panels == "parallel"
        if side_by_side:
            yield Item(
                f"{size:g} A fuse with holder", len(panels), "one in the + lead of each panel: the others feed a fault"
            )
        else:
            yield Item(
                f"{size:g} A fuse with holder, or a plug that can be reached",
                1,
                f"a way to part {' and '.join(typical.panels)} from the rest. One panel cannot blow it: the protection"
                f" is wire that bears {each:.1f} A, 1.56 times its short-circuit current",
            )


def _mounting(bench: Bench) -> Iterator[Item]:
    """What holds and protects."""
    record = bench.plan.record
    cable = sum(part.length for part in bench.harness.parts.values() if isinstance(part, Lead))
    yield Item("finger guard", 2 * len(record.fan), "both sides of each fan")
    openings: dict[str, list[str]] = {}
    for fan in record.fan:
        openings.setdefault(fan.outlet_opening, []).append(fan.id)
    for kind, names in openings.items():
        if kind != "straight-out":
            yield Item(bench.plan.opening(kind).name, len(names), f"behind {', '.join(names)}")
    yield Item("bracket set", len(record.panel), "the panel comes down for cleaning")
    yield Item("cable gland or rubber bush", len(record.fan) + 1, "where a lead goes through a wall")
    if cable:
        yield Item("cable clip", ceil(cable / _CLIP_EACH), f"one each {_CLIP_EACH * 100:.0f} cm")
    yield Item("adhesive-lined sleeve", 2 * len(bench.harness.joins), "over splices and crimps")


def _tools(bench: Bench) -> Iterator[Item]:
    """What the checklist needs at hand."""
    yield Item("multimeter with a DC 10 A range", 1, "every reading of the list")
    if any(bench.is_usb(fan.inlet) for fan in bench.plan.record.fan):
        yield Item("USB meter", 1, "volts and amperes where no wire can be reached")
    starts = max(fan.start_voltage for fan in bench.plan.record.fan)
    if starts < 4.5:
        yield Item("USB port with a lead that can be spared", 1, "to try the fans")
    else:
        yield Item("9 V battery with a clip", ceil(1.1 * starts / 9), "to try the fans one by one")
    yield Item("cardboard as large as the panel", len(bench.plan.record.panel), "covers it while you join")
    yield Item("roll of tape, red and black, and a pen", 1, "tags for the poles")
    yield Item("packet of tissues", 1, "show where air goes")
