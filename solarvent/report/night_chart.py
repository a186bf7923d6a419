"""The picture of the coldest night: outside, inside as planned, and with everything shut."""

from __future__ import annotations

from typing import Any

import numpy as np

from solarvent.base.columns import COLUMNS
from solarvent.report import figure as form
from solarvent.simulation.cold_night import Night


def night_chart(night: Night, system: str) -> str:
    """Draw the temperatures of a night.

    Parameters
    ----------
    night : Night
        From :func:`solarvent.simulation.cold_night.cold_night`.
    system : {"metric", "us"}
        Units.

    Returns
    -------
    str
        An ``svg`` element.
    """
    import matplotlib
    from matplotlib.figure import Figure

    column = COLUMNS["temp_inside"]
    hours = np.arange(len(night.times)) * night.run.conditions.step / 3600.0
    with matplotlib.rc_context(form.settings("night")):
        figure = Figure(figsize=(form.WIDTH, 2.6))
        axis = figure.subplots()
        for values, words, colour, style in (
            (night.temp_inside, "inside as planned", form.RED, "solid"),
            (night.temp_shut, "inside all shut", form.BLUE, (0, (5, 2))),
            (night.temp_air, "outside", form.INK, (0, (1.5, 1.5))),
        ):
            shown = [column.shown(float(value), system) for value in values]
            axis.plot(hours, shown, color=colour, linestyle=style, linewidth=1.4, label=words)
        frost = column.shown(0.0, system)
        axis.axhline(frost, color=form.MUTED, linewidth=0.8)
        axis.text(hours[-1], frost, "frost ", ha="right", va="bottom", fontsize=7.5, bbox=form.PLATE)
        low, high = axis.get_ylim()
        axis.set_ylim(low, max(high, frost + 0.12 * (high - low)))
        _clock(axis, night, hours)
        axis.set_ylabel(column.unit(system).replace("deg", "°"))
        axis.legend(
            loc="upper center",
            bbox_to_anchor=(0.45, -0.2),
            ncols=3,
            frameon=False,
            fontsize=7.5,
            handlelength=1.5,
            columnspacing=0.8,
        )
        figure.subplots_adjust(left=0.12, right=0.975, top=0.97, bottom=0.25)
        return form.to_svg(figure, "night", "The coldest night", night_words(night, system))


def _clock(axis: Any, night: Night, hours: np.ndarray) -> None:
    """Write clock times under a night, six or so."""
    every = max(len(hours) // 6, 1)
    axis.set_xticks(hours[::every], [f"{time:%H:%M}" for time in night.times[::every]])
    axis.set_xlim(0, hours[-1])


def night_words(night: Night, system: str) -> str:
    """Say in words what the picture of a night shows."""
    column = COLUMNS["temp_inside"]
    outside, inside, shut = (
        column.shown(float(values.min()), system) for values in (night.temp_air, night.temp_inside, night.temp_shut)
    )
    return (
        f"From {night.times[0]:%d %B %H:%M}: outside falls to {outside:.0f} {column.unit(system)}, inside to"
        f" {inside:.0f} as planned and to {shut:.0f} with everything shut at night."
    )
