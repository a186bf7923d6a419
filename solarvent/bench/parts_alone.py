"""Steps before the sun is let in: labels, fans on a battery, leads by ohms, and each panel alone."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from solarvent.base.findings import called, listed
from solarvent.base.quantities import show
from solarvent.bench.preparation import (
    METER,
    USB_METER,
    Bench,
    Step,
    alike,
    ampere_setting,
    far_end,
    panel_alone,
    part_resistance,
    probe_at,
    volt_setting,
)
from solarvent.electrical.battery import law_of
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.panel_model import HIGH, LOW, TYPICAL
from solarvent.plan.house_records import Battery
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter

#: Sources at hand that cannot hurt a fan whose limit they keep. [V]
_SOURCES = (
    (5.0, "a USB port, 5 V"),
    (9.0, "a 9 V battery"),
    (12.0, "a 12 V battery"),
    (18.0, "two 9 V batteries in a row, 18 V"),
    (24.0, "two 12 V batteries in a row, 24 V"),
)


def labels(bench: Bench) -> Iterator[Step]:
    """Compare labels with the plan, before anything is unpacked that one may want to send back."""
    record = bench.plan.record
    for names, panel in alike(record.panel):
        assert isinstance(panel, Panel)
        if bench.built_in(panel) is not None:
            expect, tolerance = f"{panel.watts:g} W" if panel.watts else "5 V", "half of the printed watts is usual"
            otherwise = "The amperes of its label are those of the cells, or of the socket: do not lean on them."
        elif None in (panel.v_oc, panel.i_sc, panel.v_mp, panel.i_mp):
            expect, tolerance = f"{panel.watts:g} W" if panel.watts else "the five figures of its data sheet", ""
            otherwise = "Write Voc, Isc, Vmp and Imp of the label into the plan: they say far more than watts."
        else:
            expect = f"Voc {panel.v_oc:g} V, Isc {panel.i_sc:g} A, Vmp {panel.v_mp:g} V, Imp {panel.i_mp:g} A"
            tolerance = f"watts within 5 % of Vmp x Imp, {panel.v_mp * panel.i_mp:.0f} W"  # type: ignore[operator]
            otherwise = (
                "Other figures: put them into the plan and run it again. Watts far above: the plate promises too much."
            )
        yield Step(f"Read the label of {called('panel', names)}.", "", expect, tolerance, otherwise)
    for names, fan in alike(record.fan):
        assert isinstance(fan, Fan)
        yield Step(
            f"Read the label of {called('fan', names)}, and look for the arrow.",
            "",
            f"{fan.rated_voltage:g} V, {fan.rated_current:g} A, stands {fan.maximum_voltage:g} V,"
            f" {fan.ip_code or 'and its IP code (IP54 or better in moisture and dust)'}",
            f"current within {100 * fan.tolerance:.0f} %",
            "Other figures: put them into the plan and run it again. On a large panel a 12 V fan may get too much.",
        )
    if (battery := record.storage) is not None:
        yield Step(
            "Read the label of the battery.",
            "",
            f"{battery.kind}, {battery.voltage:g} V, {(battery.capacity or 0.0) / battery.voltage:.3g} Ah",
            "",
            "Other figures: put them into the plan and run it again. Another kind wants another setting of the"
            " controller.",
        )
    gauges: dict[str, list[str]] = {}
    for name, part in bench.harness.parts.items():
        if isinstance(part, Lead | Splitter) and part.length > 0:
            gauges.setdefault(part.wire, []).append(name)
    for gauge, leads in gauges.items():
        yield Step(
            f"Read the print on the jacket: {', '.join(leads)}.",
            "",
            f"{gauge} copper",
            "thicker is fine",
            "Thinner, or no print at all: expect more loss, and trust only the voltage test in the first sun.",
        )


def on_the_bench(bench: Bench) -> Iterator[Step]:
    """Try fans and leads one by one, out of the sun."""
    record = bench.plan.record
    for panel in record.panel:
        yield Step(
            f"Lay {bench.called(panel)} face down on cardboard. It makes voltage in any daylight.",
            probe_at(bench.plan, (bench.built_in(panel) or panel).outlet, volt_setting(2.0)),
            "nearly 0 V",
            "below 2 V",
            "More: light gets in. Keep it covered until a step says otherwise.",
        )
    if record.storage is not None:
        yield from _battery_alone(record.storage)
    for names, fan in alike(record.fan):
        assert isinstance(fan, Fan)
        yield _fan_on_battery(names, fan, bench.is_usb(fan.inlet))
    groups: dict[tuple[str, float, float], list[str]] = {}
    for name, part in bench.harness.parts.items():
        ohms = part_resistance(bench.plan, part)
        if ohms > 0 and isinstance(part, Lead | Splitter) and not bench.is_usb(far_end(part)):
            groups.setdefault((type(part).__name__, part.length, round(ohms, 3)), []).append(name)
    for (_, length, ohms), same in groups.items():
        part = bench.harness.parts[same[0]]
        assert isinstance(part, Lead | Splitter)
        legs = "trunk and one branch together" if isinstance(part, Splitter) else "both conductors together"
        yield Step(
            f"Short the far end of {listed(same)} ({show(length, 'length', bench.system)}, {part.wire}) with a clip"
            f" and measure {'each' if len(same) > 1 else 'it'}: {legs}. Take off what the probes alone show.",
            "ohms, lowest range; one probe on each contact",
            f"{ohms:.2f} ohm",
            f"up to {1.3 * ohms + 0.2:.1f} ohm; cheap meters see steps of 0.1 to 0.3 ohm",
            "More: thin wire, a bad crimp or splice. Open: a broken conductor. While it is shorted, tell which contact"
            " goes where, and tag it.",
        )


def _battery_alone(battery: Battery) -> Iterator[Step]:
    """Meter the battery at rest, and set the controller to its kind."""
    law = law_of(battery)
    half, full = (float(volts) for volts in law.open_circuit([0.5, 1.0]))
    yield Step(
        "Stand the battery where it will be, poles up, nothing metal on it, rings and watch off. Meter at its poles.",
        f"{volt_setting(1.1 * law.absorption)}; red on +, black on -",
        f"{half:.1f} V half full, {full:.1f} V full, hours after it was charged",
        f"{half:.1f} V at the least",
        "Less: charge it before you go on. A lead battery that stood empty for weeks is spent.",
    )
    yield Step(
        f"Set the charge controller to {'LiFePO4' if battery.kind == 'lithium' else 'lead-acid'}, before anything is"
        " joined to it.",
        "",
        f"it charges to {law.absorption:.1f} V, holds {law.float_voltage:.1f} V, takes the fans off at"
        f" {law.cut_off:.1f} V",
        "0.2 V",
        "It cannot be set so: write its own volts into the plan (charging_voltage, cut_off_voltage) and run it again.",
    )


def _fan_on_battery(names: list[str], fan: Fan, usb: bool) -> Step:
    """Turn a fan on a source that cannot hurt it; `usb` is whether it ends in a USB plug."""
    volts, source = next(
        ((volts, source) for volts, source in _SOURCES if fan.start_voltage * 1.1 < volts <= fan.maximum_voltage),
        (fan.rated_voltage, f"a source of {fan.rated_voltage:g} V"),
    )
    amps = float(fan_electrical(fan).running_current(np.array(volts)))
    if fan.motor == "brushed":
        otherwise = "It blows the wrong way: its poles are swapped. It hums and stands: take it off at once."
    elif fan.reverse_protected:
        otherwise = "Nothing turns and no current flows: poles swapped, no harm done. Weak or rough: send it back."
    else:
        otherwise = (
            "Start with the poles right: a reversed fan without protection may die at once. Nothing turns: take it off,"
            " check the poles, try once more, then send it back."
        )
    spread = fan.tolerance + METER
    # As scrap fans of computers have it: speed signal and control.
    more = (
        "" if fan.motor == "brushed" or fan.inlet is not None else "; a third or fourth wire stays free, its end taped"
    )
    wires, in_line = f" Red wire to +{more}.", f"{ampere_setting(amps)}; meter in line with the red wire"
    if usb:
        wires, in_line = "", USB_METER
        otherwise = "Nothing turns: try another port, then send it back."
    return Step(
        f"Turn each fan on {source}: {', '.join(names)}.{wires} Hold a tissue to it and mark the side where it blows"
        " out.",
        in_line,
        f"it starts by itself and takes {amps:.2f} A",
        f"{amps * (1 - spread):.2f} to {amps * (1 + spread):.2f} A",
        otherwise,
    )


def panels_alone(bench: Bench) -> Iterator[Step]:
    """Read each panel with nothing joined: the only place where voltage and current are known beforehand."""
    light, warm = bench.irradiance, bench.temp_cell
    for panel in bench.plan.record.panel:
        if (regulator := bench.built_in(panel)) is not None:
            yield _at_the_socket(bench, panel, regulator)
            continue
        volts, amps = panel_alone(bench.plan, panel, light, warm, TYPICAL)
        # Nobody measures the cells: they may be 15 K cooler or warmer than in still air (common practice, no source).
        least = panel_alone(bench.plan, panel, light, warm + 15, LOW)
        most = panel_alone(bench.plan, panel, light, warm - 15, HIGH)
        yield Step(
            f"Lay {bench.called(panel)} in the sun, square to it, nothing joined. Meter the voltage.",
            probe_at(bench.plan, panel.outlet, volt_setting(most[0])),
            f"{volts:.1f} V, without a minus sign",
            f"{(1 - METER) * least[0]:.1f} V (hot) to {(1 + METER) * most[0]:.1f} V (cool)",
            "A minus sign: + is on the other contact; tag it so. Much lower: a shadow, a broken string of cells, or a"
            " panel of another kind. High volts alone prove nothing: they come with the first light.",
        )
        # A clear noon gives a tenth more or less than is taken for it (common practice, no source).
        low, high = 0.9 * (1 - METER) * least[1], 1.1 * (1 + METER) * most[1]
        yield Step(
            f"Short {bench.called(panel)} through the meter for a few seconds. A panel bears it; a battery does not.",
            f"{ampere_setting(high)} (and afterwards back in the volts socket); one probe on each contact",
            f"{amps:.2f} A in a clear noon sun ({light:.0f} W/m2)",
            f"{low:.2f} to {high:.2f} A; thin cloud about half, grey sky 0.1 to 0.3 of it",
            f"Below {0.6 * amps:.2f} A in clear sun: shadow, dirt, or a plate that promises too much. With the light"
            f" measured, solarvent meter --panel-short ... --write puts it into the plan.",
        )


def _at_the_socket(bench: Bench, panel: Panel, regulator: Converter) -> Step:
    """Meter a panel behind the regulator in its own box; its cells cannot be reached."""
    volts = regulator.output_voltage
    return Step(
        f"Lay {bench.called(panel)} in the sun, square to it, nothing joined. Meter the voltage at its socket.",
        probe_at(bench.plan, regulator.outlet, volt_setting(1.1 * volts)),
        f"{volts:.1f} V, without a minus sign",
        f"{0.95 * volts:.2f} to {1.05 * volts:.2f} V",
        "More: it is not regulated, and may hurt a fan. Nothing: too little sun, or it has to be plugged in"
        " anew. Do not short it through the meter: the amperes say nothing about the cells.",
    )
