"""A panel by itself: its plate and how far one strays from it, its single diode, best point and output."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from solarvent.base.errors import DomainError, PlanError, Problem
from solarvent.electrical import single_diode as diode
from solarvent.electrical.intersection import Generator
from solarvent.electrical.source_side import SourceSide
from solarvent.plan.parts import Fan, Panel
from solarvent.wiring.circuit import DiodeLaw, Leaf

#: Typical loss of a panel's plate. [1/year]
_LOSS_A_YEAR = 0.005
PLATE_FACTORS = 0.2, 1.3  # between which the share of its plate that a panel gives can lie


@dataclass(frozen=True)
class Band:
    """One reading of all plates.

    The typical reading takes the plates at their word. The low one is a weak panel with stiff, slow fans; the high
    one a panel that keeps its promise with easy, strong fans. The spreads are common practice, no source: panels give
    0.65 to 1.0 of their plate (0.65 where only watts are known), fans stray by 12-20 %. With each year in the sun a
    panel loses 0.5 %, the median of the published rates, or 1 % in the low reading, which four in five stay under; in
    the high one it has lost nothing (D. C. Jordan, S. R. Kurtz, "Photovoltaic degradation rates: an analytical
    review", Progress in Photovoltaics 21, 2013, 12-29, from memory).

    Attributes
    ----------
    name : str
        ``"low"``, ``"typical"`` or ``"high"``.
    sign : int
        -1, 0 or 1.
    """

    name: str
    sign: int

    def plate_factor(self, panel: Panel) -> float:
        """Share of the plate's current that the panel gives. [-]"""
        if panel.plate_factor is not None:
            return panel.plate_factor * (1 + 0.03 * self.sign)
        aged = 1 - _LOSS_A_YEAR * (1 - self.sign) * panel.age
        if self.sign >= 0:
            # One that keeps its promise lies half way to it, where the kind seldom does.
            return aged * (panel.usual_factor if self.sign == 0 else (1 + panel.usual_factor) / 2)
        return aged * panel.usual_factor * (0.65 if panel.v_oc is None and panel.single_diode is None else 0.8)

    def start_factor(self, fan: Fan) -> float:
        """Factor on the start and stop voltages: half of the spread, for the maker's own test limits them. [-]"""
        return 1 - self.sign * fan.tolerance / 2

    def current_factor(self, fan: Fan) -> float:
        """Factor on the current that a fan draws. [-]"""
        return 1 - self.sign * fan.tolerance / 2

    def flow_factor(self, fan: Fan) -> float:
        """Factor on the flow of a fan, beside what its maker's claim usually lacks. [-]"""
        return fan.delivered * (1 + self.sign * fan.tolerance)


TYPICAL, LOW, HIGH = Band("typical", 0), Band("low", -1), Band("high", 1)
BANDS = (TYPICAL, LOW, HIGH)


@dataclass(frozen=True)
class PlateCheck:
    """What the figures on a plate say about each other.

    The fill factor ``v_mp i_mp / (v_oc i_sc)`` is plausible within 0.60-0.82; the share by which the watts exceed
    ``v_mp i_mp`` within 5 % either way; and at most 240 W/m2 of cells. What is not known is NaN, and plausible.
    """

    fill_factor: float
    fill_factor_plausible: bool
    watts_excess: float
    watts_plausible: bool
    watts_per_area: float
    area_plausible: bool


def fill_factor(v_oc: Any, i_sc: Any, v_mp: Any, i_mp: Any) -> Any:
    """Fill factor ``v_mp i_mp / (v_oc i_sc)`` of a current-voltage curve (IEC 60904-1).

    Voltages are in [V], currents in [A].

    Examples
    --------
    >>> round(fill_factor(21.7, 3.45, 17.4, 3.15), 3)
    0.732
    """
    return v_mp * i_mp / (v_oc * i_sc)


def check_plate(
    v_oc: float,
    i_sc: float,
    v_mp: float,
    i_mp: float,
    watts: float | None = None,
    cell_area: float | None = None,
) -> PlateCheck:
    """Compare the figures on a plate with each other and with what crystalline cells can do.

    The limits are common practice, no source: fill factor 0.60-0.82, watts within 5 % of ``v_mp i_mp``, and at most 240
    W per m2 of cells at 1000 W/m2. Voltages are in [V], currents in [A]; the area of the cells [m2] is without frame
    and margins.

    Examples
    --------
    >>> check_plate(21.7, 3.45, 17.4, 3.15, watts=80.0).watts_plausible
    False
    """
    shape = float(fill_factor(v_oc, i_sc, v_mp, i_mp))
    excess = float("nan") if watts is None else watts / (v_mp * i_mp) - 1
    density = float("nan") if watts is None or cell_area is None else watts / cell_area
    return PlateCheck(
        fill_factor=shape,
        fill_factor_plausible=0.60 <= shape <= 0.82,
        watts_excess=excess,
        watts_plausible=not abs(excess) > 0.05,
        watts_per_area=density,
        area_plausible=not density > 240,
    )


def single_diode(panel: Panel) -> diode.SingleDiode:
    """Find the single-diode parameters of a panel from what its plate gives.

    Raises
    ------
    PlanError
        If no diode curve passes through the plate's figures; the panel is named.
    """
    given = panel.single_diode
    if given is not None:
        alpha_sc = panel.alpha_sc * given.I_L_ref
        return diode.SingleDiode(given.I_L_ref, given.I_o_ref, given.R_s, given.R_sh_ref, given.a_ref, alpha_sc)
    try:
        if panel.v_oc is None or panel.i_sc is None or panel.v_mp is None or panel.i_mp is None:
            assert panel.watts is not None, "a record without a whole plate has watts"
            return diode.from_watts(panel.watts)
        alpha_sc, beta_voc = panel.alpha_sc * panel.i_sc, panel.beta_voc * panel.v_oc
        return diode.fit_nameplate(panel.v_oc, panel.i_sc, panel.v_mp, panel.i_mp, alpha_sc, beta_voc)
    except DomainError as error:
        places = (Problem(f'panel "{panel.id}" {item.where}', item.what, item.write) for item in error.problems)
        raise PlanError(places) from None


def as_promised(panel: Panel) -> Panel:
    """The panel as its plate has it: neither aged nor as its kind usually is, whatever was measured of it."""
    return panel.model_copy(update={"plate_factor": 1.0})


def panel_parameters(
    panel: Panel, effective_irradiance: Any, temp_cell: Any, band: Band = TYPICAL
) -> tuple[np.ndarray, ...]:
    """Give a panel's single-diode parameters in a given light and heat, in pvlib's order. [A, A, ohm, ohm, V]

    The effective irradiance [W/m2] is of shape (steps,) or (sections, steps), the cell temperature [degC] of shape
    (steps,). A row for each section is that of the whole panel in its light.
    """
    believed = diode.scale_plate(single_diode(panel), band.plate_factor(panel))
    return diode.operating_parameters(believed, effective_irradiance, temp_cell)


_SAMPLES = 24  # between two bends; the hump of a weak panel is a quarter of them wide
_NARROWINGS = 32
_GOLDEN = 0.5 * (5.0**0.5 - 1.0)


def greatest_power(
    voltage_at: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]], bends: np.ndarray, highest: float = np.inf
) -> np.ndarray:
    """Greatest power [W] of a source at a voltage no higher than a limit [V], shape (steps,); 0 in the dark.

    ``max I min(V(I), highest)``. Each group of cells in one light gives the power a hump of its own, below its
    photocurrent, `bends` [A] of shape (groups, steps): the space below each is sampled, and its best sample narrowed
    down by the golden section, true to 1e-6 of itself, or 1e-12 W. `voltage_at` takes currents (..., steps) [A]; it
    returns voltages [V] that fall as the current rises, and their derivative.

    Examples
    --------
    A battery of 12 V behind 2 ohm gives most at half its voltage.

    >>> power = greatest_power(lambda i: (12.0 - 2.0 * i, -2.0), np.array([[6.0]]))
    >>> power.round(6).tolist()
    [18.0]
    >>> greatest_power(lambda i: (12.0 - 2.0 * i, -2.0), np.array([[6.0]]), highest=5.0).round(6).tolist()
    [17.5]
    """

    def power(current: np.ndarray) -> np.ndarray:
        return current * np.minimum(voltage_at(current)[0], highest)

    edges = np.concatenate([np.zeros((1, bends.shape[1])), np.sort(bends, axis=0)])
    sampled = edges[:-1] + np.linspace(0.0, 1.0, _SAMPLES + 1)[:, None, None] * np.diff(edges, axis=0)
    best = np.argmax(power(sampled), axis=0)
    low, high = (np.take_along_axis(sampled, np.clip(best + side, 0, _SAMPLES)[None], axis=0)[0] for side in (-1, 1))
    below, above = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    less, more = power(below), power(above)
    for _ in range(_NARROWINGS):
        left = less > more
        low, high = np.where(left, low, below), np.where(left, above, high)
        # By the golden section one of the two points within stands in the narrower space as well.
        fresh = np.where(left, high - _GOLDEN * (high - low), low + _GOLDEN * (high - low))
        given = power(fresh)
        below, above = np.where(left, fresh, above), np.where(left, below, fresh)
        less, more = np.where(left, given, more), np.where(left, less, given)
    return np.maximum(power(0.5 * (low + high)).max(axis=0), 0.0)


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
    return _one_panel(parameters, bypass).voltage_at(np.zeros(parameters[0].shape[-1]))[0]


def _one_panel(parameters: tuple[np.ndarray, ...], bypass: DiodeLaw | None) -> Generator:
    """A panel by itself as a source."""
    return SourceSide(Leaf("panel", bypass), {"panel": parameters}).generator
