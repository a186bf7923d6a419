"""The single-diode model of a panel, explicit in its diode voltage; and diodes in line and across panels."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from solarvent.base.errors import DomainError, Problem

BAND_GAP_SILICON = 1.121
"""Band gap of silicon at 25 degC (De Soto, Klein & Beckman 2006). [eV]"""
BAND_GAP_SLOPE = -0.0002677
"""Relative change of the band gap with temperature (De Soto, Klein & Beckman 2006). [1/K]"""

_KELVIN = 25.0 + 273.15
_BOLTZMANN_EV = 8.617333262145e-5
# Largest miss at (v_mp, i_mp), as a share of i_sc: a plate itself is true within 3-5 %.
_TOLERANCE = 0.01


@dataclass(frozen=True)
class SingleDiode:
    """The parameters of the De Soto single-diode model at 1000 W/m2 and 25 degC.

    Attributes
    ----------
    I_L_ref : float
        Photocurrent. [A]
    I_o_ref : float
        Saturation current of the diode. [A]
    R_s : float
        Series resistance. [ohm]
    R_sh_ref : float
        Shunt resistance. [ohm]
    a_ref : float
        Ideality factor times cells in series times thermal voltage. [V]
    alpha_sc : float
        Temperature coefficient of the short-circuit current. [A/K]
    EgRef : float
        Energy that sets how the saturation current grows with temperature; silicon's band gap, unless
        `fit_nameplate` needed another to keep the plate's own voltage coefficient. [eV]
    """

    I_L_ref: float
    I_o_ref: float
    R_s: float
    R_sh_ref: float
    a_ref: float
    alpha_sc: float
    EgRef: float = BAND_GAP_SILICON


def fit_nameplate(v_oc: float, i_sc: float, v_mp: float, i_mp: float, alpha_sc: float, beta_voc: float) -> SingleDiode:
    """Single-diode parameters from the six figures of a plate, by the conditions of De Soto et al. (2006).

    The curve passes through ``(0, i_sc)``, ``(v_mp, i_mp)`` and ``(v_oc, 0)``, has its maximum power at ``v_mp``
    and the temperature coefficient `beta_voc` at open circuit. The first guess is Batzelis' closed form (2017),
    which by itself misses `i_mp` by up to 2 % and gives a negative resistance for about one plausible plate in
    twenty: a high ``i_mp / i_sc`` beside a low ``v_mp / v_oc``. No single diode of silicon meets all conditions
    of such a plate. The four points are then kept, with the slope voltage nearest to the one that `beta_voc`
    asks for, and `EgRef` is moved off silicon's band gap so that `beta_voc` is kept too.

    Parameters
    ----------
    v_oc, i_sc : float
        Open-circuit voltage [V] and short-circuit current [A].
    v_mp, i_mp : float
        Voltage [V] and current [A] at maximum power.
    alpha_sc : float
        Temperature coefficient of the short-circuit current. [A/K]
    beta_voc : float
        Temperature coefficient of the open-circuit voltage, negative. [V/K]

    Returns
    -------
    SingleDiode
        Both resistances are >= 0. The four points are met within 0.01 %. Only where `i_mp` is over 0.965 of `i_sc`
        a single diode may come no nearer than 1 % of `i_sc` to ``(v_mp, i_mp)``; farther off is refused.

    Raises
    ------
    DomainError
        If a figure has no meaning or no single diode passes through the four points; says which figure to check.

    Examples
    --------
    >>> plate = fit_nameplate(21.7, 3.45, 17.4, 3.15, 0.0017, -0.0716)
    >>> round(plate.R_s, 2), round(plate.a_ref, 3)
    (0.55, 0.863)

    References
    ----------
    W. De Soto, S. A. Klein, W. A. Beckman, "Improvement and validation of a model for photovoltaic array
    performance", Solar Energy 80, 2006, 78-88. E. I. Batzelis, "Simple PV performance equations theoretically well
    founded on the single-diode model", IEEE J. Photovoltaics 7, 2017, 1400-1409.
    """
    _refuse_meaningless(v_oc, i_sc, v_mp, i_mp, alpha_sc, beta_voc)
    # To twelve digits, so that plates which differ in their size only are fitted once.
    ratios = (v_mp / v_oc, i_mp / i_sc, alpha_sc / i_sc, beta_voc / v_oc)
    plate = _Ratios(*(round(ratio, 12) for ratio in ratios))
    slope, series, shunt = _fitted(plate)
    photo, saturation = _currents(slope, series, shunt)
    return SingleDiode(
        I_L_ref=float(photo * i_sc),
        I_o_ref=float(saturation * i_sc),
        R_s=float(series * v_oc / i_sc),
        R_sh_ref=float(v_oc / i_sc / max(shunt, 1e-9)),
        a_ref=float(slope * v_oc),
        alpha_sc=float(alpha_sc),
        EgRef=float(_band_gap(slope, series, shunt, plate)),
    )


@lru_cache(maxsize=64)
def _fitted(plate: _Ratios) -> tuple[float, float, float]:
    """Slope voltage, series resistance and shunt conductance of a plate, in units of its v_oc and i_sc."""
    from scipy.optimize import least_squares

    lower, upper = np.array([0.02, 0.0, 0.0]), np.array([0.10, 0.40, 0.50])
    fitted = least_squares(
        _misses,
        _first_guess(plate),
        args=(plate,),
        bounds=(lower, upper),
        x_scale=0.01,
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    if not np.all(np.abs(fitted.fun[:2]) < _TOLERANCE):
        raise DomainError.single(
            "v_mp, i_mp",
            f"no solar cell has its maximum power at {plate.v_mp:.2f} of v_oc and {plate.i_mp:.2f} of i_sc",
            "check v_oc, i_sc, v_mp and i_mp: usual are v_mp 0.76-0.86 of v_oc and i_mp 0.88-0.97 of i_sc",
        )
    slope, series, shunt = fitted.x.tolist()
    return slope, series, shunt


def from_watts(watts: float) -> SingleDiode:
    """Single-diode parameters of a typical 36-cell "12 V" panel, scaled to the watts given [W].

    Only the current is scaled. The type has Voc 22.0 V, Vmp 18.0 V, fill factor 0.76, +0.05 %/K on the current and
    -0.33 %/K on the voltage: typical of published plates of 3.5-100 W (common practice, no single source). A panel of
    another voltage needs its own plate.

    Raises
    ------
    DomainError
        If `watts` is not a positive number.

    Examples
    --------
    >>> round(from_watts(20.0).I_L_ref, 2)
    1.2
    """
    if not (np.isfinite(watts) and watts > 0):
        raise DomainError.single("watts", f"{watts} W is no size of a panel", "give the watts of the plate, above 0")
    v_oc, v_mp = 22.0, 18.0
    i_sc = watts / (v_oc * 0.76)
    return fit_nameplate(v_oc, i_sc, v_mp, watts / v_mp, 0.0005 * i_sc, -0.0033 * v_oc)


def scale_plate(reference: SingleDiode, factor: float) -> SingleDiode:
    """The same panel with all currents times a factor: a plate that holds only a share of its cells' current.

    The resistances are divided by it; the voltages stay.

    Raises
    ------
    DomainError
        If `factor` is not a positive number.

    Examples
    --------
    >>> half = scale_plate(SingleDiode(2.0, 1e-9, 0.5, 300.0, 1.0, 0.001), 0.5)
    >>> half.I_L_ref, half.R_s
    (1.0, 1.0)
    """
    if not (np.isfinite(factor) and factor > 0):
        raise DomainError.single("factor", f"a plate cannot be scaled by {factor}", "give a share above 0")
    return replace(
        reference,
        I_L_ref=reference.I_L_ref * factor,
        I_o_ref=reference.I_o_ref * factor,
        R_s=reference.R_s / factor,
        R_sh_ref=reference.R_sh_ref / factor,
        alpha_sc=reference.alpha_sc * factor,
    )


def operating_parameters(
    reference: SingleDiode, effective_irradiance: ArrayLike, temp_cell: ArrayLike
) -> tuple[np.ndarray, ...]:
    """Single-diode parameters at any light and cell temperature, by De Soto et al. (2006).

    They are worked out here, since the library for it takes most of a second to load, and ``pair`` has no more.

    The effective irradiance [W/m2] and the cell temperature [degC] are of shape (steps,), as are the results, in
    pvlib's order. [A, A, ohm, ohm, V] No light gives photocurrent 0 and an endless shunt resistance: a dark curve that
    is finite everywhere. Light below 0 gives a photocurrent of NaN.

    Examples
    --------
    >>> panel = SingleDiode(2.0, 1e-9, 0.5, 300.0, 1.0, 0.001)
    >>> photocurrent, *_ = operating_parameters(panel, [1000.0, 0.0], 25.0)
    >>> photocurrent.tolist()
    [2.0, 0.0]
    """
    light, heat = np.broadcast_arrays(np.asarray(effective_irradiance, dtype=float), np.asarray(temp_cell, dtype=float))
    share = np.where(light >= 0, light, np.nan) / 1000.0
    kelvin = heat + 273.15
    warmth, warmer = kelvin / _KELVIN, kelvin - _KELVIN
    band_gap = reference.EgRef * (1 + BAND_GAP_SLOPE * warmer)
    exponent = reference.EgRef / (_BOLTZMANN_EV * _KELVIN) - band_gap / (_BOLTZMANN_EV * kelvin)
    with np.errstate(divide="ignore"):
        shunt = reference.R_sh_ref / share
    parameters = (
        share * (reference.I_L_ref + reference.alpha_sc * warmer),
        reference.I_o_ref * warmth**3 * np.exp(exponent),
        np.asarray(reference.R_s),
        shunt,
        reference.a_ref * warmth,
    )
    return tuple(np.array(np.broadcast_to(values, light.shape)) for values in parameters)


@dataclass(frozen=True)
class _Ratios:
    """A plate in units of its own v_oc and i_sc."""

    v_mp: float
    i_mp: float
    alpha: float
    beta: float


def _first_guess(plate: _Ratios) -> np.ndarray:
    """Slope voltage, series resistance and shunt conductance to start from, in units of the plate (Batzelis 2017)."""
    from scipy.special import lambertw

    with np.errstate(all="ignore"):
        slope = (1 - plate.beta * _KELVIN) / (50.1 - plate.alpha * _KELVIN)
        branch = lambertw(np.exp(1 / slope + 1)).real
        series = (slope * (branch - 1) - plate.v_mp) / plate.i_mp
        shunt = (1 - 1 / branch - plate.i_mp) / (slope * (branch - 1))
    return np.clip([slope, series, shunt], [0.021, 1e-4, 1e-5], [0.099, 0.39, 0.49])


def _currents(slope: float, series: float, shunt: float) -> tuple[float, float]:
    """Photocurrent and saturation current that put the curve through (0, 1) and (1, 0)."""
    saturation = (1 + shunt * series - shunt) / (np.expm1(1 / slope) - np.expm1(series / slope))
    return saturation * np.expm1(1 / slope) + shunt, saturation


def _misses(unknowns: np.ndarray, plate: _Ratios) -> np.ndarray:
    """How far a curve is from the plate: current at v_mp, slope there, temperature coefficient."""
    slope, series, shunt = unknowns
    photo, saturation = _currents(slope, series, shunt)
    diode_voltage = plate.v_mp + plate.i_mp * series
    current = photo - saturation * np.expm1(diode_voltage / slope) - shunt * diode_voltage
    conductance = saturation / slope * np.exp(diode_voltage / slope) + shunt
    gap = _band_gap(slope, series, shunt, plate)
    # The last weighs a thousandth: where all cannot be met, the four points come before silicon's band gap.
    return np.array(
        [
            current - plate.i_mp,
            conductance / (1 + series * conductance) - plate.i_mp / plate.v_mp,
            1e-3 * (gap - BAND_GAP_SILICON),
        ]
    )


def _band_gap(slope: float, series: float, shunt: float, plate: _Ratios) -> float:
    """The EgRef with which dVoc/dT of this curve at 25 degC equals the plate's beta. [eV]"""
    _, saturation = _currents(slope, series, shunt)
    diode = saturation * np.exp(1 / slope)
    growth = (plate.alpha + diode / (slope * _KELVIN) - plate.beta * (diode / slope + shunt)) / (
        saturation * np.expm1(1 / slope)
    )
    return (growth - 3 / _KELVIN) * _BOLTZMANN_EV * _KELVIN / (1 / _KELVIN - BAND_GAP_SLOPE)


