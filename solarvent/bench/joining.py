"""Joining step by step, and the first sun: signs at far ends, joints, start, running points, shade."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

from solarvent.base.sentences import listed
from solarvent.bench.metering import Expected
from solarvent.bench.preparation import (
    METER,
    PHASES,
    Bench,
    Step,
    alike,
    ampere_setting,
    panel_alone,
    probe_at,
    volt_setting,
)
from solarvent.electrical.panel_model import TYPICAL
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter


def far_ends(bench: Bench) -> Iterator[Step]:
    """Carry the panel's voltage outwards, part by part, and read its sign each time, with no fan joined."""
    harness, phase = bench.harness, PHASES[2]
    volts = {
        panel.id: panel_alone(bench.plan, panel, bench.irradiance, bench.temp_cell, TYPICAL)[0]
        for panel in bench.plan.record.panel
    }
    for name in _outwards(bench):
        part = harness.parts[name]
        if not isinstance(part, Lead | Splitter):
            continue
        expected, source = _arriving(bench, name, volts)
        last = [one for one in harness.after(name) if isinstance(harness.parts[one], Fan)]
        where = f", the last plug before {', '.join(last)}" if last else ""
        lost = " less what its diode takes" if isinstance(part, Lead) and part.diode else ""
        connector = part.outlet if isinstance(part, Lead) else part.branch
        if connector is not None and name in bench.plus:
            connector = connector.model_copy(update={"positive": bench.plus[name]})
        ends = "each of its ends" if len(harness.after(name)) > 1 else "its far end"
        yield Step(
            phase,
            f"Put {name} on {_called(bench, harness.before(name))}, no fan joined, and meter at {ends}{where}.",
            probe_at(bench.plan, connector, volt_setting(1.1 * expected)),
            f"{expected:.1f} V as at {source}{lost}, the same sign{_known(bench, last)}",
            f"within 0.1 V of the reading at {source} in the same minute",
            f"The sign has turned: {name} crosses the poles. Tag it, put it right, and meter again."
            + (" Do not join the fan before." if last else ""),
        )


def _arriving(bench: Bench, name: str, volts: dict[str, float]) -> tuple[float, str]:
    """Voltage with no fan joined that arrives at a part [V], and what gives it in words."""
    harness, part = bench.harness, bench.harness.parts[name]
    in_series = isinstance(part, Splitter) and part.arrangement == "series" and len(harness.before(name)) > 1
    expected = (sum if in_series else max)(volts[panel] for panel in harness.upstream(name) if panel in volts)
    source = "the panel"
    for before in harness.upstream(name):
        if isinstance(converter := harness.parts[before], Converter):
            boosts = converter.kind == "boost"
            expected = converter.output_voltage if boosts else min(converter.output_voltage, expected)
            source = "the panel's socket" if converter.built_in else before
    return expected, source


def _known(bench: Bench, fans: list[str]) -> str:
    """Add what the plan knows of the poles at the last plug before some fans."""
    poles = {bench.poles[name] for name in fans if name in bench.poles}
    if "reversed" in poles:
        return "; by the plan + would meet the - of the fan here, so put that right first"
    if "unknown" in poles:
        return "; the plan does not know the poles here, so note which contact is + and hold it against the fan's"
    return "; by the plan + meets the + of the fan here" if poles else ""


def joints(bench: Bench) -> Iterator[Step]:
    """Join everything with the panel covered, the panel last."""
    harness, phase = bench.harness, PHASES[3]
    yield Step(
        phase,
        "Cover the panel again, and take all leads off it.",
        expect="nothing live while you work",
        otherwise="A plug that is parted in the sun draws an arc and pits its contacts.",
    )
    snug = "snug: it does not fall off or rattle when you pull it lightly"
    loose = "Loose: perhaps a 2.5 mm plug on a 2.1 mm pin, or a bad crimp. It will cut out in the wind."
    pairs = []
    for join in harness.joins:
        before = harness.parts[join.source.part]
        if isinstance(harness.parts[join.sink.part], Fan) and isinstance(before, Lead | Splitter):
            pairs.append(f"{join.sink.part} on {join.source.part}")
    if pairs:
        yield Step(phase, f"Join each fan to its lead, red to +: {listed(pairs)}.", "", snug, "", loose)
    for name in reversed(_outwards(bench)):
        behind = [one for one in harness.after(name) if not isinstance(harness.parts[one], Fan)]
        part = harness.parts[name]
        if behind and not isinstance(part, Panel) and not (isinstance(part, Converter) and part.built_in):
            yield Step(phase, f"Join {listed(behind)} to {name}, as the tags say.", "", snug, "", loose)
    for panel in bench.plan.record.panel:
        behind, to = harness.after(panel.id), bench.called(panel)
        if (regulator := bench.built_in(panel)) is not None:
            behind, to = harness.after(regulator.id), f"the socket of {to}"
        yield Step(
            phase,
            f"Last of all join {listed(behind)} to {to}, still covered.",
            expect="every tag at + meets a tag at +",
            otherwise="If in doubt, take the fans off and read the sign at the last plugs once more.",
        )


def _called(bench: Bench, names: list[str]) -> str:
    """Name parts in a sentence."""
    return listed([bench.called(name) if isinstance(bench.harness.parts[name], Panel) else name for name in names])


def _outwards(bench: Bench) -> list[str]:
    """Parts from the panels outwards, each after everything that feeds it."""
    from graphlib import TopologicalSorter

    names = bench.harness.parts
    return list(TopologicalSorter({name: bench.harness.before(name) for name in names}).static_order())


