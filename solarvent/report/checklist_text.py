"""The checklist and the shopping list: as text with boxes to tick, as Markdown, and as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from solarvent.base.quantities import show
from solarvent.bench.preparation import Bench, Step
from solarvent.bench.shopping import Item
from solarvent.bench.steps import Checklist
from solarvent.report.layout import CAUTIONS, heading, paragraph

_FIELDS = (("probe", "Meter"), ("expect", "Expect"), ("tolerance", "Allow"), ("otherwise", "If not"))


def render_checklist(answer: Checklist, note: str = "") -> str:
    """Write both lists as text of at most 80 columns, to be printed on A4 or Letter.

    Parameters
    ----------
    answer : Checklist
        From :func:`solarvent.bench.steps.checklist`.
    note : str
        Said under the title.

    Returns
    -------
    str
    """
    blocks = [paragraph(answer.bench.plan.record.title[:200]) + ("\n" + paragraph(note) if note else "")]
    blocks += [paragraph(f"STOP  {text}", "      ", "") for text in answer.stops]
    blocks.append(paragraph(_basis(answer.bench)))
    blocks.append("\n".join(paragraph(text) for text in CAUTIONS))
    blocks.append(heading("Shopping list") + "\n" + "\n".join(_item_lines(answer.shopping)))
    number = 0
    for phase, group in groupby(answer.steps, key=lambda step: step.phase):
        lines = []
        for step in group:
            number += 1
            lines.append("\n".join(_step_lines(number, step)))
        blocks.append(heading(phase[0].upper() + phase[1:]) + "\n" + "\n".join(lines))
    return "\n\n".join(blocks)


def _basis(bench: Bench) -> str:
    return (
        f"Figures hold for {bench.irradiance:.0f} W/m2 on the cells (a clear noon gives 800 to 1000) and cells at"
        f" {show(bench.temp_cell, 'temperature', bench.system, 0)}. Amperes follow the light in proportion;"
        " open-circuit volts hardly change."
    )


def _item_lines(items: Sequence[Item]) -> Iterator[str]:
    for item in items:
        yield paragraph(f"[ ] {_amount(item):>5}  {item.item} ({item.why})", " " * 11, "")


def _amount(item: Item) -> str:
    return f"{item.count:g} {item.unit}".strip()


def _step_lines(number: int, step: Step) -> Iterator[str]:
    yield paragraph(f"[ ] {number:>2}  {step.do}", " " * 8, "")
    for key, label in _FIELDS:
        if text := getattr(step, key):
            yield paragraph(text, " " * 16, f"        {label + ':':<8}")


def markdown_checklist(answer: Checklist, note: str = "") -> str:
    """Write both lists as Markdown with task boxes."""
    lines = [f"# {_plain(answer.bench.plan.record.title[:200])}", ""]
    if note:
        lines += [_plain(note), ""]
    for text in answer.stops:
        lines += [f"**STOP** {_plain(text)}", ""]
    lines += [_basis(answer.bench), "", *(f"> {text}\n>" for text in CAUTIONS[:-1]), f"> {CAUTIONS[-1]}", ""]
    lines += ["## Shopping list", ""]
    lines += [f"- [ ] **{_amount(item)}** {_plain(item.item)} ({_plain(item.why)})" for item in answer.shopping]
    number = 0
    for phase, group in groupby(answer.steps, key=lambda step: step.phase):
        lines += ["", f"## {phase[0].upper()}{phase[1:]}", ""]
        for step in group:
            number += 1
            lines.append(f"- [ ] **{number}.** {_plain(step.do)}")
            for key, label in _FIELDS:
                if text := getattr(step, key):
                    lines.append(f"  - {label}: {_plain(text)}")
    return "\n".join(lines)


def _plain(text: str) -> str:
    """Keep Markdown from reading a plan's own words as marks."""
    for mark in ("\\", "*", "_", "`", "<", "[", "#"):
        text = text.replace(mark, "\\" + mark)
    return " ".join(text.split())


def checklist_data(answer: Checklist) -> dict[str, Any]:
    """Give both lists as plain data, schema ``solarvent.checklist/1``."""
    return {
        "schema": "solarvent.checklist/1",
        "title": answer.bench.plan.record.title,
        "irradiance": answer.bench.irradiance,
        "temp_cell": answer.bench.temp_cell,
        "stops": answer.stops,
        "steps": [vars(step) for step in answer.steps],
        "shopping": [
            {"item": item.item, "count": item.count, "unit": item.unit, "why": item.why} for item in answer.shopping
        ],
    }