def _refuse_meaningless(v_oc: float, i_sc: float, v_mp: float, i_mp: float, alpha_sc: float, beta_voc: float) -> None:
    """Raise DomainError for figures that are no plate at all, every one at once."""
    problems = []
    named = {"v_oc": v_oc, "i_sc": i_sc, "v_mp": v_mp, "i_mp": i_mp}
    for name, value in named.items():
        if not (np.isfinite(value) and value > 0):
            problems.append(Problem(name, f"{value} is not a positive number", f"write the {name} of the plate"))
    if problems:
        raise DomainError(problems)
    if not v_mp < v_oc:
        problems.append(Problem("v_mp", f"{v_mp} V is not below v_oc {v_oc} V", "check v_mp and v_oc, perhaps swapped"))
    if not i_mp < i_sc:
        problems.append(Problem("i_mp", f"{i_mp} A is not below i_sc {i_sc} A", "check i_mp and i_sc, perhaps swapped"))
    if not -0.002 <= alpha_sc / i_sc <= 0.003:
        problems.append(
            Problem(
                "alpha_sc",
                f"{alpha_sc} A/K is {100 * alpha_sc / i_sc:.3g} % of i_sc a kelvin",
                "write amperes a kelvin; usual is +0.04 to +0.06 % of i_sc",
            )
        )
    if not -0.006 <= beta_voc / v_oc <= -0.001:
        problems.append(
            Problem(
                "beta_voc",
                f"{beta_voc} V/K is {100 * beta_voc / v_oc:.3g} % of v_oc a kelvin",
                "write volts a kelvin, negative; usual is -0.27 to -0.36 % of v_oc",
            )
        )
    if problems:
        raise DomainError(problems)