_PHASE = PHASES[4]


def first_sun(bench: Bench) -> Iterator[Step]:
    """Let the sun in, and compare the running circuit with the plan."""
    for typical, low, high in zip(bench.bands["typical"], bench.bands["low"], bench.bands["high"], strict=True):
        yield from _circuit_in_the_sun(bench, typical, low, high)
    yield Step(
        _PHASE,
        "Lay a hand over one cell, then over a whole row of cells.",
        expect="the fans slow down sharply, or stop",
        otherwise="This is what a leaf or a bar does. Keep every cell clear of shadow in the hours that count.",
    )
    yield Step(
        _PHASE,
        "Cover the panel for ten seconds and uncover it: at noon, in the middle of the afternoon, and late.",
        expect="the fans start again by themselves within ten seconds, at the hours that count",
        otherwise="They only keep turning in that light and cannot start in it: see run-down and start above.",
    )
    yield Step(
        _PHASE,
        "Write the readings down and give them to the program: solarvent meter PLAN --fan ID=.../... ; with --write"
        " they go into the plan. Tag both ends of every lead and take a photograph.",
        expect="this year's readings, to hold against next year's",
    )


def _circuit_in_the_sun(bench: Bench, typical: Expected, low: Expected, high: Expected) -> Iterator[Step]:
    """Start, voltages, currents and loss of one circuit."""
    light = bench.irradiance
    fans = {fan.id: fan for fan in bench.plan.record.fan}
    panels = listed([bench.called(name) for name in typical.panels])
    yield _start(bench, typical, low, high, panels)
    reading = typical.turning
    groups: dict[tuple[str, ...], list[str]] = {}
    for number, fan in enumerate(reading.fans):
        each = [one.turning.fans[number] for one in (typical, low, high)]
        volts, amps = [one.voltage for one in each], [one.current for one in each]
        limit = fans[fan.id].maximum_voltage
        texts = (
            f"{volt_setting(1.1 * max(volts))}, at the fan's own wires; then {ampere_setting(max(amps))}, in line",
            *_running(volts, amps, limit, light, light < typical.thresholds[fan.id].run_down_irradiance),
            f"Above {limit:g} V: cover the panel, it will not last. Volts and no amperes: open, or reversed and"
            " protected. Under 1.5 V and many amperes: a short or a reversed fan, cover it at once. A few steady volts:"
            " stalled. Anything else: ask solarvent meter.",
        )
        groups.setdefault(texts, []).append(fan.id)
    for (probe, expect, tolerance, otherwise), names in groups.items():
        yield Step(_PHASE, f"Meter at {_each(names)} while everything turns.", probe, expect, tolerance, otherwise)
    worst = max(reading.panel_voltage - fan.voltage for fan in reading.fans)
    # A chain of fans shares the voltage of the panel, so the difference says nothing of the wire there.
    regulated = any(bench.built_in(panel) for panel in bench.plan.record.panel)
    if not regulated and worst < 0.3 * reading.panel_voltage and bench.plan.record.wiring.layout != "series":
        yield Step(
            _PHASE,
            f"Subtract: volts at {panels} less volts at the fan that has least, within the same minute.",
            f"{volt_setting(1.1 * reading.panel_voltage)}, at the panel and at the fan in turn",
            f"{worst:.2f} V are lost on the way",
            f"up to {1.5 * worst + 0.2:.1f} V",
            "More: thin wire, or a joint that wants cleaning. Meter across each joint: a good one shows below 0.1 V.",
        )


def _start(bench: Bench, typical: Expected, low: Expected, high: Expected, panels: str) -> Step:
    """Say from which light on the fans start; alike fans come one after the other, nobody knows which first."""
    expect, tolerance = [], []
    for names, _ in alike([fan for fan in bench.plan.record.fan if fan.id in typical.thresholds]):
        ids = names.split(", ")
        levels = [
            sorted((one.thresholds[name].start_irradiance for name in ids), key=lambda x: (isnan(x), x))
            for one in (typical, high, low)
        ]
        middle, least, most = (", then ".join(_level(x) for x in one) for one in levels)
        expect.append(f"{names}: {middle} W/m2")
        tolerance.append(f"{names}: easiest {least}; stiffest {most}")
    return Step(
        _PHASE,
        f"All joined, uncover {panels} slowly.",
        "",
        "they start from about "
        + "; ".join(expect)
        + " (clear sun 800 to 1000, thin cloud 300 to 500, grey sky 50 to 200)",
        "; ".join(tolerance),
        "A fan stands in full sun: cover the panel, then read volts and amperes at it and ask solarvent meter. Only one"
        " turns: the other drags it down, or is reversed.",
    )


def _level(irradiance: float) -> str:
    return "never" if isnan(irradiance) else f"{irradiance:.0f}"


def _each(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"each of {listed(names)}"


def _running(volts: list[float], amps: list[float], limit: float, light: float, stands: bool) -> tuple[str, str]:
    """Volts and amperes of a turning fan, typical first, and between what they may lie."""
    expect = f"{volts[0]:.1f} V, {amps[0]:.2f} A at {light:.0f} W/m2"
    if volts[0] > limit:
        expect += f": more than the {limit:g} V that it stands. Do not build it so"
    elif stands:
        expect += ", if it turned already; it does not start in this light"
    most = (1 + METER) * max(volts)
    tolerance = f"{(1 - METER) * min(volts):.1f} to {most if volts[0] > limit else min(most, limit):.1f} V,"
    return expect, f"{tolerance} {(1 - METER) * min(amps):.2f} to {(1 + METER) * max(amps):.2f} A"
