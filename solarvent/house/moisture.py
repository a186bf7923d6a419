"""Vapour in a house: what evaporates leaves with the air or settles as dew on a cold cover."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_HEAT_CAPACITY, VAPORISATION_HEAT
from solarvent.house.glazing import inner_face_temperature
from solarvent.house.model import HouseModel
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
        NaN where nothing moves the vapour: no flow and no dew.

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
    ratio = np.where(wet > surface, wet, dry)
    return Vapour(ratio[()], np.maximum(path * (ratio - surface), 0.0)[()])


class MoistureBalance:
    """The vapour in a house, and the heat that it takes and gives back.

    Parameters
    ----------
    model : HouseModel
        The house.
    pressure : float
        Of the air. [Pa]
    """

    def __init__(self, model: HouseModel, pressure: float) -> None:
        self._model, self.pressure = model, pressure
        self._outside = np.asarray(moist_air.humidity_ratio(moist_air.saturation_pressure(model.dew_point), pressure))[
            :, None
        ]

    def balance(self, temp: np.ndarray, flow: np.ndarray) -> Vapour:
        """Humidity inside and dew on the cover, at inside temperatures and fresh air (steps, cases)."""
        model = self._model
        face = inner_face_temperature(temp, model.temp_sol_air[:, None], model.u_value[:, None], model.inside_film)
        at_face = moist_air.humidity_ratio(moist_air.saturation_pressure(face), self.pressure)
        made = model.vapour_heat(temp) / VAPORISATION_HEAT + model.seeping
        return vapour_balance(made, model.density[:, None] * flow, self._outside, at_face, model.cover_area)

    def heat(self, temp: np.ndarray, flow: np.ndarray) -> np.ndarray:
        """Heat that dew gives back to the house, less what vapour takes. [W]

        Dew warms the inner face of the cover; of its heat the share 1 - U / hi comes back in, the rest goes out.
        """
        back = 1 - self._model.u_value[:, None] / self._model.inside_film
        taken = self._model.vapour_heat(temp) + VAPORISATION_HEAT * self._model.seeping
        return VAPORISATION_HEAT * back * self.balance(temp, flow).dew - taken
