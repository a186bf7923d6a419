"""Answers as data for other programs: JSON with SI units, and CSV with a heading that names the units."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import date, time
from math import isfinite
from typing import TYPE_CHECKING, Any

from solarvent.base.columns import BATTERY_COLUMNS, COLUMNS
from solarvent.base.quantities import units_of

if TYPE_CHECKING:
    import pandas as pd

    from solarvent.base.findings import Finding, Verdict
    from solarvent.simulation.simulate import Simulation
    from solarvent.studies.airflow import Afternoons, Airflow, Facing
    from solarvent.studies.orientation import Orientations
    from solarvent.studies.overview import Overview
    from solarvent.studies.sky_day import SkyAnswer


def to_json(content: Any, indent: int | None = None) -> str:
    r"""Write plain data as JSON.

    Parameters
    ----------
    content : dict, list, tuple, str, number, bool, None, date or time
        The data; what is not a finite number becomes null, a date or time becomes text.
    indent : int, optional
        Spaces of a level; without it, all on one line.

    Returns
    -------
    str
        Letters beyond ASCII are escaped, so that no code page of a console or a pipe can spoil them.

    Examples
    --------
    >>> to_json({"title": "Öd", "flow": float("nan")})
    '{"title": "\\u00d6d", "flow": null}'
    """
    return json.dumps(_plain(content), allow_nan=False, indent=indent)


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    # TOML has dates and times, JSON has not.
    return value.isoformat() if isinstance(value, date | time) else value


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
#: Rows that are plain data at a time.
_ROWS = 1000


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
        # Six decimals are far finer than any model here, and shorten the file.
        hours = run.hours.iloc[start : start + _ROWS].round(6)
        names = [*_HOUR_COLUMNS, *(name for name in BATTERY_COLUMNS if name in hours)]
        columns = {name: hours[name].tolist() for name in names}
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
    return _csv(hours.set_axis([time.isoformat() for time in hours.index]), "time")


SCHEMA = "solarvent.airflow/1"
_ROW = (
    "poa_global", "temp_air", "temp_inside", "running", "fans_running", "flow_running", "flow", "air_changes",
    "restarts",
)  # fmt: skip
_DAY = ("month", "temp_air", "oktas", "poa_global", "running", "flow", "flow_wanted", "air_changes")


def _sky_rows(answer: SkyAnswer) -> list[dict[str, Any]]:
    rows = answer.rows.round(6)
    names = (*_ROW, *(name for name in BATTERY_COLUMNS if name in rows))
    return [
        {"time": time.isoformat(), "oktas": answer.oktas} | {name: float(row[name]) for name in names}
        for time, row in rows.iterrows()
    ]


def _sky(answer: SkyAnswer) -> dict[str, Any]:
    bands = {
        name: {"mean_flow": band.target_flow, "mean_air_changes": band.target_air_changes}
        for name, band in answer.run.bands.items()
    }
    return {
        "oktas": answer.oktas,
        "light": answer.factor,
        "sunlit_share": answer.sunlit,
        "gap_level": answer.gap_level,
        "shadow_level": answer.shadow_level,
        "hours": _sky_rows(answer),
        "mean_flow": answer.run.bands["typical"].target_flow,
        "mean_air_changes": answer.run.bands["typical"].target_air_changes,
        "running_share": answer.running,
        "flow_wanted": answer.wanted.wanted,
        "air_changes_wanted": answer.wanted.wanted_air_changes,
        "bands": bands,
        "house": answer.house_totals,
    }


def airflow_json(answer: Airflow) -> str:
    """Write the answer for one sky, or for all of them, as JSON, schema ``solarvent.airflow/1``.

    One sky has the other reading of it beside it, where there is one. Of several the hours carry their oktas, and the
    means at the top are those over all rows.
    """
    content = {"schema": SCHEMA, "title": answer.plan.record.title, "verdict": verdict_data(answer.verdict)}
    skies = [_sky(sky) for sky in answer.skies]
    if len(skies) > 1:
        rows = [row for sky in skies for row in sky["hours"]]
        return to_json(content | {"hours": rows} | answer.means | {"skies": skies})
    if answer.other is None:
        return to_json(content | skies[0])
    other = _sky(answer.other)
    return to_json(content | skies[0] | {"other_reading": {key: other[key] for key in _OTHER}})


_OTHER = ("sunlit_share", "gap_level", "shadow_level", "mean_flow", "mean_air_changes", "running_share")


def airflow_csv(answer: Airflow) -> str:
    """Write the rows of one sky or more as CSV."""
    import pandas as pd

    table = pd.DataFrame([row for sky in answer.skies for row in _sky_rows(sky)]).set_index("time")
    return _csv(table, "time")


def year_json(answer: Afternoons) -> str:
    """Write the real afternoons as JSON: the hours are the month's means by clock time."""
    rows = [
        {"time": time} | {key: float(value) for key, value in row.items()} for time, row in answer.by_clock.iterrows()
    ]
    return to_json(
        {
            "schema": SCHEMA,
            "title": answer.run.plan.record.title,
            "month": answer.month,
            "hours": rows,
            **answer.means,
            "afternoons": _days(answer.days),
            "months": [
                {"month": int(number)} | {key: float(value) for key, value in row.items()}
                for number, row in answer.months.iterrows()
            ],
            "hottest": _days(answer.hottest),
            "dull_and_hot": _days(answer.dull_and_hot),
        }
    )


