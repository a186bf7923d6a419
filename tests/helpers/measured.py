"""Measured houses: the inputs of tests/data/measured_houses.toml, carried through the model."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from hobby import hobby_run

from solarvent.house.house_run import HouseRun
from solarvent.plan.plan import Plan, plan_from
from solarvent.weather import sky

DATA = Path(__file__).parent.parent / "data"
HOUSES = tomllib.loads((DATA / "measured_houses.toml").read_text(encoding="utf-8"))
HOBBY = tomllib.loads((DATA / "hobby_house.toml").read_text(encoding="utf-8"))
#: A thermometer in the sun says how warm the air is at the most: not more than this above the line between the last
#: hour before and the first one after (common practice, no source). [K]
_MOST_OVER_LINE = 8.0


def measured_plan(name: str, **changes: Any) -> Plan:
    """Load the plan of a measured house; changes are of its section [house]."""
    content = {key: HOBBY[key] for key in ("plan_version", "panel", "wiring")} | {"fan": HOBBY["fan"][:1]}
    case = HOUSES[name]
    house = case["house"] | changes
    return plan_from(content | {"place": case["place"], "house": house, "weather": {"clear_sky": True}})


def measured_hours(name: str) -> pd.DataFrame:
    """Read the measured hours of a house: outside, inside, light, and whether the outside is to be believed."""
    table = pd.read_csv(DATA / "house_hours.csv", comment="#")
    table = table[table["house"] == HOUSES[name]["hours"]]
    index = pd.DatetimeIndex(pd.to_datetime(table["time_utc"]), tz="UTC") + pd.Timedelta(minutes=30)
    table = table.set_index(index)[["outside", "inside", "light_raw_lx", "outside_ok"]].astype(float)
    return table[~table.index.duplicated()].asfreq("h").interpolate()


def measured_weather(name: str, days: int = 4) -> pd.DataFrame:
    """Lay the weather of a house out: hours as measured, or the same clear day over and over."""
    case, place = HOUSES[name], HOUSES[name]["place"]
    if "hours" in case:
        hours = measured_hours(name)
        index, share = hours.index, _brightness(hours)
        line = hours["outside"].where(hours["outside_ok"] > 0).interpolate(limit_direction="both")
        air = np.where(hours["outside_ok"] > 0, hours["outside"], np.minimum(hours["outside"], line + _MOST_OVER_LINE))
    else:
        start = pd.Timestamp(2001, case["month"], case["day"], tz="UTC") - pd.Timedelta(days=days - 1)
        start = start - pd.Timedelta(hours=round(place["longitude"] / 15))
        index = pd.date_range(start, periods=24 * days, freq="h") + pd.Timedelta(minutes=30)
        clock = (np.arange(len(index)) + 0.5) % 24
        times = np.array(sorted(map(float, case["air"])))
        temps = np.array([case["air"][f"{hour:g}"] for hour in times])
        air = np.interp(clock, np.concatenate([times - 24, times, times + 24]), np.tile(temps, 3))
        share = np.ones(len(index))
    clear = sky.clear_sky(index, place["latitude"], place["longitude"], 0.0)
    ghi = clear.ghi * share
    whole = share > 0.9
    # Kasten & Czeplak 1980, turned round.
    oktas = 8 * np.clip((1 - share) / 0.75, 0, 1) ** (1 / 3.4) * ~whole
    weather = pd.DataFrame(
        {
            "ghi": ghi,
            "dni": np.where(whole, clear.dni, 0.0),
            "dhi": np.where(whole, clear.dhi, ghi),
            "temp_air": air,
            "wind_speed": case["wind_speed"],
            "wind_direction": 225.0,
            "relative_humidity": float(case["relative_humidity"]),
            "opaque_cover": oktas,
        },
        index=index,
    )
    weather.attrs["step"] = 3600.0
    return weather


def _brightness(hours: pd.DataFrame) -> np.ndarray:
    """Light of each day over that of the brightest day within ten, if light was measured; else a clear sky. [-]"""
    if hours["light_raw_lx"].isna().all():
        return np.ones(len(hours))
    sums = hours["light_raw_lx"].resample("D").sum()
    share = (sums / sums.rolling(21, center=True, min_periods=1).max()).clip(0.0, 1.0)
    # A night has the sky of the days around it.
    return share.reindex(hours.index, method="ffill").to_numpy()


def measured_run(name: str, weather: pd.DataFrame | None = None, **changes: Any) -> HouseRun:
    """Carry a measured house through its weather, shut."""
    weather = measured_weather(name) if weather is None else weather
    return hobby_run(measured_plan(name, **changes), weather, ("closed",))
