"""The designs that a sizing tries: panels, ways to meet the voltage of the fans, wires, and the plan of each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from solarvent.base.errors import PlanError
from solarvent.plan.parts import SMALL_CELLS, Fan, Panel
from solarvent.plan.plan import Plan
from solarvent.plan.plan_record import Wiring

TRADE_WATTS = (5.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)
USUAL_FAN = "fan-12v-120x25"
TWIN = "24 V fan"
STRAIGHT = "none"
_CHOICES: dict[int, tuple[tuple[str, str | None], ...]] = {
    12: ((STRAIGHT, None), (TWIN, None), ("12 V buck", "buck-12v"), ("clamp", "clamp-13v")),
    5: ((STRAIGHT, None), ("USB regulator", "panel-usb-board"), ("5 V buck", "buck-5v")),
}
#: At the best point of a usual panel (typical). [V]
_USUAL_VOLTS = 18.0
_OF_FEW_CELLS: dict[str | None, str | None] = {"panel-usb-board": "panel-usb-socket"}
#: Watts that differ by less are the same size. [-]
_ALIKE = 0.03
_PLACED = ("outlet_opening", "wall_azimuth", "height")
#: A converter that the plan itself has: one in its layout, or those in its runs.
_OWN, _AS_WIRED = "own converter", "converters of the plan"


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
        Of the first panel. [deg]
    own : Plan, optional
        A person's own fans, panels and wiring, with whatever else the design changes in them; of its panels the
        first has `panel_watts` and the others keep their ratio to it. Without, alike fans lie side by side on one
        panel.
    converter_name : str
        Of a converter of the plan itself, as people call it.
    as_planned : bool
        It is the plan as it stands.
    """

    fans: int
    fan: Fan
    panel_watts: float
    converter: str
    converter_part: str | None
    wire: str
    tilt: float
    azimuth: float
    own: Plan | None = None
    converter_name: str = ""
    as_planned: bool = False

    @property
    def every_fan(self) -> list[Fan]:
        """All fans."""
        return [self.fan] * self.fans if self.own is None else self.own.record.fan

    @property
    def fan_words(self) -> str:
        """The fans by name, with how many of each kind."""
        kinds = Counter(fan.name or fan.id for fan in self.every_fan)
        return " + ".join(f"{count} x {name}" for name, count in kinds.items())

    @property
    def every_watts(self) -> list[float]:
        """The watts of all panels."""
        if self.own is None:
            return [self.panel_watts]
        plates = [plate_watts(panel) for panel in self.own.record.panel]
        return [self.panel_watts * watts / plates[0] for watts in plates]


def base_fan(plan: Plan, part: str | None, own_plan: bool) -> Fan:
    """The fan to size for: the one that is named, that of the person's plan, or else the usual one."""
    if part is None and own_plan:
        return plan.record.fan[0]
    return _in_place_of(plan.record.fan[0], part or USUAL_FAN, plan, _PLACED)


def twin_24v(fan: Fan, plan: Plan) -> Fan:
    """The same fan wound for 24 V: from the library, or twice the voltages and half the currents."""
    name = (fan.part or "").replace("12v", "24v")
    if name != fan.part and name in plan.library.entries("fans"):
        return _in_place_of(fan, name, plan, (*_PLACED, "id"))
    # Twice the turns of half the copper: the same power and air at twice the voltage.
    doubled = ("rated_voltage", "start_voltage", "stop_voltage", "maximum_voltage")
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


def _in_place_of(fan: Fan, part: str, plan: Plan, kept: Sequence[str]) -> Fan:
    """A fan of the library, with what it takes over from the one in whose place it comes."""
    found = Fan.model_validate({**plan.library.get("fans", part), "id": "fan", "part": part})
    return found.model_copy(update={key: getattr(fan, key) for key in kept})


