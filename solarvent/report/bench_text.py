"""Checklist, shopping list and expected readings: as text with boxes to tick, as Markdown, and as data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import isnan
from typing import Any

from solarvent.base.quantities import show
from solarvent.bench.metering import Expected, FanReading, Reading
from solarvent.bench.preparation import Bench, Item, Step
from solarvent.bench.steps import Checklist
from solarvent.plan.plan_record import PlanRecord
from solarvent.report.layout import (
    CAUTIONS,
    STOPS_EARLIER,
    Frame,
    bracket,
    heading,
    next_step,
    paragraph,
    paragraphs,
    table,
    titled,
)

_FIELDS = (("probe", "Meter"), ("expect", "Expect"), ("tolerance", "Allow"), ("otherwise", "If not"))


def render_checklist(answer: Checklist, frame: Frame) -> str:
    """Write both lists as text of at most 80 columns, to be printed on A4 or Letter."""
    blocks = [titled(answer.bench.plan.record.title, frame.note)]
    warned = paragraphs(CAUTIONS)
    if answer.stops:
        then = next_step(f"{frame.command('run')}   every finding, and what to do")
        return "\n\n".join([*blocks, paragraph(_NOT_SO), *_changes(answer), paragraph(_AGAIN), warned, then])
    blocks.append(paragraph(_basis(answer.bench)))
    blocks.append(warned)
    for title, items in _lists(answer.shopping):
        blocks.append(heading(title) + "\n" + "\n".join(_item_lines(items)))
    for phase, steps in answer.phases:
        lines = ["\n".join(_step_lines(number, step)) for number, step in steps]
        blocks.append(heading(phase) + "\n" + "\n".join(lines))
    readings = " ".join(f"--fan {fan.id}=..V/..A" for fan in answer.bench.plan.record.fan[:1])
    blocks.append(next_step(f"{frame.command(f'meter {readings}')}   what your readings mean"))
    return "\n\n".join(blocks)


#: Said of a plan with a stop, in front of what to change and behind it.
_NOT_SO = "Do not build it like this. Change this first:"
_AGAIN = "Then ask for the checklist again: the steps and the shopping list follow once nothing says stop."


def _changes(answer: Checklist) -> list[str]:
    return [paragraph(f"STOP  {text}", "      ", "") for text in answer.stops]


def _lists(items: Sequence[Item]) -> Iterator[tuple[str, list[Item]]]:
    """Part what is owned from what is to be bought; a list that is empty is left out."""
    for title, owned in (("What the plan says you have", True), ("Shopping list", False)):
        if chosen := [item for item in items if item.owned == owned]:
            yield title, chosen


def _basis(bench: Bench) -> str:
    return (
        f"Figures hold for {bench.irradiance:.0f} W/m2 on the cells (a clear noon gives 800 to 1000) and cells at"
        f" {show(bench.temp_cell, 'temperature', bench.system, 0)}. Amperes follow the light in proportion;"
        " open-circuit volts hardly change."
    )


def _item_lines(items: Sequence[Item]) -> Iterator[str]:
    for item in items:
        yield paragraph(f"[ ] {_amount(item):>5}  {item.item} ({item.why})", " " * 11, "")


def _amount(item: Item) -> str:
    return f"{item.count:g} {item.unit}".strip()


def _step_lines(number: int, step: Step) -> Iterator[str]:
    yield paragraph(f"[ ] {number:>2}  {step.do}", " " * 8, "")
    for key, label in _FIELDS:
        if text := getattr(step, key):
            yield paragraph(text, " " * 16, f"        {label + ':':<8}")


def markdown_checklist(answer: Checklist, note: str = "") -> str:
    """Write both lists as Markdown with task boxes."""
    lines = [f"# {_plain(answer.bench.plan.record.title[:200])}", ""]
    if note:
        lines += [_plain(note), ""]
    if answer.stops:
        changes = [f"- [ ] **STOP** {_plain(text)}" for text in answer.stops]
        return "\n".join([*lines, _NOT_SO, "", *changes, "", _AGAIN])
    lines += [_basis(answer.bench), "", *(f"> {text}\n>" for text in CAUTIONS[:-1]), f"> {CAUTIONS[-1]}", ""]
    for title, items in _lists(answer.shopping):
        lines += [f"## {title}", ""]
        lines += [f"- [ ] **{_amount(item)}** {_plain(item.item)} ({_plain(item.why)})" for item in items]
        lines.append("")
    lines = lines[:-1]
    for phase, steps in answer.phases:
        lines += ["", f"## {phase}", ""]
        for number, step in steps:
            lines.append(f"- [ ] **{number}.** {_plain(step.do)}")
            for key, label in _FIELDS:
                if text := getattr(step, key):
                    lines.append(f"  - {label}: {_plain(text)}")
    return "\n".join(lines)


def _plain(text: str) -> str:
    """Keep Markdown from reading a plan's own words as marks."""
    for mark in ("\\", "*", "_", "`", "<", "[", "#"):
        text = text.replace(mark, "\\" + mark)
    return " ".join(text.split())


