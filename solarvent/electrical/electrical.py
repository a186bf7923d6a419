"""What the circuits and the fans of a plan do in each step, averaged over the spells of a broken sky."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from solarvent.electrical.best_point import greatest_power
from solarvent.electrical.curve import Source
from solarvent.electrical.source_side import SourceSide
from solarvent.weather.sky_states import SkyStates
from solarvent.wiring.circuit import DiodeLaw, Leaf

_SHARES = ("running", "hunting", "converter_hunting", "any_running")


@dataclass(frozen=True, eq=False)
class Electrical:
    """All circuits of a plan in one band, with one row a panel or fan, in the order of the plan.

    Over a step of broken cloud they are means, weighted by the length of its spells.

    Attributes
    ----------
    panel_voltage, panel_current, panel_power : array, shape (panels, steps)
        At the terminals. [V], [A], [W]
    power_available : array, shape (panels, steps)
        At the maximum power point. [W]
    fan_voltage, fan_current : array, shape (fans, steps)
        While the fan turns; where it turns in no part of the step, over the whole of it. [V], [A]
    fan_power : array, shape (fans, steps)
        Into the turning fan; nothing counts while it stands. [W]
    fan_voltage_peak : array, shape (fans, steps)
        The largest voltage, reached between two attempts of a standing fan. [V]
    running, hunting : array, shape (fans, steps)
        Share of the step in which the fan turns, and in which it tries to start and falls back, 0-1. [-]
    converter_hunting : array, shape (converters, steps)
        Share of the step in which a converter comes on and falls off again, 0-1; in the order of the circuits. [-]
    any_running : array, shape (steps,)
        Share of the step in which at least one fan turns, 0-1. [-]
    loss : array, shape (steps,)
        Heat in cables, contacts, diodes and converters. [W]
    """

    panel_voltage: np.ndarray
    panel_current: np.ndarray
    panel_power: np.ndarray
    power_available: np.ndarray
    fan_voltage: np.ndarray
    fan_current: np.ndarray
    fan_power: np.ndarray
    fan_voltage_peak: np.ndarray
    running: np.ndarray
    hunting: np.ndarray
    converter_hunting: np.ndarray
    any_running: np.ndarray
    loss: np.ndarray


def over_steps(substeps: Electrical, sky_states: SkyStates) -> Electrical:
    """Average what happens at each moment over the steps."""
    if sky_states.whole:
        shares = {name: getattr(substeps, name).astype(float) for name in _SHARES}
        return replace(substeps, **shares)
    means = {field.name: sky_states.mean(getattr(substeps, field.name)) for field in fields(substeps)}
    # The parts of a whole step sum to 1 but for the last bit.
    for name in _SHARES:
        means[name] = np.minimum(means[name], 1.0)
    running = means["running"]
    for name in ("fan_voltage", "fan_current"):
        turning = sky_states.mean(getattr(substeps, name) * substeps.running)
        means[name] = np.divide(turning, running, out=means[name], where=running > 0)
    means["fan_voltage_peak"] = sky_states.most(substeps.fan_voltage_peak)
    return Electrical(**means)


def maximum_power(
    parameters: tuple[np.ndarray, ...], bypass: DiodeLaw | None = None, highest: float = np.inf
) -> np.ndarray:
    """Power of a panel at its best point, at a voltage no higher than a limit [W]; 0 in the dark.

    Of a panel whose sections are not lit alike, the parameters are of shape (sections, steps).
    """
    from pvlib.pvsystem import i_from_v, max_power_point

    if parameters[0].ndim > 1:
        return greatest_power(_one_panel(parameters, bypass).voltage_at, parameters[0], highest)
    lit = parameters[0] > 1e-6
    power = np.zeros(lit.shape)
    if not lit.any():
        return power
    shining = [np.broadcast_to(values, lit.shape)[lit] for values in parameters]
    best = max_power_point(*shining, method="newton")
    power[lit] = best["p_mp"]
    above = best["v_mp"] > highest
    if above.any():
        # Only there: far above the open circuit the current overflows.
        power[np.flatnonzero(lit)[above]] = highest * i_from_v(highest, *(values[above] for values in shining))
    return power


def open_circuit_voltage(parameters: tuple[np.ndarray, ...], bypass: DiodeLaw | None = None) -> np.ndarray:
    """Voltage of a panel from which nothing is drawn [V]; 0 in the dark."""
    from pvlib.pvsystem import v_from_i

    if parameters[0].ndim > 1:
        return _one_panel(parameters, bypass).voltage_at(np.zeros(parameters[0].shape[-1]))[0]
    lit = parameters[0] > 1e-6
    voltage = np.zeros(lit.shape)
    if lit.any():
        voltage[lit] = v_from_i(0.0, *(np.broadcast_to(values, lit.shape)[lit] for values in parameters))
    return voltage


def current_held(parameters: tuple[np.ndarray, ...], voltage: float, bypass: DiodeLaw | None = None) -> np.ndarray:
    """Current of a panel at a voltage [V], none below 0 [A]."""
    volts = np.full(parameters[0].shape[-1], voltage)
    return np.maximum(_one_panel(parameters, bypass).current_at(volts)[0], 0.0)


def _one_panel(parameters: tuple[np.ndarray, ...], bypass: DiodeLaw | None) -> Source:
    """A panel by itself as a source."""
    return SourceSide(Leaf("panel", bypass), {"panel": parameters}).source
