"""The walk from the + of a panel to the + of each fan: kept, reversed or not known."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.findings.joints import polarity_findings
from solarvent.plan.boxes import BoxedFan, BoxedLead, BoxedPanel, BoxedSplitter
from solarvent.plan.connectors import read_families, usual_contact
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector
from solarvent.wiring.joints import Join, Polarity, PolarityTrace, Port, worst_polarity

FAMILIES = read_families(Library())
FLAT, BARREL = "flat-two-pin", "barrel-5.5x2.1"


def end(family, body="either", positive=None):
    return Connector(
        family=family, body=body if FAMILIES[family].halves == "plug-jack" else "either", positive=positive
    )


def gives(family, known=True):
    return end(family, "plug", FAMILIES[family].usual_positive if known else None)


def takes(family, known=True):
    return end(family, "jack", usual_contact(FAMILIES[family], True) if known else None)


class Bench:
    """Parts joined by hand, each fed by the one that is named."""

    def __init__(self):
        self.parts, self.joins, self.outs = {}, [], {}

    def panel(self, name="panel", family=FLAT, outlet=None):
        self.parts[name] = BoxedPanel(outlet=outlet or gives(family))
        self.outs[name] = [Port(name, "outlet", self.parts[name].outlet)]
        return name

    def _feed(self, name, feed, key, inlet):
        self.joins.append(Join(self.outs[feed].pop(0), Port(name, key, inlet)))

    def lead(self, name, feed, crosses, family=None, to=None):
        family = family or self.outs[feed][0].connector.family
        part = BoxedLead(inlet=takes(family, False), outlet=gives(to or family, False), crosses=crosses)
        self.parts[name] = part
        self._feed(name, feed, "inlet", part.inlet)
        self.outs[name] = [Port(name, "outlet", part.outlet)]
        return name

    def splitter(self, name, feed, branches=2, crosses=False):
        family = self.outs[feed][0].connector.family
        ends = {"trunk": takes(family, False), "branch": gives(family, False)}
        part = self.parts[name] = BoxedSplitter(branches=branches, crosses=crosses, **ends)
        self._feed(name, feed, "trunk", part.trunk)
        self.outs[name] = [Port(name, f"branch {number}", part.branch) for number in range(1, branches + 1)]
        return name

    def fan(self, name, feed, inlet=None, outlet=False, crosses=None, **more):
        family = self.outs[feed][0].connector.family
        inlet = inlet or takes(family)
        onward = {"outlet": gives(family, False), "crosses": crosses} if outlet else {}
        self.parts[name] = BoxedFan(inlet=inlet, **onward, **more)
        self._feed(name, feed, "inlet", inlet)
        self.outs[name] = [Port(name, "outlet", self.parts[name].outlet)] if outlet else []
        return name

    def walk(self):
        return PolarityTrace(self.parts, tuple(self.joins), FAMILIES)

    def verdicts(self):
        return {name: worst_polarity(arrivals) for name, arrivals in self.walk().fans().items()}

    def findings(self):
        return list(polarity_findings(self.walk()))


def line(*crossings, **fan):
    """A panel, some leads in line, and a fan."""
    bench = Bench()
    last = bench.panel()
    for number, crosses in enumerate(crossings):
        last = bench.lead(f"lead-{number}", last, crosses)
    bench.fan("fan", last, **fan)
    return bench


# --- one line -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("crossings", "word"),
    [
        ((), "kept"), ((False,), "kept"), ((True,), "reversed"), ((None,), "unknown"), ((True, True), "kept"),
        ((True, False, True), "kept"), ((True, True, True), "reversed"), ((True, None), "unknown"),
        ((None, None), "unknown"),
    ],
)  # fmt: skip
def test_a_line_is_kept_reversed_or_not_known(crossings, word):
    assert line(*crossings).verdicts() == {"fan": word}


@pytest.mark.parametrize("family", [FLAT, BARREL, "pv-4mm", "usb-a"])
def test_the_habits_of_panel_and_fan_meet_in_every_family(family):
    bench = Bench()
    bench.fan("fan", bench.lead("lead", bench.panel(family=family), False))
    assert bench.verdicts() == {"fan": "kept"}


def test_a_negative_centre_at_the_panel_reverses_a_fan_of_the_usual_habit():
    bench = Bench()
    bench.fan("fan", bench.panel(outlet=end(BARREL, "plug", "sleeve")))
    (found,) = bench.findings()
    assert bench.verdicts() == {"fan": "reversed"}
    assert found.part == "panel"


def test_a_panel_and_a_fan_that_are_both_the_other_way_round_agree():
    bench = Bench()
    bench.fan("fan", bench.panel(outlet=end(BARREL, "plug", "sleeve")), end(BARREL, "jack", "sleeve"))
    assert bench.verdicts() == {"fan": "kept"}
    assert bench.findings() == []


def test_an_adapter_between_families_keeps_the_poles_if_it_is_straight():
    bench = Bench()
    bench.fan("fan", bench.lead("adapter", bench.panel(family=FLAT), False, to=BARREL))
    assert bench.verdicts() == {"fan": "kept"}


def test_the_contacts_at_both_ends_of_a_lead_say_whether_it_crosses():
    bench = Bench()
    panel = bench.panel(family=BARREL)
    lead = BoxedLead(inlet=end(BARREL, "jack", "centre"), outlet=end(BARREL, "plug", "sleeve"))
    bench.parts["lead"] = lead
    bench._feed("lead", panel, "inlet", lead.inlet)
    bench.outs["lead"] = [Port("lead", "outlet", lead.outlet)]
    bench.fan("fan", "lead")
    assert bench.verdicts() == {"fan": "reversed"}
    assert [found.part for found in bench.findings()] == ["lead"]


@pytest.mark.parametrize("hidden", ["panel", "fan"])
def test_a_pole_that_nobody_wrote_down_is_not_known(hidden):
    bench = Bench()
    panel = bench.panel(outlet=gives(BARREL, known=hidden != "panel"))
    bench.fan("fan", panel, takes(BARREL, known=hidden != "fan"))
    assert bench.verdicts() == {"fan": "unknown"}
    (found,) = bench.findings()
    assert (found.level, found.code, found.part) == ("warn", "polarity-unknown", hidden)
    assert ("Meter at the last plug" in found.do) == (hidden == "panel")
    assert ("before fan (panel, barrel 5.5 x 2.1 mm plug):" in found.do) == (hidden == "panel")
    assert ("Find the + of fan" in found.do) == (hidden == "fan")


@pytest.mark.parametrize(
    ("fan", "harmless"), [({"motor": "brushed"}, True), ({"reverse_protected": True}, True), ({}, False)]
)
def test_only_a_fan_that_bears_it_is_to_be_tried_both_ways(fan, harmless):
    bench = Bench()
    bench.fan("fan", bench.panel(), takes(FLAT, known=False), **fan)
    (found,) = bench.findings()
    assert ("does no harm" in found.do) == harmless
    assert ("Do not just try" in found.do) != harmless


@pytest.mark.parametrize(("count", "which"), [(1, "fan-0"), (2, "fan-0 and fan-1"), (3, "one fan")])
def test_of_many_alike_fans_one_is_to_be_looked_at_and_the_others_compared(count, which):
    bench = Bench()
    feed = bench.splitter("split", bench.panel(), count) if count > 1 else bench.panel()
    for number in range(count):
        bench.fan(f"fan-{number}", feed, takes(FLAT, known=False))
    (found,) = bench.findings()
    assert f"Find the + of {which}:" in found.do
    assert ("all are alike" in found.do) == (count == 3)
    assert "Meter" not in found.do


def test_a_lead_with_one_end_that_nobody_described_still_crosses_what_it_crosses():
    for crosses, polarity in ((True, "reversed"), (False, "kept"), (None, "unknown")):
        bench = Bench()
        panel = bench.panel()
        bench.parts["lead"] = BoxedLead(inlet=takes(FLAT, False), crosses=crosses)
        bench._feed("lead", panel, "inlet", bench.parts["lead"].inlet)
        (leaving,) = bench.walk().leaving(Port("lead", "outlet"))
        assert leaving.polarity == polarity


def test_a_joint_that_nobody_described_is_not_known():
    bench = Bench()
    bench.panel()
    bench.parts["fan"] = BoxedFan()
    bench.joins.append(Join(bench.outs["panel"][0], Port("fan", "inlet")))
    assert bench.verdicts() == {"fan": "unknown"}


def test_a_joint_that_nobody_described_adds_to_what_was_not_known_before_it():
    bench = Bench()
    bench.lead("lead", bench.panel(), None)
    bench.parts["fan"] = BoxedFan()
    bench.joins.append(Join(bench.outs["lead"][0], Port("fan", "inlet")))
    (arrival,) = bench.walk().fans()["fan"]
    assert (arrival.source, arrival.polarity, arrival.unknown_at) == ("panel", "unknown", {"lead", "fan"})


@pytest.mark.parametrize(("panel_known", "fan_known"), [(False, True), (True, False), (False, False)])
def test_at_terminals_it_is_told_which_of_the_two_is_not_marked(panel_known, fan_known):
    bench = Bench()
    panel = bench.panel(outlet=end("bare", positive="black" if panel_known else None))
    inlet = end("fan-wires-3", positive="red" if fan_known else None)
    strip = bench.lead("terminal", panel, False, "screw-terminal")
    bench.parts["fan"] = BoxedFan(inlet=inlet)
    bench._feed("fan", strip, "inlet", inlet)
    (arrival,) = bench.walk().fans()["fan"]
    assert arrival.polarity is Polarity.UNKNOWN
    assert arrival.unknown_at == {name for name, known in (("panel", panel_known), ("fan", fan_known)) if not known}


def test_of_two_unknown_fans_one_that_does_not_bear_it_forbids_the_trial():
    bench = Bench()
    split = bench.splitter("split", bench.panel())
    bench.fan("brushed", split, takes(FLAT, known=False), motor="brushed")
    bench.fan("brushless", split, takes(FLAT, known=False))
    (found,) = bench.findings()
    assert "Find the + of brushed and brushless:" in found.do
    assert "Do not just try" in found.do


def test_at_terminals_the_person_puts_the_plus_where_it_belongs():
    bench = Bench()
    panel = bench.panel(outlet=end("bare", positive="black"))
    bench.parts["fan"] = BoxedFan(inlet=end("screw-terminal", positive="plus"))
    bench._feed("fan", panel, "inlet", bench.parts["fan"].inlet)
    assert bench.verdicts() == {"fan": "kept"}


def test_at_terminals_an_unmarked_wire_is_still_not_known():
    bench = Bench()
    panel = bench.panel(outlet=end("bare"))
    bench.parts["fan"] = BoxedFan(inlet=end("screw-terminal", positive="plus"))
    bench._feed("fan", panel, "inlet", bench.parts["fan"].inlet)
    assert bench.verdicts() == {"fan": "unknown"}


# --- what a reversal does -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fan", "level", "words"),
    [
        ({"motor": "brushless"}, "stop", "may be destroyed"),
        ({"motor": "brushless", "reverse_protected": True}, "warn", "will not turn"),
        ({"motor": "brushed"}, "warn", "blows the wrong way"),
    ],
)
def test_a_reversal_is_worded_by_what_it_does_to_the_fan(fan, level, words):
    (found,) = line(True, **fan).findings()
    code = "fan-runs-backward" if fan["motor"] == "brushed" else "polarity-reversed"
    assert (found.level, found.code, found.part) == (level, code, "lead-0")
    assert words in found.text
    assert "change places at lead-0: + reaches the - of 1 fan (" in found.text
    assert "Take lead-0 out of the line" in found.do


def test_unlike_fans_behind_one_crosser_are_one_finding_as_grave_as_the_worst():
    bench = Bench()
    split = bench.splitter("split", bench.lead("crosser", bench.panel(), True))
    bench.fan("brushed", split, motor="brushed")
    bench.fan("brushless", split, motor="brushless")
    (found,) = bench.findings()
    assert (found.level, found.part) == ("stop", "crosser")
    assert "brushed blows the wrong way" in found.text
    assert "brushless may be destroyed" in found.text
    assert "2 fans" in found.text


def test_a_crosser_in_one_branch_leaves_the_other_branch_alone():
    bench = Bench()
    split = bench.splitter("split", bench.panel())
    bench.fan("good", split)
    bench.fan("bad", bench.lead("crosser", split, True))
    assert bench.verdicts() == {"good": "kept", "bad": "reversed"}
    (found,) = bench.findings()
    assert found.part == "crosser"
    assert "good" not in found.text


def test_three_crossers_in_line_are_one_finding_that_names_them_from_the_panel_on():
    bench = Bench()
    bench.fan("fan", bench.lead("at", bench.lead("by", bench.lead("zip", bench.panel(), True), True), True))
    (found,) = bench.findings()
    assert found.part == "zip"
    assert "at zip, by and at together" in found.text


def test_alike_fans_behind_one_crosser_are_counted_together():
    bench = Bench()
    split = bench.splitter("split", bench.lead("crosser", bench.panel(), True))
    bench.fan("one", split)
    bench.fan("two", split)
    (found,) = bench.findings()
    assert "one and two: each may be destroyed" in found.text
    assert "the - of 2 fans (" in found.text
    assert "the - of 1 fan (" in line(True).findings()[0].text
    assert ": each" not in line(True).findings()[0].text


def test_a_chained_fan_hands_the_poles_on():
    bench = Bench()
    first = bench.fan("first", bench.panel(family=BARREL), outlet=True, crosses=False)
    bench.fan("second", first)
    assert bench.verdicts() == {"first": "kept", "second": "kept"}
    bench = Bench()
    first = bench.fan("first", bench.panel(family=BARREL), outlet=True, crosses=True)
    bench.fan("second", first)
    assert bench.verdicts() == {"first": "kept", "second": "reversed"}
    assert [found.part for found in bench.findings()] == ["first"]


@pytest.mark.parametrize(("plus", "word"), [("red", "kept"), ("black", "reversed")])
def test_wires_that_are_joined_right_hand_on_what_lies_on_them(plus, word):
    # The person puts + on the + of the first fan. If that is its black wire, its plug hands on a swapped pair.
    bench = Bench()
    panel = bench.panel(outlet=end("screw-terminal", positive="plus"))
    wires = end("fan-wires-3", positive=plus)
    bench.parts["first"] = BoxedFan(inlet=wires, outlet=gives(FLAT, False), crosses=False)
    bench._feed("first", panel, "inlet", wires)
    bench.outs["first"] = [Port("first", "outlet", bench.parts["first"].outlet)]
    bench.fan("second", "first")
    assert bench.verdicts() == {"first": "kept", "second": word}


@pytest.mark.parametrize("fan_plus", ["usual", "other"])
@pytest.mark.parametrize("wanted", [Polarity.KEPT, Polarity.REVERSED])
def test_at_terminals_a_lead_is_put_on_as_the_fan_behind_it_wants_it(wanted, fan_plus):
    # A search may want the + of the panel on the other wire of a lead, for a fan that is the other way round.
    bench = Bench()
    panel = bench.panel(outlet=end("screw-terminal", positive="plus"))
    bench.parts["lead"] = BoxedLead(inlet=end("bare"), outlet=gives(FLAT, False), crosses=False)
    onto = Port("lead", "inlet", bench.parts["lead"].inlet)
    bench.joins.append(Join(bench.outs[panel].pop(0), onto, wanted))
    bench.outs["lead"] = [Port("lead", "outlet", bench.parts["lead"].outlet)]
    usual = usual_contact(FAMILIES[FLAT], True)
    (other,) = {"shrouded", "exposed"} - {usual}
    bench.fan("fan", "lead", end(FLAT, positive=usual if fan_plus == "usual" else other))
    turned = (wanted is Polarity.REVERSED) != (fan_plus == "other")
    assert bench.verdicts() == {"fan": "reversed" if turned else "kept"}
    (arrival,) = bench.walk().fans()["fan"]
    assert ("lead" in arrival.reversed_by, arrival.source) == (wanted is Polarity.REVERSED, "panel")
    (at_lead,) = bench.walk().arriving(bench.joins[0])
    assert at_lead.polarity is wanted


def test_a_chained_fan_of_the_other_habit_does_not_turn_the_next_one():
    bench = Bench()
    first = bench.fan("first", bench.panel(family=BARREL), end(BARREL, "jack", "sleeve"), outlet=True, crosses=False)
    bench.fan("second", first)
    assert bench.verdicts() == {"first": "reversed", "second": "kept"}


def test_a_fan_that_nobody_knows_hands_on_what_is_known():
    # The wire that goes on through its plug does not care which of them is its own +.
    bench = Bench()
    first = bench.fan("first", bench.panel(family=BARREL), takes(BARREL, known=False), outlet=True, crosses=False)
    bench.fan("second", first)
    assert bench.verdicts() == {"first": "unknown", "second": "kept"}


def test_two_leads_that_nobody_knows_are_named_from_the_panel_on():
    bench = Bench()
    bench.fan("fan", bench.lead("by", bench.lead("zip", bench.panel(), None), None))
    (found,) = bench.findings()
    assert found.part == "zip"
    assert "which contact is + at zip and by, so" in found.text


def test_two_panels_joined_plus_to_minus_are_a_stop():
    bench = Bench()
    left, right = bench.panel("left", BARREL), bench.panel("right", outlet=end(BARREL, "plug", "sleeve"))
    joint = bench.parts["joint"] = BoxedSplitter(
        branches=2, crosses=False, trunk=end(BARREL, "plug"), branch=end(BARREL, "jack")
    )
    for number, panel in enumerate((left, right), start=1):
        bench._feed("joint", panel, f"branch {number}", joint.branch)
    bench.outs["joint"] = [Port("joint", "trunk", joint.trunk)]
    bench.fan("fan", "joint")
    found = {finding.code: finding for finding in bench.findings()}
    assert found["sources-opposed"].level == "stop"
    assert "left and right" in found["sources-opposed"].text
    assert bench.verdicts() == {"fan": "reversed"}


# --- whole trees ----------------------------------------------------------------------------------------

CROSSES = st.booleans()
LEAVES = st.just(("fan", False, []))
TREES = st.recursive(
    LEAVES,
    lambda below: st.one_of(
        st.tuples(st.just("lead"), CROSSES, st.lists(below, min_size=1, max_size=1)),
        st.tuples(st.just("adapter"), CROSSES, st.lists(below, min_size=1, max_size=1)),
        st.tuples(st.just("chained"), CROSSES, st.lists(below, min_size=1, max_size=1)),
        st.tuples(st.just("splitter"), CROSSES, st.lists(below, min_size=2, max_size=3)),
    ),
    max_leaves=8,
)


def grow(tree, changed=None, to=None, straight=False):
    """Join the parts of a tree; one part may cross otherwise. Give the bench and what lies behind each part."""
    bench, behind, kinds = Bench(), {}, {}

    def add(node, feed):
        kind, crosses, children = node
        name = f"{kind}-{len(bench.parts)}"
        crosses = to if name == changed else (False if straight else crosses)
        kinds[name] = kind
        if kind == "fan":
            bench.fan(name, feed)
        elif kind == "chained":
            bench.fan(name, feed, outlet=True, crosses=crosses)
        elif kind == "splitter":
            bench.splitter(name, feed, len(children), crosses)
        else:
            family = bench.outs[feed][0].connector.family
            other = {FLAT: BARREL, BARREL: FLAT}[family] if kind == "adapter" else family
            bench.lead(name, feed, crosses, to=other)
        found = [fan for child in children for fan in add(child, name)]
        behind[name] = found
        return [name, *found] if kind in ("fan", "chained") else found

    behind["panel"] = add(tree, bench.panel())
    return bench, behind, kinds


def crossing_parts(tree):
    """Name the parts that may cross, with what they do in the tree as it was drawn."""
    bench, behind, kinds = grow(tree)
    return {name: bench.parts[name].crosses for name in behind if kinds.get(name) not in (None, "fan")}


@settings(deadline=None, max_examples=60)
@given(tree=TREES, data=st.data())
def test_swapping_the_leads_of_one_part_flips_exactly_the_fans_behind_it(tree, data):
    parts = crossing_parts(tree)
    if not parts:
        return
    part = data.draw(st.sampled_from(sorted(parts)))
    before, behind, _ = grow(tree)
    after, _, _ = grow(tree, part, not parts[part])
    for fan, word in before.verdicts().items():
        assert word in ("kept", "reversed")
        assert (after.verdicts()[fan] != word) == (fan in behind[part])


@settings(deadline=None, max_examples=60)
@given(tree=TREES, data=st.data())
def test_one_crosser_in_a_straight_tree_is_one_finding_with_the_part_and_its_fans(tree, data):
    parts = crossing_parts(tree)
    if not parts:
        return
    part = data.draw(st.sampled_from(sorted(parts)))
    straight, _, _ = grow(tree, straight=True)
    assert straight.findings() == []
    bench, behind, _ = grow(tree, part, True, straight=True)
    (found,) = bench.findings()
    assert (found.code, found.part) == ("polarity-reversed", part)
    named = found.text.partition("(")[2].split()
    assert {word.strip(",:") for word in named if word.startswith(("fan-", "chained-"))} == set(behind[part])


@settings(deadline=None, max_examples=60)
@given(tree=TREES)
def test_two_crossers_in_line_cancel(tree):
    def words(first, second):
        return grow(("lead", first, [("lead", second, [tree])]))[0].verdicts()

    assert words(True, True) == words(False, False)
    assert words(True, False) == words(False, True)
    assert all(word != words(True, False)[fan] for fan, word in words(False, False).items())


@settings(deadline=None, max_examples=60)
@given(tree=TREES, data=st.data())
def test_what_is_not_known_never_counts_as_kept(tree, data):
    parts = crossing_parts(tree)
    if not parts:
        return
    part = data.draw(st.sampled_from(sorted(parts)))
    before, behind, _ = grow(tree)
    bench, _, _ = grow(tree, part, None)
    words = bench.verdicts()
    for fan, word in before.verdicts().items():
        assert words[fan] == ("unknown" if fan in behind[part] else word)
    found = [finding for finding in bench.findings() if finding.code == "polarity-unknown"]
    assert [finding.part for finding in found] == [part]


def test_several_arrivals_are_summed_up_by_the_worst():
    reversed_fan = line(True).walk().fans()["fan"]
    unknown_fan = line(None).walk().fans()["fan"]
    kept_fan = line().walk().fans()["fan"]
    assert worst_polarity(reversed_fan | unknown_fan | kept_fan) == "reversed"
    assert worst_polarity(unknown_fan | kept_fan) == "unknown"
    assert worst_polarity(kept_fan) == "kept"
