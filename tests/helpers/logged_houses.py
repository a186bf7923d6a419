"""Logs of made-up houses whose figures are known: carried through the model, read with noise, written as CSV."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from solarvent.air.network import FanState
from solarvent.house.house_run import house_run
from solarvent.house.model import HouseModel, house_model
from solarvent.plan.plan import Plan, plan_from
from solarvent.studies.house_fit import CRACKS_END, PRIORS
from solarvent.weather import sun
from solarvent.weather.reading import embedded_weather
from solarvent.weather.span import finer

LATITUDE, LONGITUDE, ALTITUDE = 36.1, -79.95, 273.0
NOISE = 0.5  # of each reading [K]
_HOTTEST = 75.0  # [degC]
_SETTLING = 30  # days before the log
KINDS = ("5-minute", "hourly", "min-max")


@dataclass(frozen=True, eq=False)
class Logged:
    """A made-up house, its log and what is true of it; `ground` is the mean temperature under it [degC]."""

    plan: Plan
    path: Path
    truth: dict[str, float]
    ground: float
    table: pd.DataFrame


def made_up_plan(random: np.random.Generator, **changes: Any) -> Plan:
    """A house of any usual kind at the place of the embedded weather; it stays shut, and its fan stands."""
    width = random.uniform(1.9, 4.0)
    house = {
        "shape": str(random.choice(["gable", "tunnel", "lean-to", "shed"])),
        "length": f"{random.uniform(2.0, 8.0):.1f} m",
        "width": f"{width:.1f} m",
        "eaves": "0 m" if random.random() < 0.1 else f"{random.uniform(1.4, 1.9):.1f} m",
        "ridge": f"{random.uniform(2.1, 2.7):.1f} m",
        "cover": str(random.choice(["single-glass", "twin-wall-4mm", "film-single", "twin-wall-10mm"])),
        "floor": str(random.choice(["soil", "gravel", "slab", "boards", "lawn"])),
        "planting": str(random.choice(["empty", "half", "full"])),
        "tightness": str(random.choice(["tight", "average", "leaky"])),
        "azimuth": float(random.choice([90, 135, 180, 225, 270])),
    }
    if house["shape"] == "tunnel":
        house["eaves"], house["ridge"] = "0 m", f"{width / 2:.2f} m"
    content: dict[str, Any] = {
        "plan_version": 1,
        "place": {"latitude": LATITUDE, "longitude": LONGITUDE, "altitude": f"{ALTITUDE} m", "timezone": "Etc/GMT+5"},
        "weather": {"embedded": "latitude 36.1, longitude -79.95"},
        "house": house | changes,
        "panel": [{"id": "roof", "part": "panel-20w"}],
        "fan": [{"id": "east", "part": "fan-24v-120x25"}],
        "wiring": {"layout": "shared"},
    }
    if random.random() < 0.4:
        content["mass"] = [{"id": "drums", "part": "drum-208l", "count": int(random.integers(1, 5))}]
    return plan_from(content)


def drawn_truth(random: np.random.Generator) -> dict[str, float]:
    """Figures as the priors have them, within their bounds."""
    truth = {}
    for prior in PRIORS:
        end = CRACKS_END if prior.name == "leakage" else 2.5
        truth[prior.name] = prior.value(float(np.clip(random.normal(), -end, end)))
    truth["layers"] = 0.08 * float(np.clip(random.normal(), -2, 2))
    return truth


def carried(plan: Plan, truth: dict[str, float], first: int, days: int, step: float) -> tuple[pd.DataFrame, HouseModel]:
    """Carry a house with its true figures through days of the embedded year: times, outside, inside, light."""
    figures = {"leakage_factor": truth["leakage"], "light_factor": truth["light"], "cover_factor": truth["cover"],
               "storage_factor": truth["storage"], "ground_shift": f"{truth['ground']} K"}  # fmt: skip
    true_plan = plan.with_({"house.measured": figures})
    weather = embedded_weather()
    hours = weather.iloc[(first - _SETTLING) * 24 : (first + days) * 24]
    hours.attrs = dict(weather.attrs)
    if step < 3600:
        hours = finer(hours, 3600.0, step, LATITUDE, LONGITUDE, ALTITUDE)
    position = sun.solar_position(hours.index, LATITUDE, LONGITUDE, ALTITUDE, step)
    model = house_model(true_plan, hours, position, hours.index.month.to_numpy(), step)
    run = house_run(true_plan, model, FanState.standing(true_plan, len(hours)), ("closed",))
    inside, outside = run.temp_inside[:, 0], model.temp_air
    table = pd.DataFrame({"outside": outside, "air": inside, "ghi": hours["ghi"], "wind": hours["wind_speed"],
                          "lit": ~model.dark}, index=hours.index)  # fmt: skip
    keep = slice(_SETTLING * round(86_400 / step), None)
    return table.iloc[keep], model.part(keep)


def logged_house(
    seed: int, kind: str, days: int, folder: Path, light: bool = True, spoil: Any = None, **changes: Any
) -> Logged:
    """Make a house and its log; `spoil` may change the true readings, a table, before the noise comes on."""
    random = np.random.default_rng(seed)
    step = 300.0 if kind == "5-minute" else 3600.0
    hottest = np.inf
    # What gets hotter than any house is no house.
    while not hottest < _HOTTEST:
        plan, truth = made_up_plan(random, **changes), drawn_truth(random)
        first = int(random.integers(_SETTLING + 5, 330 - days))
        table, model = carried(plan, truth, first, days, step)
        hottest = float(table["air"].max())
    rise = np.maximum(table["air"] - table["outside"], 0.0)
    table["inside"] = table["air"] + truth["layers"] * rise * table["lit"]
    if spoil is not None:
        table = spoil(table)
    table["inside"] += random.normal(0, NOISE, len(table))
    told = table[["outside", "inside"]].round(2)
    if light:
        told["sun"] = (table["ghi"] * random.uniform(0.97, 1.03)).round(0)
    told["wind"] = table["wind"]
    told.columns = ["outside [degC]", "inside [degC]", *(["sun [W/m2]"] if light else []), "wind [m/s]"]
    if kind == "min-max":
        told = least_and_most(table, random)
    told.index = told.index.tz_convert("Etc/GMT+5").tz_localize(None).strftime("%Y-%m-%d %H:%M").rename("time")
    path = folder / f"log-{seed}-{kind}.csv"
    told.to_csv(path)
    return Logged(plan, path, truth, float(model.temp_ground.mean()), table)


def least_and_most(table: pd.DataFrame, random: np.random.Generator) -> pd.DataFrame:
    """Each morning at eight by the clock somebody writes down what two thermometers with memory say, and sets them."""
    clock = table.index.tz_convert("Etc/GMT+5")
    day = (clock - pd.Timedelta(hours=8)).normalize()
    groups = table.groupby(day)
    read = pd.DataFrame({f"{name} {what} [degC]": getattr(groups[name], what)() for name in ("outside", "inside")
                         for what in ("min", "max")})  # fmt: skip
    for what in ("min", "max"):
        read[f"inside {what} [degC]"] += random.normal(0, NOISE, len(read))
    read.index = read.index + pd.Timedelta(hours=32)
    return read.iloc[1:-1].round(1)
