"""Joining step by step, and the first sun: signs at far ends, joints, start, running points, shade."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

from solarvent.base.findings import listed
from solarvent.base.quantities import show
from solarvent.bench.metering import Expected
from solarvent.bench.preparation import (
    METER,
    USB_METER,
    Bench,
    Step,
    alike,
    ampere_setting,
    far_end,
    panel_alone,
    probe_at,
    volt_setting,
)
from solarvent.electrical.battery import BatteryLaw, law_of
from solarvent.electrical.panel_model import TYPICAL
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Panel, Splitter


def far_ends(bench: Bench) -> Iterator[Step]:
    """Carry the panel's voltage outwards, part by part, and read its sign each time, with no fan joined."""
    harness = bench.harness
    volts = {
        panel.id: panel_alone(bench.plan, panel, bench.irradiance, bench.temp_cell, TYPICAL)[0]
        for panel in bench.plan.record.panel
    }
    for name in _outwards(bench):
        part = harness.parts[name]
        if _behind_a_battery(bench, name):
            continue
        if isinstance(part, Converter) and not part.built_in and not part.needs_battery:
            yield _converter(bench, name, part, _arriving(bench, name, volts)[0])
        if not isinstance(part, Lead | Splitter):
            continue
        expected, source = _arriving(bench, name, volts)
        last = [one for one in harness.after(name) if isinstance(harness.parts[one], Fan)]
        where = f", the last plug before {', '.join(last)}" if last else ""
        lost = " less what its diode takes" if isinstance(part, Lead) and part.diode else ""
        ends = "each of its ends" if len(harness.after(name)) > 1 else "its far end"
        yield Step(
            f"Put {name} on {_called(bench, harness.before(name))}, no fan joined, and meter at {ends}{where}.",
            probe_at(bench.plan, _far_end(bench, part), volt_setting(1.1 * expected)),
            f"{expected:.1f} V as at {source}{lost}, the same sign{_known(bench, last)}",
            f"within 0.1 V of the reading at {source} in the same minute",
            f"The sign has turned: {name} crosses the poles. Tag it, put it right, and meter again."
            + (" Do not join the fan before." if last else ""),
        )


def _far_end(bench: Bench, part: Lead | Splitter | Converter) -> Connector | None:
    """The end of a part towards the fans, with its pole as far as the plan knows it."""
    end = far_end(part)
    plus = bench.plus.get(part.id)
    return end if end is None or plus is None else end.model_copy(update={"positive": plus})


def _converter(bench: Bench, name: str, part: Converter, arriving: float) -> Step:
    """Put a converter on what feeds it with so much [V], and read what it gives before anything hangs on it."""
    gives = part.output_voltage if part.kind == "boost" else min(part.output_voltage, arriving)
    how = "across the line, + to +" if part.kind == "clamp" else "its input towards the panel and + to +"
    return Step(
        f"Put {name} on {_called(bench, bench.harness.before(name))}, {how}, no fan joined, and meter behind it.",
        probe_at(bench.plan, _far_end(bench, part), volt_setting(1.1 * gives)),
        f"{gives:.1f} V, without a minus sign",
        otherwise="A minus sign, or nothing: take it off and read the sign at what feeds it; swapped poles may have"
        " destroyed it. The panel's full volts: it is the wrong way round, or passes everything on.",
    )


