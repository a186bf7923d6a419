"""Your own readings: what a log of a house can tell of its figures, what it says, and how far to trust it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from solarvent.base.errors import require_kind
from solarvent.base.findings import Edit
from solarvent.plan.plan import Plan
from solarvent.studies.electrical_log import PartFigure, part_figures
from solarvent.studies.house_fit import LAYERS, NINETY, PRIORS, FittedHouse, LoggedHouse
from solarvent.studies.log_checks import (
    odd_readings,
    refuse_swapped,
    refuse_wrong_clock,
    without_settings,
    without_sunny_outside,
)
from solarvent.studies.log_span import LogSpan, span_of_log
from solarvent.weather.house_log import HouseLog, read_log
from solarvent.weather.span import plan_clock

#: Share of the spread of what was known before, under which a figure counts as told, and under which as told in part.
TOLD, IN_PART = 0.5, 0.85
#: Spreads of the layers of air from which on they are told. [-]
_LAYERED = 2.0
#: Correlation from which on two figures are only known together.
_TOGETHER = 0.8
#: Days of a long log that are used: a season. [d]
_MOST_DAYS = 42


@dataclass(frozen=True)
class Estimate:
    """One figure of a house as readings have it.

    Attributes
    ----------
    name : str
        "leakage", "light", "cover", "storage" (factors), "ground" [K].
    value, low, high : float
        With the ends of its 90 % interval.
    prior_low, prior_high : float
        The same before the readings.
    width : float
        Spread over that of what was known before. [-]
    told : str
        "yes", "in part" or "no".
    with_ : tuple of str
        Figures from which it cannot be told well: together they are known better than each.
    at_end : bool
        It lies at the end of what is believed possible.
    why : str
        Where what was known before comes from.
    """

    name: str
    value: float
    low: float
    high: float
    prior_low: float
    prior_high: float
    width: float
    told: str
    with_: tuple[str, ...]
    at_end: bool
    why: str


@dataclass(frozen=True)
class Miss:
    """How far a house misses readings that were not fitted: median, root of the mean square, and what nine in ten stay
    under [K], of so many readings."""

    count: int
    median: float
    root: float
    ninety: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """What a log says of a plan's house.

    Attributes
    ----------
    plan : Plan
        The plan.
    log : HouseLog
        As read.
    span : LogSpan
        On even steps.
    estimates : tuple of Estimate
        Of the figures, in the order of their priors.
    rank : int
        Directions in which the readings halve, at the least, what was not known before.
    fit : FittedHouse or None
        The fit; without one nothing else is said of the house: volts and amperes alone were logged.
    held_out : array of bool, shape (readings,)
        Readings that were never fitted.
    misses : dict of str to tuple of Miss
        "all", "night", "day": with the figures of the tables, and with those found, on what was held out; without
        entries of which nothing was held out.
    ground_before : float
        Mean temperature of the ground that the weather of the log gives without a shift; NaN without a fit. [degC]
    by_hour : array, shape (24, 3)
        Reading less model by hours of the sun, over all sound readings: with the figures of the tables, with those
        found, and how many. [K], [K], [-]
    parts : tuple of PartFigure
        What logged volts and amperes say of panels and fans.
    notes : tuple of str
        What was found, left out and taken for granted.
    trusted : bool
        The model fits the house; if not, nothing is to be written.
    today : date
        On which this was worked out.
    """

    plan: Plan
    log: HouseLog
    span: LogSpan
    estimates: tuple[Estimate, ...]
    rank: int
    fit: FittedHouse | None
    held_out: np.ndarray
    misses: dict[str, tuple[Miss, Miss]]
    ground_before: float
    by_hour: np.ndarray
    parts: tuple[PartFigure, ...]
    notes: tuple[str, ...]
    trusted: bool
    today: date

    @property
    def dates(self) -> tuple[date, date]:
        """The first and the last day with a reading, by the plan's clock."""
        first, last = self.log.table.index[[0, -1]].tz_convert(plan_clock(self.plan))
        # A reading at midnight ends its day.
        return first.date(), max(first, last - timedelta(seconds=1)).date()

    @property
    def days(self) -> int:
        """Days of the log, begun ones too."""
        first, last = self.dates
        return (last - first).days + 1

    @property
    def source(self) -> str:
        """What is written beside the figures: whose readings, of which days, worked out when."""
        first, last = self.dates
        return (
            f"solarvent calibrate, {self.log.name}, {first:%Y-%m-%d} to {last:%Y-%m-%d}, {self.days} days, worked out"
            f" {self.today:%Y-%m-%d}"
        )

    def edits(self) -> list[Edit]:
        """Every change of the plan that the log calls for: of its house, its panels and its fans."""
        house = self.figures()
        changes = [Edit("house", "", "measured", house)] if len(house) > 1 else []
        return [*changes, *(Edit(each.section, each.part, each.key, each.value) for each in self.parts)]

    def figures(self) -> dict[str, object]:
        """What is to be written into ``[house.measured]``: the figures that the log tells, with their ranges."""
        measured: dict[str, object] = {"source": self.source}
        for each in self.estimates if self.trusted else ():
            if each.told == "no":
                continue
            if each.name == "ground":
                measured["ground_shift"] = f"{each.value:.2f} K"
                measured["ground_range"] = [f"{each.low:.2f} K", f"{each.high:.2f} K"]
            else:
                measured[f"{each.name}_factor"] = float(f"{each.value:.3g}")
                measured[f"{each.name}_range"] = [float(f"{each.low:.3g}"), float(f"{each.high:.3g}")]
        for name in ("night", "day"):
            if self.trusted and name in self.misses:
                measured[f"{name}_error"] = f"{self.misses[name][1].ninety:.2f} K"
        return measured


