"""The search is checked against every assignment on small boxes, and against another program on large ones."""

import random
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.plan.boxes import BoxedFan, BoxedLead, BoxedSplitter
from solarvent.plan.connectors import read_families, usual_contact
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector, Converter
from solarvent.wiring import pairing_program, pairing_search
from solarvent.wiring.joints import Polarity, PolarityTrace, Port, fit, load_polarity, source_polarity, worst_polarity
from solarvent.wiring.pairing_program import Splice, SupplyEnd, uses
from solarvent.wiring.pairing_search import search

FAMILIES = read_families(Library())
SMALL = ("barrel-5.5x2.1", "barrel-5.5x2.5", "flat-two-pin")
WEATHER = {"outdoor": 0, "sheltered": 1, "dry": 2}


def every_side(fan, side):
    return True


@cache
def ends(families=SMALL):
    """All ends of some families, without poles."""
    return [
        Connector(family=name, body=body)
        for name in families
        for body in (("plug", "jack") if FAMILIES[name].halves == "plug-jack" else ("either",))
    ]


def poled(end, which):
    contact = None if which is None else FAMILIES[end.family].positions[which]
    return end.model_copy(update={"positive": contact})


@st.composite
def boxes(draw):
    end, pole = st.sampled_from(ends()), st.sampled_from([0, 0, 1, None])
    crosses = st.sampled_from([False, False, True, None])
    parts = {}
    for number in range(draw(st.integers(1, 3))):
        passed = draw(st.sampled_from([None, None, None, *ends()]))
        parts[f"f{number}"] = BoxedFan(
            id=f"f{number}", inlet=poled(draw(end), draw(pole)), outlet=passed, crosses=draw(crosses)
        )
    for number in range(draw(st.integers(0, 2))):
        parts[f"s{number}"] = BoxedSplitter(
            id=f"s{number}", branches=draw(st.integers(2, 3)), trunk=draw(end), branch=draw(end), crosses=draw(crosses)
        )
    for number in range(draw(st.integers(0, 3))):
        parts[f"l{number}"] = BoxedLead(id=f"l{number}", inlet=draw(end), outlet=draw(end), crosses=draw(crosses))
    sources = [
        SupplyEnd(Port(f"p{number}", "outlet", poled(draw(end), draw(pole))), 0)
        for number in range(draw(st.integers(1, 2)))
    ]
    return sources, parts


def brute_force(sources, parts, bought=(), strict=False, kit_of=None):
    """Try every assignment of every part to every open end; the least costs, None if `strict` and impossible.

    What is named in `bought` costs one, and each of its ends counts as spare.
    """
    kits = kit_of or {}
    start = tuple((port.connector, source_polarity(port.connector, FAMILIES), port.part) for port, _ in sources)
    fans = sum(name.startswith("f") for name in parts)
    best, seen = [None if strict else (0, fans, 0, 0, 0, 0, 0, 0, 0)], set()

    def key(opened, left):
        return tuple(sorted((end.family, end.body, pole, panel) for end, pole, panel in opened)), tuple(sorted(left))

    def go(opened, left, costs, fed):
        if not strict or costs[1:3] == (0, 0):
            best[0] = costs if best[0] is None else min(best[0], costs)
        state = (*key(opened, left), costs, fed)
        if state in seen:
            return
        seen.add(state)
        for name in left:
            for use in uses(parts[name], FAMILIES):
                for place, (end, pole, panel) in enumerate(opened):
                    if not fit(end, use.connector, FAMILIES).mates:
                        continue
                    paid, unfed, wrong, unknown, crowded, strange, joints, weather, spare = costs
                    here = fed
                    if name.startswith("f"):
                        at_fan = pole.through(load_polarity(use.connector, FAMILIES))
                        unfed, wrong, unknown = (
                            unfed - 1,
                            wrong + (at_fan == "reversed"),
                            unknown + (at_fan == "unknown"),
                        )
                        crowded, here = crowded + fed.count(panel), tuple(sorted((*fed, panel)))
                        strange += kits.get(name) != kits.get(panel)
                    weather += max(WEATHER[FAMILIES[item.family].weather] for item in (end, use.connector))
                    more = [(use.gives, pole.through(use.crosses), panel) for _ in use.outlets]
                    rest = opened[:place] + opened[place + 1 :] + tuple(more)
                    if name in bought:
                        paid, spare = paid + 1, spare + len(more)
                    total = (paid, unfed, wrong, unknown, crowded, strange, joints + 1, weather, spare)
                    go(rest, left - {name}, total, here)

    go(start, frozenset(parts), (0, fans, 0, 0, 0, 0, 0, 0, 0), ())
    return best[0]


