"""Fitting a plan's house to readings: which figures they tell, and within which bounds.

The house is carried through the weather of the log by :func:`solarvent.house.house_run.house_run`, as every other
command carries it, with factors on its figures. Least squares with a robust loss finds the factors; what is known of
them beforehand counts as further readings; what the light of a day, the layers of the air at the thermometer and the
warmth of the floor at the start leave open is fitted along, so that the intervals hold it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import exp, log
from typing import Any

import numpy as np

from solarvent.air.network import FanState
from solarvent.electrical.panel_model import TYPICAL
from solarvent.house.envelope import FLOOR_NODES
from solarvent.house.house_run import HouseRun, house_run, mass_temperatures
from solarvent.house.model import HouseModel, house_model
from solarvent.plan.house_records import MeasuredHouse
from solarvent.plan.plan import Plan
from solarvent.simulation.electrical_side import operate_circuits
from solarvent.studies.log_span import LogSpan
from solarvent.weather.conditions import light_on_panels
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness


@dataclass(frozen=True)
class Prior:
    """What is known of a figure beforehand: its middle and its spread, of a factor those of its logarithm.

    Of the house: "leakage", "light", "cover", "storage" (factors), "ground" [K]; those that are only fitted along:
    "start" [K], "layers", "chill", "night" and "sky" [-]. `source` says where the spread comes from.
    """

    name: str
    middle: float
    spread: float
    is_factor: bool = False
    source: str = ""

    def value(self, z: float) -> float:
        """The figure at so many spreads from the middle."""
        at = self.middle + self.spread * z
        return exp(at) if self.is_factor else at


#: Half of a 90 % interval over the standard deviation.
NINETY = 1.645
PRIORS = (
    Prior("leakage", 0.0, log(60) / 2 / NINETY, True,
          "published rates of cracks spread sixtyfold: 0.4e-4 to 28e-4 of the cover"),
    Prior("light", 0.0, 0.25, True,
          "covers 0.75 to 0.90 when new, a third less when old and dirty; the rest is what stands in it"),
    Prior("cover", 0.0, 0.20, True, "U-values of one film by fit, 2.9 to 4.6 around 3.7 W/m2K"),
    Prior("storage", 0.0, 0.35, True, "soils and slabs, wet and dry: heat stored differs threefold"),
    Prior("ground", 0.0, 3.0, source="the ground follows the air of weeks to months"),
)  # fmt: skip
#: Fitted along. Where floor and masses stood at the start, beside what days like the first ones leave: each mode of the
#: floor in kelvin of its top, then the masses together (our choice). [K]
START = (*[Prior("start", 0.0, 2.0)] * FLOOR_NODES, Prior("start", 0.0, 4.0))
#: The thermometer over the mean of the air by day, as a share of the rise (2 K across a house of 25 K, Wien). [-]
LAYERS = Prior("layers", 0.0, 0.08)
#: And what a clear night takes more or less: damp and cloud of nights that nobody saw (our choice). [-]
CHILL = Prior("chill", 1.0, 0.15)
NIGHT = Prior("night", 0.0, 0.35)
SKY_BOUNDS = (0.08, 1.08)
#: Light of a day that was measured on the level, as the house meets it: what of it was beam is worked out. [-]
SLANT = Prior("sky", 1.0, 0.08)

FAR = 3.0  # bounds of a figure, in spreads
#: Those of cracks: twelve times those of an average house is a vent that stands open. [-]
CRACKS_END = 2.0

#: Days laid before the log, so that floor and masses have settled to such weather.
_LEAD_DAYS = 10
#: Light of a cloudy day over that of a clear one between which the house is blended. [-]
_DULL = 0.25
_BOILING = 150.0  # [degC]
_NUDGE = 0.1  # spreads by which a figure is moved to see what it does
_DAILY = ("night", "sky")  # those that each day has its own of
_STRIDE = 6  # days of unknown sky that are moved together: a day is forgotten after this many
#: Least noise of readings, for what a model leaves out stays however quiet they are; where the outside air is a guess
#: between a few readings; and what is begun with, by night and by day (our choice). [K]
_LEAST_NOISE, _SPARSE_NOISE, _FIRST_NOISE = 0.6, 1.0, (0.8, 1.6)
_ROBUST = 2.0  # residuals over the noise from which on they count less than their square
_ROUNDS = (8, 4, 3)  # evaluations in each round; between them the noise is found anew
#: What a model leaves out lasts for hours: readings within so long count as one at least (our choice). [s]
_LASTING = 5.0 * 3600


@dataclass(frozen=True, eq=False)
class FittedHouse:
    """A house fitted to readings.

    `z` holds the figures, shape (figures,), in spreads of their `priors`, those fitted along included; `covariance` is
    its own, `ends` are its bounds on either side. Temperatures at the thermometer, shape (steps,): `temp_inside` as
    fitted, `temp_before` with the figures of the tables, `temp_coolest` and `temp_warmest` under any sky that may be
    [degC]. Of single readings, by night and by day, `noise` [K] and `kinship`: how many say together what one says
    alone, for errors last for hours [-]. `fitted`, shape (readings,), marks those that were fitted.
    """

    priors: tuple[Prior, ...]
    z: np.ndarray
    covariance: np.ndarray
    temp_inside: np.ndarray
    temp_before: np.ndarray
    temp_coolest: np.ndarray
    temp_warmest: np.ndarray
    noise: tuple[float, float]
    kinship: tuple[float, float]
    fitted: np.ndarray
    ends: np.ndarray


class LoggedHouse:
    """A plan's house under the weather of a log, with everything prepared that does not change in a fit.

    Figures that were measured before are left out of the plan; `shut`: everything stayed shut, and the fans stood.
    """

    def __init__(self, plan: Plan, span: LogSpan, shut: bool = False) -> None:
        house = plan.record.house.model_copy(update={"measured": None})
        self._plan, self.span = plan.with_records(house=house), span
        steps = len(span.times)
        length = round(86_400 / span.step)
        days = min(2, steps // length)
        self._before = np.tile(np.arange(days * length), _LEAD_DAYS // days)
        self._settled: dict[bytes, np.ndarray] = {}
        months = np.asarray(span.times.month)
        self._clear = self._model(span.weather, months)
        lit = np.flatnonzero(span.lit)
        last = np.searchsorted(lit, np.arange(steps), side="right") - 1
        self._night = span.day[lit[last.clip(0)]] if lit.size else span.day
        self._dull: HouseModel | None = None
        if span.light != "steps":
            dull = span.weather.assign(
                ghi=_DULL * span.clear.ghi, dni=0.0, dhi=_DULL * span.clear.ghi, opaque_cover=8.0
            )
            dull.attrs = dict(span.weather.attrs)
            self._dull = self._model(dull, months)
            self._sky = _days_to_steps(span)
        self.priors = self._priors()
        self._case = "closed" if shut else "both"
        self._voltage = np.zeros((len(plan.record.fan), steps))
        self._running = self._voltage > 0
        if not shut:
            self._voltage, self._running = self._turning()

    def _model(self, weather: Any, months: np.ndarray) -> HouseModel:
        span = self.span
        return house_model(self._plan, weather, span.position, months, span.step)

    def _priors(self) -> tuple[Prior, ...]:
        """The figures that are fitted to this log."""
        days = int(self.span.day[-1]) + 1
        sky = [Prior("sky", float(middle), float(spread)) for middle, spread in self.span.shares]
        return (*PRIORS, *START, LAYERS, CHILL, *[NIGHT] * days, *(sky or [SLANT] * days))

    def _values(self, z: np.ndarray) -> tuple[dict[str, float], dict[str, np.ndarray]]:
        """The figures at so many spreads from their middles: single ones, and those of each day."""
        values = [prior.value(at) for prior, at in zip(self.priors, z, strict=True)]
        single = {p.name: value for p, value in zip(self.priors, values, strict=True)}
        several = {
            name: np.array([value for p, value in zip(self.priors, values, strict=True) if p.name == name])
            for name in ("start", *_DAILY)
        }
        return single, several

    def _turning(self) -> tuple[np.ndarray, np.ndarray]:
        """Voltage and state of the fans under the weather of the log, shape (fans, steps)."""
        weather = self.span.weather.copy()
        if self._dull is not None:
            # Where the light is not known the fans meet the middle of what it may be.
            share = self._sky @ self.span.shares[:, 0]
            for name in ("ghi", "dni", "dhi"):
                weather[name] = weather[name] * share
        weather["opaque_cover"] = weather["opaque_cover"].fillna(0.0)
        weather.attrs = dict(self.span.weather.attrs)
        sun = light_on_panels(self._plan, weather, self.span.step, self.span.step)
        wired = circuits(build_harness(self._plan), self._plan)
        substeps, mean = operate_circuits(self._plan, wired, sun, TYPICAL), sun.sky_states.mean
        return mean(substeps.fan_voltage), mean(substeps.running.astype(float)) > 0.5

    @cached_property
    def usual(self) -> np.ndarray:
        """Temperature at the thermometer with the figures of the tables, step by step. [degC]"""
        return self.temperatures(np.zeros(len(self.priors)))

    @property
    def ground(self) -> float:
        """Mean temperature of the ground by the weather of the log. [degC]"""
        return float(self._clear.temp_ground.mean())

    def under(self, z: np.ndarray) -> HouseModel:
        """The house with its figures at so many spreads from their middles."""
        values, daily = self._values(z)
        if self._dull is not None:
            model = _blended(self._dull, self._clear, (self._sky @ daily["sky"] - _DULL) / (1 - _DULL))
        else:
            model = self._clear.in_light(daily["sky"][self.span.day])
        chill = np.maximum(values["chill"] + daily["night"][self._night], 0.0)
        chilled = model.temp_air + chill * (model.temp_sol_air - model.temp_air)
        model = replace(model, temp_sol_air=np.where(model.dark, chilled, model.temp_sol_air))
        return model.adjusted(values["light"], values["cover"], values["storage"], values["ground"])

    def temperatures(self, z: np.ndarray) -> np.ndarray:
        """Temperature at the thermometer, step by step. [degC]"""
        values, several = self._values(z)
        model = self.under(z)
        measured = MeasuredHouse.model_construct(leakage_factor=values["leakage"])
        plan = self._plan.with_records(house=self._plan.record.house.model_copy(update={"measured": measured}))
        # What the days before left depends on the figures of the first days only.
        names = np.array([prior.name for prior in self.priors])
        early = np.concatenate([z[~np.isin(names, (*_DAILY, "start"))], *(z[names == name][:3] for name in _DAILY)])
        if (key := early.tobytes()) not in self._settled:
            first = self._run(plan, model, self._before, mass_temperatures(plan, model))
            self._settled[key] = first.temp_mass[-1, :, 0]
        shift = several["start"]
        start = self._settled[key] + np.concatenate(
            [shift[:FLOOR_NODES] / model.floor_weight, np.full(len(plan.record.mass), shift[FLOOR_NODES])]
        )
        inside = self._run(plan, model, np.arange(len(self.span.times)), start).temp_inside[:, 0]
        # A house that boils away is far from any reading.
        inside = np.nan_to_num(inside, nan=_BOILING).clip(-_BOILING, _BOILING)
        return inside + values["layers"] * np.where(self.span.lit, np.maximum(inside - model.temp_air, 0.0), 0.0)

    def _run(self, plan: Plan, model: HouseModel, at: np.ndarray, start: np.ndarray) -> HouseRun:
        """Carry the house through some steps, one after the other."""
        fans = FanState.by_step(self._voltage[:, at], self._running[:, at])
        return house_run(plan, model.part(at), fans, (self._case,), mass_start=start)

    def effects(self, z: np.ndarray, temp: np.ndarray, known: np.ndarray | None = None) -> np.ndarray:
        """What each figure does to the temperature, shape (steps, figures), for one spread. [K]

        What the sky of each day does hardly depends on the figures: it may be taken from effects that are known.
        """
        effect = np.zeros((len(temp), len(z))) if known is None else known.copy()
        names = np.array([prior.name for prior in self.priors])
        for k in np.flatnonzero(~np.isin(names, _DAILY)):
            effect[:, k] = (self.temperatures(_moved(z, [k])) - temp) / _NUDGE
        for name in _DAILY if known is None else ():
            daily = np.flatnonzero(names == name)
            for first in range(min(_STRIDE, len(daily))):
                change = (self.temperatures(_moved(z, daily[first::_STRIDE])) - temp) / _NUDGE
                # A day's light works on the night before, through the sky of that night, and on the days after.
                owner = first + (self.span.day + 1 - first) // _STRIDE * _STRIDE
                good = (owner >= 0) & (owner < len(daily))
                effect[np.flatnonzero(good), daily[owner[good]]] = change[good]
        return effect

    def fit(self, fitted: np.ndarray) -> FittedHouse:
        """Fit the figures to the readings that are marked, shape (readings,)."""
        from scipy.optimize import least_squares

        low, high = self._bounds()
        z = np.clip(np.zeros(len(self.priors)), low + 1e-6, high - 1e-6)
        before = temp = self.usual
        noise, kinship = _FIRST_NOISE, (self._least_kinship,) * 2
        for most in _ROUNDS:
            by_day = self.span.lit[self.span.observed.at(temp)][fitted]
            search = _Search(self, fitted, np.where(by_day, *noise[::-1]), np.where(by_day, *kinship[::-1]))
            z = least_squares(
                search.residuals, z, search.slopes, (low, high), loss=search.loss, max_nfev=most, xtol=1e-3, ftol=1e-3
            ).x
            temp, slopes = search.shown(z), search.slopes(z)
            weighted = slopes * np.sqrt(search.loss(search.residuals(z) ** 2)[1])[:, None]
            # As of a linear model at the best fit (Gauss and Newton); the rows of the priors keep it regular.
            covariance = np.linalg.inv(weighted.T @ weighted)
            noise, kinship = self._errors(temp, fitted, weighted, covariance)
        skies = [temp]
        if self._dull is not None:
            of_sky = np.array([prior.name == "sky" for prior in self.priors])
            skies += [self.temperatures(np.where(of_sky, ends, z)) for ends in (low, high)]
        coolest, warmest = np.min(skies, axis=0), np.max(skies, axis=0)
        return FittedHouse(self.priors, z, covariance, temp, before, coolest, warmest, noise, kinship, fitted, high)

    def _bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Bounds of the figures, in spreads."""
        high = np.array([CRACKS_END if prior.name == "leakage" else FAR for prior in self.priors])
        low = -high
        for k, prior in enumerate(self.priors):
            if prior.name == "sky" and self.span.light != "steps":
                low[k], high[k] = ((bound - prior.middle) / prior.spread for bound in SKY_BOUNDS)
        return low, high

    def _errors(
        self, temp: np.ndarray, fitted: np.ndarray, weighted: np.ndarray, covariance: np.ndarray
    ) -> tuple[tuple[float, float], tuple[float, float]]:
        """Noise of readings by night and by day, and how many of them say the same."""
        span = self.span
        at = span.observed.at(temp)
        off, lit, day = span.observed.value - span.observed.of(temp), span.lit[at], span.day[at]
        # What the fit spends on each reading it cannot spend on knowing its noise.
        rows, spent = weighted[: fitted.sum()], np.zeros(len(at))
        spent[fitted] = np.einsum("rk,kl,rl->r", rows, covariance, rows)
        # Where the outside air is a guess between a few readings, so is what it drives.
        least = _LEAST_NOISE if span.dense else _SPARSE_NOISE
        noise, kinship = [], []
        for by_day in (False, True):
            chosen = fitted & (lit == by_day)
            if chosen.sum() < 3:
                noise.append(_FIRST_NOISE[by_day])
                kinship.append(self._least_kinship)
                continue
            left = max(1 - float(spent[chosen].mean()), 0.05)
            sigma = max(1.4826 * float(np.median(np.abs(off[chosen]))) / np.sqrt(left), least)
            clipped = np.clip(off[chosen], -3 * sigma, 3 * sigma)
            # A night is one block, a day two: its morning and its afternoon.
            half = self._afternoon[at] if by_day else np.zeros(len(at), dtype=int)
            blocks = np.unique(day[chosen] * 2 + half[chosen], return_inverse=True)[1]
            sums, sizes = np.bincount(blocks, clipped), np.bincount(blocks)
            expected = float(np.mean(clipped**2)) * sizes.sum()
            noise.append(sigma)
            together = float((sums**2).sum()) / expected
            kinship.append(max(min(together, float(np.median(sizes))), self._least_kinship))
        return (noise[0], noise[1]), (kinship[0], kinship[1])

    @property
    def _least_kinship(self) -> float:
        """Readings that at least say together what one says alone: those of some hours. [-]"""
        return _LASTING / self.span.step if self.span.dense else 1.0

    @property
    def _afternoon(self) -> np.ndarray:
        """1 where the sun is west of the meridian, 0 elsewhere."""
        return (np.asarray(self.span.position.azimuth) > 180.0).astype(int)


