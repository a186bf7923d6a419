"""Where the air goes: direction and size of the flow through each opening and fan at one moment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarvent.air.network import AirNetwork
from solarvent.house.house_run import outside_of
from solarvent.simulation.simulate import Simulation
from solarvent.weather.span import hours_of_need

#: Walls that face alike within this are one wall. [deg]
_SAME_WALL = 20.0


@dataclass(frozen=True)
class PathFlow:
    """The air through one way.

    Attributes
    ----------
    name : str
        The id of fan or opening, or "cracks".
    kind : str
        "fan", "opening" or "cracks".
    outward, inward : float
        What leaves and what enters there; a tall door does both. [m3/s]
    beside_fan : bool
        An opening in the wall of a fan, or in the roof above it: its air does not cross the house.
    """

    name: str
    kind: str
    outward: float
    inward: float
    beside_fan: bool = False


@dataclass(frozen=True)
class FlowMoment:
    """All flows at one step.

    Attributes
    ----------
    step : int
        Which one.
    temp_inside : float
        [degC]
    paths : tuple of PathFlow
        Fans, openings, cracks.
    short_circuit : float
        Share of what enters that does so beside a fan that turns; 0 if none turns. [-]
    """

    step: int
    temp_inside: float
    paths: tuple[PathFlow, ...]
    short_circuit: float


def hottest_moment(run: Simulation) -> FlowMoment | None:
    """Work out the flows in the hottest hour of need; None without such an hour, or without the house.

    Parameters
    ----------
    run : Simulation
        Over any span.

    Returns
    -------
    FlowMoment or None
        As planned, with fans that turn in most of that hour turning.
    """
    need = hours_of_need(run.plan, run.conditions.times)
    if run.house is None or not need.any():
        return None
    inside = run.house.case("both")
    return flows_at(run, int(np.where(need, inside, -np.inf).argmax()))


def flows_at(run: Simulation, step: int) -> FlowMoment:
    """Work out the flows at one step of a run that carries its house."""
    assert run.house is not None
    record = run.plan.record
    inside = run.house.case("both")
    turning = run.electrical.running > 0.5
    direction = run.conditions.weather["wind_direction"].to_numpy(dtype=float)
    network = AirNetwork(run.plan, outside_of(run.house.model, direction))
    air = network.flows(inside, np.array([step]), run.electrical.fan_voltage[:, [step]], turning[:, [step]])
    paths = [_path(fan.id, "fan", air.flow[[row], 0]) for row, fan in enumerate(record.fan)]
    walls = [fan.wall_azimuth for row, fan in enumerate(record.fan) if turning[row, step]]
    first = 0
    for number, one in enumerate(record.opening, 1):
        count = len(network.slice_heights(one))
        through = air.inlet_flow[first : first + count, 0]
        first += count
        beside = bool(walls) and (one.on == "roof" or any(_alike(one.wall_azimuth, wall) for wall in walls))
        paths.append(_path(one.id or one.name or f"opening {number}", "opening", through, beside))
    paths.append(_path("cracks", "cracks", air.leakage_flow[[0]]))
    entering = sum(path.inward for path in paths)
    beside_fans = sum(path.inward for path in paths if path.beside_fan)
    return FlowMoment(step, float(inside[step]), tuple(paths), beside_fans / entering if entering > 0 else 0.0)


def _path(name: str, kind: str, through: np.ndarray, beside: bool = False) -> PathFlow:
    """Split flows that leave from flows that enter."""
    return PathFlow(name, kind, float(np.maximum(through, 0).sum()), float(np.maximum(-through, 0).sum()), beside)


def _alike(one: float | None, other: float | None) -> bool:
    """Tell whether two walls are the same."""
    return one is not None and other is not None and abs((one - other + 180) % 360 - 180) < _SAME_WALL