Diodes = tuple[tuple[float, float], ...]
"""Diodes in line, each as (saturation current [A], slope voltage [V])."""

LARGEST_EXPONENT = 500.0
"""An exponential goes no further than this, so that it stays finite. [-]"""

_BLOCKING_RESISTANCE = 1e11  # ohm; a diode that blocks is no steeper than this, so that roots stay findable


def diode_drop(current: Any, diodes: Diodes) -> tuple[np.ndarray, np.ndarray]:
    """Voltage [V] across diodes in line and its derivative [ohm], by the exponential law turned round.

    ``V = slope_voltage ln(1 + I / saturation_current)``, the current [A] positive from source to load. A reverse
    current cannot pass the saturation current: close to it the drop goes on as a straight line of 1e11 ohm. Each diode
    is a saturation current [A] and a slope voltage [V].

    Examples
    --------
    >>> drop, derivative = diode_drop(0.5, ((1e-6, 0.0265),))
    >>> round(float(drop), 4), round(float(derivative), 4)
    (0.3477, 0.053)
    """
    current = np.asarray(current, dtype=float)
    drop, derivative = np.zeros_like(current), np.zeros_like(current)
    for saturation_current, slope_voltage in diodes:
        ratio = current / saturation_current
        flattest = min(slope_voltage / (saturation_current * _BLOCKING_RESISTANCE), 1.0)
        law = np.maximum(ratio, flattest - 1.0)
        steepness = slope_voltage / (1.0 + law)
        drop += slope_voltage * np.log1p(law) + (ratio - law) * steepness
        derivative += steepness / saturation_current
    return drop, derivative