def designs(
    plan: Plan,
    fan: Fan,
    fans: Sequence[int],
    watts: Sequence[float],
    wires: Sequence[str] = (),
    tilts: Sequence[float] = (),
    azimuths: Sequence[float] = (),
) -> list[Design]:
    """List the designs to try: alike fans side by side on one panel.

    Parameters
    ----------
    plan : Plan
        For what is not given: its first panel's place, and the lead and converter of its layout.
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
    panel, lead = plan.record.panel[0], plan.record.wiring.lead
    choices = _choices(plan, [fan])
    kinds = {word: twin_24v(fan, plan) if word == TWIN else fan for word, _ in choices}
    places = product(wires or (lead.wire,), tilts or (panel.tilt,), azimuths or (panel.azimuth,))
    return [
        Design(count, kinds[word], size, word, part, wire, tilt, azimuth, converter_name=_name_of(word, part, plan))
        for (wire, tilt, azimuth), (word, part), count, size in product(list(places), choices, fans, watts)
    ]


def own_designs(
    plan: Plan,
    watts: Sequence[float],
    wires: Sequence[str] = (),
    tilts: Sequence[float] = (),
    azimuths: Sequence[float] = (),
) -> list[Design]:
    """List the designs to try with the fans, the number of panels and the wiring of a plan.

    Watts [W] are those of its first panel, the others grow with it; tilts and azimuths [deg] those of all panels, by
    default each keeps its own. Where the plan names its runs, its converters stay where they are and no others are
    tried; other leads then are a PlanError.
    """
    record, by_runs = plan.record, plan.record.wiring.layout is None
    if by_runs and wires:
        what, write = "the plan names each lead in its runs", "change the wire of its leads, or give it a layout word"
        raise PlanError.single("--wire", what, write)
    choices = _choices(plan, record.fan)
    if by_runs:
        choices = [(_AS_WIRED if record.converter else STRAIGHT, None), *((w, p) for w, p in choices if w == TWIN)]
    planned = _AS_WIRED if by_runs and record.converter else _word_of(record.wiring.converter, choices)
    first, wiring, kept = record.panel[0], record.wiring, not (wires or tilts or azimuths)
    tried = []
    for wire, tilt, azimuth in product(wires or (None,), tilts or (None,), azimuths or (None,)):
        turned = {key: value for key, value in (("tilt", tilt), ("azimuth", azimuth)) if value is not None}
        for word, part in choices:
            lead = wiring.lead.model_copy(update={} if wire is None else {"wire": wire})
            changes = {
                "panel": [panel.model_copy(update=turned) for panel in record.panel],
                "fan": [twin_24v(fan, plan) for fan in record.fan] if word == TWIN else record.fan,
                "wiring": wiring if by_runs else wiring.model_copy(update={"lead": lead, "converter": part}),
            }
            own = plan.with_records(**changes)
            place = turned.get("tilt", first.tilt), turned.get("azimuth", first.azimuth)
            tried += [
                Design(
                    len(record.fan), own.record.fan[0], size, word, part, lead.wire, *place, own,
                    _name_of(word, part, plan), kept and word == planned and size == plate_watts(first),
                )
                for size in watts
            ]  # fmt: skip
    return tried


def as_wired(plan: Plan, watts: float | None = None) -> Design:
    """A plan as it stands, as a design; watts [W] are those of its first panel, by default its own."""
    record, first = plan.record, plan.record.panel[0]
    part = record.wiring.converter
    word = part or (_AS_WIRED if record.converter else STRAIGHT)
    size = plate_watts(first) if watts is None else watts
    return Design(
        len(record.fan), record.fan[0], size, word, part, record.wiring.lead.wire, first.tilt, first.azimuth, plan,
        _name_of(word, part, plan), size == plate_watts(first),
    )  # fmt: skip


def _word_of(part: str | None, choices: Sequence[tuple[str, str | None]]) -> str:
    """Word of the way to meet the voltage that goes by a converter, or straight."""
    return next(word for word, known in choices if known == part and word != TWIN)


def _name_of(word: str, part: str | None, plan: Plan) -> str:
    """Name a converter that only the plan has; empty for the usual ones, whose word says enough."""
    return str(plan.library.get("converters", part).get("name", part)) if word == _OWN and part else ""


def _choices(plan: Plan, fans: Sequence[Fan]) -> list[tuple[str, str | None]]:
    """The ways to meet the voltage of fans: the plan's own converter first, then the usual ones."""
    volts = {round(fan.rated_voltage) for fan in fans}
    straight: tuple[tuple[str, str | None], ...] = ((STRAIGHT, None),)
    usual = _CHOICES.get(volts.pop(), straight) if len(volts) == 1 else straight
    if (plan.record.panel[0].v_mp or _USUAL_VOLTS) < SMALL_CELLS:
        # The board of larger panels never wakes on such a one, whose own socket passes on what the cells give.
        usual = tuple((word, _OF_FEW_CELLS.get(part, part)) for word, part in usual)
    in_runs = (one.part for one in plan.record.converter if not (one.needs_battery or one.least_load or one.latches))
    own = plan.record.wiring.converter or next((part for part in in_runs if part), None)
    if plan.record.storage is not None:
        # The battery holds the voltage: its controller stays, and nothing else is wanted in line.
        return [(own or STRAIGHT, own)]
    if own is None or own in [part for _, part in usual]:
        return list(usual)
    return [(_OWN, own), *usual]


def usual_watts(panel: Panel) -> list[float]:
    """The size of a panel, and those of the trade that differ from it. [W]"""
    own = plate_watts(panel)
    return sorted({own, *(watts for watts in TRADE_WATTS if abs(watts / own - 1) > _ALIKE)})


def sized_panel(panel: Panel, watts: float) -> Panel:
    """The plan's panel with another number of watts: the same voltages, and all currents in proportion."""
    # Larger cells of the same number: currents grow with the area, resistances fall with it.
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
    """Watts of a panel: as its label says, or of its best point where that is another one. [W]"""
    if panel.v_mp is not None and panel.i_mp is not None:
        best = panel.v_mp * panel.i_mp
        return best if panel.watts is None or abs(panel.watts / best - 1) > _ALIKE else panel.watts
    if panel.watts is None:
        raise PlanError.single(f'panel "{panel.id}"', "its watts are not known", 'write them, like watts = "20 W"')
    return panel.watts


def plan_of(design: Design, plan: Plan) -> Plan:
    """The plan with a design in place of its own panels, fans and wires."""
    if design.own is not None:
        grown = [sized_panel(*pair) for pair in zip(design.own.record.panel, design.every_watts, strict=True)]
        return design.own.with_records(panel=grown)
    record = plan.record
    panel = sized_panel(record.panel[0], design.panel_watts).model_copy(
        update={"id": "panel", "tilt": design.tilt, "azimuth": design.azimuth}
    )
    fans = [design.fan.model_copy(update={"id": f"fan-{number + 1}"}) for number in range(design.fans)]
    wiring = Wiring.model_construct(
        **{
            **{name: getattr(record.wiring, name) for name in Wiring.model_fields},
            "layout": "shared",
            "panels": "parallel",
            "runs": [],
            "lead": record.wiring.lead.model_copy(update={"wire": design.wire}),
            "converter": design.converter_part,
        }
    )
    return plan.with_records(panel=[panel], fan=fans, lead=[], splitter=[], converter=[], wiring=wiring)
