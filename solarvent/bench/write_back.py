"""Measured values for a plan: what the panel really gives, and on which points a fan really runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solarvent.base.errors import DomainError, PlanError, Problem
from solarvent.bench.diagnosis import Diagnosis
from solarvent.bench.evidence import KnownLight
from solarvent.bench.metering import Readings
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.panel_model import PLATE_FACTORS, as_promised, panel_parameters
from solarvent.plan.edit import set_key
from solarvent.plan.parts import Fan, Panel
from solarvent.plan.plan import Plan

#: Explanations of the readings under which a fan turns.
_TURNS = ("normal", "slow", "over-volted", "weak-panel", "resistance")
_SAME_POINT = 0.03


@dataclass(frozen=True)
class Measured:
    """One value to be written into a plan, as it is to stand in the file; `before` is empty if nothing stood there."""

    section: str
    part: str
    key: str
    value: str
    before: str = ""


def measured_values(
    plan: Plan, taken: Readings, light: KnownLight, diagnoses: Sequence[Diagnosis]
) -> tuple[list[Measured], list[str]]:
    """Work out what readings say about the parts of a plan: values, and sentences on readings of no use.

    A panel's current says something only if the light was measured; a fan that stands has no running point.

    Raises
    ------
    PlanError
        If a panel's short-circuit current is given and its light was not measured, or the result is impossible.
    """
    values, left_out, problems = [], [], []
    for panel in plan.record.panel:
        current = taken.panel_short.get(panel.id)
        if current is None:
            continue
        if not light.measured or light.irradiance is None:
            what = "the light at the reading is not known, so the current says nothing about the plate"
            problems.append(Problem(f'panel "{panel.id}"', what, "add --irradiance, measured on the panel's plane"))
            continue
        factor = current / _plate_current(panel, light)
        least, most = PLATE_FACTORS
        if not least <= factor <= most:
            what = f"{current:g} A would be {factor:.2f} times what its plate gives in {light.irradiance:g} W/m2"
            write = f"between {least:g} and {most:g} can be; check the light, the range and the plate"
            problems.append(Problem(f'panel "{panel.id}"', what, write))
            continue
        before = "" if panel.plate_factor is None else f"{panel.plate_factor:g}"
        values.append(Measured("panel", panel.id, "plate_factor", f"{factor:.3f}", before))
    turning = {name for diagnosis in diagnoses for name in _turning(diagnosis, taken)}
    for fan in plan.record.fan:
        pair = taken.fans.get(fan.id)
        if pair is None:
            continue
        if pair.voltage is None or pair.current is None:
            left_out.append(f"{fan.id}: a running point needs volts and amperes")
        elif fan.id not in turning:
            left_out.append(f"{fan.id}: by these readings it is not sure that it turns freely")
        elif any(abs(volts / pair.voltage - 1) < _SAME_POINT for volts, _ in fan.readings):
            left_out.append(
                f"{fan.id}: the plan holds a reading at {pair.voltage:g} V already; take that one out first"
            )
        else:
            points = sorted([*fan.readings, [pair.voltage, pair.current]])
            try:
                fan_electrical(fan.model_copy(update={"readings": points}))
            except DomainError as error:
                left_out.append(f"{fan.id}: {error.problems[0].what}")
                continue
            values.append(Measured("fan", fan.id, "readings", _points(points), _before(fan)))
    if problems:
        raise PlanError(problems)
    return values, left_out


def written(text: str, values: Sequence[Measured]) -> str:
    """Put measured values into the text of a plan, everything else as it was."""
    for value in values:
        text = set_key(text, value.section, value.part, value.key, value.value)
    return text


def _plate_current(panel: Panel, light: KnownLight) -> float:
    """Short-circuit current that the plate promises in this light. [A]"""
    from pvlib.pvsystem import i_from_v

    temp_cell = 25.0 if light.temp_cell is None else light.temp_cell
    return float(i_from_v(0.0, *panel_parameters(as_promised(panel), np.array(light.irradiance), np.array(temp_cell))))


def _turning(diagnosis: Diagnosis, taken: Readings) -> set[str]:
    """The fans of a circuit that turn by the readings."""
    leader = diagnosis.ranking[0]
    if leader.fault not in _TURNS:
        return set()
    read = {part for kind, part in diagnosis.readings if kind == "current"}
    said = {name for name, pair in taken.fans.items() if pair.seen == "turns"}
    still = {name for name, pair in taken.fans.items() if pair.seen in ("stands", "pulses")}
    if leader.fault in ("weak-panel", "resistance"):
        return read & said
    return read - still


def _points(points: Sequence[Sequence[float]]) -> str:
    return "[" + ", ".join(f"[{volts:g}, {amps:g}]" for volts, amps in points) + "]"


def _before(fan: Fan) -> str:
    return _points(fan.readings) if fan.readings else ""
