"""Operating points of random circuits against a circuit solver (ngspice) and against 40-digit arithmetic (mpmath).

The netlists and the equations are written here from the circuit records, and share no code with the package. The
temperature matters: ngspice's diode takes its thermal voltage from `temp`, so each diode's emission coefficient is set
to give the wanted slope voltage at 27 degC, where no saturation current is rescaled (TNOM is 27 degC).
"""

import os
import shutil
import subprocess
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pytest

from solarvent.electrical.operation import FanElectrical, point
from solarvent.wiring.circuit import Circuit, DiodeLaw, Joined, Leaf, Through, leaves

CIRCUITS = 60
WITH_MPMATH = 20
THERMAL_VOLTAGE = 1.38064852e-23 * 300.15 / 1.6021766208e-19  # with the constants of the circuit solver
RELATIVE, ABSOLUTE = 1e-4, 1e-4  # ten times closer than asked; 0.1 mV is the end of the straight part near 0 V


@dataclass
class Case:
    circuit: Circuit
    panels: dict
    fans: dict
    states: dict


@dataclass
class Netlist:
    """Lines of a netlist, and where to find things in its solution."""

    name: str
    lines: list = field(default_factory=list)
    nodes: int = 0
    leaf: dict = field(default_factory=dict)
    junction: dict = field(default_factory=dict)
    diodes: dict = field(default_factory=dict)

    def node(self):
        self.nodes += 1
        return f"{self.name}n{self.nodes}"

    def add(self, kind, text):
        self.lines.append(f"{kind}{self.name}x{len(self.lines)} {text}")


def random_case(seed):
    rng = np.random.default_rng(seed)
    panels = {}
    kind = [random_panel(rng) for _ in range(2)]
    for k in range(rng.integers(1, 4)):
        panels[f"p{k}"] = kind[0] if rng.random() < 0.5 else random_panel(rng, kind[1])
    fans, states = {}, {}
    for k in range(rng.integers(1, 5)):
        fans[f"f{k}"] = FanElectrical(
            f"f{k}",
            12.0,
            round(rng.uniform(0.08, 0.8), 3),
            round(rng.uniform(0.76, 1.4), 2),
            7.0,
            5.0,
            round(rng.uniform(1.1, 6.5), 1),
            bool(rng.random() < 0.5),
        )
        states[f"f{k}"] = str(rng.choice(["turning", "turning", "held", "retrying", "open"]))
    source = random_tree(rng, list(panels), source=True)
    load = random_tree(rng, list(fans), source=False)
    return Case(Circuit(source, load), panels, fans, states)


def random_panel(rng, like=None):
    size, cells = rng.uniform(0.2, 5.0), int(rng.choice([18, 36, 36, 72]))
    light = rng.uniform(0.02, 1.1)
    if like is not None and rng.random() < 0.6:
        # The same kind of panel, shaded.
        return (like[0] * rng.uniform(0.2, 0.9), *like[1:])
    return (size * light, size * 10 ** rng.uniform(-11, -8), 1.2 / size, 450.0 / size / light, cells * 0.0262)


def random_tree(rng, names, source):
    branches = [maybe_lead(rng, Leaf(name), 0.5 if source else 0.15) for name in names]
    while len(branches) > 1:
        take = int(rng.integers(2, len(branches) + 1))
        in_series = rng.random() < (0.35 if source else 0.15)
        joined = Joined("series" if in_series else "parallel", tuple(branches[:take]))
        branches = [*branches[take:], maybe_lead(rng, joined, 0.2)]
    return branches[0]


def maybe_lead(rng, branch, diode_share):
    if rng.random() < diode_share:
        branch = Through(branch, 0.0, DiodeLaw(10 ** rng.uniform(-9, -6), rng.uniform(0.026, 0.045)))
    return Through(branch, round(rng.uniform(0.02, 2.0), 3)) if rng.random() < 0.8 else branch


