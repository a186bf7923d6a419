"""Answers as data for other programs: JSON with SI units, and CSV with a heading that names the units."""

from __future__ import annotations

import json
from collections.abc import Iterable
from math import isfinite
from typing import Any

from solarvent.base.columns import COLUMNS
from solarvent.planning.findings import Finding
from solarvent.planning.simulate import Run
from solarvent.planning.year import totals

_FAN_COLUMNS = ("voltage", "current", "running", "flow")
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


def to_json(content: dict[str, Any]) -> str:
    """Write plain data as JSON; what is not a finite number becomes null."""
    return json.dumps(_plain(content), ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


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


def run_json(run: Run, findings: Iterable[Finding]) -> str:
    """Write a run as JSON, schema ``solarvent.run/1``: findings, panels, every hour, totals; all in SI units."""
    hours = run.hours.round(6)
    columns = {name: hours[name].tolist() for name in _HOUR_COLUMNS}
    times = [time.isoformat() for time in hours.index]
    fan_ids = [str(fan.id) for fan in run.loaded.plan.fan]
    by_fan = {name: {key: hours[f"{key}.{name}"].tolist() for key in _FAN_COLUMNS} for name in fan_ids}
    panel_ids = [str(panel.id) for panel in run.loaded.plan.panel]
    by_panel = {
        name: {key: hours[f"{key}.{name}"].tolist() for key in ("panel_voltage", "panel_current")}
        for name in (panel_ids if len(panel_ids) > 1 else [])
    }
    rows = []
    for step, time in enumerate(times):
        row: dict[str, Any] = {"time": time}
        row |= {name: values[step] for name, values in columns.items()}
        row["fans"] = [{"id": name} | {key: values[step] for key, values in by_fan[name].items()} for name in fan_ids]
        if by_panel:
            row["panels"] = [
                {"id": name} | {key: values[step] for key, values in by_panel[name].items()} for name in panel_ids
            ]
        rows.append(row)
    return to_json(
        {
            "schema": "solarvent.run/1",
            "title": run.loaded.plan.title,
            "weather": {key: run.conditions.weather.attrs.get(key) for key in ("title", "source", "step")},
            "findings": finding_data(findings),
            "panels": [
                {"id": str(panel.id), "name": panel.name, "surface_tilt": panel.tilt, "surface_azimuth": panel.azimuth}
                for panel in run.loaded.plan.panel
            ],
            "hours": rows,
            "totals": totals(run),
        }
    )


def run_csv(run: Run) -> str:
    """Write the hours of a run as CSV; the heading carries the SI unit of each column in brackets."""
    hours = run.hours.round(6)
    hours.columns = [_csv_heading(name) for name in hours.columns]
    hours.index = [time.isoformat() for time in hours.index]
    return hours.to_csv(lineterminator="\n", index_label="time").rstrip("\n")


def _csv_heading(name: str) -> str:
    base = name.split(".", 1)[0]
    unit = COLUMNS[base].unit_si()
    return f"{name} [{unit}]" if unit else name
