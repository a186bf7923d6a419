"""Air that moves: fan curves, openings, stack, wind and the flow network."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.air.airflow import HouseFlow, house_flow
    from solarvent.air.fan import FanCurve
    from solarvent.air.network import AirNetwork, FanState, Ventilation, ventilate

__all__ = ["AirNetwork", "FanCurve", "FanState", "HouseFlow", "Ventilation", "house_flow", "ventilate"]

__getattr__ = lazy(
    __name__,
    {
        "AirNetwork": "network",
        "FanCurve": "fan",
        "FanState": "network",
        "HouseFlow": "airflow",
        "Ventilation": "network",
        "house_flow": "airflow",
        "ventilate": "network",
    },
)
