"""Houses with more water in them, and without their masses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solarvent.base.constants import WATER_HEAT_CAPACITY
from solarvent.house.heat_balance import Masses
from solarvent.house.model import MOST_CAUGHT, HouseModel, side_area
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
    """Put one more thing into a house; it catches sun that was on its way out at the sides."""
    area = mass.count * mass.sun_area * mass.sunlit
    left = model.side_sun - (1 - MOST_CAUGHT) * model.crossing
    caught = np.minimum(model.crossing * area / side_area(plan), np.maximum(left, 0.0))
    caught = caught / (1 / mass.film + mass.inner_resistance) / mass.film
    surface = mass.count * mass.area / (1 / mass.film + mass.inner_resistance)
    new = (mass.count * mass.volume * mass.heat_capacity * 1e6, max(surface, 1e-6), 0.0)
    grown = (np.vstack([old, [[value]]]) for old, value in zip(vars(model.masses).values(), new, strict=True))
    return replace(
        model,
        masses=Masses(*grown),
        mass_names=(*model.mass_names, mass.id or mass.name),
        sun_mass=np.column_stack([model.sun_mass, caught]),
        light=model.light + caught,
    )


def drop_masses(model: HouseModel) -> HouseModel:
    """Take everything out of a house but its floor; what the sun gave to the masses is gone."""
    return replace(
        model,
        masses=Masses(*(values[:1] for values in vars(model.masses).values())),
        mass_names=model.mass_names[:1],
        sun_mass=model.sun_mass[:, :1],
        light=model.light - model.sun_mass[:, 1:].sum(axis=1),
    )
