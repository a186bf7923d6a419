"""The plate of a panel: whether its figures fit together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


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
