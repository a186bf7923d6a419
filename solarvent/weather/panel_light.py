"""The panel in its place: the heat of its cells, and what dirt, glass and shadow leave of its light."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

REFERENCE_IRRADIANCE = 1000.0
"""Irradiance of the standard test conditions. [W/m2]"""


def cell_temperature(poa_global: ArrayLike, temp_air: ArrayLike, noct: float, mounting_offset: float = 0.0) -> Any:
    """Cell temperature by the nominal operating cell temperature (Ross 1980), plus a term for poor cooling.

    ``temp_air + (noct - 20) poa_global / 800 + mounting_offset poa_global / 1000``

    Parameters
    ----------
    poa_global : float or array
        Light on the panel. [W/m2]
    temp_air : float or array
        Air temperature. [degC]
    noct : float
        Cell temperature in open air at 800 W/m2, 20 degC, 1 m/s (IEC 61215). [degC]
    mounting_offset : float
        Further rise at 1000 W/m2: about 10 K flush on a hot roof, 0 with air behind (common practice). [K]

    Returns
    -------
    float or array
        Cell temperature; wind is not in this model. [degC]

    Examples
    --------
    >>> float(cell_temperature(1000.0, 20.0, 40.0))
    45.0

    References
    ----------
    R. G. Ross, "Flat-plate photovoltaic array design optimization", 14th IEEE PVSC, 1980, 1126-1132.
    """
    from pvlib.temperature import ross

    irradiance = np.asarray(poa_global, dtype=float)
    free = ross(irradiance, np.asarray(temp_air, dtype=float), noct=noct)
    return free + mounting_offset * irradiance / REFERENCE_IRRADIANCE


def string_shade_factor(lit_fraction_worst_cell: ArrayLike, diffuse_share: ArrayLike = 0.0) -> Any:
    """Share of the panel's current that is left when a shadow lies on cells in series.

    The current of the string is that of its worst-lit cell, at least: driven backwards by the others, that cell
    leaks or breaks down. Sky light still reaches a cell in shadow: ``lit_fraction + (1 - lit_fraction)
    diffuse_share``. In a panel with bypass diodes the string is the section that one diode bridges.

    Parameters
    ----------
    lit_fraction_worst_cell : float or array
        Lit share of the area of the cell that the shadow covers most, 0-1. [-]
    diffuse_share : float or array
        Diffuse share of the light on the panel, 0-1. [-]

    Returns
    -------
    float or array
        Factor on the effective irradiance; NaN outside 0-1. [-]

    Examples
    --------
    >>> round(float(string_shade_factor(0.5, 0.2)), 3)
    0.6
    """
    lit, share = _unit_interval(lit_fraction_worst_cell), _unit_interval(diffuse_share)
    return lit + (1 - lit) * share


def effective_irradiance(
    poa: ArrayLike, soiling_ratio: ArrayLike = 1.0, glazing: ArrayLike = 1.0, shade: ArrayLike = 1.0
) -> Any:
    """Light that the cells turn into current: the light on the panel times what dirt, glass and shadow leave.

    Parameters
    ----------
    poa : float or array
        Light on the panel after the reflection loss of its own front. [W/m2]
    soiling_ratio, glazing, shade : float or array
        Share that passes dirt, a cover in front of the panel, a shadow (`string_shade_factor`), each 0-1. [-]

    Returns
    -------
    float or array
        Effective irradiance; NaN where a share is outside 0-1. [W/m2]

    Examples
    --------
    >>> float(effective_irradiance(800.0, soiling_ratio=0.95, glazing=0.85))
    646.0
    """
    passed = _unit_interval(soiling_ratio) * _unit_interval(glazing) * _unit_interval(shade)
    return np.asarray(poa, dtype=float) * passed


def _unit_interval(share: ArrayLike) -> np.ndarray:
    """The share as an array, NaN outside 0-1."""
    values = np.asarray(share, dtype=float)
    return np.where((values >= 0) & (values <= 1), values, np.nan)
