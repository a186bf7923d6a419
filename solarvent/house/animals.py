"""Animals in a house: the heat and the vapour that hens give off, and the air that the trade gives them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solarvent.plan.house_records import Animals

#: Of all heat of laying hens on a floor: 6.8 W for each kg^0.75, and 25 W for each kg of eggs a day; of that at 20 degC
#: 2 % more for each kelvin below. What is not vapour is the share 0.67, less 9.8e-11 t^6 (S. Pedersen, K. Sallvik, ed.,
#: "Climatization of animal houses", 4th report of the CIGR working group, 2002, from memory).
_BY_WEIGHT, _EGGS, _BY_KELVIN, _DRY_SHARE, _PANTING = 6.8, 25 * 0.05, 0.02, 0.67, 9.8e-11
#: Air in the heat for each kg of bird (poultry pages of the trade: 3 cfm per kg). [m3/(s kg)]
SUMMER_BY_WEIGHT = 3 * 0.3048**3 / 60


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


def summer_flow(animals: Animals | None) -> float:
    """Give the air that the trade moves for animals in the heat; NaN without any. [m3/s]"""
    return float("nan") if animals is None else animals.count * animals.weight * SUMMER_BY_WEIGHT
