"""What the fans of designs do that differ in their panels only: in the light of their place, or on a battery."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.air.network import FanState
from solarvent.electrical.battery_circuit import BatteryCourse, operate_on_battery
from solarvent.electrical.branches import load_side
from solarvent.electrical.circuit_parts import circuit_fans
from solarvent.electrical.panel_model import panel_parameters
from solarvent.electrical.running_states import RunningStates
from solarvent.electrical.source_side import SourceSide
from solarvent.house.house_run import house_under, model_under, solve_switch
from solarvent.plan.plan import Plan
from solarvent.simulation.worst_case import WorstCase
from solarvent.studies.sky_day import STEP, mean_course, sky_conditions
from solarvent.weather import sky
from solarvent.weather.conditions import Conditions, conditions, outside_air
from solarvent.weather.span import hours_of_need, hours_switched_on
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness

if TYPE_CHECKING:
    import pandas as pd


SKIES = {"clear": 0, "5 oktas": 5, "7 oktas": 7, "overcast": 8}


@dataclass(frozen=True, eq=False)
class SkyDay:
    """The mean day of a month under a named sky, and where its moments stand among all."""

    month: int
    sky: str
    clock: np.ndarray
    at: slice
    sun: Conditions


@dataclass(frozen=True, eq=False)
class StoredMoments:
    """When the fans of a battery are switched on, at all moments of a place, shape (moments,).

    `hours` is the length of each [h]; at those in `full` a span begins, with a full battery.
    """

    wanted: np.ndarray
    hours: np.ndarray
    full: np.ndarray

    def part(self, at: slice) -> StoredMoments:
        """Those of one span."""
        return StoredMoments(self.wanted[at], self.hours[at], np.zeros(1, dtype=np.intp))


class PlaceLight:
    """Light on the panels of a plan: the months of need of the year, then every named sky.

    `panels` holds by panel the light [W/m2] on its cells, or on each of its sections that are not lit alike, and their
    temperature [degC], at all moments, one after the other; the first `year_substeps` of these `substeps` are those of
    the year. `kept` are the moments of the year in the months of need; with a thermostat in the month before one of
    them too, for the house remembers; `weight` is the share of its step that each takes [-]. `need` are the steps that
    are hours of need, `days` the skies of every month of need that the weather has; with a thermostat of the month that
    is shown. `stored` is when a battery has to feed the fans. `year` is the light of the weather, if it is known.
    """

    def __init__(
        self,
        planned: Plan,
        weather: pd.DataFrame,
        shown: int,
        skies: Mapping[str, int] = MappingProxyType(SKIES),
        year: Conditions | None = None,
    ) -> None:
        months = planned.record.months_of_need
        self.year = conditions(planned, year=weather) if year is None else year
        of_moment = np.asarray(self.year.times.month)[self.year.sky_states.step_of_substep]
        wanted, days = set(months), months
        if planned.record.thermostat is not None:
            wanted |= {(month - 2) % 12 + 1 for month in months}
            days = [shown] if shown in months else months[:1]
        self.kept = np.flatnonzero(np.isin(of_moment, list(wanted)))
        self.need = hours_of_need(planned, self.year.times)
        self.outside = outside_air(self.year.weather, self.year.position, self.year.step, planned.record.place.altitude)
        self.year_substeps = len(self.kept)
        self.weight = self.year.sky_states.moment_weight[self.kept]
        self._hours = self.weight * self.need[self.step_of_substep] * self.year.step / 3600.0
        parts = [self._moments(self.year, self.kept)]
        self.days: list[SkyDay] = []
        at = len(self.kept)
        present = set(self.year.times.month)
        shown_days = [month for month in days if month in present] or [shown]
        for number in shown_days if skies else ():
            mean = mean_course(planned, weather, number)
            for name, oktas in skies.items():
                factor = float(sky.cloud_factor(oktas, planned.record.sky.full_cover))
                share = planned.record.sky.sunlit_share if 0 < oktas < sky.OKTAS_FULL else None
                sun = sky_conditions(planned, mean, number, oktas, factor, STEP, share)
                every = np.arange(len(sun.sky_states.order))
                parts.append(self._moments(sun, every))
                clock = np.asarray(sun.times.hour + sun.times.minute / 60.0)[sun.sky_states.step_of_substep]
                self.days.append(SkyDay(number, name, clock, slice(at, at + len(every)), sun))
                at += len(every)
        self.panels = {
            name: tuple(
                np.concatenate(columns, axis=-1) for columns in zip(*(part[name] for part in parts), strict=True)
            )
            for name in parts[0]
        }
        self.substeps = at
        self.stored = _stored_moments(planned, self)

    @staticmethod
    def _moments(sun: Conditions, kept: np.ndarray) -> dict[str, tuple[np.ndarray, ...]]:
        order = sun.sky_states.order[kept]
        return {
            name: (light.section_irradiance[..., order], light.temp_cell[order])
            for name, light in sun.panel_states.items()
        }

    @property
    def step_of_substep(self) -> np.ndarray:
        """The step of the year of each of its moments that is kept."""
        return self.year.sky_states.step_of_substep[self.kept]

    @property
    def needed(self) -> np.ndarray:
        """Where a moment is one of the hours of need; those of the named skies are none. Shape (moments,)."""
        found = np.zeros(self.substeps, dtype=bool)
        found[: self.year_substeps] = self.need[self.step_of_substep]
        return found

    def needed_hours(self, values: np.ndarray) -> float:
        """Sum what happens at the moments over the hours of need. [h]"""
        return float(values[: self.year_substeps] @ self._hours)

    def hours_of_steps(self, chosen: np.ndarray) -> float:
        """Count the hours of need in which something holds, step by step. [h]"""
        return float((chosen & self.need).sum() * self.year.step / 3600.0)

    def by_step(self, values: np.ndarray) -> np.ndarray:
        """Average what happens at the moments of the year over their steps, shape (steps,)."""
        kept = self.weight * values[: self.year_substeps]
        return np.bincount(self.step_of_substep, kept, minlength=len(self.need))

    def spans(self, running: np.ndarray, shown: int) -> dict[str, Any]:
        """First start and last stop by month and sky."""
        by_month: dict[int, dict[str, tuple[float, float]]] = {}
        for day in self.days:
            hours = day.clock[running[day.at]]
            span = (float(hours[0]), float(hours[-1] + STEP / 3600.0)) if len(hours) else (float("nan"),) * 2
            by_month.setdefault(day.month, {})[day.sky] = span
        chosen = by_month.get(shown) or next(iter(by_month.values()), {})
        return {
            "starts": {name: span[0] for name, span in chosen.items()},
            "stops": {name: span[1] for name, span in chosen.items()},
            "by_month": by_month,
        }


def _stored_moments(planned: Plan, place: PlaceLight) -> StoredMoments | None:
    """When the fans of a plan with a battery are switched on; None without one."""
    if planned.record.storage is None:
        return None
    parts = [(place.year, place.kept), *((day.sun, np.arange(len(day.sun.sky_states.order))) for day in place.days)]
    wanted, hours = [], []
    for sun, kept in parts:
        steps = sun.sky_states.step_of_substep[kept]
        wanted.append(hours_switched_on(planned, sun.times)[steps])
        hours.append(sun.sky_states.moment_weight[kept] * sun.step / 3600.0)
    full = np.array([0, *(day.at.start for day in place.days)], dtype=np.intp)
    return StoredMoments(np.concatenate(wanted), np.concatenate(hours), full)


Lights = Mapping[str, tuple[np.ndarray, ...]]


@dataclass(frozen=True, eq=False)
class FanCourse:
    """What the fans of a design do at some moments, in the order of the plan.

    `running` and `voltage` have the shape (fans, moments); the voltage is that of a turning fan where it was asked for,
    else 0 [V]. `hunting`, shape (moments,), says of each converter where it comes on and falls off again. `peak`, shape
    (fans,), is the highest voltage between the attempts of a standing fan, where that may be above the worst case [V].
    """

    running: np.ndarray
    voltage: np.ndarray
    hunting: dict[str, np.ndarray]
    peak: np.ndarray
    battery: BatteryCourse | None = None


class SizedCircuits:
    """The circuits of designs that differ in the size of their panels only; that of one plan is the measure."""

    def __init__(self, planned: Plan) -> None:
        self.harness = build_harness(planned)
        self.circuits = circuits(self.harness, planned)
        self.fans = {name: fan for circuit in self.circuits for name, fan in circuit_fans(circuit).items()}
        self.rows = {fan.id: row for row, fan in enumerate(planned.record.fan)}

    def courses(
        self,
        lights: Lights,
        sizes: Sequence[float],
        asked: np.ndarray,
        worst: Sequence[WorstCase] = (),
        closed: np.ndarray | None = None,
        stored: StoredMoments | None = None,
    ) -> Iterator[FanCourse]:
        """Carry designs through the light of some moments, in the order in which they pass; one course for each size.

        `sizes` are those of the panels, as multiples of the plan's. The voltage is worked out at the moments that are
        `asked` for, shape (moments,). By the `worst` case of each size only voltages above its open circuit are looked
        for between the attempts of a fan. Where the line of the fans is not `closed`, shape (moments,), it is as the
        dark to them; `stored` is when a battery has to feed them.
        """
        if stored is not None:
            for size in sizes:
                turning, volts, kept = _stored_course(self, lights, size, stored, closed)
                yield FanCourse(turning, volts * asked, {}, np.zeros(len(turning)), kept)
            return
        lit = np.any([np.atleast_2d(irradiance).any(axis=0) for irradiance, _ in lights.values()], axis=0)
        fed = np.ones(len(lit)) if closed is None else closed.astype(float)
        moment, order = _distinct(np.vstack([fed, *(rows for light in lights.values() for rows in light)]), lit)
        every = []
        for circuit in self.circuits:
            panels = {}
            for panel in circuit.panels:
                irradiance, temp_cell = (values[..., moment] for values in lights[panel.id])
                photocurrent, *others = panel_parameters(panel, irradiance, temp_cell)
                panels[panel.id] = photocurrent * fed[moment], *others
            source = SourceSide(circuit.source, panels, sizes)
            load = load_side(circuit.load, circuit_fans(circuit), source.highest)
            states = RunningStates(source, load, len(sizes), order)
            highest = [case.open_circuit[circuit.panel_ids[0]] for case in worst]
            every.append((states, [self.rows[name] for name in states.load.ids], _peaks(states, highest)))
        for number in range(len(sizes)):
            running = np.zeros((len(self.rows), len(lit)), dtype=bool)
            voltage, peak = np.zeros(running.shape), np.zeros(len(running))
            hunting: dict[str, np.ndarray] = {}
            for states, rows, peaks in every:
                running[rows], voltage[rows] = states.of_design(number, asked)
                peak[rows] = peaks[:, number]
                span = slice(number * len(lit), (number + 1) * len(lit))
                hunting |= dict(zip(states.load.converters, states.converter_hunting[:, span], strict=True))
            yield FanCourse(running, voltage, hunting, peak)


def _stored_course(
    wired: SizedCircuits,
    lights: Lights,
    size: float,
    moments: StoredMoments,
    closed: np.ndarray | None,
) -> tuple[np.ndarray, np.ndarray, BatteryCourse]:
    """Carry a design on its battery through the light of some moments.

    Gives which fans turn, in the order of the plan, and at which voltage [V], both of shape (fans, moments).
    """
    lit = np.flatnonzero(np.any([np.atleast_2d(light).any(axis=0) for light, _ in lights.values()], axis=0))
    panels = {
        panel.id: panel_parameters(panel, lights[panel.id][0][..., lit], lights[panel.id][1][lit])
        for circuit in wired.circuits
        for panel in circuit.panels
    }
    wanted = moments.wanted if closed is None else moments.wanted & closed
    operations, course = operate_on_battery(
        wired.circuits, panels, wired.fans, lit, wanted, moments.hours, size=size, full=moments.full
    )
    running, voltage = np.zeros((len(wired.fans), len(wanted)), dtype=bool), np.zeros((len(wired.fans), len(wanted)))
    for operation in operations:
        rows = [wired.rows[name] for name in operation.fan_ids]
        running[rows], voltage[rows] = operation.running, operation.fan_voltage * operation.running
    return running, voltage, course


def _distinct(conditions: np.ndarray, lit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Moments of all the different conditions, one a row, and the place of each moment's own among them.

    Dark moments are one. Gaps and shadows take turns, so that what comes again does so at the next moment but one.
    """
    light = np.flatnonzero(lit)
    shown = conditions[:, light]
    new = np.ones(len(light), dtype=bool)
    new[2:] = np.any(shown[:, 2:] != shown[:, :-2], axis=0)
    first = np.where(new, np.arange(len(light)), 0)
    for turn in (first[::2], first[1::2]):
        np.maximum.accumulate(turn, out=turn)
    dark = np.flatnonzero(~lit)[:1]
    order = np.zeros(len(lit), dtype=np.intp)
    order[light] = (np.cumsum(new) - 1)[first] + len(dark)
    return np.concatenate([dark, light[new]]), order