def calibrate(
    plan: Plan,
    log: str | Path,
    columns: Mapping[str, str] | None = None,
    *,
    stamp: str = "middle",
    shift: float = 0.0,
    shut: bool = False,
    hold_out: float = 0.25,
) -> Calibration:
    """Find the figures of a plan's house from a log of its temperatures.

    The house is carried through the weather of the log as every other answer carries it; cracks, light, cover, storage
    and ground are fitted with what is known of them beforehand, and some days are held out.

    Parameters
    ----------
    plan : Plan
        The plan; figures that were measured before count for nothing.
    log : str or Path
        A text file with times, inside and outside temperature, and light if there is any; see
        :mod:`solarvent.weather.house_log`.
    columns : mapping of str to str, optional
        What a column holds ("time", "inside", "outside", "sun", ...) to its name in the file.
    stamp : {"middle", "start", "end"}
        What the time of a row stands at in its interval.
    shift : float
        To be added to the times. [s]
    shut : bool
        Openings stayed shut and fans stood, whatever the plan says.
    hold_out : float
        Share of the days that are not fitted; of their nights alone where no light was logged. [-]

    Returns
    -------
    Calibration
        Estimates with their intervals, and the misses before and after.

    Raises
    ------
    WeatherError
        If the log cannot be read, has no outside temperature, or contradicts the sun.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> found = calibrate(load_plan("my-plan.toml"), "log.csv")  # doctest: +SKIP
    >>> [(each.name, each.value, each.low, each.high) for each in found.estimates]  # doctest: +SKIP
    """
    require_kind(plan, Plan)
    read = read_log(log, plan, columns, stamp, shift)
    read = _last_days(read)
    span = span_of_log(plan, read)
    parts, of_parts = part_figures(plan, span)
    if not len(span.sound):
        nothing = np.tile([np.nan, np.nan, 0.0], (24, 1))
        return Calibration(
            plan, read, span, (), 0, None, span.sound, {}, np.nan, nothing, tuple(parts), (*span.notes, *of_parts),
            trusted=False, today=date.today(),
        )  # fmt: skip
    refuse_swapped(span, read.name)
    refuse_wrong_clock(span, read.name)
    unknown = without_sunny_outside(span)
    span.sound &= ~unknown[span.observed.last]
    house = LoggedHouse(plan, span, shut)
    span.sound &= ~without_settings(span, house.usual)
    held = _held_out(span, hold_out)
    fit = house.fit(span.sound & ~held)
    odd, remarks, unfit = odd_readings(span, fit)
    if odd.any() and not unfit:
        kept = span.sound & ~odd
        # With fewer readings than these the fit would follow what is left of them.
        if (kept & ~held).sum() >= max(0.4 * (span.sound & ~held).sum(), 6):
            span.sound = kept
            fit = house.fit(kept & ~held)
            remarks = [f"{text} These hours are left out." for text in remarks]
    layers = next(k for k, prior in enumerate(fit.priors) if prior is LAYERS)
    if fit.z[layers] > _LAYERED:
        remarks.append(
            f"By day the thermometer reads {LAYERS.value(fit.z[layers]):.0%} of the rise over outside above the mean of"
            " the air: does it hang high, or in the sun? The light is told the less for it."
        )
    if unfit:
        remarks.append(
            "So many days part from the model that it does not fit this house: the figures are not to be trusted, and"
            " nothing is written."
        )
    estimates, rank = _estimates(fit)
    tested = held & span.sound
    misses = _misses(span, fit, tested)
    if not misses:
        remarks.append("The log is too short to hold days out.")
    return Calibration(
        plan, read, span, estimates, rank, fit, held, misses, house.ground, _by_hour(span, fit), tuple(parts),
        (*span.notes, *remarks, *of_parts),
        not unfit, date.today(),
    )  # fmt: skip


