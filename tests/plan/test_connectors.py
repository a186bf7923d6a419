"""Connector families: facts that are published, and what is wrong with a description."""

import re

import pytest

from solarvent.base.errors import PartError
from solarvent.plan.connectors import (
    connector_problems,
    other_contact,
    positive_is_usual,
    power_contacts,
    read_families,
    usual_contact,
)
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector

FAMILIES = read_families(Library())
BARRELS = [name for name in FAMILIES if name.startswith(("barrel", "eiaj"))]


def end(family, body="either", **more):
    return Connector(family=family, body=body, **more)


def ends(name):
    """Both halves of a family, or the one it has."""
    bodies = ("plug", "jack") if FAMILIES[name].halves == "plug-jack" else ("either",)
    return [end(name, body) for body in bodies]


# --- published facts ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FAMILIES)
def test_every_family_says_where_it_is_from_and_what_it_bears(name):
    family = FAMILIES[name]
    assert family.source.strip()
    assert family.name.strip()
    assert 0 < family.contact_rating <= 60
    assert len(set(family.positions)) == len(family.positions) >= 2


def test_the_whole_list_of_the_trade_is_there():
    assert {
        "barrel-5.5x2.1", "barrel-5.5x2.5", "barrel-3.5x1.35", "barrel-8", "eiaj-1", "eiaj-2", "eiaj-3", "eiaj-4",
        "eiaj-5", "flat-two-pin", "pv-4mm", "pv-3mm", "usb-a", "usb-c", "usb-micro-b", "vehicle-21mm", "vehicle-12mm",
        "fan-header-2", "fan-header-3", "fan-header-4", "fan-wires-3", "fan-wires-4", "bare", "ring", "spade",
        "screw-terminal", "lever-terminal", "clips", "wire-to-wire-2",
    } <= set(FAMILIES)  # fmt: skip


@pytest.mark.parametrize(
    ("number", "outer", "inner", "low", "high"),
    [(1, 2.35, 0.7, 0, 3.15), (2, 4.0, 1.7, 3.15, 6.3), (3, 4.75, 1.7, 6.3, 10.5), (4, 5.5, 3.3, 10.5, 13.5),
     (5, 6.5, 4.4, 13.5, 18)],
)  # fmt: skip
def test_the_ladder_of_barrels_by_voltage(number, outer, inner, low, high):
    # CON-01. EIAJ RC-5320A as tabled in the encyclopaedia article "EIAJ connector": 2 A on each step.
    family = FAMILIES[f"eiaj-{number}"]
    sizes = re.search(r"\(([\d.]+) x ([\d.]+) mm", family.name)
    band = re.search(r"made for ([\d.]+) to ([\d.]+) V", family.note)
    assert [float(text) for text in sizes.groups()] == [outer, inner]
    assert [float(text) for text in band.groups()] == [low, high]
    assert family.contact_rating == 2.0


def test_the_steps_of_the_ladder_touch_each_other():
    bands = [re.search(r"([\d.]+) to ([\d.]+) V", FAMILIES[f"eiaj-{step}"].note).groups() for step in range(1, 6)]
    assert [high for _, high in bands[:-1]] == [low for low, _ in bands[1:]]


def test_a_barrel_of_2_1_and_one_of_2_5_look_alike_and_say_nothing_of_the_voltage():
    # CON-02 and CON-03. IEC 60130-10 type A has both pins (encyclopaedia article "Coaxial power connector"); a 2.5 mm
    # plug goes loosely on a 2.1 mm pin, and no voltage is meant by either.
    small, large = FAMILIES["barrel-5.5x2.1"], FAMILIES["barrel-5.5x2.5"]
    assert "barrel-5.5x2.5" in small.look_alikes
    assert "barrel-5.5x2.1" in large.look_alikes
    assert small.voltage is None
    assert large.voltage is None
    # Ratings are given from about 1 A up to 5 A, or not at all (same article).
    assert 1 <= small.contact_rating <= 5
    assert 1 <= large.contact_rating <= 5


@pytest.mark.parametrize("name", BARRELS)
def test_a_positive_centre_is_a_habit_that_nothing_fixes(name):
    # CON-04. Encyclopaedia article "Coaxial power connector": a trend only, look at the symbol.
    family = FAMILIES[name]
    assert family.usual_positive == "centre"
    assert not family.fixed
    assert positive_is_usual(end(name, "plug"), False, FAMILIES) is None


def test_usb_gives_a_tenth_of_an_ampere_until_it_is_asked():
    # CON-05. USB 2.0: 100 mA, then 500 mA; USB 3.x: 900 mA; Battery Charging 1.2: 1.5 A. USB-C: 3 A (from memory).
    assert "0.1 A" in FAMILIES["usb-a"].note
    assert all(text in FAMILIES["usb-a"].source for text in ("100 mA", "500 mA", "900 mA", "1.5 A"))
    assert FAMILIES["usb-a"].contact_rating == 1.5
    assert FAMILIES["usb-c"].contact_rating == 3.0
    assert "resistors" in FAMILIES["usb-c"].note


