"""Sunlight in a plan's house: its cover with cloth and paint, what stands in it, and where the light ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from solarvent.house.envelope import FLOORS, Floor, incidence_modifier
from solarvent.house.light_balance import SINKS, LightBalance, LitHouse, Pane, Standing, light_balance
from solarvent.plan.house_records import Mass
from solarvent.plan.parts import Cover
from solarvent.plan.plan import Plan
from solarvent.plan.shape import Surfaces, shape_surfaces
from solarvent.weather.sun import SolarPosition

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

#: Leaf for each area of floor, by planting (typical: a row crop covers half of the floor at 1 and all of it at 3). [-]
_LEAF_AREA = {"empty": 0.0, "half": 1.0, "full": 3.0}
#: Of sunlight, visible and not: 0.4 to 0.5 (Campbell & Norman, Environmental Biophysics, chapter 11, from memory); a
#: closed stand then throws back a fifth, as crops do. [-]
_LEAF_ABSORPTANCE = 0.4
#: Staging, pots and tools show this much to the light for each area of floor (typical). [-]
_STAGING = 0.25
#: Dark drums, and staging (typical). [-]
_MASS_ABSORPTANCE, _STAGING_ABSORPTANCE = 0.8, 0.7
#: A plastered or brick wall at which a lean-to leans (typical). [-]
_WALL_ABSORPTANCE = 0.6
#: Leaves, drums and staging stand up to here (typical). [m]
_STANDING_HEIGHT = 0.9
#: Bars and frames hold back a tenth of the light, and from within swallow half of what meets them (typical). [-]
_BARS, _BARS_SWALLOW = 0.1, 0.5
#: Of the light that cloth stops it throws back this share and swallows the rest; whitewash swallows next to nothing
#: (typical). [-]
_CLOTH_THROWS_BACK = 0.3
#: Slant that stands for light from all sides (Duffie & Beckman, section 5.4, from memory). [deg]
_DIFFUSE_ANGLE = 60.0
_COSINES = 65


@dataclass(frozen=True, eq=False)
class Sunlight:
    """The sun on a house, as seen from its front. Arrays of shape (steps,).

    Attributes
    ----------
    zenith, bearing : ndarray
        [rad], the latter clockwise from the front.
    dni, dhi, ground : ndarray
        Beam on a plane that faces the sun, sky on the level, and what the ground throws up. [W/m2]
    cloth : ndarray of bool
        Cloth or paint is there.
    """

    zenith: Array
    bearing: Array
    dni: Array
    dhi: Array
    ground: Array
    cloth: NDArray[np.bool_]

    def part(self, chosen: slice | NDArray[np.intp] | NDArray[np.bool_]) -> Sunlight:
        """Choose steps."""
        return Sunlight(*(values[chosen] for values in vars(self).values()))

    def times(self, share: Array | float) -> Sunlight:
        """Let it be weaker or stronger, step by step."""
        return replace(self, dni=self.dni * share, dhi=self.dhi * share, ground=self.ground * share)


def sunlight(plan: Plan, weather: pd.DataFrame, position: SolarPosition, months: NDArray[np.intp]) -> Sunlight:
    """See the sun of a span of weather from the front of a plan's house."""
    place, shade = plan.record.place, plan.record.shade
    zenith = np.radians(np.asarray(position.apparent_zenith, dtype=float))
    bearing = np.radians(np.asarray(position.azimuth, dtype=float) - plan.record.house.azimuth)
    ghi, dni, dhi = (weather[name].to_numpy(dtype=float) for name in ("ghi", "dni", "dhi"))
    # In the hour of sunset the sun may be down at its middle: what beam there was counts as light of the sky.
    up = zenith < np.pi / 2
    dni, dhi = np.where(up, dni, 0.0), np.where(up, dhi, np.maximum(ghi, dhi))
    hangs = np.zeros(len(dni), dtype=bool)
    if shade is not None:
        # Without months of its own the cloth hangs while the house needs air.
        hangs = np.isin(months, shade.months or plan.record.months_of_need)
        if shade.place == "outside":
            left = np.where(hangs, shade.transmittance, 1.0)
            dni, dhi = dni * left, dhi * left
    ground = place.albedo * (dni * np.maximum(np.cos(zenith), 0.0) + dhi)
    return Sunlight(zenith, bearing, dni, dhi, ground, hangs)


def house_surfaces(plan: Plan) -> Surfaces:
    """The pieces of the cover of a plan's house."""
    house = plan.record.house
    return shape_surfaces(house.shape, house.length, house.width, house.eaves, house.ridge, house.azimuth)


def light_on_pieces(pieces: Surfaces, sun: Sunlight, azimuth: float) -> Array:
    """Light that falls on the pieces of a cover from outside, shape (pieces, steps). [W/m2]

    Isotropic sky: ``beam cos(aoi) + dhi (1 + cos tilt)/2 + ground (1 - cos tilt)/2`` (Liu & Jordan 1963).
    """
    tilt = np.radians(pieces.surface_tilt)[:, None]
    turn = np.radians(pieces.surface_azimuth - azimuth)[:, None]
    cosine = np.cos(sun.zenith) * np.cos(tilt) + np.sin(sun.zenith) * np.sin(tilt) * np.cos(sun.bearing - turn)
    beam = sun.dni * np.maximum(cosine, 0.0)
    return beam + sun.dhi * (1 + np.cos(tilt)) / 2 + sun.ground * (1 - np.cos(tilt)) / 2


