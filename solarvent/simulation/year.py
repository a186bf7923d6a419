"""What a person wants to know of a simulated year: telling days, months, totals, heat of the house, way of the air."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

import numpy as np

from solarvent.air.network import AirNetwork
from solarvent.electrical.panel_model import HIGH, LOW
from solarvent.house.house_run import house_run
from solarvent.house.model import crop_of
from solarvent.plan.library import influences
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation

if TYPE_CHECKING:
    import pandas as pd


#: Walls that face alike within this are one wall. [deg]
_SAME_WALL = 20.0
#: Ways of running whose hottest hour is given with its span, and days before it that are carried through again.
_SPANNED, _LEAD = ("closed", "both"), 3


@dataclass(frozen=True)
class PathFlow:
    """The air that leaves and that enters [m3/s] through a fan, an opening or the cracks; a tall door does both.

    `beside_fan` is an opening in the wall of a fan, or in the roof above it: its air does not cross the house.
    """

    name: str
    kind: str
    outward: float
    inward: float
    beside_fan: bool = False


@dataclass(frozen=True)
class FlowMoment:
    """All flows at one step, and the inside temperature [degC].

    `short_circuit` is the share of what enters that does so beside a fan that turns; 0 if none turns.
    """

    step: int
    temp_inside: float
    paths: tuple[PathFlow, ...]
    short_circuit: float


def hottest_moment(run: Simulation) -> FlowMoment | None:
    """Work out the flows in the hottest hour of need; None without such an hour, or without the house.

    As planned, with fans that turn in most of that hour turning.
    """
    need = run.needed
    if run.house is None or not need.any():
        return None
    inside = run.house.case("both")
    return flows_at(run, int(np.where(need, inside, -np.inf).argmax()))


def flows_at(run: Simulation, step: int) -> FlowMoment:
    """Work out the flows at one step of a run that carries its house."""
    assert run.house is not None
    record = run.plan.record
    inside = run.house.case("both")
    fans = run.fans_by_step(np.array([step]))
    network = AirNetwork(run.plan, run.house.model.outside)
    air = network.flows(inside, np.array([step]), fans.voltage, fans.running)
    paths = [_path(fan.id, "fan", air.flow[[row], 0]) for row, fan in enumerate(record.fan)]
    walls = [fan.wall_azimuth for row, fan in enumerate(record.fan) if fans.running[row, 0]]
    # A tall opening is several in the network.
    first = 0
    for number, one in enumerate(record.opening, 1):
        count = len(network.slice_heights(one))
        through = air.inlet_flow[first : first + count, 0]
        first += count
        beside = bool(walls) and (one.on == "roof" or any(_alike(one.wall_azimuth, wall) for wall in walls))
        paths.append(_path(one.id or one.name or f"opening {number}", "opening", through, beside))
    paths.append(_path("cracks", "cracks", air.leakage_flow[[0]]))
    entering = sum(path.inward for path in paths)
    beside_fans = sum(path.inward for path in paths if path.beside_fan)
    return FlowMoment(step, float(inside[step]), tuple(paths), beside_fans / entering if entering > 0 else 0.0)


def _path(name: str, kind: str, through: np.ndarray, beside: bool = False) -> PathFlow:
    """Split flows that leave from flows that enter."""
    return PathFlow(name, kind, float(np.maximum(through, 0).sum()), float(np.maximum(-through, 0).sum()), beside)


def _alike(one: float | None, other: float | None) -> bool:
    """Tell whether two walls are the same."""
    return one is not None and other is not None and abs((one - other + 180) % 360 - 180) < _SAME_WALL


#: How far a temperature of the model may be off, from the sum of squares of all lines of the sensitivity table
#: (solarvent about models): the hottest hour, and the coldest. [K]
PEAK_BAND, NIGHT_BAND = 5.0, 3.0


def temperature_bands(plan: Plan) -> tuple[float, float]:
    """How far the hottest and the coldest hour of a plan's house may be off. [K]

    Of each figure that was measured counts what its own interval leaves open. For all others together stands by how
    much readings that were not fitted were missed; if nobody held any out, what may be wrong with any house.
    """
    measured = plan.record.house.measured
    if measured is None:
        return PEAK_BAND, NIGHT_BAND
    lines = influences()
    size = np.array([(line.peak, line.night) for line in lines])
    width = [measured.half_width(line.figure) if line.figure else None for line in lines]
    known = np.array([wide is not None for wide in width])
    share = np.array([min((wide or 0.0) / line.off, 1.0) for wide, line in zip(width, lines, strict=True)])
    own = (size * share[:, None])[known]
    usual = np.array([PEAK_BAND, NIGHT_BAND]) / np.sqrt((size**2).sum(axis=0))
    rest = usual * np.sqrt((size[~known] ** 2).sum(axis=0))
    missed = [measured.day_error, measured.night_error]
    # Readings that were not fitted tell how far all the rest is off.
    rest = np.where([each is None for each in missed], rest, [each or 0.0 for each in missed])
    peak, night = np.sqrt((own**2).sum(axis=0) + rest**2)
    return float(peak), float(night)


@dataclass(frozen=True)
class CaseSummary:
    """One way of running the house: "closed", "openings", "fans" or "both".

    Greatest and least inside temperature, and the mean in the hours of need [degC]; the same over the outside air [K];
    NaN if the span has no such hours. Above the limit of the plants, over the span: degree hours [K h] and hours [h].
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
    """How warm the house gets in each case, and above which limit what grows or lives in it suffers [degC].

    `moment` are the flows in the hottest hour of need, `when` that hour, if the span has one; `hottest` as
    :func:`hottest_span` has it, shut and with everything at work; `band` is how far the hottest hour may be off [K].
    """

    crop: str
    limit: float
    cases: tuple[CaseSummary, ...]
    hottest: dict[str, tuple[float, float]]
    moment: FlowMoment | None
    when: datetime | None
    band: float


