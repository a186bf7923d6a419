"""Answers as data for other programs: JSON with SI units, and CSV with a heading that names the units."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from solarvent.base.columns import COLUMNS
from solarvent.base.findings import Finding
from solarvent.base.quantities import units_of
from solarvent.base.verdict import Verdict
from solarvent.report.plain_json import to_json
from solarvent.simulation.simulate import Simulation
from solarvent.studies.overview import Overview

_FAN_COLUMNS = ("voltage", "current", "running", "flow")
_PANEL_COLUMNS = ("panel_voltage", "panel_current")
_HOUR_COLUMNS = (
    "month",
    "oktas",
    "poa_global",
    "effective_irradiance",
    "temp_air",
    "temp_cell",
    "panel_voltage",
    "panel_current",
    "panel_power",
    "power_available",
    "flow",
    "air_changes",
    "temp_inside",
)
_ROWS = 1000
"""Rows that are plain data at a time."""


def finding_data(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """Give findings as plain data."""
    return [
        {
            "level": finding.level,
            "code": finding.code,
            "part": finding.part,
            "text": finding.text,
            "do": finding.do,
            "value": finding.value,
            "limit": finding.limit,
            "unit": finding.unit,
        }
        for finding in findings
    ]


def verdict_data(given: Verdict) -> dict[str, Any]:
    """Give a verdict as plain data."""
    return {
        "level": given.level,
        "sentence": given.sentence,
        "first": {"do": given.first.do, "codes": given.first.codes, "parts": given.first.parts} if given.first else {},
        "figures": [
            {
                "what": figure.what,
                "value": figure.value,
                "unit": units_of(figure.dimension)[0] if figure.dimension else "",
            }
            for figure in given.figures
        ],
    }


def run_json(overview: Overview) -> str:
    """Write a run as JSON, schema ``solarvent.run/1``: verdict, findings, panels, every hour, totals; all SI."""
    run = overview.run
    content = {
        "schema": "solarvent.run/1",
        "title": run.plan.record.title,
        "weather": {key: run.conditions.weather.attrs.get(key) for key in ("title", "source", "step")},
        "verdict": verdict_data(overview.verdict),
        "findings": finding_data(overview.findings),
        "panels": [
            {"id": panel.id, "name": panel.name, "surface_tilt": panel.tilt, "surface_azimuth": panel.azimuth}
            for panel in run.plan.record.panel
        ],
    }
    # Row by row: a year of five minutes with many fans would fill the memory as plain data.
    pieces = {key: to_json(value) for key, value in content.items()}
    pieces |= {"hours": f"[{', '.join(_hours(run))}]", "totals": to_json(overview.totals)}
    return "{" + ", ".join(f'"{key}": {text}' for key, text in pieces.items()) + "}"


def _hours(run: Simulation) -> Iterator[str]:
    """Write each step of a run as JSON."""
    fan_ids = [fan.id for fan in run.plan.record.fan]
    panel_ids = [panel.id for panel in run.plan.record.panel]
    for start in range(0, len(run.hours), _ROWS):
        hours = run.hours.iloc[start : start + _ROWS].round(6)
        columns = {name: hours[name].tolist() for name in _HOUR_COLUMNS}
        by_fan = {name: {key: hours[f"{key}.{name}"].tolist() for key in _FAN_COLUMNS} for name in fan_ids}
        by_panel = {
            name: {key: hours[f"{key}.{name}"].tolist() for key in _PANEL_COLUMNS}
            for name in (panel_ids if len(panel_ids) > 1 else [])
        }
        for step, begun in enumerate(hours.index):
            row: dict[str, Any] = {"time": begun.isoformat()}
            row |= {name: values[step] for name, values in columns.items()}
            for word, parts in (("fans", by_fan), ("panels", by_panel)):
                if parts:
                    row[word] = [
                        {"id": name} | {key: values[step] for key, values in found.items()}
                        for name, found in parts.items()
                    ]
            yield to_json(row)


def run_csv(run: Simulation) -> str:
    """Write the hours of a run as CSV; the heading carries the SI unit of each column in brackets."""
    hours = run.hours.round(6)
    hours.columns = [_csv_heading(name) for name in hours.columns]
    hours.index = [time.isoformat() for time in hours.index]
    return hours.to_csv(lineterminator="\n", index_label="time").rstrip("\n")


def _csv_heading(name: str) -> str:
    base = name.split(".", 1)[0]
    unit = COLUMNS[base].unit_si()
    return f"{name} [{unit}]" if unit else name
