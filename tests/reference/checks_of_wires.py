"""Wire, plugs and units against standards, codes and tables."""

from __future__ import annotations

import math

from checks_of_plans import shed_plan
from reference_table import MEMORY, PRACTICE, READ, UNITS, WHOLE, WORKED_FROM, checks, row

from solarvent.base.quantities import parse
from solarvent.plan.library import Library, wire_id
from solarvent.plan.parts import RECORDS
from solarvent.wiring.circuit import circuits, temperature_factor
from solarvent.wiring.harness import build_harness

TOPIC = "Wire"
KFT = 304.8


def _wire(name):
    return RECORDS["wires"].model_validate(Library().get("wires", wire_id(name)))


def _loop(wire, length, quality=1.0, temperature=20.0):
    """Resistance of a lead as it stands in the circuit of a panel and a fan, plugs without any. [ohm]"""
    lead = {"wire": wire, "length": f"{length} m", "wire_quality": quality}
    warmth = {"wire_temperature": f"{temperature} degC"}
    plan = shed_plan(wiring={"layout": "shared", "lead": lead, "contact_resistance": "0 ohm"} | warmth)
    (circuit,) = circuits(build_harness(plan), plan)
    return circuit.load.resistance


@checks(
    TOPIC, "two published wire tables after ASTM B258", READ,
    row("WIRE-01a", "diameter of 10 AWG", "mm", 2.588, rel=1e-3),
    row("WIRE-01b", "diameter of 18 AWG", "mm", 1.024, rel=1e-3),
    row("WIRE-01c", "diameter of 24 AWG", "mm", 0.511, rel=1e-3),
    row("WIRE-01d", "area of 12 AWG", "mm2", 3.309, rel=1e-3),
    row("WIRE-01e", "area of 18 AWG", "mm2", 0.823, rel=1e-3),
    row("WIRE-01f", "area of 20 AWG", "mm2", 0.518, rel=1e-3),
)  # fmt: skip
def gauges():
    areas = [_wire(f"{gauge} AWG").area * 1e6 for gauge in (10, 18, 24, 12, 18, 20)]
    return [*(math.sqrt(4 * area / math.pi) for area in areas[:3]), *areas[3:]]


@checks(
    TOPIC, "wire table of HyperPhysics, Georgia State University", READ,
    *(
        row(f"WIRE-02{letter}", f"solid copper of {gauge} AWG at 20 degC", "ohm/kft", ohm, rel=3e-3)
        for letter, gauge, ohm in zip("abcde", (10, 14, 18, 22, 24), (0.999, 2.525, 6.385, 16.14, 25.67), strict=True)
    ),
)  # fmt: skip
def solid_copper():
    return [_wire(f"{gauge} AWG").resistance_per_metre * KFT for gauge in (10, 14, 18, 22, 24)]


@checks(
    TOPIC, "NEC (NFPA 70), chapter 9, table 8, solid uncoated copper at 75 degC", READ,
    row("WIRE-04a", "solid 14 AWG at 75 degC", "ohm/kft", 3.07, rel=2e-3),
    row("WIRE-04b", "solid 12 AWG at 75 degC", "ohm/kft", 1.93, rel=3e-3),
    row("WIRE-04c", "solid 10 AWG at 75 degC", "ohm/kft", 1.21, rel=4e-3),
)  # fmt: skip
def code_table_solid():
    return [_loop(f"{gauge} AWG", KFT / 2, temperature=75.0) for gauge in (14, 12, 10)]


@checks(
    TOPIC, "NEC (NFPA 70), chapter 9, table 8, stranded uncoated copper at 75 degC", READ,
    # Our figure is that of solid wire, which 2 % of twist lengthens; a third of the bands of a plan's wire quality.
    row("WIRE-03a", "16 AWG of the library, warmed to 75 degC", "ohm/kft", 4.99, rel=0.03),
    row("WIRE-03b", "14 AWG of the library, warmed to 75 degC", "ohm/kft", 3.14, rel=0.03),
    row("WIRE-03c", "12 AWG of the library, warmed to 75 degC", "ohm/kft", 1.98, rel=0.03),
)  # fmt: skip
def code_table_stranded():
    return [_loop(f"{gauge} AWG", KFT / 2, temperature=75.0) for gauge in (16, 14, 12)]


