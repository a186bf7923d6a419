"""The ways in which a part can be used: which end takes power, which then give it, and what happens to the poles."""

import pytest

from solarvent.plan.boxes import BoxedFan, BoxedLead, BoxedSplitter
from solarvent.plan.connectors import read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector
from solarvent.wiring.pairing_program import CUT, Splice, uses

FAMILIES = read_families(Library())
PLUG, JACK = (Connector(family="barrel-5.5x2.1", body=body) for body in ("plug", "jack"))


def ways(part):
    """List each way as (end that takes, ends that give, whether + and - change places)."""
    return [(use.inlet, list(use.outlets), use.crosses if use.outlets else None) for use in uses(part, FAMILIES)]


@pytest.mark.parametrize(("crosses", "across"), [(False, "kept"), (True, "reversed"), (None, "unknown")])
def test_a_lead_can_be_turned_round_and_crosses_both_ways_alike(crosses, across):
    lead = BoxedLead(inlet=JACK, outlet=PLUG, crosses=crosses)
    assert ways(lead) == [("inlet", ["outlet"], across), ("outlet", ["inlet"], across)]
    there, back = uses(lead, FAMILIES)
    assert there.connector == back.gives == JACK


def test_a_diode_lets_a_lead_be_used_one_way_only():
    assert ways(BoxedLead(inlet=JACK, outlet=PLUG, crosses=False, diode="schottky-3a")) == [
        ("inlet", ["outlet"], "kept")
    ]


def test_what_carries_no_power_or_is_not_described_has_no_use():
    assert ways(BoxedLead(inlet=JACK, outlet=PLUG, usb_wires="data")) == []
    assert ways(BoxedLead(inlet=JACK)) == []
    assert ways(BoxedSplitter(branches=2, trunk=JACK)) == []
    assert ways(BoxedSplitter(branches=2, branch=PLUG)) == []
    assert ways(BoxedFan()) == []


def test_a_splitter_divides_side_by_side_and_not_in_a_row():
    ends = {"branches": 3, "trunk": JACK, "branch": PLUG, "crosses": False}
    assert ways(BoxedSplitter(**ends)) == [
        ("trunk", ["branch 1", "branch 2", "branch 3"], "kept"),
        # Turned round: fed at a branch, it passes on at its trunk, or at the other branches.
        ("branch 1", ["trunk"], "kept"),
        ("branch 1", ["branch 2", "branch 3"], "kept"),
    ]
    # In series each branch gets a share of the voltage: no fan of the box is meant for that.
    assert ways(BoxedSplitter(**ends, arrangement="series")) == []


def test_a_fan_hands_the_power_on_if_it_has_a_way_out():
    assert ways(BoxedFan(inlet=JACK)) == [("inlet", [], None)]
    assert ways(BoxedFan(inlet=JACK, outlet=PLUG, crosses=True)) == [("inlet", ["outlet"], "reversed")]


def test_a_splice_has_a_way_for_each_and_keeps_the_poles():
    assert ways(Splice(2)) == [("", ["way 1", "way 2"], "kept")]
    (use,) = uses(Splice(1), FAMILIES)
    assert use.connector.family == use.gives.family == CUT