def _behind_a_battery(bench: Bench, name: str) -> bool:
    """Whether a part is fed from a battery; it is metered when that is joined."""
    before = (bench.harness.parts[one] for one in bench.harness.upstream(name))
    stores = bench.plan.record.storage is not None
    return stores and any(isinstance(part, Converter) and part.needs_battery for part in before)


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
    harness = bench.harness
    yield Step(
        "Cover the panel again, and take all leads off it.",
        expect="nothing live while you work",
        otherwise="A plug that is parted in the sun draws an arc and pits its contacts.",
    )
    yield from _battery_first(bench)
    snug = "snug: it does not fall off or rattle when you pull it lightly"
    loose = "Loose: perhaps a 2.5 mm plug on a 2.1 mm pin, or a bad crimp. It will cut out in the wind."
    if all(bench.is_usb(fan.inlet) for fan in bench.plan.record.fan):
        loose = "Loose: a worn plug or socket. It will cut out in the wind."
    pairs, fed, red = [], [], ""
    for join in harness.joins:
        before = harness.parts[join.source.part]
        if isinstance(harness.parts[join.sink.part], Fan) and isinstance(before, Lead | Splitter | Converter):
            pairs.append(f"{join.sink.part} on {join.source.part}")
            fed.append((join.source.part, join.sink.part))
            red = red if bench.is_usb(join.sink.connector) else ", red to +"
    if pairs:
        yield Step(f"Join each fan to its lead{red}: {listed(pairs)}.", "", snug, "", loose, tuple(fed))
    for name in reversed(_outwards(bench)):
        behind = [one for one in harness.after(name) if not isinstance(harness.parts[one], Fan)]
        part = harness.parts[name]
        if behind and not isinstance(part, Panel) and not (isinstance(part, Converter) and part.built_in):
            joins = tuple((name, one) for one in behind)
            yield Step(f"Join {listed(behind)} to {name}, as the tags say.", "", snug, "", loose, joins)
    yield from _switched_line(bench)
    for panel in bench.plan.record.panel:
        outlet, behind, to = panel.id, harness.after(panel.id), bench.called(panel)
        if (regulator := bench.built_in(panel)) is not None:
            outlet, behind, to = regulator.id, harness.after(regulator.id), f"the socket of {to}"
        yield Step(
            f"Last of all join {listed(behind)} to {to}, still covered.",
            expect="every tag at + meets a tag at +",
            otherwise="If in doubt, take the fans off and read the sign at the last plugs once more.",
            joins=tuple((outlet, one) for one in behind),
        )
    if bench.plan.record.storage is not None:
        yield Step(
            "Write beside the controller how it is taken apart: the panel first, covered, then the fans, the"
            " battery last.",
            expect="a tag that says so",
            otherwise="A controller whose battery is taken off in the sun passes the panel's open-circuit volts on to"
            " the fans, or dies.",
        )


def _battery_first(bench: Bench) -> Iterator[Step]:
    """Join battery and controller before all else: a controller that meets its panel first may be destroyed."""
    battery = bench.plan.record.storage
    if battery is None:
        return
    law = law_of(battery)
    fuse = "the fuse" if battery.fuse is None else f"the {battery.fuse:g} A fuse"
    controllers = listed(
        [name for name, part in bench.harness.parts.items() if isinstance(part, Converter) and part.needs_battery]
    )
    yield Step(
        f"The battery first: take {fuse} out of its holder at the + pole; join - and then + of the battery to"
        f" {controllers}; then put the fuse in.",
        f"{volt_setting(1.1 * law.absorption)}, at the battery terminals of the controller",
        f"the controller wakes; {float(law.open_circuit(0.75)):.1f} V as at the poles",
        f"{law.cut_off:.1f} to {law.absorption:.1f} V",
        "Nothing, or a minus sign: fuse out at once, poles swapped. A spark when the fuse goes in is small; a large one"
        " is a short.",
    )
    place = "its load terminals" if battery.fans_at == "load-output" else "the battery, behind the fuse"
    behind = [
        name
        for name in _outwards(bench)
        if isinstance(bench.harness.parts[name], Lead | Splitter) and _behind_a_battery(bench, name)
    ]
    last = behind[-1:] or [controllers]
    yield Step(
        f"Lay the way to the fans from {place}{f', {listed(behind)}' if behind else ''}, no fan joined, and meter at"
        " the last plug before each fan.",
        f"{volt_setting(1.1 * law.absorption)}; red on the contact that should be +, black on the other",
        f"{float(law.open_circuit(0.75)):.1f} V as at the battery, the same sign"
        f"{_known(bench, [fan.id for fan in bench.plan.record.fan])}",
        "within 0.1 V of the battery in the same minute",
        f"The sign has turned: look at {listed(last)} and at every plug before. Nothing: the load output is off"
        " (a button, a timer), or it cut off. Take the load off again before you join the fans.",
    )


