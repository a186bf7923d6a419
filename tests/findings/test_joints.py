"""Single joints: what a contact carries, which two ends a misfit names, and which side feeds a fan."""

from itertools import pairwise

import pytest

from solarvent.findings.joints import joint_findings, side_findings
from solarvent.plan.boxes import BoxedFan, BoxedLead, BoxedPanel, BoxedSplitter
from solarvent.plan.connectors import read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector
from solarvent.wiring.joints import Join, PolarityTrace, Port, Side

FAMILIES = read_families(Library())
PLUG, JACK = (Connector(family="barrel-5.5x2.1", body=body) for body in ("plug", "jack"))


def found(parts, *joins):
    ends = {"inlet": "inlet", "outlet": "outlet", "trunk": "trunk", "branch 1": "branch", "branch 2": "branch"}
    made = [
        Join(*(Port(part, name, getattr(parts[part], ends[name])) for part, name in (source, sink)))
        for source, sink in joins
    ]
    return list(joint_findings(PolarityTrace(parts, tuple(made), FAMILIES)))


def chain(first, second):
    """A panel, a fan that hands the power on, and a second fan. [A]"""
    parts = {
        "panel": BoxedPanel(outlet=PLUG),
        "first": BoxedFan(inlet=JACK, outlet=PLUG, rated_current=first),
        "second": BoxedFan(inlet=JACK, rated_current=second),
    }
    return found(parts, (("panel", "outlet"), ("first", "inlet")), (("first", "outlet"), ("second", "inlet")))


def test_the_first_contact_of_a_chain_carries_the_fans_behind_it_too():
    # A barrel of 2.1 mm is made for 3 A (profiles/connectors.toml); 1.6 + 1.7 A go through the first one.
    (finding,) = chain("1.6 A", "1.7 A")
    assert (finding.code, finding.part) == ("contact-overloaded", "first")
    assert finding.value == pytest.approx(3.3)
    assert finding.limit == 3.0
    assert finding.text.startswith("3.3 A run through")


def test_a_contact_may_carry_all_that_it_is_made_for():
    assert chain("1.5 A", "1.5 A") == []


def test_neither_a_lead_nor_a_fan_of_unknown_current_draws_anything():
    parts = {
        "panel": BoxedPanel(outlet=PLUG),
        "lead": BoxedLead(inlet=JACK, outlet=PLUG),
        "first": BoxedFan(inlet=JACK, outlet=PLUG),
        "second": BoxedFan(inlet=JACK, rated_current="3 A"),
    }
    line = ["panel", "lead", "first", "second"]
    joins = [((one, "outlet"), (other, "inlet")) for one, other in pairwise(line)]
    assert found(parts, *joins) == []


def test_the_weaker_of_two_contacts_counts():
    # A bare end is made for 5 A, a screw terminal for 8 A (profiles/connectors.toml).
    bare, screw = Connector(family="bare"), Connector(family="screw-terminal")
    parts = {"panel": BoxedPanel(outlet=bare), "fan": BoxedFan(inlet=screw, rated_current="6 A")}
    (finding,) = found(parts, (("panel", "outlet"), ("fan", "inlet")))
    assert (finding.code, finding.part, finding.limit) == ("contact-overloaded", "fan", 5.0)


@pytest.mark.parametrize("at_source", [True, False])
def test_only_an_outlet_of_usb_c_wants_the_resistors_of_a_device(at_source):
    jack, plug = (Connector(family="usb-c", body=body) for body in ("jack", "plug"))
    parts = {"panel": BoxedPanel(outlet=jack if at_source else None), "fan": BoxedFan(inlet=plug)}
    codes = {finding.code for finding in found(parts, (("panel", "outlet"), ("fan", "inlet")))}
    assert codes == {"usb-c-resistors" if at_source else "connectors-not-described"}


def test_a_misfit_names_both_parts_and_what_they_end_in():
    parts = {"panel": BoxedPanel(outlet=PLUG), "lead": BoxedLead(inlet=PLUG, outlet=PLUG)}
    (finding,) = found(parts, (("panel", "outlet"), ("lead", "inlet")))
    assert finding.text.startswith("panel and lead both end in a ")
    # Sellers call the plug male or female as they please: the contact itself is named.
    assert "hole, a female contact" in finding.text
    assert "two jacks" in finding.do


@pytest.mark.parametrize(
    ("end", "feed", "want"),
    [
        ("trunk", PLUG, "a jack at its trunk"),
        ("trunk", JACK, "a plug at its trunk"),
        ("branch 1", None, "jacks at its"),
    ],
)
def test_a_splitter_for_the_other_way_round_is_told_by_the_end_that_does_not_fit(end, feed, want):
    if end == "trunk":
        parts = {"panel": BoxedPanel(outlet=feed), "split": BoxedSplitter(branches=2, trunk=feed, branch=JACK)}
        (finding,) = found(parts, (("panel", "outlet"), ("split", "trunk")))
    else:
        parts = {"split": BoxedSplitter(branches=2, trunk=JACK, branch=PLUG), "fan": BoxedFan(inlet=PLUG)}
        (finding,) = found(parts, (("split", "branch 1"), ("fan", "inlet")))
    assert (finding.code, finding.part) == ("splitter-wrong-way", "split")
    assert want in finding.do


def test_a_fan_is_judged_by_the_side_that_feeds_it_and_one_of_no_known_side_is_not():
    parts = {
        "usb": BoxedPanel(outlet=Connector(family="usb-a", body="jack")),
        "old": BoxedPanel(outlet=PLUG),
        "lead": BoxedLead(inlet=JACK, outlet=PLUG),
        "small": BoxedFan(rated_voltage="12 V", start_voltage="6 V"),
        "large": BoxedFan(rated_voltage="12 V", start_voltage="6 V"),
    }
    joins = [
        Join(Port("old", "outlet"), Port("lead", "inlet")),
        Join(Port("lead", "outlet"), Port("large", "inlet")),
        Join(Port("usb", "outlet"), Port("small", "inlet")),
    ]
    (finding,) = side_findings(joins, parts, {"usb|outlet": Side(5.0, 5.25)}, FAMILIES)
    assert (finding.code, finding.part) == ("voltage-sides", "small")
    assert "a 12 V fan on a 5 V outlet does not start" in finding.text
    both = {"usb|outlet": Side(5.0, 5.25), "old|outlet": Side(5.0, 5.25)}
    (finding,) = side_findings(joins, parts, both, FAMILIES)
    assert finding.text.startswith("large, small: ")