class _Search:
    """One round of the fit: residuals of the readings over their noise, then of what was known before."""

    def __init__(self, house: LoggedHouse, fitted: np.ndarray, noise: np.ndarray, kinship: np.ndarray) -> None:
        self._house, self._fitted, self._kinship = house, fitted, kinship
        self._scale = noise * np.sqrt(kinship)
        self._shown: dict[bytes, np.ndarray] = {}
        self._effects: np.ndarray | None = None

    def shown(self, z: np.ndarray) -> np.ndarray:
        """Temperatures with these figures, worked out once. [degC]"""
        if (key := z.tobytes()) not in self._shown:
            self._shown[key] = self._house.temperatures(z)
        return self._shown[key]

    def residuals(self, z: np.ndarray) -> np.ndarray:
        """Model less reading over the noise, then the figures themselves. [-]"""
        observed = self._house.span.observed
        return np.concatenate([(observed.of(self.shown(z)) - observed.value)[self._fitted] / self._scale, z])

    def slopes(self, z: np.ndarray) -> np.ndarray:
        """How the residuals change with each figure. [-]"""
        now = self.shown(z)
        self._effects = self._house.effects(z, now, self._effects)
        rows = self._effects[self._house.span.observed.at(now)[self._fitted]]
        return np.concatenate([rows / self._scale[:, None], np.eye(len(z))])

    def loss(self, squares: np.ndarray) -> np.ndarray:
        """Loss of squared residuals and its two slopes: soft L1 for the readings, plain for what was known before.

        ``2 c (sqrt(1 + s/c) - 1)`` with c the square of the threshold, over the kinship by which residuals are scaled.
        """
        loss = np.array([squares, np.ones_like(squares), np.zeros_like(squares)])
        c = _ROBUST**2 / self._kinship
        root = np.sqrt(1 + squares[: len(c)] / c)
        loss[:, : len(c)] = 2 * c * (root - 1), 1 / root, -1 / (2 * c * root**3)
        return loss


