"""The answers of ``compare``, ``need`` and ``airflow --orient``, for people and as data."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Sequence
from math import isfinite, isnan
from typing import Any

import numpy as np

from solarvent.base.quantities import compass, show, units_of
from solarvent.house.air_need import NeedBelow
from solarvent.plan.parts import FLAT_TILT
from solarvent.plan.plan import Plan
from solarvent.report.data import to_json
from solarvent.report.layout import Frame, cautions, foot, headed, heading, next_step, paragraph, table, titled
from solarvent.studies.airflow import Facing
from solarvent.studies.compare import DAYS, VERDICT, Row
from solarvent.studies.orientation import Orientations, Turned

_WIDEST = {"what": 34, "value": 20}
#: On the first screen.
_MOST_ROWS = {"result": 12, "finding": 10, "plan": 0}
_TITLES = {"result": "What comes of them", "finding": "Findings", "plan": "In the plan files (SI units)"}


def render_compare(titles: tuple[str, str], rows: Sequence[Row], frame: Frame, everything: bool = False) -> str:
    """Write two plans side by side: both verdicts, and what differs; in full every entry, if asked also the same."""
    verdicts = next(row for row in rows if row.what == VERDICT)
    blocks = [
        "\n".join(
            paragraph(f"{side:7}{title[:200]}: {sentence}", "       ", "")
            for side, title, sentence in zip(("Left:", "Right:"), titles, (verdicts.left, verdicts.right), strict=True)
        )
    ]
    if (days := next(row for row in rows if row.what == DAYS)).differs:
        long = f"{days.left:.0f} and {days.right:.0f} days long"
        blocks.append(paragraph(f"Their weather is {long}: hours and sums of the two do not compare."))
    different = [row for row in rows if row.differs and row is not verdicts]
    same = [row for row in rows if not row.differs and row is not verdicts]
    if not different:
        blocks.append("The two plans are the same, in what they say and in what comes of it.")
    for group, title in _TITLES.items():
        members = [row for row in different if row.group == group]
        most = len(members) if frame.full else _MOST_ROWS[group]
        if members[:most]:
            left = f"\nand {len(members) - most} more: --full" if len(members) > most else ""
            blocks.append(heading(f"{title}: differences") + "\n" + _table(members[:most], frame.system) + left)
    if not frame.full:
        entries = sum(row.group == "plan" for row in different)
        blocks.append(
            paragraph(f"{entries} entries of the plans differ, {len(same)} results are the same.")
            + "\n"
            + next_step("add --full for every difference, --all for what is the same")
        )
    elif everything and same:
        blocks.append(heading("The same in both") + "\n" + _table(same, frame.system))
    elif same:
        blocks.append(paragraph(f"{len(same)} results and findings are the same in both; --all shows them."))
    return "\n\n".join(blocks)


def _table(rows: Sequence[Row], system: str) -> str:
    lines = [
        (_cut(row.what, _WIDEST["what"]), *(_shown(value, row, system) for value in (row.left, row.right)))
        for row in rows
    ]
    return table(lines, ("", "left", "right"))


def difference_rows(rows: Sequence[Row], system: str) -> list[tuple[str, ...]]:
    """Give what differs between two plans, results first, each as its words, left and right."""
    return [
        (row.what, *(_shown(value, row, system).replace("\n", " ") for value in (row.left, row.right)))
        for row in rows
        if row.differs
    ]


def _cut(text: str, width: int) -> str:
    """Break a long text over several lines of a cell."""
    import textwrap

    return "\n".join(textwrap.wrap(text, width, break_on_hyphens=False)) or "-"


def _shown(value: Any, row: Row, system: str) -> str:
    if value is None:
        return "-"
    if isinstance(value, float) and not isfinite(value):
        return "never" if row.dimension == "irradiance" else "-"
    if row.dimension and isinstance(value, int | float):
        return show(float(value), row.dimension, system)
    if isinstance(value, float):
        if row.is_share:
            return f"{value:.0%}"
        return f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
    return _cut(str(value), _WIDEST["value"])


def compare_json(titles: tuple[str, str], rows: Sequence[Row]) -> str:
    """Write two plans side by side as JSON, schema ``solarvent.compare/1``, in SI units."""
    return to_json(
        {
            "schema": "solarvent.compare/1",
            "left": titles[0],
            "right": titles[1],
            "rows": [
                {
                    "what": row.what,
                    "left": row.left,
                    "right": row.right,
                    "unit": units_of(row.dimension)[0] if row.dimension else "",
                    "differs": row.differs,
                    "group": row.group,
                }
                for row in rows
            ],
        }
    )


def render_need(plan: Plan, answer: NeedBelow, band: float, frame: Frame) -> str:
    """Write the whole answer, good to a band [K]; the note under the title."""
    system = frame.system
    below, outside = (show(value, "temperature", system, 0) for value in (answer.below, answer.outside))
    blocks = [titled(plan.record.title, frame.note)]
    then = f"{frame.command('airflow')}   what the fans of the plan give"
    last = foot(cautions(plan.record)[0], then)
    when = f"in a steady sun of {answer.ghi:.0f} W/m2 on the level ({month_name[answer.month]})"
    if isnan(answer.flow):
        text = (
            f"No air keeps the house below {below} with {outside} outside: ventilation never cools below the air that"
            " it brings in. Shade, leaves and damp do."
        )
        return "\n\n".join([*blocks, paragraph(text), last])
    text = (
        f"To stay at or below {below} with {outside} outside, {when}, the house needs"
        f" {show(answer.flow, 'flow', system)} of fresh air: {answer.air_changes:.0f} air changes an hour,"
        f" {answer.air_changes / 60:.1f} a minute."
    )
    if answer.flow == 0:
        text = f"With {outside} outside, {when}, the shut house stays below {below} by what its cover loses."
    blocks.append(paragraph(text))
    rows = [(words, *_both(answer, flow, system)) for words, flow in answer.otherwise.items()]
    if rows:
        blocks.append(f"{heading('If one thing were different')}\n{table(rows, ('', 'air', 'changes [1/h]'))}")
    rules = [
        ("by the balance of ANSI/ASAE EP406", *_both(answer, answer.by_standard, system)),
        ("one volume a minute", *_both(answer, answer.by_volume, system)),
        ("8 cfm for each ft2 of floor", *_both(answer, answer.by_floor[0], system)),
        ("10 cfm for each ft2 of floor", *_both(answer, answer.by_floor[1], system)),
    ]
    blocks.append(f"{heading('Beside it, the rules of the trade')}\n{table(rules, ('', 'air', 'changes [1/h]'))}")
    blocks.append(
        paragraph(
            "Steady sun, nothing stored, no help from wind and draught through other openings: the safe side for the"
            f" plants. The model is good to {show(band, 'temperature difference', system, 0)}, more or less (solarvent"
            " about models)."
        )
    )
    return "\n\n".join([*blocks, last])


def _both(answer: NeedBelow, flow: float, system: str) -> tuple[str, str]:
    return show(flow, "flow", system), f"{answer.changes_of(flow):.0f}"


def need_json(plan: Plan, answer: NeedBelow) -> str:
    """Write the answer as JSON, schema ``solarvent.need/1``, in SI units."""
    return to_json(
        {
            "schema": "solarvent.need/1",
            "title": plan.record.title,
            "below": answer.below,
            "outside": answer.outside,
            "ghi": answer.ghi,
            "month": answer.month,
            "flow": answer.flow,
            "air_changes": answer.air_changes,
            "rules": {
                "standard": answer.by_standard,
                "volume_a_minute": answer.by_volume,
                "floor_low": answer.by_floor[0],
                "floor_high": answer.by_floor[1],
            },
            "otherwise": [{"what": words, "flow": flow} for words, flow in answer.otherwise.items()],
        }
    )


#: Gain of air that is within what the model knows. [-]
_LITTLE = 0.03


def bearing(azimuth: float) -> str:
    """Write a direction: ``"225 SW"``; only the eight points of the compass have a name."""
    name = "".join(half[0].upper() for half in compass(azimuth).split("-")) if azimuth % 45 == 0 else ""
    return f"{azimuth:g} {name}".strip()


def render_orientation(answer: Facing, frame: Frame) -> str:
    """Write which way the panels should face; in full the light by tilt, azimuth and hour."""
    system = frame.system
    plan, panel, found = answer.plan, answer.panel, answer.light
    target = plan.record.target
    now, best, year = answer.tried
    span = f"{target.start} to {target.end} in the months of need"
    short = paragraph(
        f"For the light from {span}: tilt {best.tilt:g} facing {bearing(best.azimuth)} is best; for the year's energy"
        f" tilt {year.tilt:g} facing {bearing(year.azimuth)}. What it does to the air:"
    )
    rows = [
        (words, _way(one), f"{light:.0f}", f"{one.air_changes:.1f}", show(one.flow, "flow", system))
        for words, one, light in (
            ("as planned", now, found.own_light),
            ("best for the need", best, found.need_light.max()),
            ("best for the year", year, found.need_light.flat[np.argmax(found.year_light)]),
        )
    ]
    air = table(rows, ("", "tilt, facing", "light then [W/m2]", "changes [1/h]", "air"))
    gain = best.flow / now.flow - 1 if now.flow > 0 else float("inf")
    verdict = "Turning the panel is not worth the trouble." if gain < _LITTLE else _gain(gain)
    blocks = [
        titled(plan.record.title, frame.note),
        f"{short}\n\n{air}\n{paragraph(verdict)}",
        heading("Light on the cells in the hours of need [W/m2]") + "\n" + _grid(found, found.need_light, ".0f"),
    ]
    if not frame.full:
        then = "add --full for the light by hour, and how often the fans start"
        return "\n\n".join([*blocks, foot(cautions(plan.record)[0], then)])
    if not isnan(found.start_light):
        title = f"Share of that time above {found.start_light:.0f} W/m2, where the last fan starts"
        blocks.append(heading(title) + "\n" + _grid(found, found.above_start, ".0%"))
    hourly = [
        (f"{hour:02d}:00", *(f"{value:.0f}" for value in row))
        for hour, row in zip(found.hours, found.by_hour, strict=True)
    ]
    title = heading(f"By hour and tilt in the months of need, facing {bearing(panel.azimuth)} [W/m2]")
    blocks.append(f"{title}\n{table(hourly, ('from', *(f'{tilt:g}' for tilt in found.tilts)))}")
    text = (
        f"Light is that of the plan's weather on the panel called {panel.id}, after reflection, dirt and what stands in"
        " the way, without shadow on single cells. Once the fans get all they can use, more light moves no more air:"
        " the table at the top decides. A panel under"
        f" {FLAT_TILT:g} degrees keeps water and dirt."
    )
    blocks.append(paragraph(text))
    blocks.append(headed("Cautions", cautions(plan.record)))
    return "\n\n".join(blocks)


def _gain(gain: float) -> str:
    return (
        f"Turned to the best for the need it moves {gain:.0%} more air." if gain < 9 else "As planned it moves no air."
    )


def _way(one: Turned) -> str:
    return "each its own" if isnan(one.tilt) else f"{one.tilt:g}, {bearing(one.azimuth)}"


def _grid(found: Orientations, values: np.ndarray, form: str) -> str:
    rows = [
        (bearing(azimuth), *(format(value, form) for value in row))
        for azimuth, row in zip(found.azimuths, values, strict=True)
    ]
    return table(rows, ("facing \\ tilt", *(f"{tilt:g}" for tilt in found.tilts)))
