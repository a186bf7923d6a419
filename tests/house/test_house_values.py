"""Covers, masses, crops and rules of the house against published figures."""

import pytest

from solarvent.house.air_need import SUMMER_FLOW_BY_FLOOR, flow_by_floor
from solarvent.house.model import EDGE_LOSS
from solarvent.plan.library import Library
from solarvent.plan.parts import RECORDS

BTU = 5.678263341113488  # W/(m2 K) for each Btu/(h ft2 degF)
CFM_FT2 = 0.3048**3 / 60 / 0.3048**2
FOOT = 0.3048


def part(kind, name):
    return RECORDS[kind].model_validate(Library().get(kind, name))


@pytest.mark.parametrize(
    ("cover", "low", "high"),
    [
        ("single-glass", 1.10, 1.13),
        ("film-single", 1.1, 1.2),
        ("film-double", 0.70, 0.70),
        ("film-double-infrared", 0.50, 0.50),
        ("acrylic-double", 0.56, 0.56),
        ("twin-wall-6mm", 0.56, 0.63),
        ("twin-wall-10mm", 0.56, 0.63),
        ("double-glass", 0.65, 0.65),
    ],
)
def test_u_values_of_the_standard(cover, low, high):
    # HB-14: ANSI/ASAE EP406.4 and ASHRAE Handbook, HVAC Applications (from memory), in Btu/(h ft2 degF).
    assert low * BTU * 0.95 <= part("covers", cover).u_value <= high * BTU * 1.05


def test_twin_wall_of_four_millimetres():
    # HB-15: 3.9 W/(m2 K); 16 mm triple 2.4 (EN-type data sheets, from memory).
    assert part("covers", "twin-wall-4mm").u_value == pytest.approx(3.9, rel=0.05)
    assert part("covers", "triple-wall-16mm").u_value == pytest.approx(2.4, rel=0.05)


def test_a_second_layer_of_film_saves_a_third():
    # HB-02: 34 % by a model (Rasheed et al., Spanish J. Agricultural Research), 35 % (Bartok), 30-40 % (Geo-Heat
    # Center).
    saved = 1 - part("covers", "film-double").u_value / part("covers", "film-single").u_value
    assert 0.30 <= saved <= 0.40


def test_glass_and_polycarbonate_against_film():
    # HB-03: polycarbonate 9 %, PVC 4 %, glass 15 % below polyethylene film (Rasheed et al., abstract). The standard's
    # list, which the library follows, has glass only 5 % below film; the sheet lies at 8 %. Film as there, glass would
    # be 5.5.
    film = part("covers", "film-single").u_value
    assert 1 - part("covers", "polycarbonate-sheet").u_value / film == pytest.approx(0.09, abs=0.02)
    assert 0 < 1 - part("covers", "single-glass").u_value / film <= 0.15


def test_a_night_screen_saves_as_much_as_a_blanket_of_the_standard():
    # HB-02: a thermal screen saves 30 %; HB-14: single glass 6.2-6.4 with a blanket 4.0, double film 4.0 with one 2.5.
    saving = 0.3
    assert 6.3 * (1 - saving) == pytest.approx(4.0, rel=0.11)
    assert 4.0 * (1 - saving) == pytest.approx(2.5, rel=0.13)


def test_transmission_is_u_times_area_times_difference():
    # HB-09: Q = U A (ti - to), Georgia Extension. One square metre of glass at 20 K: 124 W.
    assert part("covers", "single-glass").u_value * 1.0 * 20 == pytest.approx(124)


def test_loss_at_the_edge_of_a_floor():
    # HB-18: 0.8 Btu/(h ft degF) uninsulated in greenhouse bulletins, 0.73 in ASHRAE 90.1, table A6.3 (both from
    # memory).
    per_foot = EDGE_LOSS / (BTU * FOOT)
    assert per_foot == pytest.approx(0.73, rel=0.01)
    assert per_foot == pytest.approx(0.8, rel=0.10)


def test_air_of_a_shut_house_by_its_making():
    # HB-17: 0.75-1.5 changes an hour new glass, 0.5-1.0 new double film, 1-2 old glass good, 2-4 old glass poor (EP406
    # and NRAES-33, from memory). Our three kinds in a light wind and 10 K, for a house of 3 x 2.4 m.
    from solarvent.air.opening import leakage_flow

    changes = {
        kind: float(leakage_flow(crack * 26.8, 10.0, 3.0)) * 3600 / 13.7
        for kind, crack in (("tight", 1e-4), ("average", 3e-4), ("leaky", 8e-4))
    }
    assert 0.25 <= changes["tight"] <= 1.0
    assert 0.75 <= changes["average"] <= 2.0
    assert 2.0 <= changes["leaky"] <= 4.0


@pytest.mark.parametrize(
    ("name", "stored"), [("drum-208l", 4.186), ("concrete-block", 2.06), ("brick-wall-1m2", 1.564)]
)
def test_heat_that_materials_store(name, stored):
    # TM-01: public table of thermal mass, MJ/(m3 K). Its brick, 1.36, contradicts its own 1700 kg/m3 times 0.92.
    assert part("masses", name).heat_capacity == pytest.approx(stored, rel=0.01)


def test_water_stores_twice_as_much_as_concrete_and_up_to_four_times_soil():
    # Common practice, no source: twice concrete, four times soil. TM-03: dry soil 1.2-1.4, moist 2.0-2.6 MJ/(m3 K)
    # (Hillel; de Vries, from memory). The four times holds for dry soil only, and hardly there: 3.0-3.5; for moist it
    # is 1.6-2.1.
    water, concrete = part("masses", "drum-208l").heat_capacity, part("masses", "concrete-block").heat_capacity
    soil = part("masses", "soil-bed-1m2").heat_capacity
    assert water / concrete == pytest.approx(2, rel=0.05)
    assert 2.0 <= soil <= 2.6
    assert water / 1.2 == pytest.approx(3.5, abs=0.1)