@checks(
    TOPIC, "IEC 60228, class 5 plain copper at 20 degC (a cable maker's tables A.1 and A.2)", READ,
    row("WIRE-11a", "flexible cord of 0.5 mm2", "ohm/km", 39.0, rel=1e-3, wrong=17.241 / 0.5,
        why_wrong="resistivity over area: stranded cord lies 13-16 % above its geometry"),
    row("WIRE-11b", "flexible cord of 0.75 mm2", "ohm/km", 26.0, rel=1e-3),
    row("WIRE-11c", "flexible cord of 1.5 mm2", "ohm/km", 13.3, rel=1e-3),
    row("WIRE-11d", "flexible cord of 2.5 mm2", "ohm/km", 7.98, rel=1e-3),
)  # fmt: skip
def flexible_cord():
    return [_wire(f"{area} mm2").resistance_per_metre * 1e3 for area in (0.5, 0.75, 1.5, 2.5)]


@checks(
    TOPIC, "IEC 60228 correction 1 / (1 + 0.004 dT), as a cable maker prints it", READ,
    row("WIRE-13a", "factor from 30 to 20 degC", "-", 0.962, rel=2e-3),
    row("WIRE-13b", "factor from 50 to 20 degC", "-", 0.893, rel=2e-3),
    row("WIRE-13c", "factor from 70 to 20 degC", "-", 0.833, rel=2e-3,
        why_missed="the standard rounds the coefficient of copper up to 0.004; here it is 0.00393, of IEC 60028"),
)  # fmt: skip
def factors_of_temperature():
    return [1 / temperature_factor(warm) for warm in (30.0, 50.0, 70.0)]


@checks(
    TOPIC, "IEC 60028 (0.00393 at 20 degC) and note to NEC chapter 9 table 8 (0.00323 at 75 degC)", MEMORY,
    row("WIRE-14", "copper at 75 degC over copper at 20", "-", 1 / (1 - 0.00323 * 55), rel=1e-3),
)  # fmt: skip
def coefficient_of_copper():
    return [temperature_factor(75.0)]


@checks(
    TOPIC, "NEC 240.4(D), small conductors, from trade and teaching pages", READ,
    row("WIRE-15a", "most that 18 AWG is trusted with", "A", 7, rel=1e-9, wrong=16,
        why_wrong="a wire table's figure for a single wire in free air; a lead is a bundle, in the sun"),
    row("WIRE-15b", "most that 16 AWG is trusted with", "A", 10, rel=1e-9, wrong=7,
        why_wrong="a trade list gives this wire less than the thinner one before it, and so contradicts itself"),
    row("WIRE-15c", "most that 14 AWG is trusted with", "A", 15, rel=1e-9),
    row("WIRE-15d", "most that 12 AWG is trusted with", "A", 20, rel=1e-9),
    row("WIRE-15e", "most that 10 AWG is trusted with", "A", 30, rel=1e-9),
)  # fmt: skip
def small_conductors():
    return [_wire(f"{gauge} AWG").ampacity for gauge in (18, 16, 14, 12, 10)]


# --- drops ----------------------------------------------------------------------------------------------------------


@checks(
    TOPIC, 'a cable chart: 4.17 A, "5 m", 0.0127 ohm/m, 12 V', READ,
    row("WIRE-09a", "drop over 5 m each way at 4.17 A", "V", 0.53, within=0.005, wrong=0.265,
        why_wrong="the chart counts one way: 0.265 V is lost where 5 m is the whole loop"),
    row("WIRE-09b", "drop over 5 m each way at 4.17 A, of 12 V", "%", 4.41, within=0.02, wrong=2.21,
        why_wrong="the chart counts one way: 2.21 % is lost where 5 m is the whole loop"),
    kind=WHOLE,
)  # fmt: skip
def length_counts_twice():
    drop = 4.17 * _loop("14 AWG", 5.0, 0.0127 / _wire("14 AWG").resistance_per_metre)
    return [drop, 100 * drop / 12.0]


