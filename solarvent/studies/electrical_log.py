"""What logged volts and amperes say of panels and fans: share of the plate, running points, start and stop voltage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from solarvent.base.errors import DomainError
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.panel_model import PLATE_FACTORS, as_promised, panel_parameters
from solarvent.electrical.start_light import start_and_run_down
from solarvent.plan.parts import Fan, Panel
from solarvent.plan.plan import Plan
from solarvent.studies.house_fit import NINETY
from solarvent.studies.log_span import LogSpan
from solarvent.weather.conditions import PanelLight, light_on_panels
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness

#: Below this light a sensor and a plate say little. [W/m2]
_BRIGHT = 150.0
#: Light under which a reading over the mean of its step says nothing [W/m2], and the most that it can be over it.
_FAINT, _MOST_OVER_MEAN = 20.0, 3.0
#: Under this share of the open-circuit voltage the current is that of the light. [-]
_FLAT = 0.75
#: How well a light on the level tells that on the panel's plane (our choice). [-]
_LIGHT_SPREAD = 0.05
#: Current of a turning fan over its plate's (fans stray by 20 %, old ones by more); a held rotor takes more. [-]
_TURNING = (0.5, 1.6)
_LEAST_READINGS = 12
#: How well one start or stop tells its voltage or light, between readings some minutes apart (our choice). [-]
_TURN_SPREAD = 0.08


@dataclass(frozen=True)
class PartFigure:
    """One figure of a panel or fan as logged.

    `value` is as it is to stand in the plan, `low` and `high` are the ends of its 90 % interval, NaN for running
    points; `count` are the readings, or the times that a fan started or stopped.
    """

    section: str
    part: str
    key: str
    value: object
    low: float
    high: float
    count: int


def part_figures(plan: Plan, span: LogSpan) -> tuple[list[PartFigure], list[str]]:
    """Work out what a log says of the parts of a plan: figures, and sentences on columns of no use."""
    if span.volts.empty:
        return [], []
    lights = light_on_panels(plan, span.weather.assign(opaque_cover=0.0), span.step, span.step).panels
    figures: list[PartFigure] = []
    notes: list[str] = []
    for panel in plan.record.panel:
        figures += _of_panel(panel, span, lights[panel.id], notes)
    # From which light on a fan starts hangs on the panel as it is.
    factors = {each.part: each.value for each in figures}
    panels = [
        one.model_copy(update={"plate_factor": factors.get(one.id, one.plate_factor)}) for one in plan.record.panel
    ]
    real = plan.with_records(panel=panels)
    for fan in plan.record.fan:
        figures += _of_fan(real, fan, span, lights, notes)
    return figures, notes


def _column(span: LogSpan, kind: str, part: str) -> np.ndarray | None:
    name = f"{kind}.{part}"
    return span.volts[name].to_numpy(dtype=float) if name in span.volts else None


def _at_log(span: LogSpan, values: np.ndarray) -> np.ndarray:
    """Lay a value of each step on the times of the log."""
    times = span.times.as_unit("s").asi8
    return np.interp(span.volts.index.as_unit("s").asi8, times, values)


def _light_at_log(span: LogSpan, irradiance: np.ndarray) -> np.ndarray:
    """Lay the light on the cells in each step on the times of the log, between which it goes as the light that was read
    there over that of the step. [W/m2]"""
    light = _at_log(span, irradiance)
    if span.sun is None or "sun" not in span.volts:
        return light
    mean, read = _at_log(span, np.nan_to_num(span.sun)), span.volts["sun"].to_numpy(dtype=float)
    share = np.divide(read, mean, out=np.ones(len(mean)), where=(mean > _FAINT) & np.isfinite(read))
    return light * share.clip(0.0, _MOST_OVER_MEAN)


def _of_panel(panel: Panel, span: LogSpan, light: PanelLight, notes: list[str]) -> Iterator[PartFigure]:
    """Share of its plate's current that a panel gives, where its light is known and its voltage low enough."""
    from pvlib.pvsystem import i_from_v, v_from_i

    volts, amperes = _column(span, "volts", panel.id), _column(span, "amperes", panel.id)
    if volts is None and amperes is None:
        return
    if volts is None or amperes is None:
        notes.append(f"{panel.id}: volts and amperes together say something of a panel, one of them does not.")
        return
    if span.light != "steps":
        notes.append(f"{panel.id}: without measured light its current says nothing of its plate.")
        return
    irradiance, temp = _light_at_log(span, light.effective_irradiance), _at_log(span, light.temp_cell)
    bright = np.flatnonzero((irradiance > _BRIGHT) & np.isfinite(volts) & np.isfinite(amperes) & (amperes > 0))
    parameters = panel_parameters(as_promised(panel), irradiance[bright], temp[bright])
    flat = volts[bright] < _FLAT * np.asarray(v_from_i(0.0, *parameters))
    chosen = bright[flat]
    if len(chosen) < _LEAST_READINGS:
        notes.append(f"{panel.id}: its voltage is too near the open circuit to tell its current, or the sun too weak.")
        return
    promised = np.asarray(i_from_v(volts[chosen], *(np.asarray(values)[flat] for values in parameters)))
    ratio = amperes[chosen] / promised
    factor = float(np.median(ratio))
    # Of normal errors the standard deviation is 1.4826 times the median of their sizes; outliers hardly move that.
    spread = 1.4826 * float(np.median(np.abs(ratio - factor)))
    # Light and dirt are off for hours together: one day counts as one reading.
    days = max(len(np.unique(span.volts.index[chosen].floor("D"))), 1)
    wide = NINETY * float(np.hypot(spread / np.sqrt(days), _LIGHT_SPREAD * factor))
    if not PLATE_FACTORS[0] <= factor <= PLATE_FACTORS[1]:
        notes.append(f"{panel.id}: {factor:.2f} times what its plate promises cannot be: check light, range and plate.")
        return
    yield PartFigure("panel", panel.id, "plate_factor", round(factor, 3), factor - wide, factor + wide, len(chosen))


