"""Light and air at a place, hour by hour: sun, sky, clouds, climates, files, fetch."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.weather.conditions import plan_weather
    from solarvent.weather.fetch import fetch_weather
    from solarvent.weather.reading import embedded_weather, read_weather
    from solarvent.weather.span import summarise

__all__ = ["embedded_weather", "fetch_weather", "plan_weather", "read_weather", "summarise"]

__getattr__ = lazy(
    __name__,
    {
        "embedded_weather": "reading",
        "fetch_weather": "fetch",
        "plan_weather": "conditions",
        "read_weather": "reading",
        "summarise": "span",
    },
)
