"""The answers of ``airflow`` as data for other programs: JSON with SI units, and CSV whose heading names the units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from solarvent.base.columns import COLUMNS
from solarvent.report.data import to_json
from solarvent.studies.afternoons import Afternoons
from solarvent.studies.airflow import Airflow, Facing
from solarvent.studies.orientation import Orientations
from solarvent.studies.sky_day import SkyAnswer

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = "solarvent.airflow/1"
_ROW = (
    "poa_global", "temp_air", "temp_inside", "running", "fans_running", "flow_running", "flow", "air_changes",
    "restarts",
)  # fmt: skip
_DAY = ("month", "temp_air", "oktas", "poa_global", "running", "flow", "flow_wanted", "air_changes")


def _sky_rows(answer: SkyAnswer) -> list[dict[str, Any]]:
    rows = answer.rows.round(6)
    return [
        {"time": time.isoformat(), "oktas": answer.oktas} | {name: float(row[name]) for name in _ROW}
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
    } | ({} if answer.house_totals is None else {"house": answer.house_totals})


def airflow_json(answer: Airflow) -> str:
    """Write the answer for one sky, or for all of them, as JSON, schema ``solarvent.airflow/1``."""
    return _one_sky(answer.skies[0], answer.other) if len(answer.skies) == 1 else _all_skies(answer)


def _one_sky(answer: SkyAnswer, other: SkyAnswer | None) -> str:
    """Write one sky; `other` is the other reading of it."""
    title = {"schema": SCHEMA, "title": answer.run.plan.record.title}
    second = {} if other is None else {"other_reading": {key: _sky(other)[key] for key in _OTHER}}
    return to_json(title | _sky(answer) | second)


_OTHER = ("sunlit_share", "gap_level", "shadow_level", "mean_flow", "mean_air_changes", "running_share")


def _all_skies(answer: Airflow) -> str:
    """Write all skies; the hours carry their oktas, and the means at the top are those over all rows."""
    skies = [_sky(sky) for sky in answer.skies]
    rows = [row for sky in skies for row in sky["hours"]]
    title = {"schema": SCHEMA, "title": answer.skies[0].run.plan.record.title, "hours": rows}
    return to_json(title | answer.means | {"skies": skies})


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
    heads = [
        f"{name} [{COLUMNS[name].unit_si()}]" if name in COLUMNS and COLUMNS[name].unit_si() else name
        for name in table.columns
    ]
    return table.set_axis(heads, axis=1).to_csv(lineterminator="\n", index_label=index).rstrip("\n")