def _switched_line(bench: Bench) -> Iterator[Step]:
    """Put the thermostat, or the switch of fans on a battery, into the + lead of the fans."""
    record = bench.plan.record
    if (line := record.thermostat) is not None:
        closes, opens = (show(value, "temperature", bench.system) for value in (line.closes_at, line.opens_at))
        yield Step(
            "Put the thermostat into the + lead of the fans: both of its contacts in the one conductor, the"
            " sensor in the shade at the height of the plants.",
            "ohms, lowest range; across its contacts",
            f"nearly 0 ohm when it is warmer than {closes}, open when it is cooler than {opens}",
            "2 degrees either way",
            "Open in the warmth: it is one that opens, for heaters; take one for cooling. Made for alternating current"
            " only: take one with a rating for direct current, or its contacts weld.",
        )
    elif record.storage is not None and record.storage.fed == "when-needed":
        yield Step(
            "Put the switch or timer into the + lead of the fans, and leave it off.",
            expect=f"it is on from {record.target.start} to {record.target.end} and from {record.storage.start} to"
            f" {record.storage.end}",
            otherwise="Fans that nobody switches off run all night and empty the battery.",
        )


def _called(bench: Bench, names: list[str]) -> str:
    """Name parts in a sentence."""
    return listed([bench.called(name) if isinstance(bench.harness.parts[name], Panel) else name for name in names])


def _outwards(bench: Bench) -> list[str]:
    """Parts from the panels outwards, each after everything that feeds it."""
    from graphlib import TopologicalSorter

    names = bench.harness.parts
    return list(TopologicalSorter({name: bench.harness.before(name) for name in names}).static_order())


def first_sun(bench: Bench) -> Iterator[Step]:
    """Let the sun in, and compare the running circuit with the plan."""
    for typical, low, high in zip(bench.bands["typical"], bench.bands["low"], bench.bands["high"], strict=True):
        yield from _circuit_in_the_sun(bench, typical, low, high)
    if bench.plan.record.storage is not None:
        yield from _battery_days(law_of(bench.plan.record.storage))
        return
    yield Step(
        "Lay a hand over one cell, then over a whole row of cells.",
        expect="the fans slow down sharply, or stop",
        otherwise="This is what a leaf or a bar does. Keep every cell clear of shadow in the hours that count.",
    )
    yield Step(
        "Cover the panel for ten seconds and uncover it: at noon, in the middle of the afternoon, and late.",
        expect="the fans start again by themselves within ten seconds, at the hours that count",
        otherwise="They only keep turning in that light and cannot start in it: see run-down and start above.",
    )
    yield Step(
        "Write the readings down and give them to the program: on its page in the room Bench, or by solarvent meter"
        " PLAN --fan ID=.../... ; with --write they go into the plan. Tag both ends of every lead and take a"
        " photograph.",
        expect="this year's readings, to hold against next year's",
    )


def _circuit_in_the_sun(bench: Bench, typical: Expected, low: Expected, high: Expected) -> Iterator[Step]:
    """Start, voltages, currents and loss of one circuit."""
    light = bench.irradiance
    fans = {fan.id: fan for fan in bench.plan.record.fan}
    panels = listed([bench.called(name) for name in typical.panels])
    reading = typical.turning
    if typical.battery is None:
        yield _start(bench, typical, low, high, panels)
    else:
        yield from _charging(typical, low, high, panels)
    groups: dict[tuple[str, ...], list[str]] = {}
    for number, fan in enumerate(reading.fans):
        in_bands = [one.turning.fans[number] for one in (typical, low, high)]
        volts, amps = [one.voltage for one in in_bands], [one.current for one in in_bands]
        limit = fans[fan.id].maximum_voltage
        texts = (
            USB_METER
            if bench.is_usb(fans[fan.id].inlet)
            else f"{volt_setting(1.1 * max(volts))}, at the fan's own wires; then {ampere_setting(max(amps))}, in line",
            *_running(volts, amps, limit, light, light < typical.thresholds[fan.id].run_down_irradiance),
            f"{_above(limit, typical.battery is not None)} Volts and no amperes: open, or reversed and"
            " protected. Under 1.5 V and many amperes: a short or a reversed fan, cover it at once. A few steady volts:"
            " stalled. Anything else: ask solarvent meter.",
        )
        groups.setdefault(texts, []).append(fan.id)
    for (probe, expect, tolerance, otherwise), names in groups.items():
        yield Step(f"Meter at {_each(names)} while everything turns.", probe, expect, tolerance, otherwise)
    highest, at = (
        (reading.panel_voltage, panels) if typical.battery is None else (typical.battery, "the poles of the battery")
    )
    worst = max(highest - fan.voltage for fan in reading.fans)
    # A chain of fans shares the voltage of the panel, so the difference says nothing of the wire there.
    regulated = any(bench.built_in(panel) for panel in bench.plan.record.panel)
    # More than a third is no loss in a wire: the plan itself lowers the voltage there.
    if not regulated and worst < 0.3 * highest and bench.plan.record.wiring.layout != "series":
        yield Step(
            f"Subtract: volts at {at} less volts at the fan that has least, within the same minute.",
            f"{volt_setting(1.1 * highest)}, at {at if typical.battery else 'the panel'} and at the fan in turn",
            f"{worst:.2f} V are lost on the way",
            f"up to {1.5 * worst + 0.2:.1f} V",
            "More: thin wire, or a joint that wants cleaning. Meter across each joint: a good one shows below 0.1 V.",
        )