def write_branch(net, branch, case, source):
    """Return the branch's positive and negative node."""
    match branch:
        case Leaf(part) if source:
            plus, minus, inner = net.node(), net.node(), net.node()
            light, saturation, series, shunt, slope = case.panels[part]
            net.add("i", f"{minus} {inner} DC {light:.17g}")
            model = f"{net.name}m{len(net.lines)}"
            net.add("d", f"{inner} {minus} {model}")
            net.lines.append(f".model {model} D(IS={saturation:.17g} N={slope / THERMAL_VOLTAGE:.17g})")
            net.add("r", f"{inner} {minus} {shunt:.17g}")
            net.add("r", f"{inner} {plus} {series:.17g}")
            net.leaf[part], net.junction[part] = (plus, minus), (inner, minus)
            return plus, minus
        case Leaf(part):
            plus, minus = net.node(), net.node()
            fan, state = case.fans[part], case.states[part]
            if state == "turning":
                # Straight below 1 uV: the solver cannot take the derivative of an exponent below 1 at zero.
                across = f"v({plus},{minus})"
                law = f"{fan.rated_current}*pwr({across}/{fan.rated_voltage},{fan.current_exponent})"
                first = fan.rated_current * (1e-6 / fan.rated_voltage) ** fan.current_exponent / 1e-6
                net.add("b", f"{plus} {minus} I={across} > 1e-6 ? {law} : {across}*{first:.17g}")
            else:
                net.add("r", f"{plus} {minus} {standing_resistance(fan, state):.17g}")
            net.leaf[part] = plus, minus
            return plus, minus
        case Through(child, resistance, diode):
            plus, minus = write_branch(net, child, case, source)
            if resistance:
                plus = beyond(net, plus, lambda a, b: net.add("r", f"{a} {b} {resistance:.17g}"))
            if diode:
                model = f"{net.name}m{len(net.lines)}"
                emission = diode.slope_voltage / THERMAL_VOLTAGE
                net.lines.append(f".model {model} D(IS={diode.saturation_current:.17g} N={emission:.17g})")
                inside, plus = plus, net.node()
                way = (inside, plus) if source else (plus, inside)
                net.add("d", f"{way[0]} {way[1]} {model}")
                net.diodes[id(branch)] = way
            return plus, minus
        case Joined(arrangement, members):
            ends = [write_branch(net, member, case, source) for member in members]
            if arrangement == "parallel":
                for plus, minus in ends[1:]:
                    net.add("v", f"{plus} {ends[0][0]} 0")
                    net.add("v", f"{minus} {ends[0][1]} 0")
                return ends[0]
            for (_, minus), (plus, _) in pairwise(ends):
                net.add("v", f"{minus} {plus} 0")
            return ends[0][0], ends[-1][1]


def beyond(net, plus, add):
    new = net.node()
    add(plus, new)
    return new


def standing_resistance(fan, state):
    if state == "open":
        return 1e9
    running = fan.rated_current * (fan.start_voltage / fan.rated_voltage) ** fan.current_exponent
    return fan.start_voltage / (fan.locked_rotor_ratio * running) / (0.15 if state == "retrying" else 1.0)


def written(number, case):
    net = Netlist(f"c{number}")
    plus, minus = write_branch(net, case.circuit.source, case, source=True)
    top, bottom = write_branch(net, case.circuit.load, case, source=False)
    net.add("v", f"{plus} {top} 0")
    net.add("v", f"{minus} {bottom} 0")
    net.add("v", f"{minus} 0 0")
    net.leaf["bus"] = plus, minus
    return net


def node_voltages(path):
    """Node voltages from the solver's file of results, in full precision."""
    head, body = path.read_text().split("Values:")
    names = [
        line.split()[1].removeprefix("v(").rstrip(")") for line in head.split("\nVariables:")[1].strip().splitlines()
    ]
    return dict(zip(names, [float(value) for value in body.split()[1:]], strict=True)) | {"0": 0.0}


@pytest.fixture(scope="module")
def cases():
    return [random_case(seed) for seed in range(CIRCUITS)]