@pytest.mark.parametrize("name", list(Library().entries("masses")))
def test_masses_are_plausible(name):
    mass = part("masses", name)
    assert mass.weight is not None
    # Full weight: at least its water, or 1-2.5 t/m3 of a solid.
    assert 950 <= mass.weight / mass.volume <= 2500
    assert 7.5 <= mass.film <= 10
    assert mass.sun_area <= mass.area
    assert mass.freezes == (mass.inner_resistance == 0)


@pytest.mark.parametrize("name", list(Library().entries("crops")))
def test_crops_bear_what_stands_in_order(name):
    crop = part("crops", name)
    assert crop.least < crop.night < crop.most


def test_night_temperatures_of_the_extension_bulletin():
    # BIO-04: University of Georgia Extension, bulletin 792: cool 10, warm 18, tropical 21 degC; BIO-01, 02: Ontario
    # agriculture ministry: tomato night 16-24, harmed at 0-5 and above 35 degC; pepper below 10.
    assert part("crops", "cool").night == 10
    assert part("crops", "tropical").night == 21
    assert 16 <= part("crops", "warm").night <= 24
    assert part("crops", "warm").most == 35
    assert part("crops", "warm").least == 5
    assert part("crops", "pepper-cucumber").least == 10


@pytest.mark.parametrize("name", list(Library().entries("openers")))
def test_wax_openers_are_those_of_the_trade(name):
    # WX-04 to WX-07: starts near 15.6 degC in a field report, 15-25 as set; full 7-12 K above; lifts 7-15 kg, in a
    # listing 12 lb (5.4 kg); lags 10-30 min (trade, from memory).
    opener = part("openers", name)
    assert 15 <= opener.opens_at <= 25
    assert 7 <= opener.span <= 12
    assert 5.4 <= opener.lift <= 15
    assert 600 <= opener.lag <= 1800


# --- flows by rule --------------------------------------------------------------------------------------------------


def test_flows_by_floor_of_the_growers_press():
    # GV-06: 10 cfm/ft2 with a shade curtain, 12 without, 3-5 more behind insect screen; Greenhouse Management, June
    # 2011.
    assert pytest.approx(0.0508, abs=5e-5) == CFM_FT2 * 10
    assert pytest.approx(0.0610, abs=5e-5) == CFM_FT2 * 12
    assert pytest.approx((0.015, 0.025), abs=5e-4) == (CFM_FT2 * 3, CFM_FT2 * 5)
    assert SUMMER_FLOW_BY_FLOOR[1] == pytest.approx(CFM_FT2 * 10)


def test_more_air_helps_less_and_less():
    # GV-07: little benefit beyond about 0.05 m3/(m2 s) without pads; Willits 2003, Biosystems Engineering
    # 84(3):315-329. By the standard's balance the step from there to twice the air takes less than half of what the
    # first 0.05 took.
    rises = [280.0 / (6.2 * 2.0 + 1.2 * 1006.0 * flow) for flow in (0.0, 0.05, 0.10)]
    assert rises[1] - rises[2] < 0.12 * (rises[0] - rises[1])


def test_vents_of_the_size_that_the_standard_asks_for_hold_a_small_rise():
    # GV-08: roof vents and side vents each 15-20 % of the floor (ASABE as reported by the growers' press). GV-10: they
    # hold the house within a few kelvin: with draught alone, 7.2 m2 of floor, 2.7 kW of sun and 100 W/K.
    import numpy as np

    from solarvent.air.airflow import OpeningPath, house_flow
    from solarvent.air.opening import stack_pressure

    vents = 0.175 * 7.2
    rises = np.linspace(0.1, 20, 2000)
    pair = [OpeningPath(0.6 * vents, -stack_pressure(height, 24 + rises, 24.0)) for height in (0.0, 1.5)]
    flow = house_flow([], pair).inflow
    gone = 100 * rises + 1.2 * 1006 * flow * rises
    assert rises[np.argmin(np.abs(gone - 2700))] < 5


def test_seasonal_rates():
    # GV-25: winter 1.5-2, spring and autumn 4-5, summer 8-10 cfm/ft2; Bartok, University of Connecticut (from memory).
    assert flow_by_floor(1.0, 1.5 * CFM_FT2) == pytest.approx(0.0076, abs=5e-5)
    assert flow_by_floor(1.0, 5 * CFM_FT2) == pytest.approx(0.025, abs=5e-4)


def test_pressure_for_which_greenhouse_fans_are_chosen():
    # GV-19: 0.125 in. w.g. = 31.1 Pa (EP406 and NRAES-33, from memory).
    from solarvent.base.quantities import parse

    assert parse("0.125 inH2O", "pressure") == pytest.approx(31.1, abs=0.05)
    assert parse("0.1 inH2O", "pressure") == pytest.approx(24.9, abs=0.05)


def test_infrared_film_saves_more_in_the_standard_than_in_the_growers_press():
    # HB-04: an infrared additive in the inner film saves 10-20 % (greenhouse film tips, 2013). The standard's list,
    # which the library follows, has double film 4.0 and with infrared 2.8: 30 %. The two contradict each other; both
    # lie above 10.
    saved = 1 - part("covers", "film-double-infrared").u_value / part("covers", "film-double").u_value
    assert saved == pytest.approx(0.30, abs=0.01)
    assert saved > 0.10
