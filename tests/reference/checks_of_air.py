"""Air: openings, draught, wind, screens and fans in a house, against handbooks, design criteria and wind tunnels."""

from __future__ import annotations

import math

import numpy as np
from reference_table import LIBRARY, MEMORY, PRACTICE, READ, UNITS, WHOLE, WORKED_FROM, checks, row

from solarvent.air.airflow import FanPath, OpeningPath, air_changes, house_flow
from solarvent.air.fan import FanCurve, speed_ratio
from solarvent.air.opening import combined_flow, leakage_flow, series_area, stack_pressure, wind_pressure
from solarvent.house.air_need import flow_for_rise
from solarvent.house.envelope import outside_film
from solarvent.plan.library import Library
from solarvent.plan.parts import RECORDS

TOPIC = "Air"
FOOT, CFM, HOUR = 0.3048, 0.3048**3 / 60, 3600.0
ASHRAE_1997 = "ASHRAE Handbook, Fundamentals 1997, chapter 25, equations 37 and 38, in an engineers' forum"
UFC = "UFC 3-440-06N, appendix C, steps 14-18"


def _vent(area, height, warm=30.0, cold=20.0, wind=0.0):
    """An opening of the network with the draught of a warm house on it."""
    return OpeningPath(0.65 * area, wind - stack_pressure(height, warm, cold))


def _through(area, pressure):
    """Air through an effective area under a pressure, with no other obstacle on its way. [m3/s]"""
    return house_flow([], [OpeningPath(area, pressure), OpeningPath(1e5)]).inflow[0]


# --- draught --------------------------------------------------------------------------------------------------------


@checks(
    TOPIC, f"{ASHRAE_1997}: the same air through two equal openings 4 m apart", WORKED_FROM,
    row("NV-01", "draught of a house, two openings 4 m apart", "m3/s", 0.740, rel=5e-3, wrong=0.740 * math.sqrt(2),
        why_wrong="the height is that to the neutral level, half way between equal openings, not all of it"),
    kind=WHOLE,
)  # fmt: skip
def draught_of_a_house():
    return house_flow([], [_vent(1.0, 0.0), _vent(1.0, 4.0)]).inflow


@checks(
    TOPIC, "engineering tables: 9.4 A sqrt(h dT) in cfm, ft2, ft, degF (a coefficient of 0.636, 70 degF)", WORKED_FROM,
    row("NV-06", "draught through 1 ft2, 10 ft high, 20 degF", "cfm", 132.9, rel=0.02),
    kind=WHOLE,
)  # fmt: skip
def rule_of_thumb_for_the_draught():
    inside = (70 - 32) / 1.8
    pair = [
        OpeningPath(0.636 * FOOT**2, -stack_pressure(height * FOOT, inside, inside - 20 / 1.8))
        for height in (0.0, 10.0)
    ]
    return house_flow([], pair).inflow / CFM


@checks(
    TOPIC, "engineering tables: g h (rho_out - rho_in) with rho = 353 / (273 + t)", WORKED_FROM,
    row("NV-08", "draught of 8 m, -10 degC outside, 20 inside", "Pa", 10.8, rel=5e-3),
)  # fmt: skip
def draught_pressure():
    return [stack_pressure(8.0, 20.0, -10.0, 353 / 263)]


@checks(
    TOPIC, UFC, READ,
    row("NV-12a", "inlet and outlet of 1.41 m2 each pass as", "m2", 1.0, rel=5e-3),
    row("NV-12b", "an inlet of 2 m2 and an outlet of 1.155 m2 as", "m2", 1.0, rel=5e-3),
)  # fmt: skip
def openings_in_a_row():
    return [series_area([1.41, 1.41]), series_area([2.0, 1.155])]


@checks(
    TOPIC, f"{UFC}: A = 1.56 CFM / (W sqrt(dCp)) in ft2 and ft/min", WORKED_FROM,
    row("NV-03", "wind of 3 m/s, dCp 0.9, through 1 m2 of Cd 0.64", "m3/s", 3 * math.sqrt(0.9) / 1.56, rel=2e-3),
)  # fmt: skip
def coefficient_of_the_criteria():
    return [_through(0.64, wind_pressure(3.0, 0.9))]


@checks(
    TOPIC, "series formula; drawn in ASHRAE Handbook, Fundamentals: flow over that of two small equal openings", MEMORY,
    row("NV-13a", "air with an outlet of twice the inlet", "%", 26.5, within=1),
    row("NV-13b", "air with an outlet of four times the inlet", "%", 37.2, within=1),
    row("NV-13c", "air with an outlet of six times the inlet", "%", 39.5, within=1),
    kind=WHOLE,
)  # fmt: skip
def a_larger_outlet():
    equal = house_flow([], [_vent(0.1, 0.0), _vent(0.1, 2.0)]).inflow[0]
    return [
        100 * (house_flow([], [_vent(0.1, 0.0), _vent(0.1 * times, 2.0)]).inflow[0] / equal - 1) for times in (2, 4, 6)
    ]


