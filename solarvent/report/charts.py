"""How every chart is drawn; the chart of the coldest night, and why a fan starts: what sun offers and fans ask for."""

from __future__ import annotations

import io
import re
from html import escape
from math import isfinite, isnan
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.columns import COLUMNS
from solarvent.simulation.cold_night import Night
from solarvent.studies.operating_curves import OperatingCurves

if TYPE_CHECKING:
    from matplotlib.figure import Figure


WIDTH = 3.5  # inches; on a phone of 360 px the smallest text is then 11 px high
#: From Okabe & Ito (2008), darkened where they carry text; their lightness differs too, for print in grey.
INK, MUTED, PALE = "#17262b", "#5b6b70", "#dfe6e6"
SUN, BLUE, RED, GREEN = "#e0a100", "#0b62a4", "#b5480a", "#0a7a5c"
#: What must not be built so, as on the page.
STOP = "#9c2f10"
#: Behind words that lie over lines.
PLATE = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6}
_NUMBER = re.compile(r"\d+\.\d{3,}")


def settings(name: str) -> dict[Any, Any]:
    """Give the settings under which a chart is drawn; nothing of the user's own settings is touched."""
    return {
        # Text stays text: it is searched, read aloud, and short.
        "svg.fonttype": "none",
        # Else the ids of its parts are new every time.
        "svg.hashsalt": f"solarvent {name}",
        # A dollar in the name of a part begins no formula.
        "text.parse_math": False,
        "font.family": "sans-serif",
        "font.size": 8.5,
        "text.color": INK,
        "axes.edgecolor": MUTED,
        "axes.labelcolor": INK,
        "axes.linewidth": 0.6,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.axisbelow": True,
        "axes.titley": 1.0,  # else its place is sought anew for every drawing
        "axes.unicode_minus": False,
        "grid.color": PALE,
        "grid.linewidth": 0.6,
        "xtick.color": MUTED,
        "ytick.color": MUTED,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "hatch.linewidth": 0.5,
    }


def to_svg(figure: Figure, name: str, title: str, description: str) -> str:
    """Write a figure as an SVG element with a text alternative.

    The name goes before its ids and keeps them apart from those of other charts. The figure is drawn under
    :func:`settings`; the same figure gives the same text.
    """
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :].rstrip()
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    # A rule for every element would reach all of the page; the join of lines is said on the root in its place.
    text = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>\s*", "", text, flags=re.DOTALL)
    # A tenth of a pixel is finer than any screen.
    text = _NUMBER.sub(lambda found: f"{float(found[0]):.2f}".rstrip("0").rstrip("."), text)
    # One family that every machine has, in place of a list of names.
    text = re.sub(r"font-family: [^;\"]*", "font-family: sans-serif", text)
    text = re.sub(r"font: ([\d.]+px) [^;\"]*", r"font: \1 sans-serif", text)
    return labelled(text, name, title, description)


def labelled(text: str, name: str, title: str, description: str) -> str:
    """Give an SVG element a title and a description, and its ids a name of their own."""
    # One page holds many pictures, whose ids must not meet.
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r'href="#', f'href="#{name}-', text)
    text = text.replace("url(#", f"url(#{name}-")
    _, _, inside = text.partition(">")
    box = re.search(r'viewBox="([^"]*)"', text)
    assert box is not None
    width, height = box[1].split()[2:]
    return (
        f'<svg class="picture" xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
        f' role="img" aria-labelledby="{name}-title {name}-words" viewBox="{box[1]}" width="{width}" height="{height}"'
        f' stroke-linejoin="round">'
        f'<title id="{name}-title">{escape(printable(title))}</title>'
        f'<desc id="{name}-words">{escape(printable(description))}</desc>{inside}'
    )


def printable(text: str) -> str:
    """Leave out what has no shape and XML may not hold: control characters and marks that turn the way of reading."""
    return "".join(letter for letter in text if letter.isprintable())


def night_chart(night: Night, system: str) -> str:
    """Draw the temperatures of a night as SVG."""
    import matplotlib
    from matplotlib.figure import Figure

    column = COLUMNS["temp_inside"]
    hours = np.arange(len(night.times)) * night.run.conditions.step / 3600.0
    with matplotlib.rc_context(settings("night")):
        figure = Figure(figsize=(WIDTH, 2.6))
        axis = figure.subplots()
        for values, words, colour, style in (
            (night.temp_inside, "inside as planned", RED, "solid"),
            (night.temp_shut, "inside all shut", BLUE, (0, (5, 2))),
            (night.temp_air, "outside", INK, (0, (1.5, 1.5))),
        ):
            shown = [column.shown(float(value), system) for value in values]
            axis.plot(hours, shown, color=colour, linestyle=style, linewidth=1.4, label=words)
        frost = column.shown(0.0, system)
        axis.axhline(frost, color=MUTED, linewidth=0.8)
        axis.text(hours[-1], frost, "frost ", ha="right", va="bottom", fontsize=8.5, bbox=PLATE)
        low, high = axis.get_ylim()
        # The word stands above its line, and needs room there.
        axis.set_ylim(low, max(high, frost + 0.12 * (high - low)))
        _clock(axis, night, hours)
        axis.set_ylabel(column.unit(system).replace("deg", "°"))
        axis.legend(
            loc="upper center",
            bbox_to_anchor=(0.45, -0.2),
            ncols=3,
            frameon=False,
            fontsize=8.5,
            handlelength=1.5,
            columnspacing=0.8,
        )
        figure.subplots_adjust(left=0.14, right=0.975, top=0.97, bottom=0.25)
        return to_svg(figure, "night", "The coldest night", night_words(night, system))


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


