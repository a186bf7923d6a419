"""Ways to mend volts, amperes, light, air and the house: what to get and where it goes, and the changes in the plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from solarvent.base.findings import Change, Mending
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter
from solarvent.plan.plan import Plan
from solarvent.studies.mending_joints import WAYS, Bench, ends_in_line, mends
from solarvent.wiring.harness import Join
from solarvent.wiring.network import rated_voltage

__all__ = ["WAYS", "Bench"]

#: Fuses that are sold, by what they carry for ever (ISO 8820-3 blades and smaller glass ones, from memory). [A]
FUSES = (0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
#: A fuse carries this many times the current of what hangs on it, so that a start does not blow it (common practice, no
#: source). [-]
FUSE_MARGIN = 2.0


# --- sources --------------------------------------------------------------------------------------------


@mends("panels-in-series", "above-safe-voltage", "fans-in-series")
def _side_by_side(bench: Bench) -> Iterator[Mending]:
    """Join side by side what was in series."""
    fans = bench.found[0].code == "fans-in-series"
    what = "fans" if fans else "panels"
    if bench.plan.record.wiring.layout:
        key, word = ("layout", "shared") if fans else ("panels", "parallel")
        yield Mending(f"Join the {what} side by side.", (Change("wiring", "", key, word),))
        return
    for name in bench.harness.ids(Splitter):
        part = bench.harness.parts[name]
        if isinstance(part, Splitter) and part.arrangement == "series":
            own = next(one for one in bench.content["splitter"] if one.get("id") == name)
            based = "part" in own and "arrangement" not in own
            change = Change("splitter", name, "arrangement", "parallel" if based else None)
            yield Mending(f"Put a parallel splitter in the place of {name}, so that the {what} are side by side.",
                          (change,))  # fmt: skip


@mends("panels-unlike")
def _alike(bench: Bench) -> Iterator[Mending]:
    """Give the fans panels of their own, or take panels that are alike."""
    record = bench.plan.record
    if record.wiring.layout and len(record.panel) == len(record.fan):
        yield Mending("Give each fan a panel of its own.", (Change("wiring", "", "layout", "one-each"),))
    for entry in dict.fromkeys(one.get("part") for one in bench.content.get("panel", ())):
        if entry is not None:
            others = [one["id"] for one in bench.content["panel"] if one.get("part") != entry]
            changes = [change for name in others for change in bench.instead(name, entry)]
            yield Mending(f"Get alike panels: {entry} in the place of {', '.join(others)}.", tuple(changes))


@mends("panels-without-fuse", "no-blocking-diode")
def _guarded(bench: Bench) -> Iterator[Mending]:
    """Put a diode in the line of each panel that has none."""
    if bench.plan.record.wiring.layout:
        yield Mending("Put a blocking diode (schottky-3a) in the line of each panel.",
                      (Change("wiring", "", "blocking_diode", "schottky-3a"),))  # fmt: skip
        return
    changes: list[Change] = []
    runs = [list(run) for run in bench.plan.record.wiring.runs or ()]
    panels = [run[0] for run in runs]
    for panel in dict.fromkeys(panels):
        name, end = f"diode-{panel}", getattr(bench.harness.parts[panel], "outlet", None)
        row = {"id": name, "part": "inline-diode"} | ends_in_line(end, bench.families)
        changes.append(Change("lead", "", "", row))
        runs = [[run[0], name, *run[1:]] if run[0] == panel else run for run in runs]
    yield Mending("Put a blocking diode (inline-diode) behind each panel, its ring to the fans.",
                  (*changes, Change("wiring", "", "runs", runs)))  # fmt: skip


# --- voltage and current --------------------------------------------------------------------------------


def _converters(bench: Bench, volts: tuple[float, float], kinds: str) -> list[tuple[str, Converter]]:
    """Pick converters of the library by their output, in the order of the kinds.

    What sits in the box of a panel cannot be bought by itself; it is meant where a panel ends in a USB socket.
    """
    ends = [end for panel in bench.plan.record.panel if (end := panel.outlet) is not None]
    socket = any(bench.families[end.family].voltage for end in ends)
    fitting = [
        (name, part)
        for name, part in bench.entries("converters").items()
        if isinstance(part, Converter)
        and volts[0] <= part.output_voltage <= volts[1]
        and part.kind in kinds.split()
        and not ((part.built_in and not socket) or part.needs_battery or part.least_load or part.latches)
    ]
    return sorted(fitting, key=lambda one: kinds.split().index(one[1].kind))


def _regulated(bench: Bench, fan: Fan, kinds: str) -> Iterator[Mending]:
    """Put a converter between the panels and the fans of a circuit."""
    rated = rated_voltage(fan, bench.families) or fan.rated_voltage
    for entry, part in _converters(bench, (0.8 * rated, min(fan.maximum_voltage, 1.15 * rated)), kinds):
        words = f"Get a {part.name} ({entry}) and put it between the panel and the fans"
        if bench.plan.record.wiring.layout:
            if bench.plan.record.wiring.converter is None:
                yield Mending(f"{words}.", (Change("wiring", "", "converter", entry),))
            continue
        spot = _trunk(bench, fan.id)
        if spot is not None:
            name = bench.free(entry)
            row = {"id": name, "part": entry} | ends_in_line(spot.source.connector, bench.families)
            yield Mending(
                f"{words}: behind {spot.source.part}.",
                (Change("converter", "", "", row), bench.into_runs([name], spot.source.part, spot.sink.part)),
            )


def _trunk(bench: Bench, fan: str) -> Join | None:
    """Find the first joint through which everything goes that feeds a fan."""
    before = set(bench.harness.upstream(fan))
    panels = {name for name in before if isinstance(bench.harness.parts[name], Panel)}
    for join in bench.harness.joins:
        if join.sink.part in before and panels <= set(bench.harness.upstream(join.source.part)):
            return join
    return None


def _other_fan(bench: Bench, volts: Callable[[Fan, Fan], bool], words: str) -> Iterator[Mending]:
    """Take another fan of the same frame, or else the nearest, in the place of each."""
    for entry, other in bench.entries("fans").items():
        assert isinstance(other, Fan)
        pairs = [(finding.part, part) for finding, part in bench.parts() if isinstance(part, Fan)]
        fitting = [volts(part, other) and abs(other.size - part.size) <= 0.021 for _, part in pairs]
        if pairs and all(fitting) and other.motor == "brushless":
            names = [name for name, _ in pairs]
            changes = [change for name in names for change in bench.instead(name, entry)]
            yield Mending(f"{words}: {other.name} ({entry}) in the place of {', '.join(names)}.", tuple(changes))


def _other_panel(bench: Bench, larger: bool) -> Iterator[Mending]:
    """Take the next larger or smaller panel of the same kind in the place of those that feed the fans."""
    feeding = [
        name
        for name in bench.harness.ids(Panel)
        if any(finding.part in set(bench.harness.downstream(name)) for finding in bench.found)
    ]
    panels = [part for name in feeding if isinstance(part := bench.harness.parts[name], Panel)]
    if not panels:
        return
    watts, volts = max(_watts(panel) for panel in panels), panels[0].v_mp or 18.0
    alike = [
        (name, part)
        for name, part in bench.entries("panels").items()
        if isinstance(part, Panel) and part.v_mp is not None and abs(part.v_mp / volts - 1) < 0.1
    ]
    for entry, panel in sorted(alike, key=lambda one: _watts(one[1]), reverse=not larger):
        if (_watts(panel) > watts) == larger and _watts(panel) != watts:
            changes = [change for name in feeding for change in bench.instead(name, entry)]
            yield Mending(f"Get a {panel.name} ({entry}) in the place of {', '.join(feeding)}.", tuple(changes))


def _watts(panel: Panel) -> float:
    """Power of a plate. [W]"""
    return panel.watts or (panel.v_mp or 18.0) * (panel.i_mp or 1.0)


@mends("over-voltage", "over-voltage-cold", "over-voltage-one-failed", "open-circuit-voltage")
def _less_voltage(bench: Bench) -> Iterator[Mending]:
    """Hold the voltage, take fans for more of it, or less panel."""
    fans = [part for _, part in bench.parts() if isinstance(part, Fan)]
    if fans:
        yield from _regulated(bench, fans[0], "clamp buck linear")
    yield from _other_fan(bench, lambda old, new: new.maximum_voltage > old.maximum_voltage, "Get fans for more volts")
    yield from _other_panel(bench, larger=False)


@mends("never-starts", "starts-late", "may-not-start", "tries-in-vain", "will-not-restart", "string-shaded")
def _more_light(bench: Bench) -> Iterator[Mending]:
    """Let the sun in, then more panel, or a fan that starts on less."""
    for panel in bench.content.get("panel", ()):
        for key in ("lit_share_of_worst_cell", "behind", "soiling_ratio"):
            if key in panel:
                yield Mending(f"Hang {panel['id']} where nothing is between it and the sun, and keep it clean.",
                              (Change("panel", panel["id"], key, None),))  # fmt: skip
    for finding in bench.found:
        way = bench.harness.upstream(finding.part) if finding.part in bench.harness.parts else ()
        for name in way:
            if isinstance(bench.harness.parts[name], Converter):
                yield from _in_its_place(bench, name)
    yield from _other_panel(bench, larger=True)
    yield from _other_fan(
        bench, lambda old, new: new.rated_voltage == old.rated_voltage and new.start_voltage <= old.start_voltage,
        "Get fans that start on less",
    )  # fmt: skip


@mends("voltage-sides")
def _right_side(bench: Bench) -> Iterator[Mending]:
    """Bring the voltage to the fan, or take a fan for the voltage that is there."""
    for _, part in bench.parts():
        if isinstance(part, Fan):
            yield from _regulated(bench, part, "boost buck linear")
    yield from _other_fan(bench, lambda old, new: new.rated_voltage != old.rated_voltage, "Get fans for this voltage")


#: Kinds of converter, the best first.
_ANY = "buck clamp boost linear"


@mends("converter-over-voltage", "converter-overheats", "converter-latches", "power-bank-switches-off",
        "controller-without-battery", "converter-input")  # fmt: skip
def _other_converter(bench: Bench) -> Iterator[Mending]:
    """Take the converter out if nothing needs it, or another one in its place."""
    for finding, part in bench.parts():
        if isinstance(part, Converter):
            yield from _in_its_place(bench, finding.part)


def _in_its_place(bench: Bench, name: str) -> Iterator[Mending]:
    """Take another converter in the place of one, or none."""
    part = bench.harness.parts[name]
    assert isinstance(part, Converter)
    own = part.model_dump(exclude={"id", "name", "source", "part", "inlet", "outlet", "crosses"})
    for entry, other in _converters(bench, (0.85 * part.output_voltage, 1.05 * part.output_voltage), _ANY):
        if other.model_dump(include=set(own)) != own:
            yield Mending(f"Get a {other.name} ({entry}) in the place of {name}.", bench.instead(name, entry))
    if bench.plan.record.wiring.layout:
        yield Mending("Take the converter out.", (Change("wiring", "", "converter", None),))
    else:
        yield Mending(f"Take {name} out.", (bench.out_of_runs(name), Change("converter", name, "", None)))


@mends("wire-thin", "voltage-drop", "wire-poor", "contacts-worn")
def _thicker(bench: Bench) -> Iterator[Mending]:
    """Renew contacts, then thicker wire on the whole way."""
    record = bench.plan.record
    if record.wiring.contact_resistance > 0.05:
        yield Mending("Clean and grease the contacts, and renew those that are loose.",
                      (Change("wiring", "", "contact_resistance", None),))  # fmt: skip
    names = {finding.part for finding in bench.found}
    way = {one for name in names & bench.harness.parts.keys() for one in bench.harness.upstream(name)} or set(
        bench.harness.parts
    )
    for gauge in ("16 AWG", "14 AWG", "12 AWG", "10 AWG"):
        changes = []
        for section in ("lead", "splitter"):
            for one in bench.content.get(section, ()):
                part = bench.harness.parts.get(one.get("id", ""))
                if part is not None and part.id in way and isinstance(part, Lead | Splitter) and _thinner(
                    bench.plan, part.wire, gauge
                ):  # fmt: skip
                    changes.append(Change(section, part.id, "wire", gauge))
                    changes += [Change(section, part.id, key, None) for key in ("wire_quality", "resistance")
                                if key in one]  # fmt: skip
        if record.wiring.layout:
            cables = (("lead", record.wiring.lead), ("branch", record.wiring.branch))
            for key, cable in cables:
                if _thinner(bench.plan, cable.wire, gauge) or cable.wire_quality > 1:
                    changes.append(Change("wiring", "", f"{key}.wire", gauge))
                    changes.append(Change("wiring", "", f"{key}.wire_quality", None))
        if changes:
            yield Mending(f"Use leads of {gauge} copper from the panel to the fan.", tuple(changes))


def _thinner(plan: Plan, wire: str, than: str) -> bool:
    return plan.wire(wire).resistance_per_metre > plan.wire(than).resistance_per_metre


@mends("fuse-too-small", "fuse-too-large", "battery-without-fuse")
def _right_fuse(bench: Bench) -> Iterator[Mending]:
    """Get a fuse that carries the fans and guards the wire."""
    fans = sum(fan.rated_current for fan in bench.plan.record.fan)
    for finding in bench.found:
        behind = [bench.harness.parts[one] for one in set(bench.harness.downstream(finding.part))
                  ] if finding.part in bench.harness.parts else []  # fmt: skip
        drawn = sum(part.rated_current for part in behind if isinstance(part, Fan)) or fans
        size = next(fuse for fuse in FUSES if fuse >= FUSE_MARGIN * drawn or fuse == FUSES[-1])
        words = f"Put a fuse of {size:g} A there."
        section, name = ("lead", finding.part) if finding.part in bench.harness.parts else ("battery", "")
        yield Mending(words, (Change(section, name, "fuse", f"{size:g} A"),))


# --- the house ------------------------------------------------------------------------------------------


@mends("inlet-none", "inlet-small")
def _inlet(bench: Bench) -> Iterator[Mending]:
    """Open an inlet."""
    from solarvent.air.ventilation import hole_area

    area = 1.6 * sum(hole_area(fan) for fan in bench.plan.record.fan)
    row = {"id": "new-inlet", "part": "plain-hole", "area": f"{area:.3f} m2", "height": "0.3 m"}
    yield Mending(f"Open an inlet of {area * 1e4:.0f} cm2 low down, at the far end from the fans.",
                  (Change("opening", "", "", row),))  # fmt: skip


@mends("louvre-heavy")
def _no_blades(bench: Bench) -> Iterator[Mending]:
    """Leave the shutter out."""
    for finding, _ in bench.parts():
        words = f"Put a hood with mesh in the place of the shutter of {finding.part}."
        yield Mending(words, (Change("fan", finding.part, "outlet_opening", "hood-with-mesh"),))


@mends("inlet-held-shut")
def _blades_inward(bench: Bench) -> Iterator[Mending]:
    """Hang the blades so that the air opens them, or take them out."""
    for finding in bench.found:
        name = finding.part
        yield Mending(f"Hang {name} the other way round, so that air that comes in lifts its blades.",
                      (Change("opening", name, "blades_open", "inward"),))  # fmt: skip
        yield Mending(f"Take the blades of {name} out.", (
            Change("opening", name, "part", "plain-hole"),
            Change("opening", name, "blades_open", None),
            Change("opening", name, "opening_pressure", None),
        ))  # fmt: skip


#: What a person changes at the house -> the place in the plan.
_HOUSE: dict[str, tuple[str, Change]] = {
    "fuel-vapours": ("Move fuel, solvents and gas bottles out.", Change("house", "", "stores_fuel", None)),
    "heater-fumes": ("Get an electric heater.", Change("heater", "", "fuel", "electric")),
    "heater-extension": (
        "Have a fixed outlet made for the heater, by an electrician.",
        Change("heater", "", "cable", "fixed"),
    ),
    "drum-history": ("Get drums that held food.", Change("mass", "PART", "history", "food")),
    "mass-load": ("Stand it on the ground.", Change("mass", "PART", "stands_on", "ground")),
    "panel-behind-cover": ("Hang the panel outside.", Change("panel", "PART", "behind", None)),
    "panel-behind-mesh": ("Hang the panel clear of the mesh.", Change("panel", "PART", "behind", None)),
    "cell-shaded": ("Hang it where no shadow falls on it.", Change("panel", "PART", "lit_share_of_worst_cell", None)),
    "panel-dirty": ("Rinse the panel.", Change("panel", "PART", "soiling_ratio", None)),
    "panel-flat": ("Tilt the panel to 30 degrees.", Change("panel", "PART", "tilt", 30)),
    "thermostat-ac": ("Get a thermostat whose contact is rated for this direct current.",
                      Change("thermostat", "", "contact", "dc")),
    "drums-in-shade": ("Stand them where the sun reaches them.", Change("mass", "PART", "sunlit", None)),
}  # fmt: skip


@mends(*_HOUSE)
def _at_the_house(bench: Bench) -> Iterator[Mending]:
    """Change one thing."""
    words, change = _HOUSE[bench.found[0].code]
    parts = [finding.part for finding in bench.found]
    if change.part != "PART":
        yield Mending(words, (change,))
    else:
        made = tuple(Change(change.section, part, change.key, change.value) for part in parts)
        yield Mending(f"{words[:-1]} ({', '.join(parts)}).", made)