@pytest.mark.long
@given(boxes())
@settings(deadline=None, max_examples=500)
def test_the_least_cost_is_that_of_the_best_of_all_assignments(box):
    sources, parts = box
    # In these families the shape decides where + sits: nothing is put on by hand.
    assert search(sources, parts, FAMILIES, {}, every_side).costs == (*brute_force(sources, parts), 0)


@given(boxes(), st.lists(st.sampled_from([0, 1]), min_size=5, max_size=5))
@settings(deadline=None, max_examples=100)
def test_the_fans_of_a_box_go_on_its_own_panel_where_nothing_speaks_against_it(box, kits):
    sources, parts = box
    names = [*(port.part for port, _ in sources), *(name for name in parts if name.startswith("f"))]
    kit_of = dict(zip(names, kits, strict=False))
    found = search(sources, parts, FAMILIES, {}, every_side, kit_of=kit_of)
    assert found.costs == (*brute_force(sources, parts, kit_of=kit_of), 0)


@st.composite
def shopping(draw):
    """A panel, two or three alike fans, perhaps a lead of one's own, and a small shop where something may help."""
    end, crosses = st.sampled_from(ends(SMALL[::2])), st.sampled_from([False, False, False, True])
    panel, inlet, trunk, branch = (draw(end) for _ in range(4))

    def partner(*others):
        other = draw(st.sampled_from(others))
        return draw(st.sampled_from([one for one in ends(SMALL[::2]) if fit(one, other, FAMILIES).mates]))

    def lead():
        return BoxedLead(inlet=partner(panel, branch), outlet=partner(trunk, inlet), crosses=draw(crosses))

    parts = {f"f{number}": BoxedFan(inlet=poled(inlet, 0)) for number in range(draw(st.integers(2, 3)))}
    if draw(st.booleans()):
        parts["l0"] = lead()
    splitter = BoxedSplitter(branches=draw(st.integers(2, 3)), trunk=trunk, branch=branch, crosses=draw(crosses))
    goods = {"new-s": splitter, "new-l0": lead(), "new-l1": lead()}
    return [SupplyEnd(Port("p", "outlet", poled(panel, 0)), 0)], parts, goods


@pytest.mark.long
@given(shopping())
@settings(deadline=None, max_examples=150)
def test_the_least_to_buy_is_that_of_the_best_of_all_assignments(box):
    # Two of each piece of the shop may be had, at one each, and every fan must turn the right way.
    sources, parts, goods = box
    found = search(sources, parts | goods, FAMILIES, dict.fromkeys(goods, (1, 2)), every_side, strict=True)
    copies = {f"{name}-{number}": part for name, part in goods.items() for number in (1, 2)}
    assert (found and found.costs[:-1]) == brute_force(sources, parts | copies, copies, strict=True)


@given(boxes())
@settings(deadline=None, max_examples=200)
def test_the_joints_can_be_made_and_cost_what_is_said(box):
    sources, parts = box
    assert_sound(sources, parts, search(sources, parts, FAMILIES, {}, every_side))


def assert_sound(sources, parts, found):
    """Make the joints one after the other, and count what they cost."""
    open_ends = {(source.port.part, source.port.name) for source in sources}
    for joint in found.joints:
        open_ends.remove((joint.source.part, joint.source.name))
        assert fit(joint.source.connector, joint.sink.connector, FAMILIES).mates
        # A splitter that is fed at a branch passes the power on at its trunk, or at its other branches.
        used = [use for use in uses(parts[joint.sink.part], FAMILIES) if use.inlet == joint.sink.name]
        open_ends |= {(joint.sink.part, name) for use in used for name in use.outlets}
    assert len({joint.sink.part for joint in found.joints}) == len(found.joints) == found.costs.joints
    panels = {source.port.part: source.port.connector for source in sources}
    trace = PolarityTrace(parts | panels, found.joints, FAMILIES)
    poles = [worst_polarity(arrivals) for arrivals in trace.fans().values()]
    assert (poles.count("reversed"), poles.count("unknown")) == found.costs[2:4]
    fed = sum(joint.sink.part.startswith("f") for joint in found.joints)
    assert sum(name.startswith("f") for name in parts) - fed == found.costs[1]


def as_number(polarity):
    """Give a polarity as 0 or 1, None where it is not known."""
    return {Polarity.KEPT: 0, Polarity.REVERSED: 1}.get(polarity)


