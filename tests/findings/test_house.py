"""Findings on what stands in a house."""

import pytest

from solarvent.findings.house import COMBUSTION_AREA, DECK_LOAD, house_findings

BTU_PER_HOUR = 1055.05585262 / 3600


def found(loaded):
    return {finding.code: finding for finding in house_findings(loaded)}


def mass(**changes):
    return {"mass": [{"id": "drum", "part": "drum-208l"} | changes]}


def test_a_plan_without_any_of_it_has_no_finding(small_plan):
    assert not found(small_plan())
    assert not found(small_plan(mass() | {"heater": {"power": "200 W"}}))


def test_combustion_air_of_a_growers_example():
    # SAF-01: 1 in2 for each 2500 Btu/h: 125 000 Btu/h want 50 in2, a pipe of 8 in; Michigan State University Extension.
    area = COMBUSTION_AREA * 125_000 * BTU_PER_HOUR
    assert area == pytest.approx(50 * 0.0254**2, rel=1e-3)
    assert area == pytest.approx(0.0323, rel=2e-3)
    assert area == pytest.approx(3.14159 / 4 * 0.203**2, rel=0.01)


@pytest.mark.parametrize("fuel", ["propane", "paraffin", "wood"])
def test_a_fire_without_a_flue(small_plan, fuel):
    open_fire = found(small_plan({"heater": {"power": "3 kW", "fuel": fuel}}))
    assert open_fire["heater-fumes"].level == "stop"
    assert "monoxide" in open_fire["heater-fumes"].text
    assert "ethylene" in open_fire["heater-fumes"].text
    flued = found(small_plan({"heater": {"power": "3 kW", "fuel": fuel, "flue": True}}))
    assert "heater-fumes" not in flued


def test_a_burner_that_gets_too_little_air(small_plan):
    heater = {"fuel": "propane", "flue": True}
    strong = found(small_plan({"heater": heater | {"power": "20 kW"}, "house.tightness": "tight"}))
    assert strong["heater-starved"].value < strong["heater-starved"].limit
    assert "heater-starved" not in found(small_plan({"heater": heater | {"power": "1 kW"}, "house.tightness": "leaky"}))


def test_an_electric_heater_on_an_extension_lead(small_plan):
    bad = found(small_plan({"heater": {"power": "350 W", "cable": "extension"}}))
    assert bad["heater-extension"].level == "stop"
    assert "electrician" in bad["heater-extension"].do
    assert "heater-fumes" not in bad


def test_a_drum_on_a_deck(small_plan):
    # SAF-09: 208 kg of water, 220 kg with the drum, on 0.27 m2: about 8 kPa.
    bad = found(small_plan(mass(stands_on="deck")))["mass-load"]
    assert bad.level == "stop"
    assert bad.value == pytest.approx(8000, rel=0.02)
    assert bad.limit == DECK_LOAD
    assert "mass-load" not in found(small_plan(mass(stands_on="ground")))
    assert "mass-load" not in found(small_plan(mass(part="jug-1gal", stands_on="bench")))


def test_what_a_drum_held_before(small_plan):
    assert found(small_plan(mass(history="chemicals")))["drum-history"].level == "stop"
    assert found(small_plan(mass(history="unknown")))["drum-history"].level == "warn"
    assert "drum-history" not in found(small_plan(mass(history="food")))
    assert "drum-history" not in found(small_plan(mass(part="jug-1gal", history="unknown")))


def test_a_vent_too_heavy(small_plan):
    vent = {"id": "vent", "part": "window-vent", "area": "0.3 m2", "opener": "wax-opener", "vent_weight": "9 kg"}
    assert found(small_plan({"opening.0": vent}))["opener-weak"].part == "vent"
    assert "opener-weak" not in found(small_plan({"opening.0": vent | {"opener": "wax-opener-strong"}}))
