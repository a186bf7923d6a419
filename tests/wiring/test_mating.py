"""Which ends go together, in plugs, volts and poles, and how they are named."""

from itertools import product

import pytest

from solarvent.plan.boxes import BoxedBattery, BoxedFan, BoxedPanel
from solarvent.plan.connectors import other_contact, read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector, Converter
from solarvent.wiring.joints import (
    Polarity,
    Side,
    crossing,
    feeds,
    fit,
    in_words,
    load_polarity,
    positive_contact,
    rated_voltage,
    side_of,
    source_polarity,
    trouble,
    turned_crossing,
)

FAMILIES = read_families(Library())
KEPT, REVERSED, UNKNOWN = Polarity


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


@pytest.mark.parametrize(
    ("kind", "side", "fed"),
    [
        ("buck", Side(18.0, 22.0), True),
        ("buck", Side(18.0, 30.0), True),
        ("buck", Side(18.0, 30.1), False),
        ("buck", Side(12.0, 22.0), True),
        ("buck", Side(11.9, 22.0), False),
        ("boost", Side(6.0, 8.0), True),
        ("boost", Side(5.9, 8.0), False),
        # A clamp takes what is above its voltage; it has no highest input.
        ("clamp", Side(18.0, 60.0), True),
        ("buck", None, True),
    ],
)
def test_a_converter_works_between_its_least_and_its_highest_input(kind, side, fed):
    thresholds = {} if kind == "clamp" else {"cut_in": "6 V", "cut_out": "5 V", "maximum_input": "30 V"}
    converter = Converter(kind=kind, output_voltage="12 V", **thresholds)
    assert feeds(converter, side) == fed


@pytest.mark.parametrize(
    ("limits", "side", "words"),
    [
        ({}, Side(17.0, 21.0), None),
        ({}, Side(4.0, 5.9), "does not start"),
        ({}, Side(4.0, 6.0), None),
        ({"start_voltage": "8 V"}, Side(5.0, 7.9), "does not start"),
        ({"maximum_voltage": "30 V"}, Side(24.1, 30.1), "gets up to 30.1 V there"),
        ({"maximum_voltage": "30 V"}, Side(24.1, 30.0), None),
        ({"maximum_voltage": "30 V"}, Side(24.0, 30.1), None),
        ({}, Side(24.1, 14.5), "may be destroyed"),
        ({}, None, None),
    ],
)
def test_a_fan_belongs_on_a_side_between_its_start_and_twice_its_voltage(limits, side, words):
    fan = BoxedFan(inlet=end("barrel-5.5x2.1", "jack"), rated_voltage="12 V", **limits)
    told = trouble(fan, side, FAMILIES)
    assert told is None if words is None else words in told


USB = end("usb-a", "jack")
BARREL = end("barrel-5.5x2.1", "plug")


@pytest.mark.parametrize(
    ("part", "at", "side"),
    [
        (Converter(kind="clamp", output_voltage="12 V"), None, Side(12.0, 12.6)),
        (Converter(kind="clamp", output_voltage="12 V", outlet=USB), None, Side(12.0, 12.6)),
        (BoxedPanel(v_oc="21.7 V", i_sc="3.45 A", v_mp="17.4 V", i_mp="3.15 A"), None, Side(17.4, 21.7)),
        (BoxedPanel(watts="20 W"), None, Side(18.0, 22.0)),
        (BoxedPanel(watts="20 W", outlet=BARREL), None, Side(18.0, 22.0)),
        # A USB port holds 5 V (USB 2.0), and one that is asked about by itself counts beside a first end that is not.
        (BoxedPanel(watts="20 W", outlet=USB), None, Side(5.0, 5.25)),
        (BoxedPanel(watts="20 W", outlet=BARREL), USB, Side(5.0, 5.25)),
        (BoxedPanel(watts="20 W", outlet=USB), BARREL, Side(18.0, 22.0)),
        (BoxedPanel(watts="20 W", outlet=BARREL.model_copy(update={"voltage": 9.0})), None, Side(9.0, 9.45)),
        (BoxedPanel(outlet=BARREL), None, None),
        (BoxedBattery(voltage="12 V", outlet=BARREL), None, Side(12.0, 14.4)),
        (BoxedFan(inlet=USB, rated_voltage="5 V"), None, None),
    ],
)
def test_the_voltage_of_a_source_is_that_of_its_end_or_of_its_plate(part, at, side):
    told = side_of(part, at, FAMILIES)
    assert told == (side and pytest.approx(side))


def test_a_fan_is_made_for_the_voltage_of_its_figures_or_of_its_plug():
    by_plug, told, neither = (BoxedFan(inlet=USB), BoxedFan(inlet=USB, rated_voltage="12 V"), BoxedFan(inlet=BARREL))
    assert [rated_voltage(fan, FAMILIES) for fan in (by_plug, told, neither, BoxedFan())] == [5.0, 12.0, None, None]


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
