"""The light that takes one panel to a voltage and a current, and whether a given light does.

The current of a single diode at a given voltage is straight in the light on it (De Soto et al. 2006). So the light that
takes a load to any point of its curve is explicit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from solarvent.electrical.single_diode import SingleDiode, operating_parameters

TEMPERATURE_STEP = 4.0
_REFERENCE = 1000.0  # W/m2
_NEAR = 0.01  # reading between temperatures is good to half of this


@dataclass(frozen=True, eq=False)
class Light:
    """Light on the cells of one panel; shared by all designs with a panel in this place.

    Attributes
    ----------
    reference : SingleDiode
        The panel that designs are multiples of.
    irradiance, temp_cell : array (moments,)
        In the order in which they pass. [W/m2], [degC]
    """

    reference: SingleDiode
    irradiance: np.ndarray
    temp_cell: np.ndarray

    @cached_property
    def diode(self) -> tuple[np.ndarray, ...]:
        """The reference at 1000 W/m2 at every moment, in pvlib's order."""
        return operating_parameters(self.reference, _REFERENCE, self.temp_cell)

    @cached_property
    def temperatures(self) -> np.ndarray:
        """Nodes of temperature, around those that occur. [degC]"""
        low, high = np.min(self.temp_cell, initial=25.0), np.max(self.temp_cell, initial=25.0)
        return TEMPERATURE_STEP * np.arange(np.floor(low / TEMPERATURE_STEP), np.ceil(high / TEMPERATURE_STEP) + 2)

    @cached_property
    def place(self) -> tuple[np.ndarray, np.ndarray]:
        """The node below the temperature of every moment, and the share of the way to the next one."""
        way = (self.temp_cell - self.temperatures[0]) / TEMPERATURE_STEP
        return way.astype(int), way - way.astype(int)

    @cached_property
    def order(self) -> np.ndarray:
        """The moments by rising temperature node, and by rising light within it: reading in order is quick."""
        return np.lexsort((self.irradiance, self.place[0]))

    @cached_property
    def nodes(self) -> tuple[np.ndarray, ...]:
        """The reference at 1000 W/m2 at the nodes of temperature."""
        return operating_parameters(self.reference, _REFERENCE, self.temperatures)


def needed_light(diode: tuple[np.ndarray, ...], size: float, voltage: np.ndarray, current: np.ndarray) -> np.ndarray:
    """Light that takes a panel to a voltage and current.

    The diode voltage is ``V + I R_s``; then ``I = G/1000 (I_L - V_d / R_sh) - I_0 (exp(V_d / a) - 1)`` is solved for G.

    Parameters
    ----------
    diode : tuple of array
        Of the reference at 1000 W/m2 and some temperatures, in pvlib's order.
    size : float
        Of the panel, as a share of the reference.
    voltage, current : array
        [V], [A]

    Returns
    -------
    array
        Infinite where no light does it. [W/m2]
    """
    photocurrent, saturation_current, resistance_series, resistance_shunt, slope = diode
    share = current / size
    across = voltage + share * resistance_series
    dark = saturation_current * np.expm1(np.minimum(across / slope, 300.0))
    lit = photocurrent - across / resistance_shunt
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(lit > 0, _REFERENCE * (share + dark) / lit, np.inf)


@dataclass(frozen=True, eq=False)
class HeldPoints:
    """Points of a load, of which any one that the panel can hold will do.

    Attributes
    ----------
    voltage, current : array
        At the bus, in the order of the voltage. [V], [A]
    """

    voltage: np.ndarray
    current: np.ndarray

    def light(self, light: Light, size: float) -> np.ndarray | float:
        """Light from which on it is passed, at every moment. [W/m2]"""
        if not len(self.voltage):
            return np.inf
        if len(self.voltage) == 1:
            return needed_light(light.diode, size, self.voltage[0], self.current[0])
        points = needed_light(light.nodes, size, self.voltage[:, None], self.current[:, None])
        least = np.interp(light.temp_cell, light.temperatures, points.min(axis=0))
        # Where it is a near thing, the points between the best ones of the next temperatures are tried at the very one.
        near = np.flatnonzero(np.abs(light.irradiance - least) < _NEAR * least)
        if len(near):
            best, diode = points.argmin(axis=0), tuple(np.broadcast_to(part, least.shape)[near] for part in light.diode)
            ends = np.sort([best[light.place[0][near] + side] for side in (0, 1)], axis=0)
            between = np.arange(-1, np.max(ends[1] - ends[0]) + 2)[:, None]
            tried = np.clip(ends[0] + between, 0, len(self.voltage) - 1)
            least[near] = needed_light(diode, size, self.voltage[tried], self.current[tried]).min(axis=0)
        return least