def _days(days: pd.DataFrame) -> list[dict[str, Any]]:
    names = (*_DAY, "air_changes_wanted")
    return [
        {"day": day.isoformat()} | {name: float(row[name]) for name in names} for day, row in days.round(6).iterrows()
    ]


def year_csv(answer: Afternoons) -> str:
    """Write the real afternoons as CSV, one a row."""
    return _csv(answer.days[list(_DAY)].round(6), "day")


def orientation_json(answer: Facing) -> str:
    """Write the grid of tilts and azimuths as JSON, schema ``solarvent.orientation/1``."""
    found = answer.light
    return to_json(
        {
            "schema": "solarvent.orientation/1",
            "start_irradiance": found.start_light,
            "grid": _grid(found).round(4).to_dict("records"),
            "hours": [
                {"hour": int(hour), "effective_irradiance": {f"{tilt:g}": float(value) for tilt, value in zip(
                    found.tilts, row.round(2), strict=True)}}
                for hour, row in zip(found.hours, found.by_hour, strict=True)
            ],
            "air": [
                {
                    "surface_tilt": one.tilt,
                    "surface_azimuth": one.azimuth,
                    "mean_flow": one.flow,
                    "mean_air_changes": one.air_changes,
                }
                for one in answer.tried
            ],
        }
    )  # fmt: skip


def orientation_csv(answer: Facing) -> str:
    """Write the grid of tilts and azimuths as CSV."""
    table = _grid(answer.light).round(4)
    heads = ("surface_tilt [deg]", "surface_azimuth [deg]", "need_light [W/m2]", "above_start", "year_light [kWh/m2]")
    table.columns = list(heads)
    return table.to_csv(index=False, lineterminator="\n").rstrip("\n")


def _grid(found: Orientations) -> pd.DataFrame:
    import pandas as pd

    rows = [
        (tilt, azimuth, found.need_light[row, column], found.above_start[row, column], found.year_light[row, column])
        for row, azimuth in enumerate(found.azimuths)
        for column, tilt in enumerate(found.tilts)
    ]
    return pd.DataFrame(rows, columns=["surface_tilt", "surface_azimuth", "need_light", "above_start", "year_light"])


def _csv(table: pd.DataFrame, index: str) -> str:
    heads = [_csv_heading(name) for name in table.columns]
    return table.set_axis(heads, axis=1).to_csv(lineterminator="\n", index_label=index).rstrip("\n")


def _csv_heading(name: str) -> str:
    """Name a column with its unit; of a part the unit is that of its kind, as of ``voltage.east``."""
    column = COLUMNS.get(name.partition(".")[0])
    return f"{name} [{unit}]" if column is not None and (unit := column.unit_si()) else name
