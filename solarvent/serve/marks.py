"""The bench on the page: places for the meter, the readings typed at them, and the steps with their ticks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256

from solarvent.base.errors import PlanError
from solarvent.bench.evidence import KnownLight
from solarvent.bench.metering import SEEN, Readings, parse_readings
from solarvent.bench.preparation import Step
from solarvent.bench.steps import Checklist
from solarvent.plan.plan import Plan

#: Option of the command line -> the fields of the page that say the same.
_FIELDS = {
    "--panel-open": "volts, nothing joined",
    "--panel-short": "amperes through the meter alone",
    "--panel-joined": "volts, everything joined",
    "--fan": "volts and amperes of a fan",
}
#: Of the light that a person may have measured. [W/m2]
_MOST_LIGHT = 1400.0


@dataclass(frozen=True)
class Mark:
    """A place for the meter: its letter in the wiring picture, what to expect, and the fields for what was read."""

    letter: str
    part: str
    words: str
    fields: tuple[tuple[str, str], ...]


def marks_of(steps: Checklist) -> list[Mark]:
    """List the marks of the wiring picture in their order, each with its fields: names and labels."""
    rows = steps.wiring
    found = []
    for number, row in enumerate(rows):
        if not row.probe:
            continue
        if row.kind == "panel":
            fields = (
                (f"read.open.{row.title}", "volts, nothing joined"),
                (f"read.short.{row.title}", "amperes through the meter alone"),
                (f"read.joined.{row.title}", "volts, everything joined"),
            )
            found.append(Mark(row.probe, row.title, row.probe_words, fields))
            continue
        fan = next((below.title for below in rows[number:] if below.kind == "fan"), "")
        fields = ((f"read.volts.{fan}", "volts"), (f"read.amperes.{fan}", "amperes"), (f"read.seen.{fan}", "the fan"))
        found.append(Mark(row.probe, fan, row.probe_words, fields))
    return found


def readings_of(plan: Plan, typed: Mapping[str, str]) -> Readings:
    """Read what was typed at the marks, as the command line would; PlanError with everything that cannot be read."""
    by_kind: dict[str, dict[str, str]] = {}
    for name, value in typed.items():
        _, _, place = name.partition("read.")
        kind, _, part = place.partition(".")
        if value.strip():
            by_kind.setdefault(kind, {})[part] = value.strip()
    fans: dict[str, list[str]] = {}
    for kind, unit in (("volts", "V"), ("amperes", "A"), ("seen", "")):
        for part, value in by_kind.get(kind, {}).items():
            fans.setdefault(part, []).append(value if kind == "seen" else _with_unit(value, unit))
    unknown = [value for value in by_kind.get("seen", {}).values() if value not in SEEN]
    if unknown:
        raise PlanError.single(
            "", f'"{unknown[0][:40]}" is nothing that a fan is seen to do', f"one of {', '.join(SEEN)}"
        )
    try:
        return parse_readings(
            [panel.id for panel in plan.record.panel],
            [fan.id for fan in plan.record.fan],
            panel_open=_named(by_kind.get("open", {}), "V"),
            panel_short=_named(by_kind.get("short", {}), "A"),
            panel_joined=_named(by_kind.get("joined", {}), "V"),
            fan=[f"{part}={'/'.join(values)}" for part, values in fans.items()],
        )
    except PlanError as error:
        raise PlanError(replace(one, where=_FIELDS.get(one.where, one.where)) for one in error.problems) from None


def _named(values: Mapping[str, str], unit: str) -> list[str]:
    return [f"{part}={_with_unit(value, unit)}" for part, value in values.items()]


def _with_unit(value: str, unit: str) -> str:
    """A bare number is in the unit that the field names."""
    return value if value[-1:].isalpha() else f"{value} {unit}"


def light_of(typed: str) -> KnownLight:
    """Read the light that was measured; empty if nobody did. [W/m2]"""
    if not typed.strip():
        return KnownLight()
    try:
        light = float(typed.split("W")[0])
    except ValueError:
        light = -1.0
    if not 1.0 <= light <= _MOST_LIGHT:
        what = f'"{typed[:40]}" is no light on the cells'
        raise PlanError.single("", what, f"a number from 1 to {_MOST_LIGHT:g} W/m2, or leave it empty")
    return KnownLight(light, True)


def tick_of(step: Step) -> str:
    """Name a step by its words, so that its tick stays with it when others come or go."""
    return sha256(f"{step.phase}|{step.do}".encode()).hexdigest()[:12]