def operating_chart(curves: OperatingCurves, name: str) -> str:
    """Draw what the panels offer and what the fans ask for as SVG; the name is the key of the picture."""
    import matplotlib

    with matplotlib.rc_context(settings(name)):
        title = f"What the sun offers and what the fans ask for: {', '.join(curves.panels)[:60]}"
        return to_svg(operating_figure(curves, name), name, title, operating_words(curves))


def operating_figure(curves: OperatingCurves, name: str = "curves") -> Figure:
    """Draw what the panels offer and what the fans ask for."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(settings(name)):
        figure = Figure(figsize=(WIDTH, 4.9))
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
        figure.subplots_adjust(left=0.15, right=0.985, top=0.985, bottom=0.33)
        return figure


def _top(curves: OperatingCurves) -> float:
    """Highest current shown: enough for every point, and for the panel in some sun, not the whole locked-rotor line."""
    needed = [crossing.current for crossing in curves.crossings]
    if curves.start_point is not None:
        needed.append(curves.start_point[1])
    return float(min(1.15 * curves.sources[1000.0].current[0], max(1.9 * max(needed), 0.05)))


def _shade(axis: Any, curves: OperatingCurves, right: float, top: float) -> None:
    low, high = curves.stop_voltage, curves.maximum_voltage
    if isfinite(low):
        axis.axvspan(0, low, color=PALE, alpha=0.8, linewidth=0)
        axis.text(low - 0.01 * right, 0.985 * top, "too little to\nkeep turning", va="top", ha="right", fontsize=8.5)
    if isfinite(high) and high < right:
        axis.axvspan(high, right, facecolor="none", edgecolor=RED, hatch="////", linewidth=0, alpha=0.7)
        axis.axvline(high, color=RED, linewidth=1)
        axis.text(
            high - 0.01 * right, 0.985 * top, "above the\nrated maximum", va="top", ha="right", fontsize=8.5,
            color=RED, bbox=PLATE,
        )  # fmt: skip


def _offered(axis: Any, curves: OperatingCurves, top: float) -> None:
    for number, (sun, curve) in enumerate(curves.sources.items()):
        words = "" if number else f"panel in {sun:.0f} to {max(curves.sources):.0f} W/m² (thicker: more)"
        axis.plot(curve.voltage, curve.current, color=SUN, linewidth=0.8 + sun / 800, label=words or None)
        # At the foot and at the top the words would lie on the frame.
        if 0.03 * top < curve.current[0] < 0.86 * top:
            axis.text(0.4, curve.current[0], f"{sun:.0f} W/m²", va="bottom", fontsize=8.5, color="#6b4d00")
    if curves.start_source is not None:
        curve, words = curves.start_source, f"panel in the {curves.limits.start_irradiance:.0f} W/m² that start it"
        axis.plot(curve.voltage, curve.current, color=INK, linewidth=1, linestyle=(0, (2, 1.5)), label=words)


def _asked(axis: Any, curves: OperatingCurves, right: float, top: float) -> None:
    for curve, colour, style, words in (
        (curves.turning, GREEN, "solid", "all fans turning"),
        (curves.standing, BLUE, (0, (5, 2)), f"{curves.last[:24]} standing, trying to start"),
    ):
        chosen = (curve.voltage <= right) & (curve.current <= 1.05 * top)
        volts, amps = _thinned(curve.voltage[chosen], curve.current[chosen])
        axis.plot(volts, amps, color=colour, linestyle=style, linewidth=1.8, label=words)


def _thinned(volts: np.ndarray, amps: np.ndarray, points: int = 80) -> tuple[np.ndarray, np.ndarray]:
    # A table has hundreds of points; at this size so many draw the same line.
    keep = np.unique(np.linspace(0, len(volts) - 1, points).astype(int))
    return volts[keep], amps[keep]


def _marks(axis: Any, curves: OperatingCurves, top: float) -> None:
    for turns, shape, colour, words in ((True, "o", GREEN, "runs here"), (False, "s", BLUE, "stuck here")):
        points = [(item.voltage, item.current) for item in curves.crossings if item.turning == turns]
        if points:
            volts, amps = zip(*points, strict=True)
            face = colour if turns else "white"
            axis.plot(volts, amps, linestyle="none", marker=shape, markersize=5.5, markerfacecolor=face,
                      markeredgecolor=colour, markeredgewidth=1.3, label=words, zorder=5)  # fmt: skip
    if curves.start_point is not None and curves.start_point[1] <= top:
        axis.plot(*curves.start_point, linestyle="none", marker="^", markersize=8, color=INK, zorder=6,
                  label="panel must reach this to start")  # fmt: skip
    axis.legend(loc="upper left", bbox_to_anchor=(-0.02, -0.12), frameon=False, fontsize=8.5, labelspacing=0.4)


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
        words.append(f"That is above the rated maximum of a fan, {curves.maximum_voltage:.1f} V.")
    return " ".join(words)
