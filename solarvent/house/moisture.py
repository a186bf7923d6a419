"""Vapour in a house: what evaporates leaves with the air or settles as dew on a cold cover."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_HEAT_CAPACITY, VAPORISATION_HEAT
from solarvent.house.glazing import inner_face_temperature
from solarvent.house.model import HouseModel
from solarvent.house.ventilation_rates import animals_heat
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

    The surface is taken as wet only while dew settles on it; what dries off it again is not counted, nor is the vapour
    that the air of the house stores.

    Parameters
    ----------
    evaporation : array_like
        [kg/s]
    air_mass_flow : array_like
        Fresh dry air, m. [kg/s]
    ratio_outside, ratio_at_surface : array_like
        Humidity ratio outside, and of saturated air at the temperature of the surface. [kg/kg]
    surface_area : array_like
        [m2] Above zero.
    convective_film : float, default 3
        Inside, without radiation. [W/(m2 K)]

    Returns
    -------
    Vapour
        The ratio is NaN where nothing moves the vapour: no flow and no dew.

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
    path = convective_film / AIR_HEAT_CAPACITY * np.asarray(surface_area, dtype=float)
    wet = (made + flow * outside + path * surface) / (flow + path)
    dry = outside + np.divide(made, flow, out=np.full(made.shape, np.nan), where=flow > 0)
    # Without dew the air holds no more than saturates it at the surface, to the last digit too.
    ratio = np.where(wet > surface, wet, np.minimum(dry, surface))
    return Vapour(ratio[()], np.maximum(path * (wet - surface), 0.0)[()])


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
        face = sol_air + inward * (temp - sol_air)
        at_face = self._saturated(face)
        path = VAPORISATION_HEAT * model.draught_outside[at, None] / AIR_HEAT_CAPACITY
        # The warmth of the dew raises the face, and what saturates air there: one step of Newton's, by Magnus' formula.
        raised = path * at_face * moist_air.saturation_growth(face) * (1 - inward) / film
        return model.cover_area * inward * path * np.maximum(self._outside[at] - at_face, 0.0) / (1 + raised)
