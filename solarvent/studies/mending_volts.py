"""Ways to mend volts, amperes, light, air and the house: what to get and where it goes, and the changes in the plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from solarvent.base.findings import Edit, Mending
from solarvent.base.quantities import show
from solarvent.findings.light import DIRTY
from solarvent.findings.wires import POOR_RESISTANCE, WORN_CONTACT
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter
from solarvent.plan.plan import Plan
from solarvent.studies.mending_joints import Case, Ways, edited_each, ends_in_line, where_poles_are_right
from solarvent.wiring.joints import Join

#: Fuses that are sold, by what they carry for ever (ISO 8820-3 blades and smaller glass ones, from memory). [A]
FUSES = (0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
#: A fuse carries this many times the current of what hangs on it, so that a start does not blow it (common practice, no
#: source). [-]
FUSE_MARGIN = 2.0


# --- voltage and current --------------------------------------------------------------------------------


def _converters(case: Case, volts: tuple[float, float], kinds: str) -> list[tuple[str, Converter]]:
    """Pick converters of the library by their output, in the order of the kinds.

    What sits in the box of a panel cannot be bought by itself; it is meant where a panel ends in a USB socket.
    """
    ends = [end for panel in case.plan.record.panel if (end := panel.outlet) is not None]
    socket = any(case.families[end.family].voltage for end in ends)
    fitting = [
        (name, part)
        for name, part in case.entries("converters").items()
        if isinstance(part, Converter)
        and volts[0] <= part.output_voltage <= volts[1]
        and part.kind in kinds.split()
        and not ((part.built_in and not socket) or part.needs_battery or part.least_load or part.latches)
    ]
    return sorted(fitting, key=lambda one: kinds.split().index(one[1].kind))


def _regulated(case: Case, fan: Fan, kinds: str) -> Iterator[Mending]:
    """Put a converter between the panels and the fans of a circuit."""
    rated = fan.rated_voltage
    for entry, part in _converters(case, (0.8 * rated, min(fan.maximum_voltage, 1.15 * rated)), kinds):
        words = f"Get a {part.name} ({entry}) and put it between the panel and the fans"
        if case.plan.record.wiring.layout:
            if case.plan.record.wiring.converter is None:
                yield Mending(f"{words}.", (Edit("wiring", "", "converter", entry),))
            continue
        spot = _trunk(case, fan.id)
        if spot is not None:
            name = case.free(entry)
            row = {"id": name, "part": entry, "owned": False} | ends_in_line(spot.source.connector, case.families)
            yield Mending(
                f"{words}: behind {spot.source.part}.",
                (Edit("converter", "", "", row), case.into_runs([name], spot.source.part, spot.sink.part)),
            )


def _trunk(case: Case, fan: str) -> Join | None:
    """Find the first joint through which everything goes that feeds a fan, where the poles are not crossed."""
    before = set(case.harness.upstream(fan))
    panels = {name for name in before if isinstance(case.harness.parts[name], Panel)}
    trunk = (
        join
        for join in case.harness.joins
        if join.sink.part in before and panels <= set(case.harness.upstream(join.source.part))
    )
    # Crossed poles at its input can destroy a regulator: it stands behind what puts them right.
    return where_poles_are_right(case, trunk)


def _other_fan(case: Case, volts: Callable[[Fan, Fan], bool], words: str) -> Iterator[Mending]:
    """Take another fan of the same frame, or else the nearest, in the place of each."""
    for entry, other in case.entries("fans").items():
        assert isinstance(other, Fan)
        pairs = [(finding.part, part) for finding, part in case.parts() if isinstance(part, Fan)]
        fitting = [volts(part, other) and abs(other.size - part.size) <= 0.021 for _, part in pairs]
        if pairs and all(fitting) and other.motor == "brushless":
            names = [name for name, _ in pairs]
            changes = [change for name in names for change in case.instead(name, entry)]
            yield Mending(f"{words}: {other.name} ({entry}) in the place of {', '.join(names)}.", tuple(changes))


def _other_panel(case: Case, larger: bool) -> Iterator[Mending]:
    """Take a larger or smaller panel of the same voltage in the place of those that feed the fans."""
    feeding = [
        name
        for name in case.harness.ids(Panel)
        if any(finding.part in set(case.harness.downstream(name)) for finding in case.found)
    ]
    panels = [panel for panel in case.plan.record.panel if panel.id in feeding]
    if panels:
        volts = panels[0].v_mp or 18.0
        yield from _panels_instead(case, panels, (0.9 * volts, 1.1 * volts), larger)


def _panels_instead(case: Case, panels: Sequence[Panel], volts: tuple[float, float], larger: bool) -> Iterator[Mending]:
    """Take panels whose best point lies between two voltages [V] in the place of some, the next in watts first."""
    watts, names = max(_watts(panel) for panel in panels), [panel.id for panel in panels]
    tried = [(entry, panel) for entry, panel in case.entries("panels").items() if isinstance(panel, Panel)]
    for entry, panel in sorted(tried, key=lambda one: _watts(one[1]), reverse=not larger):
        fits = panel.v_mp is not None and volts[0] < panel.v_mp < volts[1]
        if fits and (_watts(panel) > watts if larger else _watts(panel) < watts):
            changes = [change for name in names for change in case.instead(name, entry)]
            yield Mending(f"Get a {panel.name} ({entry}) in the place of {', '.join(names)}.", tuple(changes))


def _watts(panel: Panel) -> float:
    """Power of a plate. [W]"""
    return panel.watts or (panel.v_mp or 18.0) * (panel.i_mp or 1.0)


def _less_voltage(case: Case) -> Iterator[Mending]:
    """Hold the voltage, take fans for more of it, or less panel."""
    if case.plan.record.storage is not None:
        yield from _under_charge(case)
        return
    fans = [part for _, part in case.parts() if isinstance(part, Fan)]
    if fans:
        yield from _regulated(case, fans[0], "clamp buck linear")
    yield from _other_fan(case, lambda old, new: new.maximum_voltage > old.maximum_voltage, "Get fans for more volts")
    yield from _other_panel(case, larger=False)


def _under_charge(case: Case) -> Iterator[Mending]:
    """Fans that bear the charging voltage of the battery; less of it; or what steps it down."""
    fans = [part for _, part in case.parts() if isinstance(part, Fan)]
    battery = case.plan.record.storage
    if battery is None or not fans:
        return
    yield from _regulated(case, fans[0], "buck")
    yield from _other_fan(
        case, lambda old, new: new.rated_voltage == old.rated_voltage and new.maximum_voltage > old.maximum_voltage,
        "Get fans for more volts",
    )  # fmt: skip
    least = min(fan.maximum_voltage for fan in fans)
    if least >= 1.1 * battery.voltage:
        words = f"Set the controller to charge at {least:g} V, if it can be set."
        yield Mending(words, (Edit("battery", "", "charging_voltage", f"{least:g} V"),))
    yield from _other_fan(case, lambda old, new: abs(new.rated_voltage / battery.voltage - 1) < 0.1, "Get fans for it")


def _charged(case: Case) -> Iterator[Mending]:
    """Take a larger panel that is above the battery in the place of all."""
    if (battery := case.plan.record.storage) is not None:
        volts = (1.3 * battery.voltage, 1.8 * battery.voltage)
        yield from _panels_instead(case, case.plan.record.panel, volts, larger=True)


def _more_light(case: Case) -> Iterator[Mending]:
    """Let the sun in, then more panel, or a fan that starts on less; on a battery, a fan for its voltage."""
    yield from _renewed(case)
    if (battery := case.plan.record.storage) is not None:
        volts = battery.voltage
        yield from _other_fan(
            case, lambda old, new: abs(new.rated_voltage / volts - 1) < 0.1, "Get fans for the battery"
        )
        return
    for panel, written in zip(case.plan.record.panel, case.content["panel"], strict=True):
        for key in ("lit_share_of_worst_cell", "behind"):
            if key in written:
                words = f"Hang {panel.id} where nothing is between it and the sun."
                yield Mending(words, (Edit("panel", panel.id, key, None),))
        # Some dust lies on every panel, and cleaning it once is no mending: only what is told as dirt counts.
        if "soiling_ratio" in written and panel.soiling_ratio < DIRTY:
            words = f"Rinse {panel.id}, and keep it clean."
            yield Mending(words, (Edit("panel", panel.id, "soiling_ratio", None),))
    for finding in case.found:
        way = case.harness.upstream(finding.part) if finding.part in case.harness.parts else ()
        for name in way:
            if isinstance(case.harness.parts[name], Converter):
                yield from _in_its_place(case, name)
    yield from _other_panel(case, larger=True)
    yield from _other_fan(
        case, lambda old, new: new.rated_voltage == old.rated_voltage and new.start_voltage <= old.start_voltage,
        "Get fans that start on less",
    )  # fmt: skip


def _right_side(case: Case) -> Iterator[Mending]:
    """Bring the voltage to the fan, or take a fan for the voltage that is there."""
    for _, part in case.parts():
        if isinstance(part, Fan):
            yield from _regulated(case, part, "boost buck linear")
    yield from _other_fan(case, lambda old, new: new.rated_voltage != old.rated_voltage, "Get fans for this voltage")


#: Kinds of converter, the best first.
_ANY = "buck clamp boost linear"


def _other_converter(case: Case) -> Iterator[Mending]:
    """Take the converter out if nothing needs it, or another one in its place."""
    for finding, part in case.parts():
        if isinstance(part, Converter):
            yield from _in_its_place(case, finding.part)


def _in_its_place(case: Case, name: str) -> Iterator[Mending]:
    """Take another converter in the place of one, or none."""
    part = case.harness.parts[name]
    assert isinstance(part, Converter)
    if not case.plan.record.wiring.layout and case.written("converter", name) is None:
        return
    own = part.model_dump(exclude={"id", "name", "source", "part", "inlet", "outlet", "crosses"})
    for entry, other in _converters(case, (0.85 * part.output_voltage, 1.05 * part.output_voltage), _ANY):
        if other.model_dump(include=set(own)) != own:
            yield Mending(f"Get a {other.name} ({entry}) in the place of {name}.", case.instead(name, entry))
    if case.plan.record.wiring.layout:
        yield Mending("Take the converter out.", (Edit("wiring", "", "converter", None),))
    else:
        yield Mending(f"Take {name} out.", (case.out_of_runs(name), Edit("converter", name, "", None)))


def _thicker(case: Case) -> Iterator[Mending]:
    """Renew contacts, then thicker wire on the whole way."""
    record = case.plan.record
    yield from _renewed(case)
    names = {finding.part for finding in case.found}
    way = {one for name in names & case.harness.parts.keys() for one in case.harness.upstream(name)} or set(
        case.harness.parts
    )
    for gauge in ("16 AWG", "14 AWG", "12 AWG", "10 AWG"):
        changes = []
        for section in ("lead", "splitter"):
            for one in case.content.get(section, ()):
                part = case.harness.parts.get(one.get("id", ""))
                if part is not None and part.id in way and isinstance(part, Lead | Splitter) and _thinner(
                    case.plan, part.wire, gauge
                ):  # fmt: skip
                    changes.append(Edit(section, part.id, "wire", gauge))
                    changes += [Edit(section, part.id, key, None) for key in ("wire_quality", "resistance")
                                if key in one]  # fmt: skip
        if record.wiring.layout:
            cables = (("lead", record.wiring.lead), ("branch", record.wiring.branch))
            for key, cable in cables:
                if _thinner(case.plan, cable.wire, gauge) or cable.wire_quality > 1:
                    changes.append(Edit("wiring", "", f"{key}.wire", gauge))
                    changes.append(Edit("wiring", "", f"{key}.wire_quality", None))
        if changes:
            yield Mending(f"Use leads of {gauge} copper from the panel to the fan.", tuple(changes))


def _renewed(case: Case) -> Iterator[Mending]:
    """Renew what should have no resistance to speak of: contacts, switches, splices."""
    if case.harness.contact_resistance >= WORN_CONTACT:
        words = "Clean and grease the contacts, and renew those that are loose."
        yield Mending(words, (Edit("wiring", "", "contact_resistance", None),))
    for one in case.content.get("lead", ()):
        part = case.harness.parts.get(one.get("id", ""))
        if isinstance(part, Lead) and part.resistance >= POOR_RESISTANCE and "resistance" in one:
            yield Mending(f"Renew what is in line at {part.id}.", (Edit("lead", part.id, "resistance", None),))


def _thinner(plan: Plan, wire: str, than: str) -> bool:
    return plan.wire(wire).resistance_per_metre > plan.wire(than).resistance_per_metre


def _right_fuse(case: Case) -> Iterator[Mending]:
    """Get a fuse that carries the fans and guards the wire."""
    fans = sum(fan.rated_current for fan in case.plan.record.fan)
    for finding in case.found:
        behind = [case.harness.parts[one] for one in set(case.harness.downstream(finding.part))
                  ] if finding.part in case.harness.parts else []  # fmt: skip
        drawn = sum(part.rated_current for part in behind if isinstance(part, Fan)) or fans
        size = next(fuse for fuse in FUSES if fuse >= FUSE_MARGIN * drawn or fuse == FUSES[-1])
        words = f"Put a fuse of {size:g} A there."
        section, name = ("lead", finding.part) if finding.part in case.harness.parts else ("battery", "")
        yield Mending(words, (Edit(section, name, "fuse", f"{size:g} A"),))


# --- the house ------------------------------------------------------------------------------------------


def _inlet(case: Case) -> Iterator[Mending]:
    """Open an inlet."""
    from solarvent.air.network import bare_hole, hole_area
    from solarvent.findings.air import INLET_GOOD

    # A little more than is asked for, so that rounding does not take it back.
    wanted = 1.02 * INLET_GOOD * bare_hole(sum(hole_area(fan) for fan in case.plan.record.fan))
    area = show(wanted, "area", case.plan.record.units)
    row = {"id": "new-inlet", "part": "plain-hole", "area": area, "height": "0.3 m"}
    yield Mending(f"Open an inlet of {area} low down, at the far end from the fans.", (Edit("opening", "", "", row),))


def _blades_inward(case: Case) -> Iterator[Mending]:
    """Hang the blades so that the air opens them, or take them out."""
    for finding in case.found:
        name = finding.part
        yield Mending(f"Hang {name} the other way round, so that air that comes in lifts its blades.",
                      (Edit("opening", name, "blades_open", "inward"),))  # fmt: skip
        yield Mending(f"Take the blades of {name} out.", (
            Edit("opening", name, "part", "plain-hole"),
            Edit("opening", name, "blades_open", None),
            Edit("opening", name, "opening_pressure", None),
        ))  # fmt: skip


#: What a person changes at the house -> the place in the plan.
HOUSE_EDITS: dict[str, tuple[str, Edit]] = {
    "fuel-vapours": ("Move fuel, solvents and gas bottles out.", Edit("house", "", "stores_fuel", None)),
    "heater-fumes": ("Get an electric heater.", Edit("heater", "", "fuel", "electric")),
    "heater-extension": (
        "Have a fixed outlet made for the heater, by an electrician.",
        Edit("heater", "", "cable", "fixed"),
    ),
    "drum-history": ("Get drums that held food.", Edit("mass", "PART", "history", "food")),
    "mass-load": ("Stand it on the ground.", Edit("mass", "PART", "stands_on", "ground")),
    "panel-behind-cover": ("Hang the panel outside.", Edit("panel", "PART", "behind", None)),
    "panel-behind-mesh": ("Hang the panel clear of the mesh.", Edit("panel", "PART", "behind", None)),
    "cell-shaded": ("Hang it where no shadow falls on it.", Edit("panel", "PART", "lit_share_of_worst_cell", None)),
    "panel-dirty": ("Rinse the panel.", Edit("panel", "PART", "soiling_ratio", None)),
    "panel-flat": ("Tilt the panel to 30 degrees.", Edit("panel", "PART", "tilt", 30)),
    "thermostat-ac": ("Get a thermostat whose contact is rated for this direct current.",
                      Edit("thermostat", "", "contact", "dc")),
    "drum-in-shade": ("Stand them where the sun reaches them.", Edit("mass", "PART", "sunlit", None)),
}  # fmt: skip


def _at_the_house(case: Case) -> Iterator[Mending]:
    """Edit one thing."""
    words, change = HOUSE_EDITS[case.found[0].code]
    parts = [finding.part for finding in case.found]
    if change.part != "PART":
        yield Mending(words, (change,))
    else:
        made = tuple(Edit(change.section, part, change.key, change.value) for part in parts)
        yield Mending(f"{words[:-1]} ({', '.join(parts)}).", made)


#: By code of finding.
VOLT_WAYS: dict[str, Ways] = {
    "over-voltage": _less_voltage,
    "over-voltage-cold": _less_voltage,
    "over-voltage-one-failed": _less_voltage,
    "open-circuit-voltage": _less_voltage,
    "over-voltage-charging": _under_charge,
    "battery-not-charged": _charged,
    "battery-runs-flat": _charged,
    "never-starts": _more_light,
    "starts-late": _more_light,
    "may-not-start": _more_light,
    "tries-in-vain": _more_light,
    "will-not-restart": _more_light,
    "string-shaded": _more_light,
    "voltage-sides": _right_side,
    "converter-over-voltage": _other_converter,
    "converter-overheats": _other_converter,
    "converter-latches": _other_converter,
    "power-bank-switches-off": _other_converter,
    "controller-without-battery": _other_converter,
    "converter-input": _other_converter,
    "wire-thin": _thicker,
    "voltage-drop": _thicker,
    "wire-poor": _thicker,
    "contacts-worn": _thicker,
    "fuse-too-small": _right_fuse,
    "fuse-too-large": _right_fuse,
    "battery-without-fuse": _right_fuse,
    "inlet-none": _inlet,
    "inlet-small": _inlet,
    "louvre-heavy": edited_each(
        "fan", "outlet_opening", "hood-with-mesh", "Put a hood with mesh in the place of the shutter of {}."
    ),
    "inlet-held-shut": _blades_inward,
    **dict.fromkeys(HOUSE_EDITS, _at_the_house),
}