@pytest.fixture(scope="module")
def solved(cases, tmp_path_factory):
    """Netlists and node voltages of all cases, from one run of the circuit solver."""
    if shutil.which("ngspice") is None:
        if os.environ.get("SOLARVENT_REQUIRE_OUTSIDE"):
            pytest.fail("ngspice is missing")
        pytest.skip("ngspice is not installed")
    folder = tmp_path_factory.mktemp("netlist")
    nets = [written(number, case) for number, case in enumerate(cases)]
    text = ["random circuits", *(line for net in nets for line in net.lines)]
    text += [".options reltol=1e-7 abstol=1e-12 vntol=1e-9 gmin=1e-15 temp=27 itl1=500"]
    text += [".control", "op", "set filetype=ascii", "set numdgt=15", "write out.raw", "quit", ".endc", ".end"]
    (folder / "all.cir").write_text("\n".join(text) + "\n")
    run = subprocess.run(
        ["ngspice", "-b", "all.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    assert (folder / "out.raw").exists(), run.stdout + run.stderr
    return nets, node_voltages(folder / "out.raw")


def across(volts, nodes):
    return volts[nodes[0]] - volts[nodes[1]]


@pytest.mark.outside("ngspice")
def test_random_circuits_agree_with_a_circuit_solver(cases, solved):
    nets, volts = solved
    kinds = set()
    for number, (case, net) in enumerate(zip(cases, nets, strict=True)):
        got = point(case.circuit, case.panels, case.fans, case.states)
        ours = dict(zip(got.panel_ids, got.panel_voltage[:, 0], strict=True))
        ours |= dict(zip(got.fan_ids, got.fan_voltage[:, 0], strict=True)) | {"bus": got.bus_voltage[0]}
        theirs = {name: across(volts, nodes) for name, nodes in net.leaf.items()}
        assert ours == pytest.approx(theirs, rel=RELATIVE, abs=ABSOLUTE), f"circuit {number}"
        kinds |= {len(case.panels), -len(case.fans), *case.states.values()}
    assert kinds >= {1, 2, 3, -1, -2, -3, -4, "turning", "held", "retrying", "open"}


@pytest.mark.outside("ngspice")
def test_random_circuits_agree_with_forty_digits(cases, solved):
    from mpmath import mp

    nets, volts = solved
    with mp.workdps(40):
        for case, net in list(zip(cases, nets, strict=True))[:WITH_MPMATH]:
            theirs = forty_digits(case, net, volts, mp)
            got = point(case.circuit, case.panels, case.fans, case.states)
            ours = dict(zip(got.panel_ids, got.panel_voltage[:, 0], strict=True))
            ours |= dict(zip(got.fan_ids, got.fan_voltage[:, 0], strict=True))
            assert ours == pytest.approx(theirs, rel=RELATIVE, abs=ABSOLUTE)


def forty_digits(case, net, volts, mp):
    """Terminal voltages from the equations of the whole circuit; the circuit solver gives the first guess only.

    Unknown are the voltage across each panel's junction, across each fan and across each diode in line. Each join and
    the cut between source and load give the equations.
    """
    leaf_ids = [*leaves(case.circuit.source), *leaves(case.circuit.load)]
    keys = [*leaf_ids, *net.diodes]
    start = [across(volts, net.junction.get(key) or net.leaf.get(key) or net.diodes[key]) for key in keys]
    terminal = {}

    def residuals(*unknowns):
        value = dict(zip(keys, unknowns, strict=True))
        equations = []

        def walk(branch, source):
            sign = -1 if source else 1
            match branch:
                case Leaf(part) if source:
                    light, saturation, series, shunt, slope = map(mp.mpf, case.panels[part])
                    current = light - saturation * mp.expm1(value[part] / slope) - value[part] / shunt
                    terminal[part] = value[part] - series * current
                    return terminal[part], current
                case Leaf(part):
                    fan, state, v = case.fans[part], case.states[part], value[part]
                    terminal[part] = v
                    if state != "turning":
                        return v, v / mp.mpf(standing_resistance(fan, state))
                    if v < 0:
                        return v, mp.mpf(0)
                    return v, fan.rated_current * (v / fan.rated_voltage) ** mp.mpf(fan.current_exponent)
                case Through(child, resistance, diode):
                    v, i = walk(child, source)
                    v = v + sign * mp.mpf(resistance) * i
                    if diode:
                        drop = value[id(branch)]
                        equations.append(
                            mp.mpf(diode.saturation_current) * mp.expm1(drop / mp.mpf(diode.slope_voltage)) - i
                        )
                        v = v + sign * drop
                    return v, i
                case Joined(arrangement, members):
                    ends = [walk(member, source) for member in members]
                    if arrangement == "parallel":
                        equations.extend(v - ends[0][0] for v, _ in ends[1:])
                        return ends[0][0], sum(i for _, i in ends)
                    equations.extend(i - ends[0][1] for _, i in ends[1:])
                    return sum(v for v, _ in ends), ends[0][1]

        v_source, i_source = walk(case.circuit.source, source=True)
        v_load, i_load = walk(case.circuit.load, source=False)
        return [*equations, v_source - v_load, i_source - i_load]

    root = mp.findroot(residuals, start, tol=mp.mpf(10) ** -50, maxsteps=30)
    residuals(*root)
    return {name: float(terminal[name]) for name in leaf_ids}
