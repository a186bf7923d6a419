"""The plate of a panel: whether its figures fit together, and its voltage in the cold by the code."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

# NEC (NFPA 70) Table 690.7(A): the upper end of each band of ambient temperature [degC] and its factor.
_NEC_BAND_TOP = np.array([24, 19, 14, 9, 4, -1, -6, -11, -16, -21, -26, -31, -36])
_NEC_FACTOR = np.array([1.02, 1.04, 1.06, 1.08, 1.10, 1.12, 1.14, 1.16, 1.18, 1.20, 1.21, 1.23, 1.25])


@dataclass(frozen=True)
class PlateCheck:
    """What the figures on a plate say about each other.

    Attributes
    ----------
    fill_factor : float
        ``v_mp i_mp / (v_oc i_sc)``. [-]
    fill_factor_plausible : bool
        Within 0.60-0.82.
    watts_excess : float
        Share by which the watts on the plate exceed ``v_mp i_mp``; NaN without watts. [-]
    watts_plausible : bool
        Within 5 % either way; True without watts.
    watts_per_area : float
        Watts per area of cells; NaN without watts or area. [W/m2]
    area_plausible : bool
        At most 240 W/m2; True without watts or area.
    """

    fill_factor: float
    fill_factor_plausible: bool
    watts_excess: float
    watts_plausible: bool
    watts_per_area: float
    area_plausible: bool


def fill_factor(v_oc: Any, i_sc: Any, v_mp: Any, i_mp: Any) -> Any:
    """Fill factor ``v_mp i_mp / (v_oc i_sc)`` of a current-voltage curve (IEC 60904-1).

    Parameters
    ----------
    v_oc, v_mp : float or array
        Open-circuit voltage and voltage at maximum power. [V]
    i_sc, i_mp : float or array
        Short-circuit current and current at maximum power. [A]

    Returns
    -------
    float or array
        Fill factor. [-]

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

    The limits are common practice, no source: fill factor 0.60-0.82, watts within 5 % of ``v_mp i_mp``, and at
    most 240 W per m2 of cells at 1000 W/m2.

    Parameters
    ----------
    v_oc, i_sc, v_mp, i_mp : float
        Open-circuit voltage [V], short-circuit current [A], voltage [V] and current [A] at maximum power.
    watts : float, optional
        The watts on the plate. [W]
    cell_area : float, optional
        Area of the cells, without frame and margins. [m2]

    Returns
    -------
    PlateCheck
        Numbers and flags.

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


def voc_correction_nec(temp: ArrayLike) -> Any:
    """Factor on the open-circuit voltage for the lowest expected air temperature: NEC (NFPA 70) Table 690.7(A).

    For crystalline silicon whose own coefficient is not known. A temperature between two bands takes the colder one.

    Parameters
    ----------
    temp : float or array
        Lowest expected air temperature. [degC]

    Returns
    -------
    float or array
        Factor on the Voc of the plate; 1 from 25 degC on, NaN below -40 degC, where the table ends. [-]

    Examples
    --------
    >>> float(voc_correction_nec(-10.0))
    1.14
    """
    whole = np.floor(np.asarray(temp, dtype=float))
    band = np.searchsorted(-_NEC_BAND_TOP, -whole, side="right") - 1
    factor = np.where(whole >= 25, 1.0, _NEC_FACTOR[np.clip(band, 0, None)])
    return np.where(whole >= -40, factor, np.nan)[()]