@pytest.mark.parametrize("name", ["usb-a", "usb-c", "usb-micro-b"])
def test_usb_is_held_at_five_volts_and_its_poles_are_fixed(name):
    # CON-06. USB 2.0: 5 V with 4.75 to 5.25 V at the port.
    assert FAMILIES[name].voltage == 5.0
    assert FAMILIES[name].fixed
    assert positive_is_usual(end(name, "jack"), False, FAMILIES)
    assert positive_is_usual(end(name, "plug"), True, FAMILIES)


def test_the_flat_two_pin_has_its_positive_shrouded_at_the_source_and_exposed_at_the_load():
    # CON-08. Trade articles on battery leads agree: shrouded + on the side of the source. Some panels are sold the
    # other way round, so that it never counts as known.
    family = FAMILIES["flat-two-pin"]
    assert family.usual_positive == "shrouded"
    assert usual_contact(family, True) == "exposed"
    assert not family.fixed
    assert positive_is_usual(end("flat-two-pin"), False, FAMILIES) is None
    assert positive_is_usual(end("flat-two-pin", positive="shrouded"), False, FAMILIES)
    assert positive_is_usual(end("flat-two-pin", positive="exposed"), False, FAMILIES) is False
    assert positive_is_usual(end("flat-two-pin", positive="exposed"), True, FAMILIES)


@pytest.mark.parametrize("name", ["pv-4mm", "pv-3mm"])
def test_a_pv_pair_is_rated_with_its_own_makers_half_only(name):
    # CON-09. IEC 62852:2014+A1:2020, UL 6703 and NEC 690.33(C).
    family = FAMILIES[name]
    assert "own maker" in family.note
    assert all(text in family.source for text in ("IEC 62852", "UL 6703", "690.33(C)"))
    # CON-10. Data sheets: 20 A up to 4 mm2, 30 A on 6 mm2; not to be parted under load (the latter from memory).
    assert family.contact_rating == 20.0
    assert family.weather == "outdoor"
    assert "never part it in the sun" in family.note
    # CON-11. The housing does not prove the pole.
    assert not family.fixed


@pytest.mark.parametrize(("name", "standard"), [("vehicle-21mm", "SAE J563"), ("vehicle-12mm", "ISO 4165")])
def test_a_vehicle_socket_has_its_positive_in_the_centre(name, standard):
    # CON-12. SAE J563 and ISO 4165, quoted in encyclopaedia articles: centre +, fused at 10 to 20 A.
    family = FAMILIES[name]
    assert standard in family.source
    assert family.fixed
    assert family.usual_positive == "centre"
    assert positive_is_usual(end(name, "jack"), False, FAMILIES)
    assert family.contact_rating <= 10


@pytest.mark.parametrize("name", ["fan-header-3", "fan-header-4", "fan-wires-3", "fan-wires-4"])
def test_only_two_contacts_of_a_computer_fan_carry_power(name):
    # Data sheets of fan leads: red (contact 2) is +, black (contact 1) is -; yellow counts turns, blue controls.
    assert power_contacts(FAMILIES[name]) in {("supply", "ground"), ("red", "black")}
    assert len(FAMILIES[name].positions) == int(name[-1])


@pytest.mark.parametrize("name", FAMILIES)
def test_the_habits_of_the_two_sides_meet_each_other(name):
    family = FAMILIES[name]
    met = family.usual_positive if family.mapping != "opposite" else other_contact(family, family.usual_positive)
    assert usual_contact(family, True) == met


# --- mistakes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name, family in FAMILIES.items() if family.halves == "plug-jack"])
def test_every_plug_and_jack_says_which_contact_is_in_it(name):
    assert FAMILIES[name].plug_words
    assert FAMILIES[name].jack_words
    assert FAMILIES[name].plug_words != FAMILIES[name].jack_words


@pytest.mark.parametrize(
    ("connector", "words"),
    [
        (end("barrel-5.5x2.1"), "plug or jack is missing"),
        (end("barel-5.5x2.1", "plug"), 'did you mean "barrel-5.5x2.1"'),
        (end("zzz"), "see: solarvent parts connectors"),
        (end("flat-two-pin", "plug"), "both halves of a flat two-pin are alike"),
        (end("bare", "jack"), "it has no body"),
        (end("barrel-5.5x2.1", "plug", positive="tip"), 'a barrel 5.5 x 2.1 mm has no contact "tip"'),
    ],
)
def test_a_wrong_description_says_what_to_write(connector, words):
    (problem,) = connector_problems('fan "east".inlet', connector, FAMILIES)
    assert words in str(problem)
    assert 'fan "east".inlet' in str(problem)


def test_a_bare_wire_may_have_any_colour():
    assert connector_problems("x", end("bare", positive="white-striped"), FAMILIES) == []


def test_a_family_of_ones_own_is_checked(tmp_path):
    (tmp_path / "connectors.toml").write_text(
        'parts_version = 1\n[my-plug]\nname = "my plug"\nsource = "mine"\npositions = ["a", "b"]\n'
        'halves = "alike"\nmapping = "same"\nusual_positive = "c"\ncontact_rating = "1 A"\nweather = "dry"\n'
        'mates_with = ["flat-two-pim"]\n',
        encoding="utf-8",
    )
    with pytest.raises(PartError, match="has no contact") as caught:
        read_families(Library(tmp_path))
    assert 'did you mean "flat-two-pin"' in str(caught.value.problems[1])
