"""Houses with more water in them, and without their masses."""

from __future__ import annotations

from solarvent.base.constants import WATER_HEAT_CAPACITY
from solarvent.house.model import HouseModel, furnished
from solarvent.plan.house_records import Mass
from solarvent.plan.plan import Plan

#: A standing drum of 55 US gal: litres, surface and front [L], [m2], [m2] (typical).
_DRUM = (208.2, 1.87, 0.51)


def drums(litres: float) -> Mass:
    """Any amount of water in sunlit standing drums."""
    size, area, front = _DRUM
    share = litres / size
    return Mass.model_construct(
        id="water", name="water", volume=litres / 1000.0, heat_capacity=WATER_HEAT_CAPACITY, area=area * share,
        sun_area=front * share, film=8.3, inner_resistance=0.0, count=1, sunlit=True, start=None,
    )  # fmt: skip


def add_mass(plan: Plan, model: HouseModel, mass: Mass) -> HouseModel:
    """Put one more thing into a house."""
    return furnished(plan, model, [*plan.record.mass, mass])


def drop_masses(plan: Plan, model: HouseModel) -> HouseModel:
    """Take everything that stores heat out of a house but its floor."""
    return furnished(plan, model, [])
