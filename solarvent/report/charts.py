"""The charts: a day by the hour, and the curves that explain why a fan starts or does not."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, isnan
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.columns import COLUMNS
from solarvent.inputs.parts import Fan
from solarvent.planning.operating_curves import OperatingCurves
from solarvent.report import figure as form

if TYPE_CHECKING:
    import pandas as pd

#: Behind words that lie over lines.
_PLATE = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6}
_DAY_HEIGHTS = (1.0, 1.35, 1.1, 1.1)


@dataclass(frozen=True, eq=False)
class DayPicture:
    """What the picture of a day shows.

    Attributes
    ----------
    name : str
        One word, the key of the picture.
    title : str
        In words, with the date.
    hours : pandas.DataFrame
        The lit steps of the day, as in :attr:`solarvent.planning.simulate.Run.hours`.
    step : float
        [h]
    fans : tuple of Fan
        In the order of the plan.
    wanted : float
        Air changes that would be enough on a sunny hour; NaN if not known. [1/h]
    need : tuple of float
        Clock hours in which air is needed. [h]
    """

    name: str
    title: str
    hours: pd.DataFrame
    step: float
    fans: tuple[Fan, ...]
    wanted: float
    need: tuple[float, float]


def day_chart(day: DayPicture, system: str) -> str:
    """Draw one day: sun, fan volts with their limits, air changes, temperatures, and the turning fans as bars.

    Parameters
    ----------
    day : DayPicture
        What is shown.
    system : {"metric", "us"}
        Units.

    Returns
    -------
    str
        An ``svg`` element.
    """
    import matplotlib
    from matplotlib.figure import Figure

    bars = 0.24 * min(len(day.fans), 12) + 0.25
    heights = (*_DAY_HEIGHTS, bars)
    with matplotlib.rc_context(form.settings(day.name)):
        figure = Figure(figsize=(form.WIDTH, sum(heights) + 1.5))
        axes = figure.subplots(5, 1, sharex=True, height_ratios=heights)
        edges = _edges(day)
        _sun(axes[0], edges, day, system)
        _volts(axes[1], edges, day)
        _air(axes[2], edges, day)
        _warmth(axes[3], edges, day, system)
        _turning(axes[4], edges, day)
        for axis in axes:
            axis.axvspan(*day.need, color=form.PALE, alpha=0.45, linewidth=0, zorder=0)
            axis.margins(x=0)
            axis.yaxis.set_label_coords(-0.105, 0.5)
        for axis in axes[:-1]:
            axis.xaxis.set_visible(False)
        first, last = int(edges[0]), int(np.ceil(edges[-1]))
        ticks = np.arange(first + first % 2, last + 1, 2 if last - first <= 18 else 3)
        axes[4].set_xticks(ticks, [f"{tick:02d}:00" for tick in ticks])
        axes[4].set_xlabel("clock time (tinted: the hours in which air is needed)")
        figure.subplots_adjust(left=0.14, right=0.975, top=0.965, bottom=0.075, hspace=0.42)
        return form.to_svg(figure, day.name, day.title, day_words(day, system))


def _edges(day: DayPicture) -> np.ndarray:
    """Clock hours of the edges of all steps."""
    index: Any = day.hours.index
    starts = index.hour.to_numpy() + index.minute.to_numpy() / 60.0
    return np.append(starts, starts[-1] + day.step)


def _title(axis: Any, text: str) -> None:
    axis.set_title(text, loc="left", fontsize=8.5, pad=3)


def _sun(axis: Any, edges: np.ndarray, day: DayPicture, system: str) -> None:
    column = COLUMNS["poa_global"]
    axis.stairs(day.hours["poa_global"], edges, fill=True, color=form.SUN, alpha=0.55)
    axis.stairs(day.hours["poa_global"], edges, color=form.INK, linewidth=0.8)
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
        style = form.FAN_DASHES[number % len(form.FAN_DASHES)]
        colour = form.FAN_COLOURS[number % len(form.FAN_COLOURS)]
        turns = day.hours[f"running.{names[0]}"].to_numpy() > 0
        axis.stairs(np.where(turns, np.nan, values), edges, baseline=None, color=form.MUTED, linewidth=0.6,
                    label="" if number else "standing")  # fmt: skip
        axis.stairs(np.where(turns, values, np.nan), edges, baseline=None, color=colour, linestyle=style, linewidth=1.3,
                    label=_short(names))  # fmt: skip
        top = max(top, float(values.max()), fan.start_voltage)
    limits = _limits(day.fans, top)
    top = max(top, *(volts for _, volts in limits)) * 1.12
    for word, volts in limits:
        axis.axhline(volts, color=form.INK, linewidth=0.7, linestyle=(0, (1, 2)))
        axis.text(edges[-1], volts, f"{word} {volts:g} ", ha="right", va="bottom", fontsize=7.5, bbox=_PLATE)
    maximum = min(fan.maximum_voltage for fan in day.fans)
    if maximum < top:
        axis.axhspan(maximum, top, facecolor="none", edgecolor=form.RED, hatch="////", linewidth=0, alpha=0.6)
    axis.set_ylim(0, top)
    axis.set_ylabel("V")
    _title(axis, "Fan volts")
    if len(groups) < 6:
        axis.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=3, frameon=False, fontsize=7.5, handlelength=2.2,
                    borderpad=0, columnspacing=1)  # fmt: skip


def _limits(fans: tuple[Fan, ...], top: float) -> list[tuple[str, float]]:
    """The limits that a line is drawn for: those of the fan that is hardest to please."""
    maximum = min(fan.maximum_voltage for fan in fans)
    shown = [("starts at", max(fan.start_voltage for fan in fans)), ("stops at", min(f.run_down_voltage for f in fans))]
    return [*shown, ("bears", maximum)] if maximum < 1.6 * top else shown


def _alike(day: DayPicture) -> list[tuple[list[str], Fan]]:
    """Fans whose voltage is nearly the same all day share a line."""
    groups: list[tuple[list[str], Fan]] = []
    for fan in day.fans:
        own = day.hours[f"voltage.{fan.id}"].to_numpy()
        for names, _ in groups:
            if np.allclose(own, day.hours[f"voltage.{names[0]}"].to_numpy(), atol=0.6):
                names.append(str(fan.id))
                break
        else:
            groups.append(([str(fan.id)], fan))
    return groups


def _short(names: list[str]) -> str:
    text = ", ".join(names)
    return text if len(text) <= 24 else f"{names[0][:16]} and {len(names) - 1} more" if names[1:] else text[:24]


def _air(axis: Any, edges: np.ndarray, day: DayPicture) -> None:
    values = day.hours["air_changes"].to_numpy()
    axis.stairs(values, edges, fill=True, color=form.BLUE, alpha=0.8)
    highest = max(1.0, float(values.max()))
    note = f" (enough in full sun: {day.wanted:.0f})" if isfinite(day.wanted) else ""
    if isfinite(day.wanted) and day.wanted <= 2.2 * highest:
        axis.axhline(day.wanted, color=form.INK, linewidth=0.9, linestyle=(0, (5, 2)))
        highest = max(highest, 1.12 * day.wanted)
    axis.set_ylim(0, 1.1 * highest)
    axis.set_ylabel("per hour")
    _title(axis, f"Air changes{note}")


def _warmth(axis: Any, edges: np.ndarray, day: DayPicture, system: str) -> None:
    column = COLUMNS["temp_air"]
    centre = (edges[:-1] + edges[1:]) / 2
    for name, colour, style in (("temp_inside", form.RED, "solid"), ("temp_air", form.INK, (0, (4, 2)))):
        values = np.array([column.shown(value, system) for value in day.hours[name]])
        axis.plot(centre, values, color=colour, linestyle=style, linewidth=1.3)
        peak = int(np.argmax(values))
        axis.annotate(
            f"{COLUMNS[name].label} {values[peak]:.0f}", (centre[peak], values[peak]), (0, 3), ha="center",
            textcoords="offset points", fontsize=7.5, color=colour,
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
        axis.stairs(0.8 * share - row - 0.4, edges, baseline=-row - 0.4, fill=True, color=form.GREEN)
        axis.axhline(-row - 0.4, color=form.MUTED, linewidth=0.4)
        axis.text(edges[0] + 0.1, -row, str(fan.id)[:22], va="center", fontsize=7.5, bbox=_PLATE)
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


def operating_chart(curves: OperatingCurves, name: str) -> str:
    """Draw what the panels offer and what the fans ask for.

    Parameters
    ----------
    curves : OperatingCurves
        One circuit.
    name : str
        One word, the key of the picture.

    Returns
    -------
    str
        An ``svg`` element.
    """
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(form.settings(name)):
        figure = Figure(figsize=(form.WIDTH, 4.7))
        axis = figure.subplots()
        right = max(curve.voltage[-1] for curve in curves.sources.values()) * 1.13
        top = _top(curves)
        _shade(axis, curves, right, top)
        _offered(axis, curves, top)
        _asked(axis, curves, right, top)
        _marks(axis, curves, top)
        axis.set_xlim(0, right)
        axis.set_ylim(0, top)
        axis.set_xlabel("voltage at the end of the panel's lead [V]")
        axis.set_ylabel("current [A]")
        figure.subplots_adjust(left=0.12, right=0.985, top=0.985, bottom=0.265)
        title = f"What the sun offers and what the fans ask for: {', '.join(curves.panels)[:60]}"
        return form.to_svg(figure, name, title, operating_words(curves))


def _top(curves: OperatingCurves) -> float:
    """Highest current shown: enough for every point, and for the panel in some sun, not the whole locked-rotor line."""
    needed = [crossing.current for crossing in curves.crossings]
    if curves.start_point is not None:
        needed.append(curves.start_point[1])
    return float(min(1.15 * curves.sources[1000.0].current[0], max(1.9 * max(needed), 0.05)))


def _shade(axis: Any, curves: OperatingCurves, right: float, top: float) -> None:
    low, high = curves.run_down_voltage, curves.maximum_voltage
    if isfinite(low):
        axis.axvspan(0, low, color=form.PALE, alpha=0.8, linewidth=0)
        axis.text(low - 0.01 * right, 0.985 * top, "too little to\nkeep turning", va="top", ha="right", fontsize=7.5)
    if isfinite(high) and high < right:
        axis.axvspan(high, right, facecolor="none", edgecolor=form.RED, hatch="////", linewidth=0, alpha=0.7)
        axis.axvline(high, color=form.RED, linewidth=1)
        axis.text(
            high - 0.01 * right, 0.985 * top, "beyond: more\nthan a fan bears", va="top", ha="right", fontsize=7.5,
            color=form.RED, bbox=_PLATE,
        )  # fmt: skip


def _offered(axis: Any, curves: OperatingCurves, top: float) -> None:
    for number, (sun, curve) in enumerate(curves.sources.items()):
        words = "" if number else f"panel in {sun:.0f} to {max(curves.sources):.0f} W/m² (thicker: more)"
        axis.plot(curve.voltage, curve.current, color=form.SUN, linewidth=0.8 + sun / 800, label=words or None)
        if 0.03 * top < curve.current[0] < 0.96 * top:
            axis.text(0.4, curve.current[0], f"{sun:.0f} W/m²", va="bottom", fontsize=7.5, color="#6b4d00")
    if curves.start_source is not None:
        curve, words = curves.start_source, f"panel in the {curves.limits.start_irradiance:.0f} W/m² that start it"
        axis.plot(curve.voltage, curve.current, color=form.INK, linewidth=1, linestyle=(0, (2, 1.5)), label=words)


def _asked(axis: Any, curves: OperatingCurves, right: float, top: float) -> None:
    for curve, colour, style, words in (
        (curves.turning, form.GREEN, "solid", "all fans turning"),
        (curves.standing, form.BLUE, (0, (5, 2)), f"{_short([curves.last])} standing, trying to start"),
    ):
        chosen = (curve.voltage <= right) & (curve.current <= 1.05 * top)
        volts, amps = _thinned(curve.voltage[chosen], curve.current[chosen])
        axis.plot(volts, amps, color=colour, linestyle=style, linewidth=1.8, label=words)


def _thinned(volts: np.ndarray, amps: np.ndarray, points: int = 80) -> tuple[np.ndarray, np.ndarray]:
    keep = np.unique(np.linspace(0, len(volts) - 1, points).astype(int))
    return volts[keep], amps[keep]


def _marks(axis: Any, curves: OperatingCurves, top: float) -> None:
    for turns, shape, colour, words in ((True, "o", form.GREEN, "runs here"), (False, "s", form.BLUE, "stuck here")):
        points = [(item.voltage, item.current) for item in curves.crossings if item.turning == turns]
        if points:
            volts, amps = zip(*points, strict=True)
            face = colour if turns else "white"
            axis.plot(volts, amps, linestyle="none", marker=shape, markersize=5.5, markerfacecolor=face,
                      markeredgecolor=colour, markeredgewidth=1.3, label=words, zorder=5)  # fmt: skip
    if curves.start_point is not None and curves.start_point[1] <= top:
        axis.plot(*curves.start_point, linestyle="none", marker="^", markersize=8, color=form.INK, zorder=6,
                  label="panel must reach this to start")  # fmt: skip
    axis.legend(loc="upper center", bbox_to_anchor=(0.45, -0.13), ncols=2, frameon=False, fontsize=7.5,
                labelspacing=0.4, columnspacing=1.2)  # fmt: skip


def operating_words(curves: OperatingCurves) -> str:
    """Say in words what the curves show."""
    start, stop = curves.limits.start_irradiance, curves.limits.run_down_irradiance
    if curves.start_point is None or isnan(start):
        words = [f"In no sun does the panel's curve reach the point from which {curves.last} starts."]
    else:
        words = [
            f"A standing rotor asks for much more current than a turning one. {curves.last} starts when the panel's"
            f" curve reaches {curves.start_point[0]:.1f} V at {curves.start_point[1]:.2f} A, which is at {start:.0f}"
            f" W/m2; once turning it keeps on down to {stop:.0f} W/m2."
        ]
    turning = [item for item in curves.crossings if item.turning]
    if turning:
        volts = [item.voltage for item in turning]
        words.append(f"Turning, the circuit rests at {min(volts):.1f} to {max(volts):.1f} V.")
    if isfinite(curves.maximum_voltage) and any(item.voltage > curves.maximum_voltage for item in turning):
        words.append(f"That is above the {curves.maximum_voltage:.1f} V that a fan bears.")
    return " ".join(words)