def _of_fan(
    plan: Plan, fan: Fan, span: LogSpan, lights: dict[str, PanelLight], notes: list[str]
) -> Iterator[PartFigure]:
    """Running points of a fan, the voltage at which it stops, and that at which it starts."""
    volts, amperes = _column(span, "volts", fan.id), _column(span, "amperes", fan.id)
    if volts is None or amperes is None:
        if volts is not None:
            notes.append(f"{fan.id}: volts alone do not tell whether it turns; log its amperes too.")
        return
    known = np.isfinite(volts) & np.isfinite(amperes)
    plain = fan_electrical(fan.model_copy(update={"readings": []}))
    usual = np.asarray(plain.running_current(np.maximum(np.nan_to_num(volts), 0.1)))
    share = np.divide(amperes, usual, out=np.zeros(len(usual)), where=usual > 0)
    turns = known & (volts > 0.3 * fan.stop_voltage) & (share > _TURNING[0]) & (share < _TURNING[1])
    if turns.sum() < _LEAST_READINGS:
        notes.append(f"{fan.id}: in {int(turns.sum())} readings only it turns; its current says nothing.")
        return
    points = _points(volts[turns], amperes[turns])
    try:
        fan_electrical(fan.model_copy(update={"readings": points}))
        yield PartFigure("fan", fan.id, "readings", points, np.nan, np.nan, int(turns.sum()))
    except DomainError as error:
        notes.append(f"{fan.id}: {error.problems[0].what}")
    order = np.flatnonzero(known)
    before, after = order[:-1], order[1:]
    stops = before[turns[before] & ~turns[after]]
    began = ~turns[before] & turns[after]
    stops = stops[(stops > 0) & turns[stops - 1]]
    if len(stops):
        # It stopped somewhere on the way to the next reading, on which its voltage went on as before.
        lowest, low, high = _middle(volts[stops] - (volts[stops - 1] - volts[stops]) / 2)
        if 0 < lowest < fan.start_voltage:
            yield PartFigure("fan", fan.id, "stop_voltage", f"{lowest:.2f} V", low, high, len(stops))
    if began.any() and span.light == "steps":
        circuit = next(one for one in circuits(build_harness(plan), plan) if fan.id in one.fan_ids)
        feeding = [lights[panel].effective_irradiance for panel in circuit.panel_ids]
        mean = np.mean([_light_at_log(span, irradiance) for irradiance in feeding], axis=0)
        light, low, high = _middle((mean[before[began]] + mean[after[began]]) / 2)
        voltages = [_start_voltage(plan, fan, each) for each in (light, low, high)]
        if np.isfinite(voltages).all():
            yield PartFigure(
                "fan", fan.id, "start_voltage", f"{voltages[0]:.2f} V", voltages[1], voltages[2], int(began.sum())
            )
        else:
            notes.append(
                f"{fan.id}: it starts at {light:.0f} W/m2, which hangs on its panel more than on its start voltage."
            )


def _points(volts: np.ndarray, amperes: np.ndarray) -> list[list[float]]:
    """Running points at a low, a middle and a high voltage, each the middle of the readings around it."""
    # Thirds by number, so that each point rests on equally many readings.
    edges = np.quantile(volts, [0.0, 1 / 3, 2 / 3, 1.0])
    points: list[list[float]] = []
    for low, high in pairwise(edges):
        near = (volts >= low) & (volts <= high)
        point = [round(float(np.median(values[near])), 3) for values in (volts, amperes)]
        if not points or (point[0] > 1.05 * points[-1][0] and point[1] > points[-1][1]):
            points.append(point)
    return points


def _middle(values: np.ndarray) -> tuple[float, float, float]:
    """Median with the ends of its 90 % interval."""
    middle = float(np.median(values))
    # The median of normal readings strays by sqrt(pi / 2) times what their mean does.
    wide = NINETY * 1.2533 * 1.4826 * float(np.median(np.abs(values - middle))) / np.sqrt(len(values))
    wide = max(wide, _TURN_SPREAD * abs(middle) / np.sqrt(len(values)))
    return middle, middle - wide, middle + wide


def _start_voltage(plan: Plan, fan: Fan, light: float) -> float:
    """Start voltage with which a fan of a plan starts at a light on the cells; NaN if none does. [V]"""

    def starts_at(voltage: float) -> float:
        fans = [
            one.model_copy(update={"start_voltage": voltage}) if one.id == fan.id else one for one in plan.record.fan
        ]
        other = plan.with_records(fan=fans)
        return start_and_run_down(circuits(build_harness(other), other))[fan.id].start_irradiance

    low, high = fan.stop_voltage, fan.maximum_voltage
    if not starts_at(low) <= light:
        return float("nan")
    while high - low > 0.02:
        middle = (low + high) / 2
        # A fan that never starts needs more light than any.
        low, high = (middle, high) if starts_at(middle) <= light else (low, middle)
    return (low + high) / 2