def checklist_data(answer: Checklist) -> dict[str, Any]:
    """Give both lists as plain data, schema ``solarvent.checklist/1``."""
    return {
        "schema": "solarvent.checklist/1",
        "title": answer.bench.plan.record.title,
        "irradiance": answer.bench.irradiance,
        "temp_cell": answer.bench.temp_cell,
        "stops": answer.stops,
        "steps": [{key: value for key, value in vars(step).items() if key != "joins"} for step in answer.steps],
        "shopping": [
            {"item": item.item, "count": item.count, "unit": item.unit, "why": item.why, "owned": item.owned}
            for item in answer.shopping
        ],
    }


def render_expected(
    title: str, irradiance: float, temp_cell: float, bands: Mapping[str, Sequence[Expected]], frame: Frame
) -> str:
    """Write the expected readings of all circuits.

    They hold for an irradiance [W/m2] and a cell temperature [degC]. The bands are ``"typical"``, ``"low"`` and
    ``"high"``, with one entry a circuit.
    """
    blocks = [titled(title, frame.note)]
    blocks.append(
        paragraph(
            f"In {irradiance:g} W/m2 on the cells, cells at {show(temp_cell, 'temperature', frame.system, 0)}. First"
            " the reading to expect; in brackets a weak panel with stiff fans .. both at their best. Rotors held: no"
            " blade turns, and all fans try to start at once."
        )
    )
    for typical, low, high in zip(bands["typical"], bands["low"], bands["high"], strict=True):
        blocks.append(heading(f"Circuit of {', '.join(typical.panels)}") + "\n" + _circuit(typical, low, high))
        blocks.append("\n".join(_thresholds(typical, irradiance)))
    blocks.append(paragraphs(CAUTIONS))
    open_circuit = "--panel-open ..V --panel-short ..A"
    blocks.append(next_step(f"{frame.command(f'meter {open_circuit}')}   what your readings mean"))
    return "\n\n".join(blocks)


def socket_note(record: PlanRecord) -> str:
    """Say where a panel with a regulator in its own box can be metered; empty if there is none."""
    sockets = [part for part in record.converter if part.built_in]
    return " ".join(
        f"{part.id} sits in the panel's own box: there a meter reads {part.output_voltage:g} V with nothing joined, and"
        " the cells behind it, of which the first rows speak, cannot be reached."
        for part in sockets
    )


def _circuit(typical: Expected, low: Expected, high: Expected) -> str:
    """Tabulate one circuit: where the probes go, volts and amperes."""
    rows = [
        ("panel, nothing joined", _band(1, typical.open_circuit, low.open_circuit, high.open_circuit), "0"),
        ("panel shorted by the meter", "0", _band(2, typical.short_circuit, low.short_circuit, high.short_circuit)),
    ]
    if typical.battery is not None and low.battery is not None and high.battery is not None:
        rows.append(("battery, at its poles", _band(1, typical.battery, low.battery, high.battery), "-"))
    for words, state in (("rotors held", "standing"), ("fans turning", "turning")):
        readings: list[Reading] = [getattr(expected, state) for expected in (typical, low, high)]
        rows.append((f"{words}: panel", *_pair(readings, "panel_voltage", "panel_current")))
        for number, fan in enumerate(typical.standing.fans):
            each: list[FanReading] = [reading.fans[number] for reading in readings]
            rows.append((f"{words}: {fan.id}", *_pair(each, "voltage", "current")))
    return table(rows, ("probes at", "volts [V]", "amperes [A]"))