def _above(limit: float, battery: bool) -> str:
    """What to do where a fan gets more than its limit. [V]"""
    return f"Above {limit:g} V: {'switch it off' if battery else 'cover the panel'}, it will not last."


def _charging(typical: Expected, low: Expected, high: Expected, panels: str) -> Iterator[Step]:
    """Switch the fans on from the battery alone, then let the sun charge it."""
    assert typical.battery is not None
    assert high.battery is not None
    yield Step(
        f"{panels[0].upper()}{panels[1:]} still covered, switch the fans on.",
        expect="they start at once, from the battery",
        otherwise="One stands: read volts at it. Volts there and no turning: the fan, or its poles. No volts: the load"
        " output, the switch or thermostat, or a lead.",
    )
    amps = [one.turning.panel_current for one in (typical, low, high)]
    yield Step(
        f"Switch the fans off, uncover {panels}, and meter at its plus and minus on the controller.",
        f"{volt_setting(1.1 * typical.open_circuit)}; then {ampere_setting(max(amps))}, in line",
        f"{typical.turning.panel_voltage:.1f} V and {amps[0]:.2f} A while it charges; near {typical.open_circuit:.0f} V"
        " and hardly a current once the battery is full",
        f"{(1 - METER) * min(amps):.2f} to {(1 + METER) * max(amps):.2f} A with a battery that is not full",
        "Open-circuit volts and no current with an empty battery: the controller does not charge. Read the battery's"
        f" volts: they should climb, and never pass {high.battery:.1f} V.",
    )


def _battery_days(law: BatteryLaw) -> Iterator[Step]:
    """What to see of a battery on its first day and after its first night."""
    yield Step(
        "Cover the panel for a minute while the fans turn.",
        "at the poles of the battery",
        "the fans go on; the volts fall by a few tenths",
        otherwise="They stop: the fans hang on the panel and not on the battery, or the battery is spent.",
    )
    yield Step(
        "After the first night, before the sun is on the panel: meter the battery with the fans off.",
        f"{volt_setting(1.1 * law.absorption)}, at its poles",
        f"more than {law.cut_off:.1f} V: the night did not empty it",
        "",
        "At the cut-off each morning: a larger panel, fewer hours, or a larger battery (solarvent size).",
    )
    yield Step(
        "Write the readings down and take a photograph.",
        expect="this year's readings, to hold against next year's",
    )


def _start(bench: Bench, typical: Expected, low: Expected, high: Expected, panels: str) -> Step:
    """Say from which light on the fans start; alike fans come one after the other, nobody knows which first."""
    expect, tolerance = [], []
    for names, _ in alike([fan for fan in bench.plan.record.fan if fan.id in typical.thresholds]):
        levels = [
            sorted((one.thresholds[name].start_irradiance for name in names), key=lambda x: (isnan(x), x))
            for one in (typical, high, low)
        ]
        middle, least, most = (", then ".join(dict.fromkeys(map(_level, one))) for one in levels)
        expect.append(f"{', '.join(names)}: {middle} W/m2")
        tolerance.append(f"{', '.join(names)}: easiest {least}; stiffest {most}")
    return Step(
        f"All joined, uncover {panels} slowly.",
        "",
        "they start from about "
        + "; ".join(expect)
        + " (clear sun 800 to 1000, thin cloud 300 to 500, grey sky 50 to 200)",
        "; ".join(tolerance),
        "A fan stands in full sun: cover the panel, then read volts and amperes at it and ask solarvent meter."
        + (" Only one turns: the other drags it down, or is reversed." if len(typical.turning.fans) > 1 else ""),
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
