"""Part records, the same for the library and for a plan: panels, fans, leads, splitters, converters, wires."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from solarvent.plan.climate import Climate
from solarvent.plan.fields import (
    AreaOrZero,
    Azimuth,
    Capacitance,
    Coefficient,
    Current,
    CurrentOrZero,
    Flow,
    HeightOrZero,
    IpCode,
    LengthOrZero,
    Part,
    PartLength,
    Power,
    Pressure,
    Record,
    Resistance,
    ResistancePerLength,
    Seconds,
    Share,
    Temperature,
    Voltage,
    VoltageOrZero,
    mistake,
)
from solarvent.plan.house_records import Cover, Crop, Mass, Opener, Opening

#: Tilt of a panel where none is given: for air in the warm half of the year (common practice, no source). [deg]
USUAL_TILT = 30.0
#: A panel under this tilt lies flat: rain does not clean it, and its direction hardly matters (common practice, no
#: source). [deg]
FLAT_TILT = 10.0
#: Panels of which the cells work below this are made for 5 V. [V]
SMALL_CELLS = 9.0


class Connector(Record):
    """One end of a lead: what it looks like and which contact is positive.

    ``positive`` names a contact position of the family ("centre", "shrouded", "red" ...); left out, the polarity is
    not known, and that never counts as a pass.
    """

    family: str = Field(description="what it is, an entry of the connectors library")
    body: Literal["plug", "jack", "either"] = Field(
        "either",
        description="of a barrel, the jack holds the pin and the plug has the hole; either: both halves are alike",
    )
    positive: str | None = Field(None, description="the contact that is +, as read or metered; left out: not known")
    negative: str | None = Field(None, description="the contact that is -, where there are more than two")
    voltage: Voltage | None = Field(None, description="of an outlet that is held at one voltage, like a USB port")

    @field_validator("body", mode="before")
    @classmethod
    def _is_not_a_shop_word(cls, word: object) -> object:
        if word in ("male", "female"):
            what = f'shops mix "{word}" up, so it says nothing'
            write = 'write body = "plug" or body = "jack": of a barrel, the plug has the hole and the jack the pin'
            raise mistake(what, write)
        return word


class Family(Part):
    """A kind of connector: its contacts, what it mates with, and what it can bear.

    A pole that is called usual is a habit, never a proof. It only says what "straight" means for an adapter.
    """

    positions: Annotated[list[str], Field(min_length=2, max_length=24)]
    power: Annotated[list[str], Field(min_length=2, max_length=2)] | None = Field(
        None, description="the two contacts that carry power, + first, if there are more than two"
    )
    any_position: bool = Field(False, description="contacts are told apart by a colour or mark that may be any word")
    halves: Literal["plug-jack", "alike", "single"] = Field(
        description="a plug goes into a jack; two alike halves go together; or it mates only with other families"
    )
    mapping: Literal["same", "opposite", "chosen"] = Field(
        description="which contact meets which: its namesake, the other one, or whichever the person puts on it"
    )
    usual_positive: str = Field(description="the contact that is usually + at the source end")
    fixed: bool = Field(False, description="true if a standard fixes the poles")
    mates_with: list[str] = Field(default_factory=list, description="other families that it also mates with")
    look_alikes: list[str] = Field(
        default_factory=list, description="families that seem to fit and do not make good contact"
    )
    plug_words: str = ""
    jack_words: str = ""
    contact_rating: Current
    voltage: Voltage | None = Field(None, description="the one voltage that it carries, if a standard says so")
    weather: Literal["dry", "sheltered", "outdoor"]
    temporary: bool = Field(False, description="good for a test, not for lasting use")
    note: str = ""


class SingleDiodeRecord(Record):
    """The five parameters of the De Soto model at 1000 W/m2 and 25 degC, in pvlib's names."""

    I_L_ref: Current
    I_o_ref: Annotated[float, Field(gt=0, lt=1e-2, description="A, a plain number because it is so small")]
    R_s: Resistance
    R_sh_ref: Resistance
    a_ref: Voltage