def planted(seed, fans, splitters, leads, families=(*SMALL, "pv-4mm")):
    """Make a box that can be joined: grow a tree from the panel, then take it apart, and add a few leads too many."""
    chance, pool = random.Random(seed), ends(families)

    def partner(end):
        return chance.choice([other for other in pool if fit(end, other, FAMILIES).mates])

    while True:
        root = poled(chance.choice(pool), chance.choice([0, 1]))
        opened, parts = [(root, as_number(source_polarity(root, FAMILIES)))], {}
        tasks = ["s"] * splitters + ["l"] * (leads - leads // 4)
        chance.shuffle(tasks)
        for number, task in enumerate(tasks):
            end, flip = opened.pop(chance.randrange(len(opened)))
            inlet, outlet, crosses = partner(end), chance.choice(pool), chance.random() < 0.1
            branches = chance.choice([2, 3, 4]) if task == "s" else 1
            if task == "s":
                part = BoxedSplitter(branches=branches, trunk=inlet, branch=outlet, crosses=crosses)
            else:
                part = BoxedLead(inlet=inlet, outlet=outlet, crosses=crosses)
            parts[f"{task}{number}"] = part
            opened += [(outlet, flip ^ crosses)] * branches
        if len(opened) < fans:
            continue
        chance.shuffle(opened)
        for number, (end, flip) in enumerate(opened[:fans]):
            inlet = partner(end)
            usual = FAMILIES[inlet.family].positions.index(usual_contact(FAMILIES[inlet.family], True))
            parts[f"f{number}"] = BoxedFan(inlet=poled(inlet, usual ^ flip))
        for number in range(leads // 4):
            parts[f"x{number}"] = BoxedLead(inlet=chance.choice(pool), outlet=chance.choice(pool), crosses=False)
        return [SupplyEnd(Port("p", "outlet", root), 0)], parts


def by_integer_program(sources, parts):
    """Solve the same box by a program of its own, one cost after the other and nothing left out.

    Every part that is used takes one unit of a substance that only the panel gives, so that it hangs on the panel. This
    shares nothing with our search but the solver, what mates and how a part crosses.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    def kind(end, flip):
        return end.family, end.body, flip

    groups = {}
    for name, part in parts.items():
        ways = [
            (use.connector, use.gives and (use.gives, as_number(use.crosses)), len(use.outlets))
            for use in uses(part, FAMILIES)
        ]
        own = as_number(load_polarity(part.inlet, FAMILIES)) if name.startswith("f") else None
        mark = str([(end.family, end.body, out and (out[0].family, out[0].body, out[1]), n) for end, out, n in ways])
        groups.setdefault((name[0] == "f", own, mark), (ways, []))[1].append(name)
    supplied = [kind(port.connector, as_number(source_polarity(port.connector, FAMILIES))) for port, _ in sources]
    given = set(supplied)
    options, waiting = [], list(given)
    while waiting:
        taken = waiting.pop()
        for number, ((is_fan, own, _), (ways, names)) in enumerate(groups.items()):
            for end, outlet, ends_given in ways:
                if fit(Connector(family=taken[0], body=taken[1]), end, FAMILIES).mates:
                    new = kind(outlet[0], taken[2] ^ outlet[1]) if outlet else None
                    wet = max(WEATHER[FAMILIES[name].weather] for name in (taken[0], end.family))
                    costs = (-is_fan, is_fan and taken[2] ^ own == 1, 1, wet)
                    options.append((number, taken, new, ends_given, len(names), costs))
                    if new is not None and new not in given:
                        given.add(new)
                        waiting.append(new)
    size, most, rows = len(options), len(parts), []
    for number, (_, names) in enumerate(groups.values()):
        rows.append((np.array([float(option[0] == number) for option in options] + [0.0] * size), 0, len(names)))
    for here in given:
        start = supplied.count(here)
        takes = np.array([float(option[1] == here) for option in options])
        gives = np.array([float(option[2] == here) for option in options])
        ends_here = gives * [option[3] for option in options]
        rows.append((np.r_[takes - ends_here, np.zeros(size)], -np.inf, start))
        rows.append((np.r_[gives, takes - gives], -np.inf, start * most))
    for place in range(size):
        line = np.zeros(2 * size)
        line[place], line[size + place] = -most, 1
        rows.append((line, -np.inf, 0))
        line = np.zeros(2 * size)
        line[place], line[size + place] = 1, -1
        rows.append((line, -np.inf, 0))
    limits = [LinearConstraint(np.array([row[0] for row in rows]), [row[1] for row in rows], [row[2] for row in rows])]
    bounds = Bounds(0, np.r_[[option[4] for option in options], np.full(size, most)])
    values = []
    for place in range(4):
        cost = np.array([float(option[5][place]) for option in options] + [0.0] * size)
        result = milp(cost, constraints=limits, integrality=np.r_[np.ones(size), np.zeros(size)], bounds=bounds)
        assert result.status == 0
        values.append(round(result.fun))
        limits.append(LinearConstraint(cost, -np.inf, values[-1] + 0.5))
    return sum(name.startswith("f") for name in parts) + values[0], *values[1:]


@pytest.mark.parametrize("seed", range(12))
def test_the_least_cost_is_that_of_an_integer_program(seed):
    sources, parts = planted(seed, fans=4, splitters=2, leads=6)
    costs = search(sources, parts, FAMILIES, {}, every_side).costs
    assert (costs.bought, costs.unknown, costs.spare) == (0, 0, 0)
    assert (costs.unfed, costs.wrong, costs.joints, costs.weather) == by_integer_program(sources, parts)


@pytest.mark.parametrize("seed", range(6))
def test_forty_parts_agree_with_an_integer_program(seed):
    sources, parts = planted(seed, fans=12, splitters=6, leads=21)
    costs = search(sources, parts, FAMILIES, {}, every_side).costs
    assert (costs.bought, costs.spare) == (0, 0)
    assert (costs.unfed, costs.wrong, costs.joints, costs.weather) == by_integer_program(sources, parts)


@pytest.mark.parametrize("counts", [(12, 6, 21), (4, 2, 5)])
def test_boxes_that_can_be_joined_are_joined(counts):
    for seed in range(8):
        sources, parts = planted(seed, *counts)
        found = search(sources, parts, FAMILIES, {}, every_side, strict=True)
        assert found.costs[1:3] == (0, 0)
        assert_sound(sources, parts, found)


def test_a_box_of_parts_that_hardly_fit_is_searched_to_the_end_too():
    chance, pool = random.Random(4), ends((*SMALL, "pv-4mm"))
    parts = {f"f{number}": BoxedFan(inlet=chance.choice(pool[:3])) for number in range(12)}
    for number in range(6):
        parts[f"s{number}"] = BoxedSplitter(
            branches=2, trunk=chance.choice(pool), branch=chance.choice(pool), crosses=False
        )
    for number in range(21):
        parts[f"l{number}"] = BoxedLead(inlet=chance.choice(pool), outlet=chance.choice(pool), crosses=None)
    sources = [SupplyEnd(Port("p", "outlet", pool[0]), 0)]
    found = search(sources, parts, FAMILIES, {}, every_side)
    assert len(found.joints) == found.costs.joints
    assert found.costs.unfed > 0


@pytest.mark.parametrize("panels", [1, 2])
def test_fans_are_shared_evenly_and_a_search_without_time_for_it_feeds_them_all_the_same(panels, monkeypatch):
    plug, jack = (Connector(family="barrel-5.5x2.1", body=body) for body in ("plug", "jack"))
    sources = [SupplyEnd(Port(f"p{number}", "outlet", poled(plug, 0)), 0) for number in range(panels)]
    parts = {f"f{number}": BoxedFan(inlet=poled(jack, 0)) for number in range(4)}
    parts |= {f"s{number}": BoxedSplitter(branches=4, trunk=jack, branch=plug, crosses=False) for number in range(2)}
    found = search(sources, parts, FAMILIES, {}, every_side)
    assert_sound(sources, parts, found)
    # Two and two on two panels are two pairs, four on one panel six.
    assert (found.costs.unfed, found.costs.crowded) == (0, {1: 6, 2: 2}[panels])
    assert found.costs.joints == 4 + panels
    monkeypatch.setattr(pairing_search, "_SECONDS", 0.0)
    hurried = search(sources, parts, FAMILIES, {}, every_side)
    assert hurried.costs.unfed == 0
    assert_sound(sources, parts, hurried)


def test_where_nothing_fits_no_program_is_solved(monkeypatch):
    monkeypatch.setattr(pairing_program, "_Program", None)
    fan = BoxedFan(inlet=Connector(family="flat-two-pin"))
    one, other = (SupplyEnd(Port(name, "outlet", Connector(family="usb-a", body="jack")), 0) for name in "pq")
    for sources in ([], [one], [one, other]):
        assert search(sources, {"f0": fan}, FAMILIES, {}, every_side).costs.unfed == 1
        assert search(sources, {"f0": fan}, FAMILIES, {}, every_side, strict=True) is None


@pytest.mark.parametrize(("pole", "wrong", "unknown"), [(0, 0, 0), (1, 0, 0), (None, 0, 1)])
def test_a_splice_puts_known_poles_right_and_no_others(pole, wrong, unknown):
    flat = Connector(family="flat-two-pin")
    sources = [SupplyEnd(Port("p", "outlet", poled(flat, pole)), 0)]
    parts = {"f0": BoxedFan(inlet=poled(flat, 1)), "splice": Splice(1)}
    found = search(sources, parts, FAMILIES, {"splice": (2, 1)}, every_side, strict=True)
    # At a load the other contact of the flat two-pin is the usual +, so a panel of the usual pole needs no splice.
    spliced = len(found.joints) == 2
    assert spliced == (pole == 1)
    assert found.costs[:4] == (2 * spliced, 0, wrong, unknown)
    if spliced:
        assert (found.joints[0].leaving, found.joints[0].wanted) == (Polarity.REVERSED, Polarity.KEPT)


@pytest.mark.parametrize(("plus", "wrong"), [("red", 0), ("black", 1)])
def test_wires_joined_right_hand_on_what_lies_on_them(plus, wrong):
    # The person puts + on the + of the first fan; where that is its black wire, the plug behind it is a swapped one.
    flat = Connector(family="flat-two-pin")
    wires = Connector(family="fan-wires-3", positive=plus)
    sources = [SupplyEnd(Port("p", "outlet", Connector(family="screw-terminal", positive="plus")), 0)]
    parts = {
        "f0": BoxedFan(inlet=wires, outlet=flat, crosses=False),
        "f1": BoxedFan(inlet=poled(flat, 1)),
    }
    found = search(sources, parts, FAMILIES, {}, every_side)
    assert found.costs[1:4] == (0, wrong, 0)
    assert_sound(sources, parts, found)


def test_a_splitter_cannot_feed_itself():
    plug, jack = (Connector(family="barrel-5.5x2.1", body=body) for body in ("plug", "jack"))
    flat = Connector(family="flat-two-pin")
    parts = {
        "ring": BoxedSplitter(branches=2, trunk=jack, branch=plug, crosses=False),
        "f0": BoxedFan(inlet=jack),
    }
    found = search([SupplyEnd(Port("p", "outlet", flat), 0)], parts, FAMILIES, {}, every_side)
    assert found.joints == ()
    assert found.costs[1] == 1


@pytest.mark.parametrize(
    ("works_on", "gives", "fed"),
    [
        ({0}, {"step": 1}, True),
        # A converter that does not work on 5 V is not put there; behind one that gives another voltage no fan is right.
        ({1}, {"step": 1}, False),
        ({0}, {"step": 2}, False),
        ({0}, {}, False),
    ],
)
def test_a_converter_takes_the_power_of_one_side_to_another(works_on, gives, fed):
    usb = [Connector(family="usb-a", body=body) for body in ("jack", "plug")]
    barrel = [Connector(family="barrel-5.5x2.1", body=body, positive="centre") for body in ("plug", "jack")]
    step = Converter(kind="boost", output_voltage="12 V", cut_in="4.5 V", cut_out="4 V", inlet=usb[1], outlet=barrel[0])
    parts = {"step": step, "f0": BoxedFan(inlet=barrel[1])}

    def suits(part, side):
        return side in (works_on if isinstance(part, Converter) else {1})

    ports = [SupplyEnd(Port("p", "outlet", usb[0]), 0)]
    found = search(ports, parts, FAMILIES, {}, suits, strict=True, gives=gives)
    assert (found is not None) == fed
    if fed:
        assert [(joint.source.part, joint.sink.part) for joint in found.joints] == [("p", "step"), ("step", "f0")]
        assert found.costs[1:4] == (0, 0, 0)


def test_of_two_converters_that_look_alike_each_gives_its_own_side():
    usb = [Connector(family="usb-a", body=body) for body in ("jack", "plug")]
    figures = {"kind": "boost", "output_voltage": "12 V", "cut_in": "4.5 V", "cut_out": "4 V"}
    parts = {name: Converter(**figures, inlet=usb[1], outlet=usb[0]) for name in ("other", "right")}
    parts["f0"] = BoxedFan(inlet=usb[1])
    gives = {"other": 2, "right": 1}
    ports = [SupplyEnd(Port("p", "outlet", usb[0]), 0)]

    def suits(part, side):
        return side == (0 if isinstance(part, Converter) else 1)

    found = search(ports, parts, FAMILIES, {}, suits, strict=True, gives=gives)
    assert [joint.sink.part for joint in found.joints] == ["right", "f0"]
