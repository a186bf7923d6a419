"""The single diode of a plan's panel: fitted to its plate, and carried to the light and the heat of its cells."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from solarvent.base.errors import DomainError, PlanError, Problem
from solarvent.electrical import single_diode as diode
from solarvent.electrical.bands import TYPICAL, Band
from solarvent.plan.parts import Panel


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
        return _fitted(panel.v_oc, panel.i_sc, panel.v_mp, panel.i_mp, alpha_sc, beta_voc)
    except DomainError as error:
        places = (Problem(f'panel "{panel.id}" {item.where}', item.what, item.write) for item in error.problems)
        raise PlanError(places) from None


@lru_cache(maxsize=64)
def _fitted(*plate: float) -> diode.SingleDiode:
    """Fit a plate once, for every band and every check asks for it again."""
    return diode.fit_nameplate(*plate)


def panel_parameters(
    panel: Panel, effective_irradiance: Any, temp_cell: Any, band: Band = TYPICAL
) -> tuple[np.ndarray, ...]:
    """Give a panel's single-diode parameters in a given light and heat, in pvlib's order. [A, A, ohm, ohm, V]

    The effective irradiance [W/m2] is of shape (steps,) or (sections, steps), the cell temperature [degC] of shape
    (steps,). A row for each section is that of the whole panel in its light.
    """
    believed = diode.scale_plate(single_diode(panel), band.plate_factor(panel))
    return diode.operating_parameters(believed, effective_irradiance, temp_cell)
