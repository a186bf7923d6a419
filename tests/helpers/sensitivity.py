"""What moves the answers of the house model most: each uncertain figure changed alone, as far as it may be wrong.

The table `sensitivity` of profiles/models.toml holds what it gives for the embedded example.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple
from unittest import mock

import numpy as np

from solarvent.air import network
from solarvent.air.network import FanState
from solarvent.house import envelope
from solarvent.house.house_run import house_run
from solarvent.house.model import EDGE_LOSS, HouseModel, furnished
from solarvent.simulation.simulate import Simulation

_LEAD = 6  # days before the day that is looked at


class Influence(NamedTuple):
    """What is changed, and what that does to the hottest and the coldest hour, the larger of both ways. [K]"""

    what: str
    peak: float
    night: float


def _light(factor: float) -> Callable[[HouseModel], HouseModel]:
    return lambda model: model.in_light(factor)


def _vapour(share: float) -> Callable[[HouseModel], HouseModel]:
    """Let leaves and floor turn more or less of the light into vapour."""
    return lambda model: replace(model, damp=model.damp + share * model.light)


def _mass(factor: float, name: str) -> Callable[[HouseModel], HouseModel]:
    return lambda model: replace(model, masses=replace(model.masses, **{name: getattr(model.masses, name) * factor}))


def _sky(factor: float) -> Callable[[HouseModel], HouseModel]:
    """Let sky and sun change what the cover feels by more or less."""
    return lambda model: replace(model, temp_sol_air=model.temp_air + factor * (model.temp_sol_air - model.temp_air))


def _wind(factor: float) -> Callable[[HouseModel], HouseModel]:
    return lambda model: replace(model, wind_speed=model.wind_speed * factor)


#: What may be wrong, by how much (common practice, no source), and the two changed houses.
_CHANGES: tuple[tuple[str, Callable[[HouseModel], HouseModel], Callable[[HouseModel], HouseModel]], ...] = (
    ("light that stays in the house, 20 %", _light(0.8), _light(1.2)),
    ("vapour of the leaves, 0.15 of the light", _vapour(0.15), _vapour(-0.15)),
    (
        "U-value of the cover, 20 %",
        lambda model: replace(model, u_value=model.u_value * 0.8),
        lambda model: replace(model, u_value=model.u_value * 1.2),
    ),
    ("wind at openings and cracks, 50 %", _wind(0.5), _wind(1.5)),
    ("cold of the sky, 40 %", _sky(0.6), _sky(1.4)),
    ("heat capacity of floor and masses, 30 %", _mass(0.7, "capacity"), _mass(1.3, "capacity")),
    (
        "temperature of the ground, 3 K",
        lambda model: replace(model, temp_ground=model.temp_ground - 3.0),
        lambda model: replace(model, temp_ground=model.temp_ground + 3.0),
    ),
)


def sensitivity(run: Simulation) -> tuple[Influence, ...]:
    """Change each uncertain figure by itself, in a simulated year; what moves the hottest hour most comes first."""
    inside = run.whole_house.case("both")
    hot, cold = (_span(run, int(at)) for at in (inside.argmax(), inside.argmin()))
    usual = _carry(run, hot).max(), _carry(run, cold).min()
    lines = []
    for what, less, more in _CHANGES:
        peaks = [abs(_carry(run, hot, change).max() - usual[0]) for change in (less, more)]
        nights = [abs(_carry(run, cold, change).min() - usual[1]) for change in (less, more)]
        lines.append(Influence(what, float(max(peaks)), float(max(nights))))
    for what, less, more in (
        ("speed of the fans, 25 %", {"fans": 0.75}, {"fans": 1.25}),
        # The least and the most of all published rates, see `_CRACKS`.
        ("cracks, as narrow or as wide as any house's", {"cracks": 0.4e-4}, {"cracks": 28e-4}),
        ("films of floor and masses, 30 %", {"film": 0.7}, {"film": 1.3}),
        ("loss of the floor's edge, 50 %", {"edge": 0.5}, {"edge": 1.5}),
    ):
        peaks = [abs(_carry(run, hot, **change).max() - usual[0]) for change in (less, more)]
        nights = [abs(_carry(run, cold, **change).min() - usual[1]) for change in (less, more)]
        lines.append(Influence(what, float(max(peaks)), float(max(nights))))
    return tuple(sorted(lines, key=lambda line: -line.peak))


def _span(run: Simulation, at: int) -> np.ndarray:
    """Steps from some days before to the end of the day around a step."""
    day = round(86_400 / run.conditions.step)
    return np.arange(at - _LEAD * day, at + day // 2) % len(run.hours)


def _carry(
    run: Simulation,
    span: np.ndarray,
    change: Callable[[HouseModel], HouseModel] | None = None,
    fans: float = 1.0,
    film: float = 1.0,
    edge: float = 1.0,
    cracks: float | None = None,
) -> np.ndarray:
    """Inside temperature of the last day of a span. [degC]"""
    house, plan = run.whole_house, run.plan
    model = house.model.part(span)
    if change is not None:
        model = change(model)
    if film != 1 or edge != 1:
        masses = [each.model_copy(update={"film": film * each.film}) for each in plan.record.mass]
        with (
            mock.patch("solarvent.house.envelope.INSIDE_FILM", film * envelope.INSIDE_FILM),
            mock.patch("solarvent.house.model.EDGE_LOSS", edge * EDGE_LOSS),
        ):
            model = furnished(plan, model, masses)
    electrical, steps = run.electrical, np.arange(len(span))
    state = FanState(
        fans * electrical.fan_voltage[:, span], electrical.running[:, span] > 0.5, steps, np.ones(len(span))
    )
    start = house.temp_mass[int(span[0]) - 1, :, house.cases.index("both")]
    usual = network._CRACKS[plan.record.house.tightness]
    spread = {plan.record.house.tightness: usual if cracks is None else (cracks,) * 3}
    with mock.patch("solarvent.air.network._CRACKS", spread):
        result = house_run(plan, model, state, ("both",), mass_start=start)
    return result.temp_inside[-round(86_400 / run.conditions.step) :, 0]
