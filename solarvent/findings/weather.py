"""Findings on the weather that a plan is held against."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Iterator

from solarvent.base.findings import Finding
from solarvent.simulation.simulate import Simulation

FAR = 1.0
"""Degrees of latitude or longitude beyond which a station's hours no longer fit the sun of the place."""
WRONG = 5.0
"""Degrees beyond which the answer has no meaning: noon is off by twenty minutes or more, or summer is another one."""
FAR_CLIMATE = 15.0
"""Degrees of latitude, whichever the hemisphere, beyond which a kind of place is hardly the plan's."""
YEAR = 365.0
"""Days below which a span of weather is no year; a single day is one that was asked for."""


def weather_findings(run: Simulation) -> Iterator[Finding]:
    """Say whether the weather is that of another place, is no whole year, is made from normals, or lacks the wind."""
    weather, place = run.conditions.weather, run.plan.record.place
    if {"latitude", "longitude"} <= weather.attrs.keys():
        apart = max(
            abs(weather.attrs["latitude"] - place.latitude),
            abs((weather.attrs["longitude"] - place.longitude + 180) % 360 - 180),
        )
        if apart > FAR:
            text = (
                f"The weather is that of latitude {weather.attrs['latitude']:g}, longitude"
                f" {weather.attrs['longitude']:g}, {apart:.1f} degrees from the plan's place: its hours do not fit the"
                " sun there."
            )
            do = "Give a weather file of a station near you, or the station's own place in [place]."
            yield Finding("stop" if apart > WRONG else "warn", "weather-elsewhere", "", text, do, apart, FAR, "deg")
    days = len(run.conditions.times) * run.conditions.step / 86400
    if 1.5 < days < YEAR:
        absent = [
            month_name[month] for month in run.plan.record.months_of_need if month not in run.conditions.times.month
        ]
        lacks = f", and lacks {', '.join(absent)}, in which you need air" if absent else ""
        text = f"The weather is {days:.0f} days long{lacks}: totals and extremes are those of these days only."
        yield Finding(
            "warn", "weather-short", "", text, "Give a whole year; see whether the file is whole.", days, YEAR, "d"
        )
    wanted = run.plan.record.weather
    if wanted.climate is not None or wanted.normals is not None:
        text = "The weather is made from monthly normals: no heat waves, no cold spells, one sky a day."
        do = "For the hottest afternoons take a real year: solarvent weather fetch."
        yield Finding("note", "weather-made", "", text, do)
    if wanted.climate is not None and (usual := run.plan.climate(wanted.climate).latitude) is not None:
        apart = abs(abs(usual) - abs(place.latitude))
        if apart > FAR_CLIMATE:
            text = (
                f"The climate {wanted.climate} belongs near latitude {abs(usual):g}, the plan's place is at"
                f" {abs(place.latitude):g}: its months do not go with the sun there."
            )
            do = "Choose another (solarvent parts climates), or give your own [weather.normals]."
            yield Finding("warn", "climate-elsewhere", "", text, do, apart, FAR_CLIMATE, "deg")
    unknown = float(weather[["wind_speed", "wind_direction"]].isna().any(axis=1).mean())
    if unknown > 0:
        text = f"In {unknown:.0%} of the hours the weather says nothing of the wind; they count as calm."
        do = "Wind against a fan's wall stops weak fans: put them on the lee side."
        yield Finding("note", "wind-unknown", "", text, do, unknown, 0.0)