def light_ends(plan: Plan, sun: Sunlight) -> Array:
    """Work out where the light in a plan's house ends, shape (steps, sinks), in the order of `SINKS`. [W]"""
    if plan.cover(plan.record.house.cover).transmittance == 0:
        return np.zeros((len(sun.dni), len(SINKS)))
    bare = house_light(plan)
    ends = bare.ends(sun.zenith, sun.bearing, sun.dni, sun.dhi, sun.ground)
    shade = plan.record.shade
    if shade is not None and shade.place != "outside" and sun.cloth.any():
        hung = sun.part(sun.cloth)
        ends[sun.cloth] = house_light(plan, True).ends(hung.zenith, hung.bearing, hung.dni, hung.dhi, hung.ground)
    return ends


def house_light(plan: Plan, cloth: bool = False) -> LightBalance:
    """Give the light balance of a plan's house, with its cloth or paint or without."""
    house = plan.record.house
    wall = _WALL_ABSORPTANCE if house.shape == "lean-to" else None
    if house.back is not None:
        wall = plan.cover(house.back).absorptance
    return light_balance(
        LitHouse(
            house.shape, house.length, house.width, house.eaves, house.ridge,
            _pane(plan.cover(house.cover), plan, cloth), floor_of(plan).absorptance, wall, _standing(plan),
        )
    )  # fmt: skip


def leaf_area(plan: Plan) -> float:
    """Leaf for each area of floor: as the plan says, or by its planting. [-]"""
    house = plan.record.house
    return _LEAF_AREA[planting(plan)] if house.leaf_area is None else house.leaf_area


def planting(plan: Plan) -> str:
    """How much of the floor is green: as the plan says; without a word, half of a greenhouse and nothing of a shed."""
    house = plan.record.house
    return house.planting if house.use == "greenhouse" or "planting" in house.model_fields_set else "empty"


def watered(plan: Plan) -> bool:
    """Tell whether floor and plants get water: as the plan says; without a word, where something grows."""
    house = plan.record.house
    return leaf_area(plan) > 0 or house.floor == "lawn" if house.watered is None else house.watered


def floor_of(plan: Plan) -> Floor:
    """Give the floor of a plan's house, as damp as it is."""
    wet, dry = FLOORS[plan.record.house.floor]
    return wet if watered(plan) else dry


def caught_by(plan: Plan) -> Array:
    """Shares of what stands in a house of the light that ends on it: leaves, staging, then each mass; together 1."""
    silhouette, absorptance = _standing_things(plan)
    return silhouette * absorptance / (silhouette @ absorptance)


def _standing_things(plan: Plan) -> tuple[Array, Array]:
    """Area that leaves, staging, then each mass, show to the light [m2], and their absorptances [-].

    Half of a leaf's area, if leaves hang every way; of a mass what it shows from the front.
    """
    house = plan.record.house
    floor = house.length * house.width
    silhouette = [0.5 * leaf_area(plan) * floor, _STAGING * floor, *(_front(mass) for mass in plan.record.mass)]
    absorptance = [_LEAF_ABSORPTANCE, _STAGING_ABSORPTANCE, *(_MASS_ABSORPTANCE for _ in plan.record.mass)]
    return np.array(silhouette), np.array(absorptance)


def _front(mass: Mass) -> float:
    """Front of a mass that the sun reaches. [m2]"""
    return mass.count * mass.sun_area * mass.sunlit


def _standing(plan: Plan) -> Standing:
    """What stands in the house, taken together."""
    silhouette, absorptance = _standing_things(plan)
    whole = float(silhouette.sum())
    return Standing(whole, float(silhouette @ absorptance) / whole, _STANDING_HEIGHT)


def _pane(cover: Cover, plan: Plan, cloth: bool) -> Pane:
    """A cover with its bars, and with the plan's paint on it or its cloth under it.

    Light that a cover does not pass, and does not turn into heat, it throws back. Between cover and cloth it goes to
    and fro until it is gone.
    """
    shade = plan.record.shade if cloth else None
    angle = np.degrees(np.arccos(np.linspace(0.0, 1.0, _COSINES)))
    # At grazing light nothing passes.
    passed = np.where(angle < 90.0, incidence_modifier(angle, cover.layers, cover.refractive_index), 0.0)
    passed = cover.transmittance * (1 - _BARS) * passed
    swallowed = (1 - _BARS) * cover.absorptance + _BARS * _BARS_SWALLOW
    if shade is not None and shade.place == "paint":
        passed = passed * shade.transmittance
    if shade is None or shade.place != "inside":
        return Pane(tuple(passed.tolist()), swallowed)
    # A cloth that passes nothing would leave no light by which to share out the rest.
    through = max(shade.transmittance, 0.001)
    stopped = 1 - through
    around = float(np.interp(np.cos(np.radians(_DIFFUSE_ANGLE)), np.linspace(0.0, 1.0, _COSINES), passed))
    thrown_back = max(1 - around - swallowed, 0.0)
    # To and fro between cloth and cover: the sum of a geometric series.
    again = 1 / (1 - _CLOTH_THROWS_BACK * stopped * thrown_back)
    swallows = (1 - _CLOTH_THROWS_BACK) * stopped
    return Pane(
        tuple((passed * through * again).tolist()),
        through * swallowed * again,
        swallows * (1 + through * thrown_back * again),
        swallows / through,
    )