class Panel(Part):
    """A photovoltaic module: its plate, and how it hangs."""

    watts: Power | None = None
    v_oc: Voltage | None = None
    i_sc: Current | None = None
    v_mp: Voltage | None = None
    i_mp: Current | None = None
    alpha_sc: Coefficient = Field("0.05 %/K", description="change of the short-circuit current, relative")
    beta_voc: Coefficient = Field("-0.33 %/K", description="change of the open-circuit voltage, relative")
    cells_in_series: Annotated[int, Field(ge=1, le=200)] = 36
    bypass_diodes: Annotated[int, Field(ge=0, le=24)] = Field(
        0,
        description="diodes in the junction box, each across an equal section of the cells; small panels have none,"
        " larger ones one for every 18 to 24 cells (typical)",
    )
    noct: Temperature = Field("45 degC", description="nominal operating cell temperature")
    width: PartLength | None = None
    height: PartLength | None = None
    single_diode: SingleDiodeRecord | None = None
    plate_factor: Annotated[float, Field(ge=0.2, le=1.3)] | None = Field(
        None, description="share of the plate's current that the panel really gives; measured beats assumed"
    )
    usual_factor: Annotated[float, Field(ge=0.2, le=1)] = Field(
        1.0, description="share of the plate's current that panels of this kind usually give, where nothing is measured"
    )
    age: Annotated[float, Field(ge=0, le=60)] = Field(
        0.0, description="years in the sun, which cost some of its plate; plate_factor, if given, knows better"
    )
    outlet: Connector | None = None
    other_outlets: Annotated[list[Connector], Field(max_length=8)] = Field(
        default_factory=list, description="further sockets beside the first one, which work at the same time"
    )
    tilt: Annotated[float, Field(ge=0, le=90, description="degrees from the horizontal")] = USUAL_TILT
    azimuth: Azimuth = 180.0
    mounting: Literal["free", "close", "flush"] = Field(
        "free", description="air behind the panel: free, a gap under 25 mm, or none (flush on a hot roof)"
    )
    behind: str | None = Field(None, description="cover between sun and panel, an entry of the covers library")
    soiling_ratio: Share = Field(0.97, description="share of the light that passes the dirt")
    lit_share_of_worst_cell: Share = Field(1.0, description="lit area of the most shaded cell, 1 for no shadow")
    sections_in_shadow: Annotated[int, Field(ge=1, le=24)] = Field(
        1, description="of the sections that a bypass diode each bridges, those on which the shadow lies"
    )

    @property
    def clear_sections(self) -> int:
        """Sections of the panel on which no shadow lies, while one lies on the others; without any shadow 0."""
        return max(self.bypass_diodes - self.sections_in_shadow, 0) if self.lit_share_of_worst_cell < 1 else 0

    @model_validator(mode="after")
    def _has_the_sections(self) -> Panel:
        if self.sections_in_shadow > max(self.bypass_diodes, 1):
            shaded, made = self.sections_in_shadow, self.bypass_diodes or "none"
            what = f"a shadow lies on {shaded} sections, but the bypass diodes of the panel make {made}"
            write = "give bypass_diodes, as many as are in the junction box: each bridges one section"
            raise mistake(what, write)
        return self

    @model_validator(mode="after")
    def _has_a_plate(self) -> Panel:
        # Half a plate says no more than the watts, and might be a slip.
        plate = (self.v_oc, self.i_sc, self.v_mp, self.i_mp)
        if self.single_diode is None and None in plate and (self.watts is None or plate != (None,) * 4):
            write = "give v_oc, i_sc, v_mp and i_mp; or single_diode; or watts alone"
            raise mistake("the plate is not complete", write)
        return self


