"""The answer of ``calibrate``: text, data, the readings as a table, and a page with what is left by the hour."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan
from typing import Any

import numpy as np

from solarvent.base.findings import listed
from solarvent.base.quantities import convert, show, shown_unit
from solarvent.report import charts as form
from solarvent.report.data import to_json
from solarvent.report.layout import CAUTIONS, Section, headed, heading, paragraph, table, titled
from solarvent.report.page import whole_page
from solarvent.studies.calibrate import Calibration, Estimate, Miss
from solarvent.studies.electrical_log import PartFigure

_WORDS = {
    "leakage": "air through cracks",
    "light": "sunlight that stays",
    "cover": "heat loss of the cover",
    "storage": "heat that floor and masses store",
    "ground": "ground, over what the weather says",
}
_TOLD = {"yes": "tells", "in part": "tells in part", "no": "does not tell"}


def render_calibration(found: Calibration, system: str, note: str = "") -> str:
    """Write the whole answer in at most 80 columns."""
    blocks = [titled(found.plan.record.title, note)]
    blocks.append(headed("In short", short_answer(found, system)))
    if found.estimates:
        blocks.append(heading("What these readings tell") + "\n" + _estimates(found, system))
    if found.misses:
        blocks.append(heading("On readings that were not fitted") + "\n" + _misses(found, system))
    if found.estimates:
        blocks.append(heading("Left by hours of the sun, reading less model") + "\n" + _hours(found, system))
    if found.parts:
        blocks.append(heading("Panels and fans") + "\n" + _parts(found))
    if found.notes:
        blocks.append(headed("The log", found.notes))
    blocks.append(headed("Cautions", CAUTIONS))
    return "\n\n".join(blocks)


def short_answer(found: Calibration, system: str) -> Iterator[str]:
    """Say in a few sentences what came of it."""
    if not found.estimates:
        yield f"{found.log.name}: {len(found.span.volts)} rows of volts and amperes. They tell nothing of the house."
        return
    by = {told: [_WORDS[each.name] for each in found.estimates if each.told == told] for told in _TOLD}
    parts = [f"{_TOLD[told]} {listed(names)}" for told, names in by.items() if names]
    yield (
        f"{found.log.name}: {found.days} days, {int(found.span.sound.sum())} readings that can be used. The log"
        f" {'; it '.join(parts)}. Of {len(found.estimates)} figures it tells {found.rank} apart from each other."
    )
    if "all" in found.misses:
        before, after = found.misses["all"]
        nights = " (nights alone, for the log has no light)" if found.span.light == "unknown" else ""
        yield (
            f"On {after.count} readings that were not fitted{nights} the house missed by"
            f" {_kelvin(before.median, system)} with the figures of the tables and misses by"
            f" {_kelvin(after.median, system)} with those found (medians)."
        )
    for each in found.estimates:
        if each.at_end:
            yield (
                f"{_WORDS[each.name].capitalize()}: at the end of what is believed possible. Something else is at work:"
                + (" a vent or door that stands open?" if each.name == "leakage" else " look at plan and thermometer.")
            )
    if not found.trusted:
        yield "The model does not fit this house: do not use these figures."


def _parts(found: Calibration) -> str:
    """Tabulate the figures of panels and fans, and write on which points fans run."""
    rows = [
        (f"{each.section} {each.part}", each.key, _found(each), _ends(each.low, each.high), f"{each.count}")
        for each in found.parts
    ]
    return table(rows, ("part", "figure", "found", "90 % of it", "of"))


def _found(each: PartFigure) -> str:
    """Write a figure of a part; of running points their volts and amperes."""
    if isinstance(each.value, list):
        return ", ".join(f"{volts:.1f} V {amperes:.2f} A" for volts, amperes in each.value)
    return f"{each.value}"


def _ends(low: float, high: float) -> str:
    return "-" if isnan(low) else f"{low:.2f} .. {high:.2f}"


def _kelvin(value: float, system: str) -> str:
    return show(value, "temperature difference", system, 1)


def _figure(each: Estimate, value: float, system: str) -> str:
    """Write a factor, or the shift of the ground."""
    if each.name != "ground":
        return f"{value:.2f}"
    return f"{convert(value, 'temperature difference', shown_unit('temperature difference', system)):+z.1f}"


def _estimates(found: Calibration, system: str) -> str:
    """Tabulate the figures with their intervals before and after."""
    unit = shown_unit("temperature difference", system)
    rows = [
        (
            f"{each.name}{f' [{unit}]' if each.name == 'ground' else ''}",
            _figure(each, each.value, system),
            f"{_figure(each, each.low, system)} .. {_figure(each, each.high, system)}",
            f"{_figure(each, each.prior_low, system)} .. {_figure(each, each.prior_high, system)}",
            f"{each.width:.2f}",
            each.told,
        )
        for each in found.estimates
    ]
    text = table(rows, ("figure", "found", "90 % of it", "before", "width", "told"))
    words = [
        "Factors on what size and tables say; width: the spread over that before. Told: width under 0.5, in part"
        " under 0.85. Figures that are not told are not written."
    ]
    pairs = {tuple(sorted((each.name, other))) for each in found.estimates for other in each.with_}
    if pairs:
        named = "; ".join(f"{one} and {other}" for one, other in sorted(pairs))
        words.append(f"Known together better than each alone: {named}.")
    return text + "\n" + "\n".join(paragraph(line) for line in words)


def _misses(found: Calibration, system: str) -> str:
    """Tabulate the misses before and after."""
    unit = shown_unit("temperature difference", system)
    rows = []
    for name, (before, after) in found.misses.items():
        for words, miss in ((f"{name}, before", before), (f"{name}, after", after)):
            rows.append((words, f"{miss.count}", *(f"{_in(value, unit):.2f}" for value in _three(miss))))
    return table(rows, ("readings", "count", f"median [{unit}]", f"rms [{unit}]", f"nine in ten under [{unit}]"))


def _three(miss: Miss) -> tuple[float, float, float]:
    return miss.median, miss.root, miss.ninety


def _in(value: float, unit: str) -> float:
    return float(convert(value, "temperature difference", unit))


def _hours(found: Calibration, system: str) -> str:
    """Write what is left by the hour, four hours a line."""
    unit = shown_unit("temperature difference", system)

    def shown(value: float) -> str:
        return "-" if isnan(value) else f"{_in(value, unit):+z.1f}"

    rows = [
        (f"{hour:02d} h", *(shown(float(found.by_hour[hour + k, column])) for k in range(6)))
        for hour in range(0, 24, 6)
        for column in (0, 1)
    ]
    labelled = [(f"{row[0]} {'before' if k % 2 == 0 else 'after'}", *row[1:]) for k, row in enumerate(rows)]
    return table(labelled, (f"from [{unit}]", *(f"+{k} h" for k in range(6))))


def calibration_data(found: Calibration) -> dict[str, Any]:
    """Give the answer as plain data, schema ``solarvent.calibrate/1``, in SI units."""
    return {
        "schema": "solarvent.calibrate/1",
        "title": found.plan.record.title,
        "log": {
            "name": found.log.name,
            "first": found.span.times[0].isoformat(),
            "last": found.span.times[-1].isoformat(),
            "days": found.days,
            "step": found.log.step,
            "readings": int(found.span.sound.sum()),
            "light": found.span.light,
        },
        "rank": found.rank,
        "trusted": found.trusted,
        "figures": [
            {
                "name": each.name,
                "value": float(each.value),
                "low": float(each.low),
                "high": float(each.high),
                "prior_low": float(each.prior_low),
                "prior_high": float(each.prior_high),
                "width": each.width,
                "told": each.told,
                "together_with": list(each.with_),
                "at_end": each.at_end,
                "prior_source": each.why,
            }
            for each in found.estimates
        ],
        "noise": None if found.fit is None else {"night": found.fit.noise[0], "day": found.fit.noise[1]},
        "held_out": {
            name: {when: vars(miss) for when, miss in zip(("before", "after"), pair, strict=True)}
            for name, pair in found.misses.items()
        },
        "by_hour": [
            {"hour": hour, "before": _or_none(before), "after": _or_none(after), "count": int(count)}
            for hour, (before, after, count) in enumerate(found.by_hour.tolist())
        ],
        "parts": [
            {
                "section": each.section,
                "part": each.part,
                "key": each.key,
                "value": each.value,
                "low": _or_none(each.low),
                "high": _or_none(each.high),
                "count": each.count,
            }
            for each in found.parts
        ],
        "notes": list(found.notes),
        "write": found.figures(),
    }


def _or_none(value: float) -> float | None:
    return None if isnan(value) else value


def calibration_json(found: Calibration) -> str:
    """Write the answer as JSON."""
    return to_json(calibration_data(found))


def calibration_csv(found: Calibration) -> str:
    """Write the readings with what the house has, before and after."""
    lines = ["time,reading [degC],before [degC],after [degC],held_out,used"]
    if found.fit is None:
        return lines[0]
    observed = found.span.observed
    columns = (observed.last, observed.value, observed.of(found.fit.temp_before), observed.of(found.fit.temp_inside),
               found.held_out, found.span.sound)  # fmt: skip
    for at, value, before, after, held, used in zip(*columns, strict=True):
        time = found.span.times[at].isoformat()
        lines.append(f"{time},{value:.3f},{before:.3f},{after:.3f},{int(held)},{int(used)}")
    return "\n".join(lines)


def calibration_page(found: Calibration, system: str) -> str:
    """Write a page with one section: the figures, and the picture of what is left by the hour."""
    return whole_page(
        "calibrate.html",
        title=found.plan.record.title[:160],
        section_of=calibration_section(found, system),
        notes=found.notes,
        cautions=CAUTIONS,
    )


def calibration_section(found: Calibration, system: str) -> Section:
    """Show the figures that readings gave, and what they leave by the hour."""
    rows = [
        [_WORDS[each.name], _figure(each, each.value, system),
         f"{_figure(each, each.low, system)} to {_figure(each, each.high, system)}", each.told]
        for each in found.estimates
    ]  # fmt: skip
    rows += [[f"{each.part}: {each.key}", _found(each), _ends(each.low, each.high), "yes"] for each in found.parts]
    headers = ("figure", "found", "90 % of it", "told")
    lines = list(short_answer(found, system))
    picture = ("", "") if found.fit is None else (left_chart(found, system), left_words(found, system))
    return Section("calibrate", "Your own readings", lines, *picture, headers, rows)


def left_words(found: Calibration, system: str) -> str:
    """Say in words what the picture shows."""
    sizes = [float(np.nanmax(np.abs(found.by_hour[:, column]), initial=0.0)) for column in (0, 1)]
    before, after = (_kelvin(size, system) for size in sizes)
    return (
        f"Reading less model by hours of the sun. The largest mean of an hour is {before} with the figures of the"
        f" tables and {after} with those found."
    )


def left_chart(found: Calibration, system: str) -> str:
    """Draw what is left by the hour, before and after, as SVG."""
    import matplotlib
    from matplotlib.figure import Figure

    unit = shown_unit("temperature difference", system)
    hours = np.arange(24)
    with matplotlib.rc_context(form.settings("calibrate")):
        figure = Figure(figsize=(form.WIDTH, 2.4))
        axis = figure.subplots()
        axis.axhline(0.0, color=form.MUTED, linewidth=0.8)
        for column, words, colour, style in (
            (0, "figures of the tables", form.RED, (0, (5, 2))),
            (1, "figures found", form.BLUE, "solid"),
        ):
            shown = [_in(float(value), unit) for value in found.by_hour[:, column]]
            axis.plot(hours + 0.5, shown, color=colour, linestyle=style, linewidth=1.4, label=words)
        axis.set_xlim(0, 24)
        axis.set_xticks(range(0, 25, 6), [f"{hour} h" for hour in range(0, 25, 6)])
        axis.set_ylabel(f"reading less model [{unit}]")
        axis.legend(loc="upper center", bbox_to_anchor=(0.5, -0.15), ncols=2, frameon=False, fontsize=8.5)
        figure.subplots_adjust(left=0.12, right=0.975, top=0.97, bottom=0.25)
        return form.to_svg(figure, "calibrate", "What is left by the hour", left_words(found, system))
