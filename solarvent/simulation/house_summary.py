"""What a simulated span says of the house: its heat in four ways of running it, and how far to trust it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from solarvent.house.model import crop_of
from solarvent.simulation.house_flows import FlowMoment, hottest_moment
from solarvent.simulation.simulate import Simulation
from solarvent.weather.span import hours_of_need

#: How far a temperature of the model may be off, from the sum of squares of all lines of the sensitivity table
#: (solarvent about models): the hottest hour, and the coldest. [K]
PEAK_BAND, NIGHT_BAND = 5.0, 3.0


@dataclass(frozen=True)
class CaseSummary:
    """One way of running the house.

    Attributes
    ----------
    case : str
        "closed", "openings", "fans" or "both".
    maximum, minimum : float
        Of the inside air. [degC]
    need_mean : float
        Mean inside temperature over the hours of need; NaN if the span has none. [degC]
    need_rise : float
        The same over the outside air. [K]
    degree_hours : float
        Above the limit of the plants, over the span. [K h]
    hours_above : float
        [h]
    """

    case: str
    maximum: float
    minimum: float
    need_mean: float
    need_rise: float
    degree_hours: float
    hours_above: float


@dataclass(frozen=True)
class HouseSummary:
    """How warm the house gets.

    Attributes
    ----------
    crop : str
        What grows or lives in it.
    limit : float
        Above it they suffer. [degC]
    cases : tuple of CaseSummary
        Closed, openings only, fans only, both.
    moment : FlowMoment or None
        The flows in the hottest hour of need, if the span has one.
    when : datetime or None
        That hour.
    """

    crop: str
    limit: float
    cases: tuple[CaseSummary, ...]
    moment: FlowMoment | None
    when: datetime | None


def house_summary(run: Simulation) -> HouseSummary:
    """Sum up the house of a run that carries it."""
    moment = hottest_moment(run)
    when = None if moment is None else run.hours.index[moment.step].to_pydatetime()
    return HouseSummary(crop_of(run.plan).name, heat_limit(run), house_cases(run), moment, when)


def heat_limit(run: Simulation) -> float:
    """Temperature above which the plants of the plan suffer. [degC]"""
    return crop_of(run.plan).most


def house_cases(run: Simulation) -> tuple[CaseSummary, ...]:
    """Sum up the house in each way of running it.

    Parameters
    ----------
    run : Simulation
        Over any span.

    Returns
    -------
    tuple of CaseSummary
        Closed, openings only, fans only, both.
    """
    need = hours_of_need(run.plan, run.conditions.times)
    limit, hours = heat_limit(run), run.conditions.step / 3600.0
    house = run.whole_house
    outside = house.model.temp_air
    rows = []
    for case in house.cases:
        inside = house.case(case)
        over = np.maximum(inside - limit, 0.0)
        mean, rise = (inside[need].mean(), (inside - outside)[need].mean()) if need.any() else (np.nan, np.nan)
        rows.append(
            CaseSummary(
                case,
                float(inside.max()),
                float(inside.min()),
                float(mean),
                float(rise),
                float(over.sum() * hours),
                float((over > 0).sum() * hours),
            )
        )
    return tuple(rows)


def house_totals(run: Simulation) -> dict[str, object]:
    """Give the same as plain data, in SI units."""
    return {
        "limit": heat_limit(run),
        "cases": {
            row.case: {key: value for key, value in vars(row).items() if key != "case"} for row in house_cases(run)
        },
        "heater_energy": float(run.whole_house.heater[:, -1].sum() * run.conditions.step / 3600.0),
        "residual": run.whole_house.solution.residual,
        "flows": _flows(run),
    }


def _flows(run: Simulation) -> dict[str, object] | None:
    """Give the flows of the hottest hour of need as plain data; None if there is none."""
    moment = hottest_moment(run)
    if moment is None:
        return None
    return {
        "time": run.hours.index[moment.step].isoformat(),
        "temp_inside": moment.temp_inside,
        "short_circuit": moment.short_circuit,
        "paths": [vars(path) for path in moment.paths],
    }