class Fan(Part):
    """A fan: its motor, its air, and where it sits."""

    rated_voltage: Voltage
    rated_current: Current
    current_exponent: Annotated[float, Field(ge=0.3, le=2.5)] = Field(
        1.0, description="running current follows voltage to this power"
    )
    speed_exponent: Annotated[float, Field(ge=0.3, le=1.5)] = 1.0
    start_voltage: Voltage
    stop_voltage: Voltage
    maximum_voltage: Voltage
    locked_rotor_ratio: Annotated[float, Field(ge=0.5, le=12)] = Field(
        2.5, description="current of the held rotor over the running current, both at the start voltage"
    )
    speed_controlled: bool = Field(
        False, description="a 4-wire fan that holds its speed: its watts stay the same, so its current rises as V falls"
    )
    start_capacitor: Capacitance | None = Field(
        None, description='at the fan of a retrying motor, like "4700 uF": it gives the push that the panel cannot'
    )
    standing: Literal["retrying", "held"] = Field(
        "retrying", description="a stopped motor tries in short bursts (retrying) or draws all the time (held)"
    )
    motor: Literal["brushless", "brushed"] = "brushless"
    reverse_protected: bool | None = None
    readings: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = Field(
        default_factory=list, description="measured running points, [V, A] each; they win over the exponent"
    )
    size: PartLength = Field("120 mm", description="frame of an axial fan, or pipe diameter")
    free_air_flow: Flow | None = None
    shutoff_pressure: Pressure | None = None
    curve: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = Field(
        default_factory=list, description="measured duty points at rated voltage, [m3/h, Pa] each, from zero flow up"
    )
    delivered: Annotated[float, Field(gt=0.3, le=1.2)] = Field(
        0.9, description="share of the claimed flow that is usually measured"
    )
    tolerance: Annotated[float, Field(ge=0, le=0.4)] = Field(0.15, description="spread between alike fans")
    usb_c_resistors: bool | None = Field(None, description="behind a USB-C inlet: the two that tell a source to give")
    inlet: Connector | None = None
    outlet: Connector | None = Field(None, description="a second end that passes the power on to the next fan")
    crosses: bool | None = Field(None, description="between the two ends; left out: not known")
    outlet_opening: str = Field("hood", description="what the air passes behind the fan, an entry of the openings")
    duct_length: LengthOrZero = Field("0 m", description="of duct as wide as the fan between it and the open air")
    duct_bends: Annotated[int, Field(ge=0, le=12)] = Field(0, description="right-angled ones in that duct")
    ip_code: IpCode | None = Field(None, description='against dust and water, as on its label, like "IP54"')
    blows_in: bool = Field(False, description="mounted to push air into the house")
    wall_azimuth: Azimuth | None = Field(None, description="where the fan's wall faces; left out: sheltered from wind")
    height: HeightOrZero | None = Field(
        None, description="of its middle above the ground; left out: three quarters of the house"
    )

    @model_validator(mode="after")
    def _is_consistent(self) -> Fan:
        flows, pressures = [point[0] for point in self.curve], [point[1] for point in self.curve]
        checks = (
            (self.stop_voltage >= self.start_voltage, "stop_voltage is not below start_voltage"),
            (self.maximum_voltage < self.rated_voltage, "maximum_voltage is below rated_voltage"),
            (
                not self.curve and (self.free_air_flow is None or self.shutoff_pressure is None),
                "free_air_flow and shutoff_pressure, or a curve, are missing",
            ),
            (len(self.curve) == 1, "a curve has two points or more"),
            (bool(self.curve) and (flows[0] != 0 or pressures[-1] < 0), "a curve runs from no flow to no pressure"),
            (
                any(low >= high for low, high in pairwise(flows)) or any(a <= b for a, b in pairwise(pressures)),
                "a curve rises in flow and falls in pressure from point to point",
            ),
            (any(volts <= 0 or amps <= 0 for volts, amps in self.readings), "readings are above zero"),
        )
        if broken := [words for is_broken, words in checks if is_broken]:
            raise mistake("; ".join(broken), "correct the fan's figures")
        return self


class Wire(Part):
    """A conductor by gauge."""

    area: AreaOrZero
    resistance_per_metre: ResistancePerLength
    ampacity: Current


class Diode(Part):
    """A blocking or bypass diode."""

    saturation_current: Annotated[float, Field(gt=0, lt=1)]
    slope_voltage: Annotated[float, Field(gt=0, lt=0.2)]


class Lead(Part):
    """Anything with two ends: a cable, an extension, an adapter; with a diode in it, or not."""

    wire: str = "18 AWG"
    length: LengthOrZero = Field("0 m", description="one way; the current goes it twice")
    wire_quality: Annotated[float, Field(ge=1, le=3)] = Field(
        1.0, description="real over nominal resistance: 1 honest copper, 1.3 thin, 1.6 copper-clad aluminium"
    )
    resistance: Resistance = Field("0 ohm", description="anything else in line: switch, fuse, splice")
    diode: str | None = None
    diode_reversed: bool = Field(False, description="its ring looks to the panel: it lets nothing through")
    inlet: Connector | None = None
    outlet: Connector | None = None
    crosses: bool | None = Field(None, description="the poles change places between its ends; left out: not known")
    fuse: Current | None = Field(None, description="a fuse in the line: what it carries for ever")
    usb_wires: Literal["power", "power-and-data", "data"] | None = Field(
        None, description="of a USB lead: which of its wires are there"
    )
    usb_c_resistors: bool | None = Field(None, description="in a USB-C plug: the two that tell a source to give")


