"""The hobby house on its days: the one set of inputs of tests/data, carried through the model."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from solarvent.air.network import FanState
from solarvent.electrical.panel_model import TYPICAL
from solarvent.house.house_run import HouseRun, house_run
from solarvent.house.model import house_model
from solarvent.plan.checking import check_plan
from solarvent.plan.library import Library
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import simulate_under
from solarvent.weather import moist_air, sky, sun
from solarvent.weather.conditions import light_on_panels

DATA = Path(__file__).parent.parent / "data"
DAYS = tomllib.loads((DATA / "hobby_days.toml").read_text(encoding="utf-8"))


def hobby_plan(drums: bool = False, louvre: bool = True, **changes: Any) -> Plan:
    """Load the hobby house, with or without its drums and its louvre; changes are of the section [house]."""
    content = tomllib.loads((DATA / "hobby_house.toml").read_text(encoding="utf-8"))
    if drums:
        chosen = DAYS["drums"]
        content["mass"] = [{"id": "drums"} | {key: chosen[key] for key in ("part", "count", "sunlit")}]
    if not louvre:
        content["opening"] = content["opening"][1:]
        for fan in content["fan"]:
            fan["outlet_opening"] = "light-shutter"
    content["house"] |= changes
    return Plan(check_plan(content, Library()), Library())


def hobby_weather(loaded: Plan, *names: str) -> pd.DataFrame:
    """Lay the named days one after the other, each repeated as often as it says; hours, at their middle."""
    frames = []
    place = loaded.record.place
    start = None
    for name in names:
        day = DAYS[name]
        start = start or pd.Timestamp(2001, day["month"], day["day"], tz="UTC") - pd.Timedelta(
            days=DAYS[names[0]]["days"]
        )
        index = pd.date_range(start, periods=24 * day["days"], freq="h") + pd.Timedelta(minutes=30)
        start = start + pd.Timedelta(days=day["days"])
        clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
        hours = np.array(sorted(map(float, day["air"])))
        temps = np.array([day["air"][f"{hour:g}"] for hour in hours])
        clock = index.hour + index.minute / 60
        around = np.concatenate([hours - 24, hours, hours + 24])
        air = np.interp(clock, around, np.tile(temps, 3))
        ghi = day["light"] * clear.ghi
        whole = day["light"] == 1
        frames.append(
            pd.DataFrame(
                {
                    "ghi": ghi,
                    "dni": clear.dni if whole else 0.0,
                    "dhi": clear.dhi if whole else ghi,
                    "temp_air": air,
                    "wind_speed": day["wind_speed"],
                    "wind_direction": 225.0,
                    "relative_humidity": 100
                    * np.minimum(
                        moist_air.saturation_pressure(day["dew_point"]) / moist_air.saturation_pressure(air), 1
                    ),
                    "opaque_cover": float(day["oktas"]),
                },
                index=index,
            )
        )
    weather = pd.concat(frames)
    weather.attrs["step"] = 3600.0
    return weather


def hobby_run(
    loaded: Plan,
    weather: pd.DataFrame,
    cases: tuple[str, ...],
    open_share: float | None = None,
    heater: tuple[float, float] | None = None,
) -> HouseRun:
    """Carry the house through the weather."""
    place = loaded.record.place
    position = sun.solar_position(weather.index, place.latitude, place.longitude, place.altitude)
    model = house_model(loaded, weather, position, weather.index.month.to_numpy(), 3600.0)
    fans = FanState.standing(loaded, len(weather))
    if "both" in cases:
        light = light_on_panels(loaded, weather, 3600.0, 3600.0)
        electrical = simulate_under(loaded, light, (TYPICAL,)).electrical
        fans = FanState.by_step(electrical.fan_voltage, electrical.running > 0.5)
    return house_run(loaded, model, fans, cases, open_share=open_share, heater=heater)


def at_hour(run: HouseRun, case: str, hour: int, day: int = -1) -> float:
    """Inside temperature at a clock time, between the two hours that meet there; of a day counted from the end."""
    days = run.case(case).reshape(-1, 24)
    before = days[day, hour - 1]
    return float((before + days[day, hour]) / 2)