def _moved(z: np.ndarray, which: Any) -> np.ndarray:
    """Move some figures by the nudge."""
    moved = z.copy()
    moved[which] += _NUDGE
    return moved


def _days_to_steps(span: LogSpan) -> np.ndarray:
    """Weights by which the light of the days makes that of each step, shape (steps, days): at night between them."""
    steps, lit = np.arange(len(span.times)), np.flatnonzero(span.lit)
    # Where the sun never rises each step has the light of its own day, which is none.
    known = lit if lit.size else steps
    days = range(int(span.day[-1]) + 1)
    return np.column_stack([np.interp(steps, known, span.day[known] == day) for day in days])


def _blended(dull: HouseModel, clear: HouseModel, share: np.ndarray) -> HouseModel:
    """A house between an overcast and a clear sky, step by step: share 0 and 1."""
    names = ("ghi", "temp_sol_air", "light", "damp", "sun_air", "sun_mass")
    between = {}
    for name in names:
        low, high = getattr(dull, name), getattr(clear, name)
        part = share.reshape(share.shape + (1,) * (low.ndim - 1))
        # Under less than an overcast sky the light goes on to fall, the sky does not get warmer.
        value = low + (high - low) * (np.maximum(part, 0.0) if name == "temp_sol_air" else part)
        between[name] = value if name == "temp_sol_air" else np.maximum(value, 0.0)
    return replace(clear, **between)