def _last_days(log: HouseLog) -> HouseLog:
    """Keep the last days of a long log."""
    import pandas as pd

    begin = log.table.index[-1] - pd.Timedelta(days=_MOST_DAYS)
    if log.table.index[0] >= begin:
        return log
    note = f"Of a longer log the last {_MOST_DAYS} days are used."
    return replace(log, table=log.table[log.table.index >= begin], notes=(*log.notes, note))


def _held_out(span: LogSpan, share: float) -> np.ndarray:
    """Mark the readings of the days that are held out, evenly spread; where the light is unknown only their nights."""
    day = span.day[span.observed.last]
    days = int(span.day[-1]) + 1
    count = round(share * days)
    if days < 3 or count < 1 or not 0 < share < 1:
        return np.zeros(len(day), dtype=bool)
    # The middle day of each of so many equal parts of the log.
    chosen = np.unique(np.round((np.arange(count) + 0.5) * days / count).astype(int).clip(0, days - 1))
    held = np.isin(day, chosen)
    if span.light == "unknown":
        dark = span.observed.kind < 0 if (span.observed.kind != 0).any() else ~span.lit[span.observed.last]
        held &= dark
    return held


def _estimates(fit: FittedHouse) -> tuple[tuple[Estimate, ...], int]:
    """Put the figures with their intervals into words, and count the directions that the readings tell."""
    spread = np.sqrt(np.diag(fit.covariance))
    count = len(PRIORS)
    inner = fit.covariance[:count, :count]
    correlation = inner / np.outer(spread[:count], spread[:count])
    # In spreads of the priors the variance is 1 in every direction of which the readings tell nothing.
    rank = int((np.linalg.eigvalsh(inner) < TOLD**2).sum())
    estimates = []
    for k, prior in enumerate(PRIORS):
        end = fit.ends[k]
        low, high = (float(np.clip(fit.z[k] + side * NINETY * spread[k], -end, end)) for side in (-1, 1))
        width = float(spread[k])
        estimates.append(
            Estimate(
                name=prior.name,
                value=prior.value(fit.z[k]),
                low=prior.value(low),
                high=prior.value(high),
                prior_low=prior.value(-NINETY),
                prior_high=prior.value(NINETY),
                width=width,
                told="yes" if width < TOLD else "in part" if width < IN_PART else "no",
                with_=tuple(PRIORS[j].name for j in range(count) if j != k and abs(correlation[k, j]) > _TOGETHER),
                at_end=bool(abs(fit.z[k]) > end - 0.05),
                why=prior.source,
            )
        )
    return tuple(estimates), rank


def _misses(span: LogSpan, fit: FittedHouse, tested: np.ndarray) -> dict[str, tuple[Miss, Miss]]:
    """How far the house misses what was held out, before and after."""
    at = span.observed.at(fit.temp_inside)
    lit = span.lit[at] if not (span.observed.kind != 0).any() else span.observed.kind > 0
    misses = {}
    for name, chosen in (("all", tested), ("night", tested & ~lit), ("day", tested & lit)):
        if chosen.sum() >= 3:
            misses[name] = tuple(
                _miss((span.observed.of(temp) - span.observed.value)[chosen])
                for temp in (fit.temp_before, fit.temp_inside)
            )
    return misses  # type: ignore[return-value]


def _miss(off: np.ndarray) -> Miss:
    size = np.abs(off)
    return Miss(
        len(off), float(np.median(size)), float(np.sqrt(np.mean(off**2))), float(np.percentile(size, 90))
    )  # fmt: skip


def _by_hour(span: LogSpan, fit: FittedHouse) -> np.ndarray:
    """Mean of reading less model by hours of the sun, before and after, and how many readings."""
    at = span.observed.at(fit.temp_inside)[span.sound]
    hour = span.solar_hour[at].astype(int) % 24
    value = span.observed.value
    rows = np.full((24, 3), np.nan)
    rows[:, 2] = np.bincount(hour, minlength=24)
    for column, temp in enumerate((fit.temp_before, fit.temp_inside)):
        sums = np.bincount(hour, (value - span.observed.of(temp))[span.sound], minlength=24)
        rows[:, column] = np.divide(sums, rows[:, 2], out=np.full(24, np.nan), where=rows[:, 2] > 0)
    return rows