def _peaks(states: RunningStates, open_circuit: Sequence[float]) -> np.ndarray:
    """Highest voltage between the attempts of each fan, shape (fans, sizes), where a panel is above a limit. [V]"""
    if not open_circuit:
        return np.zeros((len(states.load.ids), states.designs))
    bound = np.asarray(states.source.source.voltage_bound)[states.light_of].reshape(len(open_circuit), -1)
    above = bound > np.asarray(open_circuit)[:, None]
    peaks = np.zeros((len(states.load.ids), *bound.shape))
    if above.any():
        peaks[:, above] = states.highest_voltage(np.flatnonzero(above))
    return peaks.max(axis=-1, initial=0.0)


Fans = Callable[[slice, np.ndarray], FanCourse]


class DesignLine:
    """The houses of a place with a thermostat: one through the months of need, one through the day of every sky shown.

    They do not depend on the design, so their figures are worked out once. What the fans of a design do to them is
    settled design by design: nearly all of that time goes into the air through the openings at every moment, which many
    designs at once would not share.
    """

    def __init__(self, plan: Plan, place: PlaceLight) -> None:
        assert plan.record.thermostat is not None
        self._thermostat = plan.record.thermostat
        steps = np.unique(place.step_of_substep)
        spans = [(slice(0, place.year_substeps), _part(place.year, steps, place.kept), steps)]
        spans += [(day.at, day.sun, np.arange(len(day.sun.times))) for day in place.days]
        # The ground remembers a month: the figures are those of the whole year.
        whole = model_under(plan, place.year)
        models = [whole.part(steps), *(model_under(plan, day.sun) for day in place.days)]
        self._spans = [(at, sun, model) for (at, sun, _), model in zip(spans, models, strict=True)]
        self._moments = place.substeps

    def closed(self, planned: Plan, fans: Fans) -> tuple[np.ndarray, float]:
        """Settle the line of a design: where it is closed, shape (moments,), and the share of steps left in doubt.

        `fans` gives what the fans do, from a slice of the moments and the state of the line in them; the share is of
        the steps of the year, see :func:`solarvent.house.house_run.solve_switch`.
        """
        closed, residuals = np.zeros(self._moments, dtype=bool), []
        for at, sun, model in self._spans:
            sky_states = sun.sky_states

            def house_with(
                line: np.ndarray, at: slice = at, sun: Conditions = sun, model: object = model
            ) -> tuple[np.ndarray, np.ndarray]:
                done = fans(at, line[sun.sky_states.step_of_substep])
                states = sun.sky_states
                turning = FanState(done.voltage, done.running, states.step_of_substep, states.moment_weight)
                house = house_under(planned, sun, turning, ("both",), model)  # type: ignore[arg-type]
                return sun.sky_states.mean(done.running.any(axis=0).astype(float)), house.case("both")

            settled = solve_switch(self._thermostat, sky_states.steps, house_with)
            closed[at] = settled.closed[sky_states.step_of_substep]
            residuals.append(settled.residual)
        return closed, residuals[0]


def _part(sun: Conditions, steps: np.ndarray, substeps: np.ndarray) -> Conditions:
    """Some steps of a year, whose moments are known, as a span of its own; of the light only the spells are kept."""
    sky_states = sun.sky_states
    states = np.flatnonzero(np.isin(sky_states.step_of, steps))
    shares = {name: getattr(sky_states, name)[states] for name in ("weight", "beam", "sky", "ground")}
    part = replace(
        sky_states,
        step_of=np.searchsorted(steps, sky_states.step_of[states]),
        order=np.searchsorted(states, sky_states.order[substeps]),
        **shares,
    )
    return Conditions(sun.times[steps], sun.step, sun.weather.iloc[steps], {}, part, {}, sun.position.part(steps))
