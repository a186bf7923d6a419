"""What all steps of a checklist share: the form of a step, the phases, the readings to expect, and where probes go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solarvent.base.findings import called
from solarvent.bench.metering import Expected, expected_readings
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.operation import point
from solarvent.electrical.panel_model import Band, panel_parameters
from solarvent.plan.connectors import read_families
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Panel, Splitter
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import cell_temperature
from solarvent.wiring.circuit import Circuit, Leaf, loop_resistance
from solarvent.wiring.harness import Harness, build_harness
from solarvent.wiring.joints import PolarityTrace, positive_contact, worst_polarity


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
    return f"{setting}; red on {red}, black on {black}{unsure}"


#: Clear sky around noon on a panel that looks towards the sun (common practice, no source). [W/m2]
CLEAR_NOON = 900.0
MILD_AIR = 20.0
PHASES = (
    "before opening the box",
    "on the bench",
    "on the panel",
    "wiring, from the fans to the panel",
    "first sun",
    "on the wall",
    "each season",
)
#: Of a cheap meter. [-]
METER = 0.03


@dataclass(frozen=True)
class Step:
    """One step of a checklist: what to do, with the meter's setting and probes (`probe`; empty if no meter is used).

    `expect` and `tolerance` say what should be found, and between what it may lie (empty if there is no number);
    `otherwise` what it means if it is not so, and what to do then. `joins` are the pairs of parts that it joins.
    """

    phase: str
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
    by part the contact at its far end that is +, as far as the plan knows. `system` is that of
    lengths, ``"metric"`` or ``"us"``.
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
