"""What the air means in degrees: the steady heat balance of the plan's house, and the flow that it would need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarvent.inputs.loading import LoadedPlan
from solarvent.physics import house
from solarvent.physics.airflow import air_changes
from solarvent.planning.ventilation import geometry, volume

#: Share of the heat of the sun that leaves pass on as vapour, by planting (ANSI/ASAE EP406, from memory).
_EVAPOTRANSPIRATION = {"empty": 0.0, "half": 0.25, "full": 0.5}
#: Air changes of the shut house by wind and cracks [1/h] (ANSI/ASAE EP406 and NRAES-33, from memory).
_INFILTRATION = {"tight": 0.75, "average": 1.5, "leaky": 3.0}


def steady_rise(loaded: LoadedPlan, ghi: np.ndarray, flow: np.ndarray) -> np.ndarray:
    """Estimate how much warmer than outside the house gets, as if each hour lasted for ever.

    Nothing is stored and openings without a fan count as shut, so a still house reads warmer here than it will be.

    Parameters
    ----------
    loaded : LoadedPlan
        The plan.
    ghi : array, shape (steps,)
        Sun on the level. [W/m2]
    flow : array, shape (steps,)
        Fresh air that the fans move. [m3/s]

    Returns
    -------
    array, shape (steps,)
        [K]
    """
    leak = _INFILTRATION[loaded.plan.house.tightness] * volume(loaded) / 3600.0
    return np.asarray(house.steady_rise(flow + leak, ghi, **_balance(loaded)))


def _balance(loaded: LoadedPlan) -> dict[str, float]:
    """Collect the figures of the house that the heat balance wants."""
    cover, size = loaded.cover(loaded.plan.house.cover), geometry(loaded)
    return {
        "floor_area": size.floor_area,
        "cover_area": size.cover_area,
        "transmittance": cover.transmittance,
        "evapotranspiration": _EVAPOTRANSPIRATION[loaded.plan.house.planting],
        "u_value": cover.u_value,
    }


@dataclass(frozen=True)
class Need:
    """How much air would be enough.

    Attributes
    ----------
    ghi : float
        The sun for which it is meant. [W/m2]
    by_balance : float
        For the wanted rise, by the heat balance. [m3/s]
    by_volume : float
        One volume a minute. [m3/s]
    by_floor : tuple of float
        8 and 10 cfm for each square foot of floor. [m3/s]
    wanted : float
        What the plan asks for: its own flow or air changes, or else by the heat balance. [m3/s]
    wanted_air_changes : float
        The same. [1/h]
    """

    ghi: float
    by_balance: float
    by_volume: float
    by_floor: tuple[float, float]
    wanted: float
    wanted_air_changes: float


def need(loaded: LoadedPlan, ghi: float) -> Need:
    """Work out the flow that the plan's house needs.

    Parameters
    ----------
    loaded : LoadedPlan
        The plan.
    ghi : float
        A sunny hour of need. [W/m2]

    Returns
    -------
    Need
        By the heat balance, and by the rules of the trade beside it.
    """
    target, size = loaded.plan.target, geometry(loaded)
    balance = float(house.flow_for_rise(target.rise, ghi, **_balance(loaded)))
    if target.flow is not None:
        wanted = target.flow
    elif target.air_changes is not None:
        wanted = target.air_changes * volume(loaded) / 3600.0
    else:
        wanted = balance
    low, high = (float(house.flow_by_floor(size.floor_area, rate)) for rate in house.SUMMER_FLOW_BY_FLOOR)
    return Need(
        ghi=ghi,
        by_balance=balance,
        by_volume=float(house.flow_by_volume(volume(loaded))),
        by_floor=(low, high),
        wanted=wanted,
        wanted_air_changes=float(air_changes(wanted, volume(loaded))),
    )