def scaled(diodes: Diodes, volts: float, amps: float) -> Diodes:
    """Diodes at which every voltage is so many times as high, and every current: as many in series, or side by side."""
    return tuple((amps * saturation_current, volts * slope_voltage) for saturation_current, slope_voltage in diodes)


def bypass_current(voltage: Any, diode: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Current [A] through a bypass diode, backwards across a panel, and its derivative by the panel's voltage [S].

    ``I = saturation_current (exp(-V / slope_voltage) - 1)`` where the panel is driven backwards, and nothing where it
    is not: the leakage of the blocked diode, its saturation current, is left out. The voltage across the panel [V] is
    positive as it works; the current is never negative, its derivative never positive. The diode is a saturation
    current [A] and a slope voltage [V].

    Examples
    --------
    >>> current, _ = bypass_current([20.0, -0.35], (2.35e-6, 0.027))
    >>> current.round(2).tolist()
    [0.0, 1.0]
    """
    saturation_current, slope_voltage = diode
    backwards = np.maximum(-np.asarray(voltage, dtype=float), 0.0) / slope_voltage
    grown = np.expm1(np.minimum(backwards, LARGEST_EXPONENT))
    conductance = np.where(backwards > 0, saturation_current / slope_voltage * (1.0 + grown), 0.0)
    return saturation_current * grown, -conductance
