"""Findings on the plates of panels, and on how they hang."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.findings import Finding
from solarvent.electrical.plate import check_plate
from solarvent.plan.parts import FLAT_TILT, Panel
from solarvent.simulation.simulate import Simulation


def panel_findings(run: Simulation) -> Iterator[Finding]:
    """Say what is doubtful about the plates and the places of the panels."""
    for panel in run.plan.record.panel:
        name = panel.id
        yield from _plate_findings(panel, name)
        if panel.behind is not None:
            cover = run.plan.cover(panel.behind)
            lost = 1 - cover.transmittance
            text = f"The panel looks through {cover.name}, which takes {lost:.0%} of the light even when clean and dry."
            if cover.mesh:
                do = "Hang the panel clear of the mesh; the mesh belongs over the inlet."
                yield Finding("warn", "panel-behind-mesh", name, text, do, cover.transmittance, 1.0)
            else:
                do = "Put the panel outside, above the ridge, clear of frame bars."
                yield Finding("warn", "panel-behind-cover", name, text, do, cover.transmittance, 1.0)
        if panel.lit_share_of_worst_cell < 1:
            text = (
                f"A shadow covers {1 - panel.lit_share_of_worst_cell:.0%} of one cell. Cells are in series: the darkest"
            )
            if panel.clear_sections:
                text += (
                    f" one sets the current of its section, or a diode bridges the section: {panel.sections_in_shadow}"
                    f" of {panel.bypass_diodes} sections and their share of the voltage are lost in strong light."
                )
            else:
                text += " one sets the current of all of them."
            do = "Move the panel clear of leaf, bar and line from 10 to 17 h."
            yield Finding("warn", "cell-shaded", name, text, do, panel.lit_share_of_worst_cell, 1.0)
        if panel.tilt < FLAT_TILT:
            text = f"The panel lies at {panel.tilt:g} degrees: water and dirt stay on it, and low sun glances off."
            yield Finding(
                "note",
                "panel-flat",
                name,
                text,
                f"Tilt it {FLAT_TILT:g} degrees or more.",
                panel.tilt,
                FLAT_TILT,
                "deg",
            )


def _plate_findings(panel: Panel, name: str) -> Iterator[Finding]:
    """Hold the figures on a plate against each other."""
    if panel.v_oc is None or panel.i_sc is None or panel.v_mp is None or panel.i_mp is None:
        if panel.single_diode is None:
            text = f"Only the watts ({panel.watts:g} W) are known; the curve is scaled from a usual 36-cell panel."
            do = "Read Voc, Isc, Vmp and Imp off its plate, or measure Voc and Isc at noon, and write them in the plan."
            yield Finding("note", "watts-only", name, text, do, panel.watts, None, "W")
        return
    area = panel.width * panel.height if panel.width and panel.height else None
    check = check_plate(panel.v_oc, panel.i_sc, panel.v_mp, panel.i_mp, panel.watts, area)
    ask = "Ask the seller for Voc, Isc, Vmp and Imp; measure Voc and Isc at noon and write them in the plan."
    if not check.fill_factor_plausible:
        text = f"The plate's fill factor is {check.fill_factor:.2f}; real panels have 0.60 to 0.82."
        yield Finding("warn", "plate-implausible", name, text, ask, check.fill_factor, 0.82)
    if not check.watts_plausible:
        watts = panel.v_mp * panel.i_mp
        text = f"The plate says {panel.watts:g} W, but its Vmp x Imp is {watts:.3g} W."
        yield Finding("warn", "plate-implausible", name, text, ask, panel.watts, watts, "W")
    if not check.area_plausible:
        text = f"The plate promises {check.watts_per_area:.0f} W from each square metre; good cells give 240 at most."
        yield Finding("warn", "plate-inflated", name, text, ask, check.watts_per_area, 240.0, "W/m2")
