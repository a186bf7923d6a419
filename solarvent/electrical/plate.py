"""The plate of a panel: whether its figures fit together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


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
