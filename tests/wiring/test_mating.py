"""Which ends go together, and how they are named."""

from itertools import product

import pytest

from solarvent.plan.connectors import other_contact, read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector
from solarvent.wiring.mating import fit, in_words

FAMILIES = read_families(Library())


def end(family, body="either", **more):
    return Connector(family=family, body=body, **more)


def ends(name):
    """Both halves of a family, or the one it has."""
    bodies = ("plug", "jack") if FAMILIES[name].halves == "plug-jack" else ("either",)
    return [end(name, body) for body in bodies]


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


def test_the_two_sizes_of_pv_pair_do_not_mate():
    assert fit(end("pv-4mm"), end("pv-3mm"), FAMILIES).why_not == "look-alike"


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