def _pair(readings: Sequence[Any], voltage: str, current: str) -> tuple[str, str]:
    volts, amps = ([getattr(reading, name) for reading in readings] for name in (voltage, current))
    return _band(1, *volts), _band(2, *amps)


def _band(decimals: int, typical: float, low: float, high: float) -> str:
    low, high = bracket(typical, low, high)
    return f"{typical:.{decimals}f} ({low:.{decimals}f} .. {high:.{decimals}f})"


def _thresholds(expected: Expected, irradiance: float) -> Iterator[str]:
    """Say what each fan does in rising and falling light, and in this light."""
    if expected.battery is not None:
        yield paragraph(
            "The fans run from the battery, sun or not. Its volts are those of three quarters full; in brackets at the"
            " cut-off and while the last of it is charged."
        )
    for name, limits in expected.thresholds.items():
        start, stop = limits.start_irradiance, limits.run_down_irradiance
        if isnan(start):
            source = "on this battery" if expected.battery is not None else "by itself in any sun"
            yield paragraph(f"{name}: never starts {source}.", "  ", "")
            continue
        if expected.battery is not None:
            yield paragraph(f"{name}: starts whenever it is switched on.", "  ", "")
            continue
        now = "turns" if irradiance >= start else "turns only if it did already" if irradiance >= stop else "stands"
        yield paragraph(
            f"{name}: starts at {start:.0f} W/m2, stops at {stop:.0f} W/m2; in this light it {now}.", "  ", ""
        )
    if any(one.start_irradiance < one.run_down_irradiance for one in expected.thresholds.values()):
        yield paragraph(STOPS_EARLIER)


def expected_data(title: str, irradiance: float, temp_cell: float, circuits: Sequence[Expected]) -> dict[str, Any]:
    """Give the typical readings as plain data, schema ``solarvent.meter/1``, in SI units.

    With several circuits the top level speaks of the first, and ``circuits`` of all of them.
    """
    each = [_circuit_data(expected) for expected in circuits]
    return {
        "schema": "solarvent.meter/1",
        "title": title,
        "irradiance": irradiance,
        "temp_cell": temp_cell,
        **each[0],
        "circuits": each,
    }


def _circuit_data(expected: Expected) -> dict[str, Any]:
    """Give one circuit; its start is that of the first fan to turn, its run-down that of the last."""
    limits = expected.thresholds
    return {
        "panels": list(expected.panels),
        **({} if expected.battery is None else {"battery_voltage": expected.battery}),
        "open_circuit": {"voltage": expected.open_circuit},
        "short_circuit": {"current": expected.short_circuit},
        "standing": _reading_data(expected.standing),
        "turning": _reading_data(expected.turning),
        "start_irradiance": _least([limit.start_irradiance for limit in limits.values()]),
        "run_down_irradiance": _least([limit.run_down_irradiance for limit in limits.values()]),
        "fans": [
            {"id": name, "start_irradiance": limit.start_irradiance, "run_down_irradiance": limit.run_down_irradiance}
            for name, limit in limits.items()
        ],
    }


def _least(values: Sequence[float]) -> float:
    """Take the least of those that happen; NaN if none does."""
    return min((value for value in values if not isnan(value)), default=float("nan"))


def _reading_data(reading: Reading) -> dict[str, Any]:
    return {
        "panel_voltage": reading.panel_voltage,
        "panel_current": reading.panel_current,
        "fans": [{"id": fan.id, "voltage": fan.voltage, "current": fan.current} for fan in reading.fans],
    }
