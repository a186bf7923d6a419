"""Very many designs through every hour of a year: what each does in a line of figures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields

import numpy as np

from solarvent.air.ventilation import fan_speed
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.panel_model import single_diode
from solarvent.plan.plan import Plan
from solarvent.studies.size_designs import REFERENCE_WATTS, Design, plan_of, sized_panel
from solarvent.studies.size_grid import Load, course, in_line
from solarvent.studies.size_light import OPEN_CIRCUIT
from solarvent.studies.size_points import Light
from solarvent.studies.size_target import USUAL_SPEED
from solarvent.weather.conditions import Conditions, conditions
from solarvent.weather.span import hours_of_need
from solarvent.wiring.harness import build_harness
from solarvent.wiring.network import circuits

HOUR = 3600.0


@dataclass(frozen=True, eq=False)
class Sweep:
    """What every design does over the weather year, one value a design.

    Attributes
    ----------
    hours_running, hours_all : array (designs,)
        In which a fan turns, and in which all of them do. [h]
    hours_at_speed : array (designs,)
        Of need, in which all fans give two thirds of their rated air. [h]
    voltage : array (designs,)
        At the first fan that turns, averaged over the time in which it does. [V]
    voltage_max : array (designs,)
        Highest in any hour. [V]
    first_start, last_stop : array (designs,)
        Medians over the days of the months of need on which a fan turns, by the clock; NaN if there is none. [h]
    """

    hours_running: np.ndarray
    hours_all: np.ndarray
    hours_at_speed: np.ndarray
    voltage: np.ndarray
    voltage_max: np.ndarray
    first_start: np.ndarray
    last_stop: np.ndarray


def sweep(
    plan: Plan,
    tried: Sequence[Design],
    speed: float = USUAL_SPEED,
    progress: Callable[[Iterable[Design]], Iterable[Design]] = iter,
    known: dict[tuple[float, float], Conditions] | None = None,
) -> Sweep:
    """Carry designs through the weather year.

    Parameters
    ----------
    plan : Plan
        Place, weather, hours of need, and the panel whose curve is scaled.
    tried : sequence of Design
        From :func:`solarvent.studies.size_designs.designs`.
    speed : float
        Share of the rated air that counts as enough. [-]
    progress : callable
        Wraps the designs, to show a bar.
    known : dict, optional
        Light by tilt and azimuth, if it has been worked out already.

    Returns
    -------
    Sweep
        As :func:`solarvent.simulation.simulate.simulate` gives it for each design alone, voltages to 0.05 V.
    """
    places: dict[tuple[float, float], _Year] = {}
    loads: dict[object, Load] = {}
    rows = []
    for design in progress(tried):
        place = (design.tilt, design.azimuth)
        if place not in places:
            places[place] = _Year(plan, design, (known or {}).get(place))
        key = (design.fans, id(design.fan), design.converter_part, design.wire)
        if key not in loads:
            loads[key] = _load(plan_of(design, plan), places[place].open_circuit)
        rows.append(places[place].figures(loads[key], design, speed))
    return Sweep(*np.array(rows, dtype=float).reshape(-1, len(fields(Sweep))).T)


def _load(planned: Plan, highest: float) -> Load:
    """The load of some designs, for panels of any size."""
    (circuit,) = circuits(build_harness(planned), planned)
    branch = in_line(circuit.source, circuit.load)
    assert branch is not None  # one panel, whatever lies in line with it
    return Load(branch, {fan.id: fan_electrical(fan) for fan in planned.record.fan}, highest)


class _Year:
    """Every lit moment of the year on a panel of one tilt and azimuth, and the dark one after each."""

    def __init__(self, plan: Plan, design: Design, known: Conditions | None) -> None:
        planned = plan_of(design, plan)
        panel = planned.record.panel[0]
        sun = known or conditions(planned)
        sky_states = sun.sky_states
        (light,) = sun.panel_states.values()
        irradiance = light.by_section.min(axis=0)[sky_states.order]
        lit = irradiance > 0
        at = np.flatnonzero(lit | np.concatenate([[True], lit[:-1]]))
        reference = single_diode(sized_panel(panel, REFERENCE_WATTS))
        self.light = Light(reference, irradiance[at], light.temp_cell[sky_states.order[at]])
        self.open_circuit = OPEN_CIRCUIT * (panel.v_oc or reference.a_ref * 25.0)
        step = sky_states.step_of_substep[at]
        hours = sun.step / HOUR
        self.weight = sky_states.moment_weight[at] * hours
        self.need = self.weight * hours_of_need(planned, sun.times)[step]
        clock = np.asarray(sun.times.hour + sun.times.minute / 60.0)[step]
        wanted = np.isin(np.asarray(sun.times.month)[step], planned.record.months_of_need)
        day = np.asarray(sun.times.day_of_year)[step]
        self.clock, self.length = clock, hours
        self.first = np.flatnonzero(np.diff(day, prepend=-1) != 0)
        self.wanted_days = wanted[self.first]

    def figures(self, load: Load, design: Design, speed: float) -> tuple[float, ...]:
        """One line of the sweep."""
        done = course(load, self.light, design.panel_watts / REFERENCE_WATTS)
        turning, voltage = done.turning[0], done.voltage[0]
        some, every = turning > 0, turning == design.fans
        running = float(self.weight[some].sum())
        fast = every & (fan_speed(design.fan, voltage) >= speed)
        start = np.minimum.reduceat(np.where(some, self.clock, np.inf), self.first)
        stop = np.maximum.reduceat(np.where(some, self.clock + self.length, -np.inf), self.first)
        known = self.wanted_days & np.isfinite(start)
        return (
            running,
            float(self.weight[every].sum()),
            float(self.need[fast].sum()),
            float((self.weight * voltage).sum()) / running if running else float("nan"),
            float(voltage.max(initial=0.0)),
            float(np.median(start[known])) if known.any() else float("nan"),
            float(np.median(stop[known])) if known.any() else float("nan"),
        )
