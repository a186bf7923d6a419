"""Connector families: facts that are published, what mates with what, and how they are named."""

import re
from itertools import product

import pytest

from solarvent.base.errors import PartError
from solarvent.plan.connectors import (
    connector_problems,
    fit,
    in_words,
    load_flip,
    other_contact,
    power_contacts,
    read_families,
    source_flip,
    turned_crossing,
    usual_at_load,
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
    assert source_flip(end(name, "plug"), FAMILIES) is None


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
    assert source_flip(end(name, "jack"), FAMILIES) == 0
    assert load_flip(end(name, "plug"), FAMILIES) == 0


def test_the_flat_two_pin_has_its_positive_shrouded_at_the_source_and_exposed_at_the_load():
    # CON-08. Trade articles on battery leads agree: shrouded + on the side of the source. Some panels are sold the
    # other way round, so that it never counts as known.
    family = FAMILIES["flat-two-pin"]
    assert family.usual_positive == "shrouded"
    assert usual_at_load(family) == "exposed"
    assert not family.fixed
    assert source_flip(end("flat-two-pin"), FAMILIES) is None
    assert source_flip(end("flat-two-pin", positive="shrouded"), FAMILIES) == 0
    assert source_flip(end("flat-two-pin", positive="exposed"), FAMILIES) == 1
    assert load_flip(end("flat-two-pin", positive="exposed"), FAMILIES) == 0


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


def test_the_two_sizes_of_pv_pair_do_not_mate():
    assert fit(end("pv-4mm"), end("pv-3mm"), FAMILIES).why_not == "look-alike"


@pytest.mark.parametrize(("name", "standard"), [("vehicle-21mm", "SAE J563"), ("vehicle-12mm", "ISO 4165")])
def test_a_vehicle_socket_has_its_positive_in_the_centre(name, standard):
    # CON-12. SAE J563 and ISO 4165, quoted in encyclopaedia articles: centre +, fused at 10 to 20 A.
    family = FAMILIES[name]
    assert standard in family.source
    assert family.fixed
    assert family.usual_positive == "centre"
    assert source_flip(end(name, "jack"), FAMILIES) == 0
    assert family.contact_rating <= 10


@pytest.mark.parametrize("name", ["fan-header-3", "fan-header-4", "fan-wires-3", "fan-wires-4"])
def test_only_two_contacts_of_a_computer_fan_carry_power(name):
    # Data sheets of fan leads: red (contact 2) is +, black (contact 1) is -; yellow counts turns, blue controls.
    assert power_contacts(FAMILIES[name]) in {("supply", "ground"), ("red", "black")}
    assert len(FAMILIES[name].positions) == int(name[-1])


# --- what goes together ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name, family in FAMILIES.items() if family.halves == "plug-jack"])
def test_a_plug_goes_into_a_jack_of_its_family_and_two_alike_never(name):
    plug, jack = ends(name)
    assert fit(plug, jack, FAMILIES).mates
    assert fit(jack, plug, FAMILIES).mates
    for half in (plug, jack):
        assert not fit(half, half, FAMILIES).mates
        assert fit(half, half, FAMILIES).why_not == "same-body"


def test_the_flat_two_pin_goes_together_with_itself_exposed_into_shrouded():
    joined = fit(end("flat-two-pin"), end("flat-two-pin"), FAMILIES)
    assert joined.mates
    assert not joined.chosen
    assert FAMILIES["flat-two-pin"].mapping == "opposite"
    assert other_contact(FAMILIES["flat-two-pin"], "exposed") == "shrouded"


@pytest.mark.parametrize("terminal", ["screw-terminal", "lever-terminal", "clips"])
def test_bare_wire_goes_into_terminals_wherever_the_person_puts_it(terminal):
    assert fit(end("bare"), end(terminal), FAMILIES).mates
    assert fit(end("bare"), end(terminal), FAMILIES).chosen


def test_bare_wire_does_not_join_itself():
    assert not fit(end("bare"), end("bare"), FAMILIES).mates


def test_fitting_does_not_depend_on_the_side():
    every = [half for name in FAMILIES for half in ends(name)]
    for one, other in product(every, repeat=2):
        there, back = fit(one, other, FAMILIES), fit(other, one, FAMILIES)
        assert there == back
        assert there.mates == (there.why_not == "")


def test_a_look_alike_is_told_from_something_foreign():
    assert fit(end("barrel-5.5x2.1", "plug"), end("barrel-5.5x2.5", "jack"), FAMILIES).why_not == "look-alike"
    assert fit(end("barrel-5.5x2.1", "plug"), end("usb-a", "jack"), FAMILIES).why_not == "family"


def test_a_three_pin_plug_goes_on_a_four_pin_header():
    assert fit(end("fan-header-3", "plug"), end("fan-header-4", "jack"), FAMILIES).mates
    assert not fit(end("fan-header-3", "plug"), end("fan-header-4", "plug"), FAMILIES).mates


@pytest.mark.parametrize("name", FAMILIES)
def test_the_habits_of_the_two_sides_meet_each_other(name):
    family = FAMILIES[name]
    met = family.usual_positive if family.mapping != "opposite" else other_contact(family, family.usual_positive)
    assert usual_at_load(family) == met


def test_an_adapter_turned_round_crosses_against_other_habits():
    both = end("barrel-5.5x2.1", "jack"), end("flat-two-pin")
    assert turned_crossing(0, both, FAMILIES) == 1
    assert turned_crossing(1, both, FAMILIES) == 0
    assert turned_crossing(None, both, FAMILIES) is None
    alike = end("barrel-5.5x2.1", "jack"), end("barrel-5.5x2.1", "plug")
    assert turned_crossing(0, alike, FAMILIES) == 0


# --- names and mistakes ---------------------------------------------------------------------------------


def test_both_ways_of_naming_stand_in_the_full_name():
    plug, jack = ends("barrel-5.5x2.1")
    assert in_words(plug, FAMILIES) == "barrel 5.5 x 2.1 mm plug"
    assert in_words(plug, FAMILIES, full=True) == (
        'barrel 5.5 x 2.1 mm plug (hole, a female contact; often sold as "male")'
    )
    assert in_words(jack, FAMILIES, full=True) == (
        'barrel 5.5 x 2.1 mm jack (pin, a male contact; often sold as "female")'
    )
    assert in_words(end("flat-two-pin"), FAMILIES, full=True) == "flat two-pin"


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
