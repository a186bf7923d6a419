"""A bench of its own for the tests of the diagnosis: circuits with one fault, solved by tables and interpolation.

It shares the plate fit and the fans' figures with the package, and nothing of its operating points: the panel is
pvlib's Lambert-W solution with the lead's resistance in it, each fan a table of voltage against current behind a lead.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from pvlib.pvsystem import calcparams_desoto, i_from_v, v_from_i

FAULTS = ("open-circuit", "short", "stalled", "retrying", "slow", "normal", "over-volted", "resistance")
METER = 0.03
VOLTS = np.linspace(0.0, 30.0, 3001)


@dataclass
class Fan:
    """Figures of one real fan: those of the plate with a spread of its own."""

    name: str
    rated_voltage: float
    rated_current: float
    start: float
    run_down: float
    highest: float
    ratio: float
    held: bool
    lead: float

    def running(self, volts):
        return self.rated_current * volts / self.rated_voltage

    def locked(self, volts):
        return volts * self.ratio * self.rated_current / self.rated_voltage


@dataclass
class Case:
    """What was wrong, and what the meter showed."""

    fault: str
    part: str
    light: float
    temp_cell: float
    readings: dict = field(default_factory=dict)
    seen: dict = field(default_factory=dict)


class Bench:
    """One panel, its lead, and fans side by side."""

    def __init__(self, reference, fans, trunk, leads):
        self.reference, self.plates, self.trunk, self.leads = reference, fans, trunk, leads

    def parameters(self, share, light, temp_cell):
        """Five parameters of a panel that holds a share of its plate."""
        r = self.reference
        return calcparams_desoto(
            light, temp_cell, r.alpha_sc * share, r.a_ref, r.I_L_ref * share, r.I_o_ref * share, r.R_sh_ref / share,
            r.R_s / share,
        )  # fmt: skip

    def solve(self, five, branches, trunk):
        """Node voltage at which the panel behind its lead gives what all branches take."""
        photo, dark, series, shunt, slope = five
        given = i_from_v(VOLTS, photo, dark, series + trunk, shunt, slope)
        taken = sum(np.interp(VOLTS, at_node, amps) for at_node, amps in branches)
        surplus = given - taken
        crossing = np.flatnonzero((surplus[:-1] > 0) & (surplus[1:] <= 0))[0]
        share = surplus[crossing] / (surplus[crossing] - surplus[crossing + 1])
        volts = VOLTS[crossing] + share * (VOLTS[1] - VOLTS[0])
        return volts, float(np.interp(volts, VOLTS, taken))

    def fan(self, rng, plate, lead):
        """A real fan of this plate."""
        return Fan(
            plate.id, plate.rated_voltage, plate.rated_current * rng.normal(1.0, 0.06),
            plate.start_voltage * rng.normal(1.0, 0.04), plate.stop_voltage * rng.normal(1.0, 0.04),
            plate.maximum_voltage, plate.locked_rotor_ratio * rng.normal(1.0, 0.08), plate.standing == "held", lead,
        )  # fmt: skip

    def settle(self, five, fans, special, trunk, first="turning"):
        """Fans that turn until they fall below their stop voltage; with the readings of the circuit then.

        `special` gives the law of a fan at fault, a function of its voltage.
        """
        states = dict.fromkeys((fan.name for fan in fans if fan.name not in special), first)
        for _ in range(2 * len(fans) + 2):
            volts, amps, panel = self.read(five, fans, states, special, trunk)
            fallen = [f.name for f in fans if states.get(f.name) == "turning" and volts[f.name] < f.run_down]
            if not fallen:
                break
            states[fallen[0]] = "standing"
        return states, volts, amps, panel

    def read(self, five, fans, states, special, trunk, attempt=()):
        """Voltage and current of each fan and of the panel; retrying fans draw only in an attempt."""
        branches = []
        for fan in fans:
            if fan.name in special:
                law = special[fan.name](VOLTS)
            elif states[fan.name] == "turning":
                law = fan.running(VOLTS)
            elif fan.held or fan.name in attempt:
                law = fan.locked(VOLTS)
            else:
                law = 0.0 * VOLTS
            branches.append((VOLTS + fan.lead * law, law))
        node, total = self.solve(five, branches, trunk)
        volts, amps = {}, {}
        for fan, (at_node, law) in zip(fans, branches, strict=True):
            amps[fan.name] = float(np.interp(node, at_node, law))
            volts[fan.name] = node - fan.lead * amps[fan.name]
        return volts, amps, (node + trunk * total, total)


def inject(bench, fault, rng):
    """Make a circuit with this fault and read it with a 3 % meter; None if the draw cannot show the fault."""
    fans = [bench.fan(rng, plate, lead) for plate, lead in zip(bench.plates, bench.leads, strict=True)]
    bad = fans[rng.integers(len(fans))]
    light, share = np.exp(rng.uniform(np.log(80), np.log(1000))), rng.uniform(0.75, 1.0)
    if fault in ("open-circuit", "short", "resistance"):
        light = rng.uniform(400, 1000)
    temp_cell = rng.uniform(5, 30) + 0.031 * light
    five, trunk = bench.parameters(share, light, temp_cell), bench.trunk
    special, attempt = {}, ()
    if fault == "open-circuit":
        special[bad.name] = lambda volts: 0.0 * volts
    elif fault == "short":
        special[bad.name] = _short(rng)
    elif fault == "resistance":
        bad.lead += rng.uniform(0.3, 1.2) * bad.rated_voltage / bad.rated_current
    first = "standing" if fault in ("stalled", "retrying") else "turning"
    states, volts, amps, panel = bench.settle(five, fans, special, trunk, first)
    turning = [fan for fan in fans if states.get(fan.name) == "turning"]
    if fault in ("stalled", "retrying"):
        # One held rotor drags the circuit down steadily; without one the standing fans try in pulses.
        if bad.held != (fault == "stalled") or (not bad.held and any(fan.held for fan in fans)):
            return None
        for trying in fans:
            trial = bench.read(five, fans, states, special, trunk, attempt=(trying.name,))
            if any(trial[0][fan.name] >= fan.start for fan in fans if fan.held or fan is trying):
                return None
        if trial[0][bad.name] < 0.2 * bad.start:
            return None
        attempt = tuple(fan.name for fan in fans)
    elif fault == "resistance":
        lost = 1 - volts[bad.name] / panel[0]
        if bad not in turning or lost < 0.2:
            return None
    elif fault in ("slow", "normal", "over-volted"):
        if len(turning) < len(fans):
            return None
        level = {"slow": volts[bad.name] < 0.95 * bad.start, "over-volted": volts[bad.name] > 1.05 * bad.highest,
                 "normal": 1.05 * bad.start < volts[bad.name] < 0.96 * bad.highest}  # fmt: skip
        if not level[fault]:
            return None
    case = Case(fault, bad.name, light, temp_cell)
    phases = [(volts, amps, panel)]
    if attempt:
        phases.append(bench.read(five, fans, states, special, trunk, attempt))
    _write_down(case, bench, fans, bad, five, phases, rng)
    if attempt and rng.random() < 0.5 and fault == "retrying":
        case.seen[bad.name] = "pulses"
    return case


def _short(rng):
    """A dead short with some resistance of its own, or the two junctions of a reversed driver."""
    if rng.random() < 0.5:
        resistance = rng.uniform(0.1, 0.8)
        return lambda volts: volts / resistance
    knee = rng.uniform(0.5, 1.1)
    return lambda volts: np.where(volts > knee, (volts - knee) / 0.2, 0.0)


def _write_down(case, bench, fans, bad, five, phases, rng):
    """Read the meter: always at the fan in question, often elsewhere too."""

    def put(kind, part, value):
        case.readings[kind, part] = value * rng.normal(1.0, METER)

    def phase():
        return phases[rng.integers(len(phases))]

    photo, dark, series, shunt, slope = five
    for fan in fans:
        if fan is bad or rng.random() < 0.6:
            put("voltage", fan.name, phase()[0][fan.name])
            put("current", fan.name, phase()[1][fan.name])
    if rng.random() < 0.7:
        put("panel_open", "panel", float(v_from_i(0.0, photo, dark, series, shunt, slope)))
        put("panel_short", "panel", float(i_from_v(0.0, photo, dark, series, shunt, slope)))
    if case.fault == "resistance" or rng.random() < 0.4:
        put("panel_voltage", "panel", phase()[2][0])