# --- wind, leaks, screens -------------------------------------------------------------------------------------------


@checks(
    TOPIC, "ASHRAE Handbook, Fundamentals 2009, chapter 16 (squares add)", MEMORY,
    row("NV-10", "0.3 m3/s by draught and 0.4 by wind, together", "m3/s", 0.5, rel=1e-6),
    row("NV-11", "two equal flows together, in one of them", "-", math.sqrt(2), rel=5e-3, wrong=1.10,
        why_wrong="an older text has 10 % more than either alone; pressures add up, so flows do as squares: 41 %"),
)  # fmt: skip
def wind_and_draught():
    return [combined_flow(0.3, 0.4), combined_flow(1.0, 1.0)]


@checks(
    TOPIC, "ASHRAE Handbook, Fundamentals 2009, chapter 16: the same rule against the whole network", MEMORY,
    row("NV-20", "wind of 3 m/s on a low inlet and draught of 2 m", "m3/s", rel=2e-3),
    kind=WHOLE,
    oracle=lambda: [0.65 * 0.2 / math.sqrt(2) * math.sqrt(9.0 + 2 * 9.80665 * 2.0 * 10 / 303.15)],
)  # fmt: skip
def wind_and_draught_through_a_house():
    return house_flow([], [_vent(0.2, 0.0, wind=wind_pressure(3.0, 1.0)), _vent(0.2, 2.0)]).inflow


@checks(
    TOPIC, "wind on a wall, 0.6 v^2, printed to two figures", PRACTICE,
    row("WIND-1", "wind of 3 m/s on a wall", "Pa", 5.4, rel=0.015),
    row("WIND-2", "wind of 5 m/s on a wall", "Pa", 15, rel=0.015),
    row("WIND-3", "wind of 8 m/s on a wall", "Pa", 38, rel=0.015),
    row("WIND-4", "wind of 25 m/s on 0.7 m2 of panel", "N", 270, rel=0.03),
)  # fmt: skip
def wind_on_a_wall():
    return [*wind_pressure(np.array([3.0, 5.0, 8.0]), 1.0), 0.7 * wind_pressure(25.0, 1.0)]


@checks(
    TOPIC, "López, Molina-Aiz, Valera, Peña 2016, Sensors 16(5) 690: wind tunnel, 0.25 m/s", WORKED_FROM,
    row("NV-14a", "air through 1 m2 of screen, 35.0 % porous, Cd 0.207, at 0.875 Pa", "m3/s", 0.25, rel=5e-3),
    row("NV-14b", "air through 1 m2 of screen, 26.3 % porous, Cd 0.151, at 1.645 Pa", "m3/s", 0.25, rel=5e-3),
    row("NV-14c", "air through 1 m2 of screen, 36.0 % porous, Cd 0.325, at 0.355 Pa", "m3/s", 0.25, rel=5e-3),
)  # fmt: skip
def insect_screens():
    return [_through(area, pressure) for area, pressure in ((0.207, 0.875), (0.151, 1.645), (0.325, 0.355))]


@checks(
    TOPIC, "changes of air in a shut house (ANSI/ASAE EP406, NRAES-33), middle and half width", MEMORY,
    row("HB-17a", "new glass: 3 cm2 of crack a m2, 10 K, 3 m/s", "1/h", 1.125, within=0.375),
    row("HB-17b", "old and leaky: 8 cm2 of crack a m2", "1/h", 3.0, within=1.0),
)  # fmt: skip
def leaks_of_a_shut_house():
    return leakage_flow(np.array([3e-4, 8e-4]) * 26.8, 10.0, 3.0) * HOUR / 13.7


def _orifice():
    from fluids.flow_meter import flow_meter_discharge

    # A pipe so wide that the speed of approach does not count.
    return [flow_meter_discharge(D=100.0, Do=0.1, P1=101330.4, P2=101325.0, rho=1.2, C=0.61) / 1.2]


@checks(
    TOPIC, "fluids (from the package index), orifice in a wide pipe", LIBRARY,
    row("NV-21", "round hole of 100 mm at 5.4 Pa", "m3/s", rel=1e-6),
    oracle=_orifice,
)  # fmt: skip
def orifice_beside_a_library():
    return [_through(0.61 * np.pi / 4 * 0.1**2, 5.4)]


# --- fans in a house ------------------------------------------------------------------------------------------------