def house_summary(run: Simulation) -> HouseSummary:
    """Sum up the house of a run that carries it."""
    moment = hottest_moment(run)
    when = None if moment is None else run.hours.index[moment.step].to_pydatetime()
    hottest = {case: hottest_span(run, case) for case in _SPANNED}
    band, _ = temperature_bands(run.plan)
    return HouseSummary(crop_of(run.plan).name, heat_limit(run), house_cases(run), hottest, moment, when, band)


def hottest_span(run: Simulation, case: str) -> tuple[float, float]:
    """Hottest hour of a way of running, from wide cracks and strong fans to narrow cracks and weak fans. [degC]

    The day of the hottest hour is carried through again with some days before it, for both.
    """
    house, day = run.whole_house, round(86_400 / run.conditions.step)
    inside = house.case(case)
    at = int(inside.argmax())
    # A year goes round: before its first days come its last.
    span = np.arange(at - _LEAD * day, at + 1) % len(inside)
    start = house.temp_mass[int(span[0]) - 1, :, house.cases.index(case)]
    model, fans = house.model.part(span), run.fans_by_step(span)
    runs = (house_run(run.plan, model, fans, (case,), band, mass_start=start) for band in (LOW, HIGH))
    values = [float(inside[at]), *(float(each.temp_inside[-day:].max()) for each in runs)]
    return min(values), max(values)


def heat_limit(run: Simulation) -> float:
    """Temperature above which the plants of the plan suffer. [degC]"""
    return crop_of(run.plan).most


def house_cases(run: Simulation) -> tuple[CaseSummary, ...]:
    """Sum up the house in each way of running it: closed, openings only, fans only, both."""
    need = run.needed
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
        "hottest": {case: dict(zip(("low", "high"), hottest_span(run, case), strict=True)) for case in _SPANNED},
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


#: The brightest, the middle and the dullest day of a month, as every answer calls them.
DAY_KINDS = ("clear", "broken", "overcast")
#: Steps of a day of which a span has fewer than this share are its edge (a day may be an hour short). [-]
_WHOLE_DAY = 0.9


@dataclass(frozen=True)
class TellingDay:
    """One day of the weather year that stands for many: ``"clear"``, ``"broken"`` or ``"overcast"``.

    It is a day by the plan's clock, with the light on the panel over the day [Wh/m2].
    """

    kind: str
    day: date
    irradiation: float


