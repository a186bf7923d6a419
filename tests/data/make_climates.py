"""Print the two entries of profiles/climates.toml that come from typical years: ``python tests/data/make_climates.py``.

TMY3 stations 723170 and 703165, from the files that pvlib ships. The other entries of climates.toml are typed by hand.
"""

from __future__ import annotations

from math import cos, exp, pi, sqrt
from pathlib import Path

import numpy as np
import pvlib

from solarvent.weather.reading import read_weather

STATIONS = {"humid-subtropical": "723170TYA.CSV", "subpolar-oceanic": "703165TY.csv"}
DIFFUSIVITY, DEPTH = 0.05, 1.0
MIDDLES = np.array([15.5, 45, 74.5, 105, 135.5, 166, 196.5, 227.5, 258, 288.5, 319, 349.5])


def station(name: str):
    """Weather of one of the two stations, with the readings of air themselves: half way between two the extremes go."""
    path = Path(pvlib.__file__).parent / "data" / STATIONS[name]
    read = pvlib.iotools.read_tmy3(path, coerce_year=2023, map_variables=True)[0]
    weather = read_weather(path)
    weather["temp_air"] = read["temp_air"].to_numpy()
    return weather


def normals(weather) -> dict[str, list]:
    """Twelve values each, from a year of hours; cloud by day only, for night cloud moves no fan."""
    daily = weather["temp_air"].groupby(weather.index.date)
    days = daily.agg(["max", "min"])
    months = np.array([day.month for day in days.index])
    bright = weather[weather["ghi"] > 20]
    oktas = np.round(bright["opaque_cover"].to_numpy()).astype(int)
    result = {
        "temp_high": [round(float(days["max"][months == month].mean()), 1) for month in range(1, 13)],
        "temp_low": [round(float(days["min"][months == month].mean()), 1) for month in range(1, 13)],
        "okta_shares": [
            [round(float(np.mean(oktas[bright.index.month == month] == okta)), 3) for okta in range(9)]
            for month in range(1, 13)
        ],
        "wind_speed": [
            round(float(weather["wind_speed"][weather.index.month == month].mean()), 1) for month in range(1, 13)
        ],
    }
    result["ground"] = ground(result["temp_high"], result["temp_low"])
    return result


def ground(temp_high, temp_low) -> list[float]:
    """Undisturbed ground at 1 m by T. Kusuda, P. R. Achenbach (1965), the surface taken as warm as the air. [degC]"""
    air = (np.array(temp_high) + np.array(temp_low)) / 2
    wave = np.sum(air * np.exp(-2j * pi * MIDDLES / 365)) / 6
    amplitude, warmest = abs(wave), -np.angle(wave) * 365 / (2 * pi)
    damping = exp(-DEPTH * sqrt(pi / (365 * DIFFUSIVITY)))
    lag = DEPTH / 2 * sqrt(365 / (pi * DIFFUSIVITY))
    return [
        round(float(air.mean() + amplitude * damping * cos(2 * pi * (day - warmest - lag) / 365)), 0) + 0.0
        for day in MIDDLES
    ]


def toml_list(values, unit: str) -> str:
    """One line of quantities."""
    return "[" + ", ".join(f'"{value:g} {unit}"' for value in values) + "]"


def entry(name: str) -> str:
    """The monthly lines of one entry."""
    found = normals(station(name))
    shares = "\n".join(f"    {row}," for row in found["okta_shares"])
    return "\n".join(
        [
            f"[{name}]",
            f"temp_high = {toml_list(found['temp_high'], 'degC')}",
            f"temp_low = {toml_list(found['temp_low'], 'degC')}",
            f"okta_shares = [\n{shares}\n]",
            f"wind_speed = {toml_list(found['wind_speed'], 'm/s')}",
            f"ground = {toml_list(found['ground'], 'degC')}",
        ]
    )


if __name__ == "__main__":
    print("\n\n".join(entry(name) for name in STATIONS))
