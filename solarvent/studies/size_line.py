"""The thermostat in the line of a design: when it is closed, by the house that the fans of that design leave."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from solarvent.air.network import FanState
from solarvent.house.house_run import house_under, model_under
from solarvent.house.thermostat import solve_switch
from solarvent.plan.plan import Plan
from solarvent.studies.size_fans import FanCourse
from solarvent.studies.size_light import PlaceLight
from solarvent.weather.conditions import Conditions
from solarvent.weather.sun import SolarPosition

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
        the steps of the year, see :func:`solarvent.house.thermostat.solve_switch`.
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
    position = SolarPosition(*(values[steps] for values in vars(sun.position).values()))
    return Conditions(sun.times[steps], sun.step, sun.weather.iloc[steps], {}, part, {}, position)
