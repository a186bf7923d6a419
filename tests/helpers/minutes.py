"""Light by the minute at the stations of ``tests/data/minutes``, the same by the hour, and fans under both."""

import gzip
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from solarvent.electrical.panel_model import TYPICAL
from solarvent.plan.checking import check_plan
from solarvent.plan.library import Library
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import simulate_under
from solarvent.weather import sky, sun
from solarvent.weather.conditions import light_on_panels

FOLDER = Path(__file__).parents[1] / "data" / "minutes"
LIGHT = ["ghi", "dni", "dhi"]
OTHERS = ("alamosa", "tucson", "edinburg", "eugene", "golden-2019", "golden-2022")
"""Stations beside Payerne: days that were never used to choose a form."""
LIBRARY = Library()


@cache
def station(name):
    """Weather in steps of a minute (Golden: five), as the package holds it; mild and calm."""
    path = FOLDER / f"{name}.csv.gz"
    text = gzip.decompress(path.read_bytes()).decode()
    head = dict(line[2:].split(": ", 1) for line in text.splitlines() if line.startswith("#"))
    rows = pd.read_csv(path, comment="#").set_index("minute")
    minutes = int(head["minutes"])
    start = pd.Timestamp(head["start"]) + pd.Timedelta(minutes=minutes) / 2
    times = pd.date_range(start, periods=int(head["steps"]), freq=f"{minutes}min")
    table = rows[LIGHT].reindex(np.arange(len(times)) * minutes, fill_value=0).astype(float).set_axis(times)
    table = table.assign(temp_air=20.0, wind_speed=0.0, wind_direction=0.0, opaque_cover=np.nan)
    table.attrs = {name: float(head[name]) for name in ("latitude", "longitude", "altitude")} | {"step": 60.0 * minutes}
    return table


def hourly(table):
    """The same in means of an hour."""
    hours = table.groupby(table.index.floor("h")).mean()
    hours.index = hours.index + pd.Timedelta(minutes=30)
    hours.attrs = table.attrs | {"step": 3600.0}
    return hours


SPREAD = ((0.1, 0.3), (0.3, 0.7), (0.7, 0.9))
"""Hours with little, half and most of the beam of a clear sky. [-]"""
CLEARER = 1.17
"""Beam of the clear hours of Payerne over that with the turbidity of the map: what its gaps let through. [-]"""


@cache
def thirds_of_payerne():
    """Hours of Payerne with the sun 15 degrees up or more, their minutes sorted by global light and cut into thirds.

    Beam as a share of a clear sky's, of the hour and of its thirds, and diffuse light of the thirds as a share of the
    hour's.
    """
    table = station("payerne")
    place = (table.attrs["latitude"], table.attrs["longitude"], table.attrs["altitude"])
    zenith = sun.solar_position(table.index, *place).zenith.reshape(-1, 60)
    clear = sky.clear_sky(table.index, *place).dni.reshape(-1, 60)
    order = np.argsort(-table["ghi"].to_numpy().reshape(-1, 60), axis=1)
    beam, diffuse = (
        np.take_along_axis(table[name].to_numpy().reshape(-1, 60), order, axis=1).reshape(-1, 3, 20).mean(axis=2)
        for name in ("dni", "dhi")
    )
    high = zenith.max(axis=1) < 75
    beam = beam[high] / (CLEARER * clear.mean(axis=1)[high, None])
    return beam.mean(axis=1), beam, diffuse[high] / diffuse[high].mean(axis=1, keepdims=True)


def by_spread(mean, of_thirds):
    """Average the thirds of hours, shape (hours, 3), over the hours of each span of `SPREAD`, one after the other."""
    return np.concatenate([of_thirds[(mean > low) & (mean < high)].mean(axis=0) for low, high in SPREAD])


def fan_on_panel(table, fan, panel, tilt=35, azimuth=200):
    """A plan of one fan on one panel at a station, its air through a large hole."""
    place = {name: table.attrs[name] for name in ("latitude", "longitude")}
    content = {
        "plan_version": 1,
        "title": "One fan",
        "place": place | {"altitude": f"{table.attrs['altitude']:g} m", "timezone": "UTC"},
        "weather": {"clear_sky": True},
        "house": {"length": "3 m", "width": "2 m", "use": "shed"},
        "target": {"flow": "120 m3/h", "months": [6]},
        "panel": [{"id": "roof", "part": panel, "tilt": tilt, "azimuth": azimuth}],
        "fan": [{"id": "one", "part": fan}],
        "opening": [{"id": "door", "part": "plain-hole", "area": "0.1 m2"}],
        "wiring": {"layout": "shared", "lead": {"wire": "18 AWG", "length": "4 m"}},
    }
    return Plan(check_plan(content, LIBRARY), LIBRARY)


def turned(plan, table, days=lambda day: day > 0):
    """Hours with light, hours in which the fan turns, and air moved, over chosen days of a month. [h], [h], [m3]"""
    seconds = table.attrs["step"]
    run = simulate_under(plan, light_on_panels(plan, table, seconds, seconds), (TYPICAL,), house=False)
    chosen = days(table.index.day.to_numpy())
    lit = (table["ghi"].to_numpy() > 0)[chosen].sum() * seconds / 3600
    return lit, run.electrical.running[0][chosen].sum() * seconds / 3600, run.ventilation.flow[chosen].sum() * seconds


def compared(names, fan, panel, tilt=35, azimuth=200, days=lambda day: day > 0):
    """Share of the lit time in which a fan turns, by the minute and by the hour, and the same two of the air moved."""
    minutes, hours = np.zeros(3), np.zeros(3)
    for name in names:
        table = station(name)
        plan = fan_on_panel(table, fan, panel, tilt, azimuth)
        minutes += turned(plan, table, days)
        hours += turned(plan, hourly(table), days)
    return (minutes[1] / minutes[0], hours[1] / minutes[0]), (minutes[2], hours[2])