class Converter(Part):
    """A regulator in the line: it turns the voltage of the panel into one that the fans can bear.

    A clamp lies across the line and takes what is above its voltage, so it wastes nothing below.
    """

    kind: Literal["buck", "boost", "linear", "clamp"] = Field(
        description="steps down, steps up, burns the excess, or lies across the line and takes the excess"
    )
    output_voltage: Voltage
    cut_in: VoltageOrZero = Field("0 V", description="input voltage at which it comes on")
    cut_out: VoltageOrZero = Field("0 V", description="input voltage at which it goes off")
    maximum_input: Voltage = Field("30 V", description="more may destroy it; of a clamp, see rating instead")
    headroom: VoltageOrZero = Field("0 V", description="least voltage between input and output")
    efficiency: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = Field(
        default_factory=lambda: [[0.0, 0.85]],
        min_length=1,
        description="points of output current [A] and efficiency, straight between",
    )
    quiescent_current: CurrentOrZero = Field("0 A", description="that it draws for itself")
    current_limit: Current = Field("3 A", description="of the output")
    fold_back: Share = Field(1.0, description="share of the limit that is left into a short circuit")
    retry: Seconds = Field("1 s", description="time between two attempts to come on")
    latches: bool = Field(False, description="after a failed start it stays off until it is unplugged")
    built_in: bool = Field(False, description="it sits in the panel's own box: only what leaves it can be metered")
    needs_battery: bool = Field(False, description="a charge controller: without a battery it gives nothing")
    tracks: bool = Field(False, description="a charge controller that keeps the panel at its best point (MPPT)")
    least_load: CurrentOrZero = Field(
        "0 A", description="a power bank: under this output current it switches itself off"
    )
    slope_resistance: Resistance = Field("0.5 ohm", description="of a clamp, above its voltage")
    rating: Power = Field("5 W", description="of a clamp or linear regulator: heat that it can shed")
    inlet: Connector | None = None
    outlet: Connector | None = None
    crosses: bool | None = Field(False, description="between the two ends; left out: straight")

    @model_validator(mode="after")
    def _is_consistent(self) -> Converter:
        shares = [point[1] for point in self.efficiency]
        amps = [point[0] for point in self.efficiency]
        checks = (
            (self.cut_in < self.cut_out, "cut_in is below cut_out"),
            (self.kind in ("buck", "boost") and self.cut_out == 0, "cut_out is missing"),
            (self.kind == "clamp" and self.cut_in > 0, "a clamp has no cut_in"),
            (not all(0 < share <= 1 for share in shares), "efficiency is a share above 0"),
            (any(low >= high for low, high in pairwise(amps)), "points of efficiency rise in current"),
        )
        if broken := [words for is_broken, words in checks if is_broken]:
            raise mistake("; ".join(broken), "correct the converter's figures")
        return self


class Splitter(Part):
    """One trunk and several branches, either way round."""

    branches: Annotated[int, Field(ge=2, le=24)] = 2
    arrangement: Literal["parallel", "series"] = "parallel"
    wire: str = "20 AWG"
    length: LengthOrZero = Field("0.2 m", description="of each leg, trunk and branch alike")
    wire_quality: Annotated[float, Field(ge=1, le=3)] = 1.0
    trunk: Connector | None = None
    branch: Connector | None = None
    crosses: bool | None = Field(None, description="between trunk and branches; left out: not known")


#: Kind of part -> its record. The kinds are also the names of the library's files.
RECORDS: dict[str, type[Part] | type[Climate]] = {
    "panels": Panel,
    "fans": Fan,
    "leads": Lead,
    "splitters": Splitter,
    "converters": Converter,
    "wires": Wire,
    "diodes": Diode,
    "covers": Cover,
    "openings": Opening,
    "connectors": Family,
    "climates": Climate,
    "openers": Opener,
    "masses": Mass,
    "crops": Crop,
}

#: Section of a plan, or of a box -> the record of what is wired, in the order in which a plan is written.
WIRED: dict[str, type[Part]] = {"panel": Panel, "fan": Fan, "converter": Converter, "lead": Lead, "splitter": Splitter}
