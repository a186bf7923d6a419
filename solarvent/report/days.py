"""Days: as bars in text, as strips of the page with the sun above the air, and one by the hour as a chart."""

from __future__ import annotations

from calendar import month_abbr, month_name
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, isfinite
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.columns import COLUMNS
from solarvent.plan.parts import Fan
from solarvent.report.charts import BLUE, GREEN, INK, MUTED, PALE, PLATE, RED, SUN, WIDTH, settings, to_svg
from solarvent.report.layout import clock, width
from solarvent.studies.overview import DayOverview, GlanceDay

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


#: Eight heights; the plain ones are letters that every console has.
BLOCKS, PLAIN = "▁▂▃▄▅▆▇█", ".:-=+*#@"
_LABEL, _WORDS = 5, 12
_FULL_SUN = 1000.0


def day_bars(hours: pd.DataFrame, highest: float, plain: bool = False) -> str:
    """Draw sun and air changes of the lit steps of a day, one bar a step; empty for no steps.

    Three lines of at most 80 columns: the clock, the sun (a full bar is 1000 W/m2), and the air, of which a full bar is
    `highest` [1/h].
    """
    if hours.empty:
        return ""
    space = width() - _LABEL - _WORDS
    # A day by the minute has more steps than columns: some share a bar.
    together = ceil(len(hours) / space)
    wide = max(min(space // ceil(len(hours) / together), 4), 1)
    index: Any = hours.index
    starts = (index.hour + index.minute / 60.0).to_numpy()[::together]
    lines = [" " * _LABEL + _clock(starts, wide)]
    for label, name, full, unit in (("sun", "poa_global", _FULL_SUN, "W/m2"), ("air", "air_changes", highest, "/h")):
        values = hours[name].to_numpy(dtype=float)
        means = [values[at : at + together].mean() for at in range(0, len(values), together)]
        bars = "".join(bar(value / full if full > 0 else 0.0, plain) * wide for value in means)
        lines.append(f"{label:<{_LABEL}}{bars}  {values.max():.0f} {unit}")
    return "\n".join(line.rstrip() for line in lines)


def bar(share: float, plain: bool = False) -> str:
    """Give the sign for a share of a full bar; a blank for next to nothing."""
    signs = PLAIN if plain else BLOCKS
    # Put so that NaN is a blank too.
    if not share > 0.02:
        return " "
    return signs[min(ceil(share * len(signs)), len(signs)) - 1]


def _clock(starts: np.ndarray, wide: int) -> str:
    """Write every third hour above its bar."""
    line = ""
    for place, start in enumerate(starts):
        earlier = starts[place - 1] if place else start - 1
        if ceil(earlier + 1e-9) <= start and int(start) % 3 == 0 and (not place or int(earlier) != int(start)):
            # The time before it still stands there.
            if len(line) > place * wide:
                continue
            line = f"{line:<{place * wide}}{int(start):02d}:00 "
    return line


@dataclass(frozen=True)
class Strip:
    """One day, from midnight to midnight, by clock hour.

    The bars are shares of a full one, of the air or of the fans that turn; the sun is the light on the panel as a
    share of 1000 W/m2.
    """

    sky: str
    date: str
    words: str
    bars: list[tuple[float, float]]
    sun: list[tuple[float, float]]


@dataclass(frozen=True)
class MonthStrips:
    """The brightest, the middle and the dullest day of a month; a full bar of air is `highest` [1/h]."""

    number: int
    name: str
    strips: list[Strip]
    highest: float


def month_strips(glance: Sequence[Sequence[GlanceDay]]) -> list[MonthStrips]:
    """Draw the telling days of every month, all to one scale."""
    highest = max((float(day.hours["air_changes"].max()) for days in glance for day in days), default=0.0)
    return [
        MonthStrips(days[0].month, month_abbr[days[0].month], [_strip(day, highest or 1.0) for day in days], highest)
        for days in glance
    ]


def _strip(day: GlanceDay, highest: float) -> Strip:
    table = day.hours
    hours = table.index.to_numpy(dtype=float)
    turning = np.flatnonzero(table["fans_running"].to_numpy() > 0)
    words = "no fan turns"
    if len(turning):
        first, last = hours[turning[0]], hours[turning[-1]] + 1
        words = f"{first:02.0f}:00 to {last:02.0f}:00, up to {table['air_changes'].max():.2g} changes/h"
    return _laid(day.kind, f"{day.day} {month_name[day.month]}", words, table, table["air_changes"] / highest)


def fans_strip(day: DayOverview, fans: int) -> Strip:
    """Draw one day with bars for the share of so many fans that turns, in place of the air."""
    hours: Any = day.hours.index
    table = day.hours[["poa_global", "fans_running"]].groupby(hours.hour).mean()
    words = "no fan turns"
    if day.turning:
        first, last = (clock(hour) for hour in day.turning)
        words = f"fans turn from {first} to {last}, at most {table['fans_running'].max():.3g} of {fans}"
    date = f"{day.telling.day:%d %B}".lstrip("0")
    return _laid(day.telling.kind, date, words, table, table["fans_running"] / fans)


def _laid(kind: str, date: str, words: str, table: pd.DataFrame, bars: pd.Series) -> Strip:
    """Lay a day out whose table is indexed by clock hour."""
    hours = [float(hour) for hour in table.index]
    sun = np.minimum(table["poa_global"] / _FULL_SUN, 1.0)
    return Strip(kind, date, words, *(list(zip(hours, values.tolist(), strict=True)) for values in (bars, sun)))


FAN_COLOURS = (BLUE, RED, GREEN, "#7a3e86", INK)
FAN_DASHES = ("solid", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (3, 1)))
_DAY_HEIGHTS = (1.0, 1.35, 1.1, 1.1)


@dataclass(frozen=True, eq=False)
class DayPicture:
    """What the picture of a day shows: its lit steps, each `step` [h] long, and the clock hours of need [h].

    `name` is the key of the picture, `wanted` the air changes that would be enough on a sunny hour [1/h], NaN if not
    known.
    """

    name: str
    title: str
    hours: pd.DataFrame
    step: float
    fans: tuple[Fan, ...]
    wanted: float
    need: tuple[float, float]


def day_chart(day: DayPicture, system: str) -> str:
    """Draw one day as SVG."""
    import matplotlib

    with matplotlib.rc_context(settings(day.name)):
        return to_svg(day_figure(day, system), day.name, day.title, day_words(day, system))


def day_figure(day: DayPicture, system: str) -> Figure:
    """Draw one day: sun, fan volts with their limits, air changes, temperatures, bars of the turning fans."""
    import matplotlib
    from matplotlib.figure import Figure

    bars = 0.24 * min(len(day.fans), 12) + 0.25
    heights = (*_DAY_HEIGHTS, bars)
    with matplotlib.rc_context(settings(day.name)):
        figure = Figure(figsize=(WIDTH, sum(heights) + 1.5))
        axes = figure.subplots(5, 1, sharex=True, height_ratios=heights)
        edges = _edges(day)
        _sun(axes[0], edges, day, system)
        _volts(axes[1], edges, day)
        _air(axes[2], edges, day)
        _warmth(axes[3], edges, day, system)
        _turning(axes[4], edges, day)
        for axis in axes:
            axis.axvspan(*day.need, color=PALE, alpha=0.45, linewidth=0, zorder=0)
            axis.margins(x=0)
            axis.yaxis.set_label_coords(-0.105, 0.5)
        for axis in axes[:-1]:
            axis.xaxis.set_visible(False)
        first, last = int(edges[0]), int(np.ceil(edges[-1]))
        ticks = np.arange(first + first % 2, last + 1, 2 if last - first <= 18 else 3)
        axes[4].set_xticks(ticks, [f"{tick:02d}:00" for tick in ticks])
        axes[4].set_xlabel("clock time (tinted: the hours in which air is needed)")
        figure.subplots_adjust(left=0.14, right=0.975, top=0.965, bottom=0.075, hspace=0.42)
        return figure


def _edges(day: DayPicture) -> np.ndarray:
    """Clock hours of the edges of all steps."""
    index: Any = day.hours.index
    starts = index.hour.to_numpy() + index.minute.to_numpy() / 60.0
    return np.append(starts, starts[-1] + day.step)


def _title(axis: Any, text: str) -> None:
    axis.set_title(text, loc="left", fontsize=8.5, pad=3)


def _sun(axis: Any, edges: np.ndarray, day: DayPicture, system: str) -> None:
    column = COLUMNS["poa_global"]
    axis.stairs(day.hours["poa_global"], edges, fill=True, color=SUN, alpha=0.55)
    axis.stairs(day.hours["poa_global"], edges, color=INK, linewidth=0.8)
    axis.set_ylim(0, max(1000.0, 1.05 * float(day.hours["poa_global"].max())))
    axis.set_ylabel(_typeset(column.unit(system)))
    axis.set_yticks([0, 500, 1000])
    _title(axis, "Sun on the panel")


def _volts(axis: Any, edges: np.ndarray, day: DayPicture) -> None:
    """One line a kind of fan; limits as lines with their words."""
    groups = _alike(day)
    top = 0.0
    for number, (names, fan) in enumerate(groups):
        values = day.hours[f"voltage.{names[0]}"].to_numpy()
        style = FAN_DASHES[number % len(FAN_DASHES)]
        colour = FAN_COLOURS[number % len(FAN_COLOURS)]
        turns = day.hours[f"running.{names[0]}"].to_numpy() > 0
        axis.stairs(np.where(turns, np.nan, values), edges, baseline=None, color=MUTED, linewidth=0.6,
                    label="" if number else "standing")  # fmt: skip
        axis.stairs(np.where(turns, values, np.nan), edges, baseline=None, color=colour, linestyle=style, linewidth=1.3,
                    label=_short(names))  # fmt: skip
        top = max(top, float(values.max()), fan.start_voltage)
    limits = _limits(day.fans, top)
    top = max([top, *(volts for _, volts in limits)]) * 1.12
    for word, volts in limits:
        # Words go under a line where another one follows close above it.
        crowded = any(0 < other - volts < 0.16 * top for _, other in limits)
        axis.axhline(volts, color=INK, linewidth=0.7, linestyle=(0, (1, 2)))
        axis.text(edges[0], volts, f" {word} {volts:g}", ha="left", va="top" if crowded else "bottom", fontsize=8.5,
                  bbox=PLATE)  # fmt: skip
    maximum = min(fan.maximum_voltage for fan in day.fans)
    if maximum < top:
        axis.axhspan(maximum, top, facecolor="none", edgecolor=RED, hatch="////", linewidth=0, alpha=0.6)
    axis.set_ylim(0, top)
    axis.set_ylabel("V")
    _title(axis, "Fan volts")
    if len(groups) < 6:
        axis.legend(
            loc="lower right",
            bbox_to_anchor=(1, 1),
            ncols=2,
            frameon=False,
            fontsize=8.5,
            handlelength=1.2,
            borderpad=0,
            columnspacing=0.8,
        )


def _limits(fans: tuple[Fan, ...], top: float) -> list[tuple[str, float]]:
    """The limits that a line is drawn for: those of the fan that is hardest to please, named if they are unlike."""
    found = []
    for words, key, choose in (
        ("rated maximum", "maximum_voltage", min),
        ("starts at", "start_voltage", max),
        ("stops at", "stop_voltage", max),
    ):
        fan = choose(fans, key=attrgetter(key))
        unlike = len({getattr(one, key) for one in fans}) > 1
        found.append((f"{fan.id[:14]} {words}" if unlike else words, float(getattr(fan, key))))
    # A limit far above all volts of the day would press them to the foot of the picture.
    return [limit for limit in found if limit[1] < 1.6 * top]


def _alike(day: DayPicture) -> list[tuple[list[str], Fan]]:
    """Fans whose voltage is nearly the same all day share a line."""
    groups: list[tuple[list[str], Fan]] = []
    for fan in day.fans:
        own = day.hours[f"voltage.{fan.id}"].to_numpy()
        for names, _ in groups:
            # Lines that are closer than this [V] cannot be told apart at this size.
            if np.allclose(own, day.hours[f"voltage.{names[0]}"].to_numpy(), atol=0.6):
                names.append(fan.id)
                break
        else:
            groups.append(([fan.id], fan))
    return groups


def _short(names: list[str]) -> str:
    text = ", ".join(names)
    return text if len(text) <= 24 else f"{names[0][:16]} and {len(names) - 1} more" if names[1:] else text[:24]


def _air(axis: Any, edges: np.ndarray, day: DayPicture) -> None:
    values = day.hours["air_changes"].to_numpy()
    axis.stairs(values, edges, fill=True, color=BLUE, alpha=0.8)
    highest = max(1.0, float(values.max()))
    note = f" (enough in full sun: {day.wanted:.0f})" if isfinite(day.wanted) else ""
    # Higher up, its line would press the bars to the foot; the title tells it in any case.
    if isfinite(day.wanted) and day.wanted <= 2.2 * highest:
        axis.axhline(day.wanted, color=INK, linewidth=0.9, linestyle=(0, (5, 2)))
        highest = max(highest, 1.12 * day.wanted)
    axis.set_ylim(0, 1.1 * highest)
    axis.set_ylabel("per hour")
    _title(axis, f"Air changes{note}")


def _warmth(axis: Any, edges: np.ndarray, day: DayPicture, system: str) -> None:
    column = COLUMNS["temp_air"]
    centre = (edges[:-1] + edges[1:]) / 2
    for name, colour, style in (("temp_inside", RED, "solid"), ("temp_air", INK, (0, (4, 2)))):
        values = np.array([column.shown(value, system) for value in day.hours[name]])
        axis.plot(centre, values, color=colour, linestyle=style, linewidth=1.3)
        peak = int(np.argmax(values))
        axis.annotate(
            f"{COLUMNS[name].label} {values[peak]:.0f}", (centre[peak], values[peak]), (0, 3), ha="center",
            textcoords="offset points", fontsize=8.5, color=colour,
        )  # fmt: skip
    low, high = axis.get_ylim()
    axis.set_ylim(low, high + 0.16 * (high - low))
    axis.set_ylabel(_typeset(column.unit(system)))
    _title(axis, "Air inside and outside")


def _typeset(unit: str) -> str:
    """Write a unit as people write it."""
    return unit.replace("deg", "°").replace("m2", "m²").replace("m3", "m³")


def _turning(axis: Any, edges: np.ndarray, day: DayPicture) -> None:
    """A bar a fan, as high as the share of the step in which it turns."""
    shown = day.fans[:12]
    for row, fan in enumerate(shown):
        share = day.hours[f"running.{fan.id}"].to_numpy()
        axis.stairs(0.8 * share - row - 0.4, edges, baseline=-row - 0.4, fill=True, color=GREEN)
        axis.axhline(-row - 0.4, color=MUTED, linewidth=0.4)
        axis.text(edges[0] + 0.1, -row, fan.id[:22], va="center", fontsize=8.5, bbox=PLATE)
    axis.set_ylim(-len(shown) + 0.4, 0.6)
    axis.set_yticks([])
    more = f", the first 12 of {len(day.fans)}" if len(day.fans) > 12 else ""
    _title(axis, f"Fans turning (height: share of the hour{more})")


def day_words(day: DayPicture, system: str) -> str:
    """Say in words what the picture of a day shows."""
    hours = day.hours
    parts = [f"Sun at most {hours['poa_global'].max():.0f} W/m2."]
    for fan in day.fans[:12]:
        turning = hours[hours[f"running.{fan.id}"] > 0]
        if turning.empty:
            parts.append(f"{fan.id} does not turn.")
            continue
        first, last = turning.index[0], turning.index[-1]
        volts = turning[f"voltage.{fan.id}"]
        parts.append(
            f"{fan.id} turns from {first:%H:%M} to {last.hour + last.minute / 60 + day.step:.0f}:00"
            f" at {volts.min():.1f} to {volts.max():.1f} V."
        )
    peak = hours["air_changes"].max()
    parts.append(f"At most {peak:.0f} air changes an hour.")
    column = COLUMNS["temp_inside"]
    inside, outside = (column.shown(hours[name].max(), system) for name in ("temp_inside", "temp_air"))
    parts.append(f"Inside up to {inside:.0f} {column.unit(system)}, outside up to {outside:.0f}.")
    return " ".join(parts)