@checks(
    TOPIC, "lead of a USB fan: 0.5 A, 2 m each way of 28 AWG (0.213 ohm/m read in a wire table)", WORKED_FROM,
    row("CON-07", "drop in a USB lead of 28 AWG at 0.5 A", "V", 0.426, rel=0.01),
)  # fmt: skip
def usb_lead():
    return [0.5 * _loop("28 AWG", 2.0)]


@checks(
    TOPIC, "10 m each way at 1 A, worked by hand from the gauge", PRACTICE,
    # To the last printed digit.
    row("WIRE-30a", "drop at 1 A over 10 m of 24 AWG", "V", 1.7, within=0.05),
    row("WIRE-30b", "drop at 1 A over 10 m of 22 AWG", "V", 1.1, within=0.05),
    row("WIRE-30c", "drop at 1 A over 10 m of 18 AWG", "V", 0.4, within=0.05),
)  # fmt: skip
def long_thin_leads():
    return [_loop(f"{gauge} AWG", 10.0) for gauge in (24, 22, 18)]


@checks(
    TOPIC, "5 m each way, worked by hand from the gauge", PRACTICE,
    row("WIRE-31a", "drop at 2 A over 5 m of 24 AWG", "V", 1.68, within=0.005),
    row("WIRE-31b", "drop at 1 A over 5 m of 22 AWG", "V", 0.53, within=0.005),
    row("WIRE-31c", "drop at 2 A over 5 m of 20 AWG", "V", 0.67, within=0.005),
    row("WIRE-31d", "drop at 3 A over 5 m of 18 AWG", "V", 0.63, within=0.005),
)  # fmt: skip
def leads_of_five_metres():
    return [amps * _loop(f"{gauge} AWG", 5.0) for gauge, amps in ((24, 2.0), (22, 1.0), (20, 2.0), (18, 3.0))]


# --- plugs ----------------------------------------------------------------------------------------------------------


@checks(
    TOPIC, "USB Battery Charging 1.2 (pages on USB power)", READ,
    row("CON-05", "most that a USB-A port is trusted with", "A", 1.5, rel=1e-9),
)  # fmt: skip
def usb_port():
    return [RECORDS["connectors"].model_validate(Library().get("connectors", "usb-a")).contact_rating]


# --- units ----------------------------------------------------------------------------------------------------------


@checks(
    "Units", "definitions (NIST SP 811)", MEMORY,
    row("U-1", "1 cfm", "m3/h", 1.699, rel=1e-3),
    row("U-2", "1 inch of water", "Pa", 249.09, rel=1e-3),
    row("U-3", "1 mm of water", "Pa", 9.807, rel=1e-3),
    row("U-4", "1 US gallon", "L", 3.7854, rel=1e-3),
    row("U-5", "70 degF", "degC", 21.11, within=0.01),
    row("U-6", "1 square foot", "m2", 0.0929, rel=1e-3),
    kind=UNITS,
)  # fmt: skip
def units():
    return [
        parse("1 cfm", "flow") * 3600, parse("1 inH2O", "pressure"), parse("1 mmH2O", "pressure"),
        parse("1 gal", "volume") * 1000, parse("70 degF", "temperature"), parse("1 ft2", "area"),
    ]  # fmt: skip


@checks(
    "Units", "pressure for which greenhouse fans are chosen (ANSI/ASAE EP406, NRAES-33)", MEMORY,
    row("GV-19a", "0.125 inH2O", "Pa", 31.1, within=0.05),
    row("GV-19b", "0.1 inH2O", "Pa", 24.9, within=0.05),
    kind=UNITS,
)  # fmt: skip
def fan_selection_pressure():
    return [parse("0.125 inH2O", "pressure"), parse("0.1 inH2O", "pressure")]


@checks(
    "Units", "electric heat, definition, and a heating page", READ,
    row("HB-20", "3412 Btu/h", "W", 1000, rel=1e-3),
    kind=UNITS,
)  # fmt: skip
def electric_heat():
    return [parse("3412 Btu/h", "power")]
