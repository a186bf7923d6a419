"""The poles at a connector: twice reversed is kept, unknown stays so, and which contact is +."""

from itertools import product

import pytest

from solarvent.plan.connectors import read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector
from solarvent.wiring.mating import (
    Polarity,
    crossing,
    load_polarity,
    positive_contact,
    source_polarity,
    turned_crossing,
)

FAMILIES = read_families(Library())
KEPT, REVERSED, UNKNOWN = Polarity


def end(family, body="either", **more):
    return Connector(family=family, body=body, **more)


def test_going_through_two_parts_is_an_exclusive_or_in_which_the_unknown_stays():
    assert [KEPT.through(KEPT), KEPT.through(REVERSED), REVERSED.through(REVERSED)] == [KEPT, REVERSED, KEPT]
    for first, second in product(Polarity, repeat=2):
        assert first.through(second) == second.through(first)
        assert (first.through(second) is UNKNOWN) == (UNKNOWN in (first, second))


def test_each_end_is_held_against_the_habit_of_its_side():
    # The usual + of a flat two-pin is shrouded at a source and exposed at a load.
    shrouded, exposed = (end("flat-two-pin", positive=contact) for contact in ("shrouded", "exposed"))
    assert [source_polarity(one, FAMILIES) for one in (shrouded, exposed)] == [KEPT, REVERSED]
    assert [load_polarity(one, FAMILIES) for one in (shrouded, exposed)] == [REVERSED, KEPT]
    assert source_polarity(end("flat-two-pin"), FAMILIES) is UNKNOWN
    assert load_polarity(end("usb-a", "plug"), FAMILIES) is KEPT


@pytest.mark.parametrize(("crosses", "wanted"), [(True, REVERSED), (False, KEPT), (None, UNKNOWN)])
def test_what_a_part_says_of_itself_counts_before_its_contacts(crosses, wanted):
    assert crossing(end("flat-two-pin"), end("flat-two-pin"), crosses, FAMILIES) is wanted


def test_the_contacts_of_both_ends_say_whether_a_part_crosses():
    inlet = end("barrel-5.5x2.1", "jack", positive="centre")
    for contact, wanted in (("centre", KEPT), ("sleeve", REVERSED)):
        outlet = end("barrel-5.5x2.1", "plug", positive=contact)
        assert crossing(inlet, outlet, None, FAMILIES) is wanted


def test_an_adapter_turned_round_crosses_against_other_habits():
    both = end("barrel-5.5x2.1", "jack"), end("flat-two-pin")
    assert turned_crossing(KEPT, both, FAMILIES) is REVERSED
    assert turned_crossing(REVERSED, both, FAMILIES) is KEPT
    assert turned_crossing(UNKNOWN, both, FAMILIES) is UNKNOWN
    alike = end("barrel-5.5x2.1", "jack"), end("barrel-5.5x2.1", "plug")
    assert turned_crossing(KEPT, alike, FAMILIES) is KEPT


def test_the_contact_on_which_the_plus_sits():
    flat = end("flat-two-pin")
    assert positive_contact(flat, KEPT, False, FAMILIES) == "shrouded"
    assert positive_contact(flat, REVERSED, False, FAMILIES) == "exposed"
    assert positive_contact(flat, KEPT, True, FAMILIES) == "exposed"
    assert positive_contact(flat, UNKNOWN, False, FAMILIES) is None
    # What goes on either way round is known by its mark, not by its place.
    assert positive_contact(end("bare", positive="red"), REVERSED, False, FAMILIES) == "red"
    assert positive_contact(end("bare", positive="black"), KEPT, True, FAMILIES) == "black"
