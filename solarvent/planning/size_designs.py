"""The designs that a sizing tries: panels, ways to meet the voltage of the fans, wires, and the plan of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from solarvent.base.errors import PlanError
from solarvent.inputs.loading import LoadedPlan
from solarvent.inputs.parts import Fan, Panel
from solarvent.inputs.plan import Cable, Wiring

TRADE_WATTS = (5.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)
REFERENCE_WATTS = 20.0
"""Panel that all designs are multiples of. [W]"""
USUAL_FAN = "fan-12v-120x25"
TWIN = "24 V fan"
_CHOICES = {12: (("none", None), (TWIN, None), ("12 V buck", "buck-12v"), ("clamp", "clamp-13v")),
            5: (("none", None), ("USB regulator", "panel-usb-board"), ("5 V buck", "buck-5v"))}  # fmt: skip


@dataclass(frozen=True)
class Design:
    """One thing that could be built.

    Attributes
    ----------
    fans : int
    fan : Fan
    panel_watts : float
        [W]
    converter : str
        In words: ``"none"``, ``"24 V fan"``, ``"12 V buck"``, ``"clamp"``.
    converter_part : str or None
        Entry of the library.
    wire : str
        Of the lead between panel and fans.
    tilt, azimuth : float
        [deg]
    """

    fans: int
    fan: Fan
    panel_watts: float
    converter: str
    converter_part: str | None
    wire: str
    tilt: float
    azimuth: float


def base_fan(loaded: LoadedPlan, part: str | None, own_plan: bool) -> Fan:
    """The fan to size for: the one that is named, that of the person's plan, or else the usual one."""
    if part is None and own_plan:
        return loaded.plan.fan[0]
    name = part or USUAL_FAN
    fitting = {key: loaded.plan.fan[0].model_dump()[key] for key in ("outlet_opening",)}
    return Fan.model_validate({**fitting, **loaded.library.get("fans", name), "id": "fan", "part": name})


def twin_24v(fan: Fan, loaded: LoadedPlan) -> Fan:
    """The same fan wound for 24 V: from the library, or twice the voltages and half the currents."""
    name = (fan.part or "").replace("12v", "24v")
    if name != fan.part and name in loaded.library.entries("fans"):
        found = Fan.model_validate({**loaded.library.get("fans", name), "id": "fan", "part": name})
        return found.model_copy(update={"outlet_opening": fan.outlet_opening})
    doubled = ("rated_voltage", "start_voltage", "run_down_voltage", "maximum_voltage")
    changes = {key: 2 * getattr(fan, key) for key in doubled}
    return fan.model_copy(
        update=changes
        | {
            "rated_current": fan.rated_current / 2,
            "readings": [],
            "part": None,
            "name": f"{fan.name}, wound for 24 V",
        }
    )


def designs(
    loaded: LoadedPlan,
    fan: Fan,
    fans: Sequence[int],
    watts: Sequence[float],
    wires: Sequence[str] = (),
    tilts: Sequence[float] = (),
    azimuths: Sequence[float] = (),
) -> list[Design]:
    """List the designs to try.

    Parameters
    ----------
    loaded : LoadedPlan
        For what is not given: its first panel's place, and the lead of its layout.
    fan : Fan
        To size for; of a 12 V fan its 24 V twin is tried too.
    fans : sequence of int
        How many.
    watts, wires, tilts, azimuths
        Every combination is tried.

    Returns
    -------
    list of Design
        Those of one converter choice together, by rising watts.
    """
    panel, lead = loaded.plan.panel[0], lead_of(loaded)
    choices = _CHOICES.get(round(fan.rated_voltage), (("none", None),))
    kinds = {word: twin_24v(fan, loaded) if word == TWIN else fan for word, _ in choices}
    places = product(wires or (lead.wire,), tilts or (panel.tilt,), azimuths or (panel.azimuth,))
    return [
        Design(count, kinds[word], size, word, part, wire, tilt, azimuth)
        for (wire, tilt, azimuth), (word, part), count, size in product(list(places), choices, fans, watts)
    ]


def lead_of(loaded: LoadedPlan) -> Cable:
    """The lead between panel and fans: that of the plan's layout, or else the usual one."""
    return loaded.plan.wiring.lead


def sized_panel(panel: Panel, watts: float) -> Panel:
    """The plan's panel with another number of watts: the same voltages, and all currents in proportion."""
    factor = watts / plate_watts(panel)
    given = {key: getattr(panel, key) for key in ("i_sc", "i_mp", "watts")}
    changes: dict[str, object] = {key: value * factor for key, value in given.items() if value is not None}
    if (diode := panel.single_diode) is not None:
        changes["single_diode"] = diode.model_copy(
            update={
                "I_L_ref": diode.I_L_ref * factor,
                "I_o_ref": diode.I_o_ref * factor,
                "R_s": diode.R_s / factor,
                "R_sh_ref": diode.R_sh_ref / factor,
            }
        )
    return panel.model_copy(update=changes | {"width": None, "height": None})


def plate_watts(panel: Panel) -> float:
    """Watts of a panel: of its best point, or as it says."""
    if panel.v_mp is not None and panel.i_mp is not None:
        return panel.v_mp * panel.i_mp
    if panel.watts is None:
        raise PlanError.single(f'panel "{panel.id}"', "its watts are not known", 'write them, like watts = "20 W"')
    return panel.watts


def plan_of(design: Design, loaded: LoadedPlan) -> LoadedPlan:
    """The plan with a design in place of its own panels, fans and wires: one panel, a lead, all fans side by side."""
    plan = loaded.plan
    panel = sized_panel(plan.panel[0], design.panel_watts).model_copy(
        update={"id": "panel", "tilt": design.tilt, "azimuth": design.azimuth}
    )
    fans = [design.fan.model_copy(update={"id": f"fan-{number + 1}"}) for number in range(design.fans)]
    wiring = Wiring.model_construct(
        **{
            **{name: getattr(plan.wiring, name) for name in Wiring.model_fields},
            "layout": "shared",
            "panels": "parallel",
            "runs": [],
            "lead": lead_of(loaded).model_copy(update={"wire": design.wire}),
            "converter": design.converter_part,
        }
    )
    parts = {"panel": [panel], "fan": fans, "lead": [], "splitter": [], "converter": [], "wiring": wiring}
    return LoadedPlan(plan.model_copy(update=parts), loaded.library, loaded.path)
