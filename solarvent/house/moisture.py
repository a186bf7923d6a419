"""Vapour in a house: what evaporates leaves with the air or settles as dew on a cold cover; what animals give off."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_HEAT_CAPACITY, VAPORISATION_HEAT
from solarvent.house.envelope import inner_face_temperature
from solarvent.house.model import HouseModel
from solarvent.plan.house_records import Animals
from solarvent.weather import moist_air

Array = NDArray[np.float64]


class Vapour(NamedTuple):
    """Balance of the vapour in a house, one value a step.

    Attributes
    ----------
    humidity_ratio : ndarray
        Of the inside air. [kg/kg]
    dew : ndarray
        Water that settles on the cold surface, never below zero. [kg/s]
    """

    humidity_ratio: Array
    dew: Array


def vapour_balance(
    evaporation: ArrayLike,
    air_mass_flow: ArrayLike,
    ratio_outside: ArrayLike,
    ratio_at_surface: ArrayLike,
    surface_area: ArrayLike,
    convective_film: float = 3.0,
) -> Vapour:
    """Humidity at which as much vapour leaves as is made: with the air, and as dew on a cold surface.

    Dew settles as heat would pass (Lewis): ``k area (W - W_surface)`` with ``k = convective_film / 1006``, so::

        evaporation + m (W_out - W) = k area max(W - W_surface, 0)

    Evaporation and the flow m of fresh dry air are in [kg/s]; the humidity ratio outside, and that of saturated air at
    the temperature of the surface, in [kg/kg]; the area in [m2], above zero; the film inside, without radiation, in
    [W/(m2 K)]. The surface is taken as wet only while dew settles on it; what dries off it again is not counted, nor is
    the vapour that the air of the house stores. The ratio is NaN where nothing moves the vapour: no flow and no dew.

    Examples
    --------
    >>> balance = vapour_balance(1e-4, 0.01, 0.005, 0.008, 27.0)
    >>> round(float(balance.humidity_ratio), 5), round(float(balance.dew) * 1e6)
    (0.00877, 62)

    References
    ----------
    Lewis relation between heat and mass transfer in air: ASHRAE Handbook, Fundamentals, chapter Mass Transfer (from
    memory).
    """
    made, flow, outside, surface = np.broadcast_arrays(
        *(np.asarray(values, dtype=float) for values in (evaporation, air_mass_flow, ratio_outside, ratio_at_surface))
    )
    # Lewis: in air heat and vapour pass alike, so a film of heat tells that of vapour.
    path = convective_film / AIR_HEAT_CAPACITY * np.asarray(surface_area, dtype=float)
    wet = (made + flow * outside + path * surface) / (flow + path)
    dry = outside + np.divide(made, flow, out=np.full(made.shape, np.nan), where=flow > 0)
    # Without dew the air holds no more than saturates it at the surface, to the last digit too.
    ratio = np.where(wet > surface, wet, np.minimum(dry, surface))
    return Vapour(ratio[()], np.maximum(path * (wet - surface), 0.0)[()])


#: Of all heat of laying hens on a floor: 6.8 W for each kg^0.75, and 25 W for each kg of eggs a day; of that at 20 degC
#: 2 % more for each kelvin below. What is not vapour is the share 0.67, less 9.8e-11 t^6 (S. Pedersen, K. Sallvik, ed.,
#: "Climatization of animal houses", 4th report of the CIGR working group, 2002, from memory).
_BY_WEIGHT, _EGGS, _BY_KELVIN, _DRY_SHARE, _PANTING = 6.8, 25 * 0.05, 0.02, 0.67, 9.8e-11


class AnimalHeat(NamedTuple):
    """Heat that warms the air, and heat that turns into vapour. [W]"""

    sensible: np.ndarray
    latent: np.ndarray


def animals_heat(animals: Animals | None, temp_inside: np.ndarray) -> AnimalHeat:
    """Work out what animals give off at an inside temperature [degC]; the warmer it is, the more of it is vapour.

    From 0 to 40 degC; beyond, as at the ends: birds in deeper frost or greater heat are not what the source measured.
    """
    temp = np.clip(np.asarray(temp_inside, dtype=float), 0.0, 40.0)
    if animals is None:
        return AnimalHeat(np.zeros_like(temp), np.zeros_like(temp))
    whole = animals.count * (_BY_WEIGHT * animals.weight**0.75 + _EGGS)
    total = whole * (1 + _BY_KELVIN * (20.0 - temp))
    sensible = np.clip(whole * (_DRY_SHARE * (1 + _BY_KELVIN * (20.0 - temp)) - _PANTING * temp**6), 0.0, None)
    return AnimalHeat(sensible, total - sensible)


class MoistureBalance:
    """The vapour in a house, and the heat that it takes and gives back, at a pressure of the air. [Pa]"""

    def __init__(self, model: HouseModel, pressure: float) -> None:
        self._model, self.pressure = model, pressure
        self._outside = self._saturated(model.dew_point)[:, None]
        # A cover is at least as warm outside as air, sun and sky together would have it.
        self._dewy = np.flatnonzero(model.temp_sol_air < model.dew_point)

    def _saturated(self, temp: np.ndarray) -> np.ndarray:
        """Humidity ratio of saturated air. [kg/kg]"""
        return np.asarray(moist_air.humidity_ratio(moist_air.saturation_pressure(temp), self.pressure))

    def balance(self, temp: np.ndarray, flow: np.ndarray) -> Vapour:
        """Humidity inside and dew on the cover, at inside temperatures and fresh air (steps, cases)."""
        model = self._model
        face = np.asarray(
            inner_face_temperature(temp, model.temp_sol_air[:, None], model.u_value[:, None], model.inside_film)
        )
        breathed = animals_heat(model.animals, temp).latent
        made = (model.vapour_heat(temp) + breathed) / VAPORISATION_HEAT + model.seeping
        return vapour_balance(
            made, model.density[:, None] * flow, self._outside, self._saturated(face), model.cover_area
        )

    def heat(self, temp: np.ndarray, flow: np.ndarray) -> np.ndarray:
        """Heat that dew and animals give to the house, less what vapour takes. [W]

        Dew warms the inner face of the cover; of its heat the share 1 - U / hi comes back in, the rest goes out.
        """
        back = 1 - self._model.u_value[:, None] / self._model.inside_film
        taken = self._model.vapour_heat(temp) + VAPORISATION_HEAT * self._model.seeping
        heat = VAPORISATION_HEAT * back * self.balance(temp, flow).dew - taken
        heat += animals_heat(self._model.animals, temp).sensible
        heat[self._dewy] += self._dew_outside(temp[self._dewy])
        return heat

    def _dew_outside(self, temp: np.ndarray) -> np.ndarray:
        """Heat that dew or rime on the outer face gives to the house, in the steps in which there may be some. [W]

        Under a clear sky the outer face falls below the dew point of the outside air, which then settles on it (Lewis)
        and warms it; of that heat the share U / outside film comes in.
        """
        model, at = self._model, self._dewy
        film, u_value, sol_air = (row[at, None] for row in (model.outside_film, model.u_value, model.temp_sol_air))
        inward = u_value / film
        # The outer face is off the sol-air temperature by the share that the outside film has of all resistance.
        face = sol_air + inward * (temp - sol_air)
        at_face = self._saturated(face)
        path = VAPORISATION_HEAT * model.draught_outside[at, None] / AIR_HEAT_CAPACITY
        # The warmth of the dew raises the face, and what saturates air there: one step of Newton's, by Magnus' formula.
        raised = path * at_face * moist_air.saturation_growth(face) * (1 - inward) / film
        return model.cover_area * inward * path * np.maximum(self._outside[at] - at_face, 0.0) / (1 + raised)
