"""Cold nights: how far the house and its masses fall, what a margin would take, and how long stored warmth lasts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.air.network import FanState, volume
from solarvent.base.errors import PlanError, require_kind
from solarvent.electrical.panel_model import HIGH, LOW, TYPICAL, Band
from solarvent.house.envelope import FLOOR_NODES
from solarvent.house.house_run import HouseRun, house_run
from solarvent.house.model import HouseModel, add_mass, crop_of, drop_masses, drums
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation, simulate
from solarvent.simulation.year import temperature_bands

if TYPE_CHECKING:
    import pandas as pd

#: Days before the night that are carried through again, and those that a dull spell and newly filled drums are watched.
_LEAD, _SPELL, _FILLING = 10, 10, 30
#: Light of a dull spell over that of the day before, and what counts as faded [K].
_DULL, _FADED = 0.2, 1.0
#: Water from the tap in winter (typical). [degC]
TAP_WATER = 10.0
#: Water that finds room: a quarter of the house.
_MOST_WATER = 0.25
_STRONG = 50_000.0  # a heater that is never too weak [W]


@dataclass(frozen=True, eq=False)
class Night:
    """A house through cold nights. Arrays have one value a step of the nights, noon to noon.

    Attributes
    ----------
    run : Simulation
        The year in which they lie.
    times : pandas.DatetimeIndex
        Start of each step.
    temp_air, temp_inside, temp_mass : array
        Outside, inside as planned, and the mean of what stores heat (the floor, if nothing else does). [degC]
    temp_shut : array
        Inside, if everything is shut from dusk to dawn. [degC]
    dew_cover, dew_mass : array of bool
        Dew settles on the cover; on the masses.
    minimum_inside, minimum_shut, minimum_bare : float
        Lowest inside: as planned; shut at night; shut at night and without the masses. [degC]
    minimum_span : tuple of float
        Lowest inside as planned, with the widest and the narrowest cracks of such houses. [degC]
    wanted : float
        To be held. [degC]
    heater_watts, heater_energy : float
        What holds it as planned, at the most and over the nights. [W], [Wh]
    heater_shut : float
        The most that holds it with everything shut at night. [W]
    litres : float
        Water, beside what there is, that holds it with everything shut at night; NaN: no amount that finds room. [L]
    spell : array, shape (days,)
        How much warmer the masses keep the coldest hour, night after night of a dull spell; empty without masses. [K]
    filling_days : float
        Until newly filled masses are as warm as settled ones, but for a kelvin; NaN without masses, or if a month is
        too short. [d]
    panel_energy : float
        What the panels make on a mean day of that month. [Wh]
    band : float
        How far the lowest temperature may be off. [K]
    residual : float
        Largest disagreement of flows and temperatures in these runs. [K]
    """

    run: Simulation
    times: pd.DatetimeIndex
    temp_air: np.ndarray
    temp_inside: np.ndarray
    temp_mass: np.ndarray
    temp_shut: np.ndarray
    dew_cover: np.ndarray
    dew_mass: np.ndarray
    minimum_inside: float
    minimum_shut: float
    minimum_bare: float
    minimum_span: tuple[float, float]
    wanted: float
    heater_watts: float
    heater_energy: float
    heater_shut: float
    litres: float
    spell: np.ndarray
    filling_days: float
    panel_energy: float
    band: float
    residual: float

    @property
    def faded_after(self) -> int | None:
        """Nights of the dull spell after which the masses no longer count, see :func:`faded_after`."""
        return faded_after(self.spell)


def cold_night(
    plan: Plan,
    evening: date | None = None,
    nights: int = 1,
    wanted: float | None = None,
    run: Simulation | None = None,
) -> Night:
    """Carry a plan's house through its coldest nights, or through chosen ones.

    Parameters
    ----------
    plan : Plan
        The plan.
    evening : date, optional
        On whose noon the first night begins, by the plan's clock; its year does not matter. By default that before
        the hour in which the house as planned is coldest.
    nights : int
        How many, from 1 to 14.
    wanted : float, optional
        Temperature to be held; by default the least that the plan's plants bear. [degC]
    run : Simulation, optional
        The plan's year, if it was simulated already.

    Returns
    -------
    Night
        As planned, and beside it shut at night.

    Raises
    ------
    PlanError
        If the weather has no such day, or is too short.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> night = cold_night(load_plan("coop"))
    >>> len(night.times), bool(night.minimum_shut >= night.minimum_bare)
    (24, True)
    """
    require_kind(plan, Plan)
    run = run or simulate(plan, bands=(TYPICAL,))
    year = len(run.hours)
    day = round(86_400 / run.conditions.step)
    # Else the days before the nights would be the nights themselves, a year round.
    if year < (_LEAD + nights + 1) * day:
        raise PlanError.single("weather", f"it has only {year // day} days", "a night wants some weeks of weather")
    first = _noon(run, evening, day)
    if wanted is None:
        wanted = crop_of(plan).least
    span = (first + np.arange(-_LEAD * day, nights * day)) % year
    night = slice(_LEAD * day, None)
    window = _Window.of(run, span, night)
    planned, shut = window.run(), window.run(shut=True)
    bare = window.run(shut=True, model=drop_masses(plan, window.model))
    heated, heated_shut = (window.run(shut=shut_too, heater=(_STRONG, wanted)) for shut_too in (False, True))
    lowest_shut = window.lowest(shut)
    # Wide cracks are not the coldest in every night: the inside may be colder than outside under a clear sky.
    lows = [window.lowest(each) for each in (planned, window.run(band=LOW), window.run(band=HIGH))]
    inside, masses = planned.temp_inside[night, 0], _mean_mass(planned)[night]
    coldest = planned.temp_things[night, :, 0].min(axis=1) if plan.record.mass else np.full(len(inside), np.inf)
    watts = heated.heater[night, 0]
    month = run.hours["month"].to_numpy()[first]
    at_month = run.hours["month"].to_numpy() == month
    return Night(
        run=run,
        times=run.hours.index[span[night]],
        temp_air=planned.model.temp_air[night],
        temp_inside=inside,
        temp_mass=masses,
        temp_shut=shut.temp_inside[night, 0],
        dew_cover=planned.dew[night, 0] > 0,
        dew_mass=coldest < planned.dew_point_inside[night, 0],
        minimum_inside=float(inside.min()),
        minimum_shut=lowest_shut,
        minimum_bare=window.lowest(bare),
        minimum_span=(min(lows), max(lows)),
        wanted=wanted,
        heater_watts=float(watts.max()),
        heater_energy=float(watts.sum() * run.conditions.step / 3600.0),
        heater_shut=float(heated_shut.heater[night, 0].max()),
        litres=0.0 if lowest_shut >= wanted else _litres(window, wanted),
        spell=_spell(window, day),
        filling_days=_filling(run, first, day),
        panel_energy=float(
            run.hours["power_available"].to_numpy()[at_month].sum()
            * run.conditions.step
            / 3600.0
            / (at_month.sum() / day)
        ),
        band=temperature_bands(plan)[1],
        residual=max(each.solution.residual for each in (planned, shut, bare, heated, heated_shut)),
    )


def _noon(run: Simulation, evening: date | None, day: int) -> int:
    """Step that holds the noon on which the first night begins."""
    times: Any = run.hours.index
    # By the sun's clock, or where a zone is half an hour off the weather's, no step begins at noon, but one holds it.
    minute = 60 * times.hour.to_numpy() + times.minute.to_numpy()
    noons = np.flatnonzero((minute <= 720) & (minute + run.conditions.step / 60 > 720))
    if evening is not None:
        chosen = [at for at in noons if (times[at].month, times[at].day) == (evening.month, evening.day)]
        if not chosen:
            raise PlanError.single("date", f"the weather has no {evening:%d %B}", "choose another evening")
        return int(chosen[0])
    coldest = int(run.hours["temp_inside"].to_numpy().argmin())
    before = noons[noons <= coldest]
    return int(before[-1] if before.size else noons[-1])


@dataclass(frozen=True, eq=False)
class _Window:
    """Some days before the nights and the nights themselves, to be carried through under other circumstances."""

    plan: Plan
    night: slice
    model: HouseModel
    start: np.ndarray
    fans: FanState

    @property
    def floor_start(self) -> float:
        """Temperature of the top of the floor at the start. [degC]"""
        return float(self.start[:FLOOR_NODES] @ self.model.floor_weight)

    @classmethod
    def of(cls, run: Simulation, span: np.ndarray, night: slice) -> _Window:
        """Cut a window out of a year; a step of broken cloud counts as one: the fan turns if it mostly does."""
        house = run.whole_house
        return cls(
            run.plan,
            night,
            house.model.part(span),
            house.temp_mass[int(span[0]) - 1, :, house.cases.index("both")],
            run.fans_by_step(span),
        )

    def run(
        self,
        shut: bool = False,
        model: HouseModel | None = None,
        heater: tuple[float, float] | None = None,
        band: Band = TYPICAL,
    ) -> HouseRun:
        """Carry the house through, with all shut at night, with other masses or another heater, in another band."""
        model = model or self.model
        count = len(model.masses.capacity)
        own = self.start[FLOOR_NODES:]
        # Things put in for a trial are as warm as what stands there.
        fresh = np.full(max(count - len(self.start), 0), own.mean() if len(own) else self.floor_start)
        start = np.concatenate([self.start, fresh])[:count]
        return house_run(
            self.plan,
            model,
            self.fans,
            ("both",),
            band,
            heater=heater,
            mass_start=start,
            shut_at_night=shut,
        )

    def lowest(self, run: HouseRun) -> float:
        """Lowest inside temperature of the nights. [degC]"""
        return float(run.temp_inside[self.night, 0].min())


def _mean_mass(run: HouseRun) -> np.ndarray:
    """Mean temperature of what stores heat beside the floor, weighted by its capacity; of the floor if that is all."""
    if not run.temp_things.shape[1]:
        return run.temp_floor[:, 0]
    capacity = run.model.masses.capacity[FLOOR_NODES:, 0]
    return run.temp_things[:, :, 0] @ capacity / capacity.sum()


def _litres(window: _Window, wanted: float) -> float:
    """Find the water that holds a temperature with everything shut at night; it grows, so it is halved into. [L]"""

    def lowest(litres: float) -> float:
        model = add_mass(window.plan, window.model, drums(litres))
        return window.lowest(window.run(shut=True, model=model))

    low, high = 0.0, 1000.0 * _MOST_WATER * volume(window.plan)
    if lowest(high) < wanted:
        return float("nan")
    # Closer than 5 % would be finer than the model.
    while high - low > 0.05 * high:
        middle = (low + high) / 2
        low, high = (low, middle) if lowest(middle) >= wanted else (middle, high)
    return high


def _spell(window: _Window, day: int) -> np.ndarray:
    """How much warmer the masses keep the coldest hour, through a spell of dull days like the last one."""
    if not window.plan.record.mass:
        return np.empty(0)
    begin = _LEAD * day
    order = np.concatenate([np.arange(begin), np.tile(np.arange(begin, begin + day), _SPELL)])
    light = np.where(np.arange(len(order)) < begin, 1.0, _DULL)
    model = window.model.part(order).in_light(light)
    # In a dull spell no sun turns a fan.
    still = FanState.standing(window.plan, len(order))
    stretched = replace(window, model=model, fans=still)
    with_masses, without = stretched.run(shut=True), stretched.run(shut=True, model=drop_masses(window.plan, model))
    kept = (with_masses.temp_inside - without.temp_inside)[begin:, 0].reshape(_SPELL, day)
    return kept[np.arange(_SPELL), without.temp_inside[begin:, 0].reshape(_SPELL, day).argmin(axis=1)]


def _filling(run: Simulation, first: int, day: int) -> float:
    """Days until masses filled with tap water are within a kelvin of settled ones, in the weather before the nights."""
    if not run.plan.record.mass or len(run.hours) < (_FILLING + 1) * day:
        return float("nan")
    span = (first + np.arange(-_FILLING * day, 0)) % len(run.hours)
    window = _Window.of(run, span, slice(0, None))
    settled = _mean_mass(window.run())
    fresh = [TAP_WATER if mass.start is None else mass.start for mass in run.plan.record.mass]
    filled = replace(window, start=np.array([*window.start[:FLOOR_NODES], *fresh]))
    apart = np.abs(_mean_mass(filled.run()) - settled)
    late = np.flatnonzero(apart > _FADED)
    if not late.size:
        return 0.0
    return float((late[-1] + 1) / day) if late[-1] + 1 < len(apart) else float("nan")


def faded_after(spell: Sequence[float] | np.ndarray) -> int | None:
    """Nights of a dull spell after which the masses keep the house less than a kelvin warmer; None if it is longer."""
    weak = np.flatnonzero(np.asarray(spell) < _FADED)
    return int(weak[0]) if weak.size else None