_STRONG = FanCurve.from_two_points(194 / HOUR, 85.0)


@checks(
    TOPIC, "120 x 38 mm fan of 194 m3/h and 85 Pa; neither curve nor coefficient given: a parabola, 0.6", PRACTICE,
    row("FAN-60a", "120 x 38 mm fan, inlet of half its circle", "m3/h", 116, rel=0.01),
    row("FAN-60b", "120 x 38 mm fan, inlet of three times its circle", "m3/h", 188, rel=0.01),
    kind=WHOLE,
)  # fmt: skip
def small_inlet_chokes_a_fan():
    hole = np.pi / 4 * 0.12**2
    return [
        house_flow([FanPath(_STRONG, 0.005)], [OpeningPath(0.6 * times * hole)]).flow[0, 0] * HOUR
        for times in (0.5, 3.0)
    ]


@checks(
    TOPIC, "a worked case of two fans in one house, whose inlet is not given: put where one fan keeps 75.4 %", PRACTICE,
    # With a parabola, q = q0 / sqrt(1 + k) for one fan, and the second brings sqrt((k + 1) / (k + 1/4)).
    row("FAN-61a", "one fan, share of its free air", "-", 0.754, rel=0.005),
    row("FAN-61b", "air of two fans over that of one", "-", 1.32, rel=0.01),
    kind=WHOLE,
)  # fmt: skip
def two_fans_are_not_twice_the_air():
    share, free = 0.7538, 194 / HOUR
    inlet = OpeningPath(share * free / math.sqrt(85.0 * (1 - share**2) / 0.6))
    one, two = (house_flow([FanPath(_STRONG, 0.005)] * count, [inlet]).inflow[0] for count in (1, 2))
    return [one / free, two / one]


@checks(
    TOPIC, "house of 1.9 x 2.5 m and 9 m3, strong 120 mm fan of 194 m3/h, 400 W/m2 of net sun, half sensible", PRACTICE,
    row("FAN-62a", "strong 120 mm fan in a house of 9 m3", "1/h", 21, rel=0.03),
    row("FAN-62b", "rise over outside in that house, 400 W/m2", "K", 15, within=0.5),
    row("FAN-62c", "such fans for a rise of 5 K in that house", "-", 3, rel=0.03),
    kind=WHOLE,
)  # fmt: skip
def a_kit_purges_and_does_not_cool():
    flow = house_flow([FanPath(_STRONG, 0.005)], [OpeningPath(100.0)]).flow[0, 0]
    house = (400.0, 1.9 * 2.5, 0.0, 1.0, 0.5, 0.0)
    return [air_changes(flow, 9.02), flow_for_rise(1.0, *house) / flow, flow_for_rise(5.0, *house) / flow]


@checks(
    TOPIC, "fan of 20 Pa at half its volts: a quarter of the pressure, too little for blades of 5 to 15 Pa", PRACTICE,
    row("FAN-63", "suction of such a fan on a shut house", "Pa", 5, rel=0.01),
    kind=WHOLE,
)  # fmt: skip
def slow_fan_before_a_shutter():
    fan = FanPath(FanCurve.from_two_points(110 / HOUR, 20.0), 0.005, speed_ratio=speed_ratio(6.0, 12.0))
    return -house_flow([fan], []).inside_pressure


@checks(
    TOPIC, "definition", MEMORY,
    row("GV-28", "one change a minute", "1/h", 60, rel=1e-9),
    kind=UNITS,
)  # fmt: skip
def a_change_a_minute():
    return [air_changes(9.0 / 60, 9.0)]


@checks(
    TOPIC, "catalogues of 12 V fans 25 mm deep, middle and half width", MEMORY,
    row("FAN-13a", "free air of the library's 80 mm fan", "cfm", 35, within=10),
    row("FAN-13b", "free air of the library's 120 mm fan", "cfm", 70, within=25),
    row("FAN-13c", "current of the library's 120 mm fan", "A", 0.225, within=0.125),
)  # fmt: skip
def fans_of_the_library():
    small, large = (RECORDS["fans"].model_validate(Library().get("fans", f"fan-12v-{size}x25")) for size in (80, 120))
    return [small.free_air_flow / CFM, large.free_air_flow / CFM, large.rated_current]


@checks(
    TOPIC, "ISO 6946: film outside at 4 m/s", MEMORY,
    row("FILM-1", "film outside a cover at 4 m/s, 0 degC", "W/(m2 K)", 25, rel=0.10,
        why_missed="the relation measured on panels (Watmuff et al. 1977) lies a quarter below the standard"),
)  # fmt: skip
def film_outside():
    return [sum(outside_film(4.0, 0.0))]
