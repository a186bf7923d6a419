"""Heat in a house: light kept, heat balance, moisture, masses and heaters."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.house.air_need import need
    from solarvent.house.house_run import HouseRun
    from solarvent.house.model import HouseModel, house_model

__all__ = ["HouseModel", "HouseRun", "house_model", "need"]

__getattr__ = lazy(
    __name__,
    {
        "HouseModel": "model",
        "HouseRun": "house_run",
        "house_model": "model",
        "need": "air_need",
    },
)