def telling_days(run: Simulation, month: int) -> tuple[TellingDay, ...]:
    """Choose the brightest, the middle and the dullest day of a month, by the light on the panel.

    In that order; fewer if the span has fewer days of that month with light. A day of which the span has only a part is
    none, unless it has no other.
    """
    hours = run.hours
    light = hours["poa_global"][hours["month"] == month] * run.conditions.step / 3600.0
    by_day = light.groupby(light.index.date)
    whole = by_day.size() * run.conditions.step >= _WHOLE_DAY * 86400
    daily = by_day.sum()[whole if whole.any() else slice(None)].sort_values(kind="stable")
    # At the edge of a short span a day may be there by its dark hours alone.
    daily = daily[daily > 0]
    if daily.empty:
        return ()
    # In a short span one day may be two of the three: it is told as the brighter kind.
    kinds: dict[int, str] = {}
    for kind, place in zip(DAY_KINDS, (len(daily) - 1, len(daily) // 2, 0), strict=True):
        kinds.setdefault(place, kind)
    return tuple(TellingDay(kind, daily.index[place], float(daily.iloc[place])) for place, kind in kinds.items())


def day_hours(run: Simulation, day: date) -> pd.DataFrame:
    """Give the lit hours of one day, and those in which a fan turns in the dark."""
    hours = run.hours
    chosen = hours[hours.index.date == day]
    return chosen[(chosen["poa_global"] > 0) | (chosen["fans_running"] > 0)]


def months_table(run: Simulation) -> pd.DataFrame:
    """Sum up each month: energy, hours, the usual first start and last stop, and the air at noon and at 15:00.

    Returns
    -------
    pandas.DataFrame
        Indexed by month; columns of :mod:`solarvent.base.columns`. First start and last stop are medians over the days
        on which a fan turns, in hours of the plan's clock; NaN if there is none.
    """
    import pandas as pd

    hours, length = run.hours, run.conditions.step / 3600.0
    clock = hours.index.hour + hours.index.minute / 60.0
    frame = pd.DataFrame(
        {
            "month": hours["month"],
            "day": hours.index.date,
            "energy_made": hours["power_available"] * length,
            "energy_used": used_power(run) * length,
            "hours_running": hours["fans_running"] * length,
            # The hours that begin at noon and at three; shorter steps within them count together.
            "air_changes_noon": hours["air_changes"].where(clock.astype(int) == 12),
            "air_changes_15": hours["air_changes"].where(clock.astype(int) == 15),
            "start": np.where(hours["fans_running"] > 0, clock, np.nan),
            "stop": np.where(hours["fans_running"] > 0, clock + length, np.nan),
        }
    )
    by_month = frame.groupby("month")
    table = by_month[["energy_made", "energy_used", "hours_running"]].sum()
    for name in ("air_changes_noon", "air_changes_15"):
        table[name] = by_month[name].mean()
    days = frame.groupby(["month", "day"]).agg(start=("start", "min"), stop=("stop", "max"))
    table["first_start"] = days["start"].groupby("month").median()
    table["last_stop"] = days["stop"].groupby("month").median()
    return table


def used_power(run: Simulation) -> np.ndarray:
    """Power that reaches turning fans, step by step. [W]"""
    return run.electrical.fan_power.sum(axis=0)


def totals(run: Simulation) -> dict[str, object]:
    """Sum up the span that was simulated, with the low and high readings beside the typical one.

    Returns
    -------
    dict
        house (see :func:`solarvent.simulation.year.house_totals`); energy_made, energy_used [Wh]; and by band:
        hours_running and thresholds by fan, target_flow [m3/s] and target_air_changes [1/h] over the hours of need.
    """
    length = run.conditions.step / 3600.0
    return {
        "house": None if run.house is None else house_totals(run),
        "energy_made": float(run.hours["power_available"].sum() * length),
        "energy_used": float(used_power(run).sum() * length),
        "bands": {
            name: {
                "target_flow": band.target_flow,
                "target_air_changes": band.target_air_changes,
                "fans": [
                    {
                        "id": fan,
                        "hours_running": band.hours_running[fan],
                        "start_irradiance": limits.start_irradiance,
                        "run_down_irradiance": limits.run_down_irradiance,
                    }
                    for fan, limits in band.thresholds.items()
                ],
            }
            for name, band in run.bands.items()
        },
    }
