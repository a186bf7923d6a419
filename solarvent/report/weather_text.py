"""A weather file in short, as text and as data, and a weather table as a file."""

from __future__ import annotations

from calendar import month_abbr
from math import isnan
from typing import TYPE_CHECKING, Any

from solarvent.base.columns import COLUMNS
from solarvent.base.quantities import show
from solarvent.report.data import to_json
from solarvent.report.layout import cell, heading, paragraph, table
from solarvent.weather.csv_file import COLUMNS as FILE_COLUMNS
from solarvent.weather.span import WeatherSummary

if TYPE_CHECKING:
    import pandas as pd

_FILE_DECIMALS = {"wind_direction": 0, "pressure": 0}


def render_weather(summary: WeatherSummary, system: str = "metric", note: str = "") -> str:
    """Write a weather summary for people, in at most 80 columns; the note comes first."""
    blocks = [paragraph(note)] if note else []
    blocks += [heading((summary.title or "Weather without a title")[:80]), _about(summary, system)]
    months = [
        [month_abbr[int(month)], *(_cell(name, row[name], system) for name in summary.months.columns)]
        for month, row in summary.months.iterrows()
    ]
    blocks.append(f"{heading('By month')}\n{table(months, _headings('month', summary.months, system))}")
    blocks.append(
        paragraph(
            '"of clear": light over that of a clear sky. "lows", "highs": means of the days\' lowest and highest.'
            ' Cloud is opaque cover by day. "calm": share of the hours with wind below'
            f" {show(0.5, 'speed', system, 1)}."
        )
    )
    hottest = [
        [f"{time:%d %b %H:%M}", *(cell(name, row[name], system) for name in summary.hottest.columns)]
        for time, row in summary.hottest.iterrows()
    ]
    blocks.append(
        f"{heading('The hottest days, each at its hottest hour')}\n"
        + table(hottest, _headings("from", summary.hottest, system))
    )
    return "\n\n".join(blocks)


def _cell(name: str, value: float, system: str) -> str:
    """Write a monthly value; a mean of oktas has a tenth, other than a single hour's."""
    return f"{value:.1f}" if name == "oktas" and not isnan(value) else cell(name, value, system)


def _about(summary: WeatherSummary, system: str) -> str:
    """Where and when it was, and what is to be known of it."""
    side = "N" if summary.latitude >= 0 else "S"
    other = "E" if summary.longitude >= 0 else "W"
    coldest, warmest = (
        f"{show(value, 'temperature', system)} ({time:%d %b %H:%M})"
        for value, time in (summary.coldest, summary.warmest)
    )
    rows = {
        "place": f"{abs(summary.latitude):g} {side}, {abs(summary.longitude):g} {other},"
        f" {show(summary.altitude, 'length', system)} above the sea",
        "source": summary.source or "not named",
        "hours": f"{summary.start:%Y-%m-%d %H:%M} to {summary.end:%Y-%m-%d %H:%M}, every {summary.step / 60:g} min;"
        f" clock {summary.offset}, without daylight saving",
        "air": f"{coldest} to {warmest}",
        "light": f"{summary.irradiation:.0f} kWh/m2 on the level",
        "wind": "not known" if isnan(summary.calm_share) else f"calm in {summary.calm_share:.0%} of the hours",
        "missing": ", ".join(f"{name} ({share:.0%})" for name, share in summary.missing.items()) or "nothing",
    }
    lines = [paragraph(text, " " * 9, f"{word:<9}") for word, text in rows.items()]
    return "\n".join(lines + [paragraph(text, " " * 9, "note     ") for text in summary.notes])


def _headings(first: str, frame: pd.DataFrame, system: str) -> list[str]:
    return [first, *(COLUMNS[str(name)].heading(system) for name in frame.columns)]


def weather_json(summary: WeatherSummary) -> str:
    """Write a weather summary as JSON, schema ``solarvent.weather/1``; SI units, irradiation in kWh/m2."""
    months: list[dict[str, Any]] = [
        {"month": int(month)} | {str(name): float(value) for name, value in row.items()}
        for month, row in summary.months.round(6).iterrows()
    ]
    hottest = [
        {"time": time.isoformat()} | {str(name): float(value) for name, value in row.items()}
        for time, row in summary.hottest.round(6).iterrows()
    ]
    return to_json(
        {
            "schema": "solarvent.weather/1",
            "title": summary.title,
            "source": summary.source,
            "latitude": summary.latitude,
            "longitude": summary.longitude,
            "altitude": summary.altitude,
            "step": summary.step,
            "start": summary.start.isoformat(),
            "end": summary.end.isoformat(),
            "temp_air_min": {"value": summary.coldest[0], "time": summary.coldest[1].isoformat()},
            "temp_air_max": {"value": summary.warmest[0], "time": summary.warmest[1].isoformat()},
            "irradiation": summary.irradiation,
            "calm_share": summary.calm_share,
            "months": months,
            "hottest": hottest,
            "missing": summary.missing,
            "notes": list(summary.notes),
        }
    )


def weather_csv(summary: WeatherSummary) -> str:
    """Write the months of a weather summary as CSV; the heading carries the units."""
    months = summary.months.round(6)
    units = {"irradiation": "kWh/m2"} | {
        name: COLUMNS[name].unit_si() for name in months.columns if name != "irradiation"
    }
    months.columns = [f"{name} [{units[name]}]" if units[name] else name for name in months.columns]
    return months.to_csv(lineterminator="\n", index_label="month").rstrip("\n")


def weather_file(weather: pd.DataFrame) -> str:
    """Write a weather table as a file that :func:`solarvent.weather.reading.read_weather` reads.

    It is the plain CSV, stamped at the middle of each interval, values to a tenth; columns without any value are not
    written.
    """
    about = weather.attrs
    head = {
        "title": about["title"],
        "source": about["source"],
        "latitude": f"{about['latitude']:.6g}",
        "longitude": f"{about['longitude']:.6g}",
        "altitude": f"{about['altitude']:.6g}",
        "stamp": "middle",
        "step": f"{about['step'] / 60:g}",
    }
    lines = [f"# {key}: {' '.join(str(value).split())}" for key, value in head.items()]
    known = [name for name in FILE_COLUMNS if weather[name].notna().any()]
    body = weather[known].round({name: _FILE_DECIMALS.get(name, 1) for name in known})
    body.columns = [f"{name} [{next(iter(FILE_COLUMNS[name]))}]" for name in known]
    body.index = [time.isoformat(timespec="minutes") for time in weather.index]
    return "\n".join([*lines, body.to_csv(lineterminator="\n", index_label="time").rstrip("\n")])
