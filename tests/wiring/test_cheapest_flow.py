"""The cheapest flow through small networks, against a linear program that is solved by others (HiGHS)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from solarvent.wiring.cheapest_flow import NEVER, Network

NODES = ("source", "a", "b", "c", "sink")
ARCS = st.lists(
    st.tuples(st.sampled_from(NODES[:-1]), st.sampled_from(NODES[1:]), st.integers(0, 4), st.integers(0, 9)).filter(
        lambda arc: arc[0] != arc[1]
    ),
    max_size=10,
)


def built(arcs):
    network = Network()
    return network, [network.add(*arc) for arc in arcs]


def balance(arcs, flows):
    """What leaves each node less what comes in."""
    net = dict.fromkeys(NODES, 0)
    for (tail, head, _, _), flow in zip(arcs, flows, strict=True):
        net[tail] += flow
        net[head] -= flow
    return net


@settings(deadline=None, max_examples=100)
@given(arcs=ARCS, amount=st.integers(1, 5))
def test_the_cost_is_that_of_the_linear_program(arcs, amount):
    network, numbers = built(arcs)
    cost = network.send(amount)
    rows = np.array([[(tail == node) - (head == node) for tail, head, _, _ in arcs] for node in NODES[:-1]])
    wanted = [amount, 0, 0, 0]
    least = linprog(
        [arc[3] for arc in arcs], A_eq=rows, b_eq=wanted, bounds=[(0, arc[2]) for arc in arcs], method="highs"
    ) if arcs else None  # fmt: skip
    if least is None or not least.success:
        assert cost == NEVER
        return
    assert cost == pytest.approx(least.fun, abs=1e-6)
    flows = [network.sent(number) for number in numbers]
    assert sum(flow * arc[3] for flow, arc in zip(flows, arcs, strict=True)) == cost
    assert all(0 <= flow <= arc[2] for flow, arc in zip(flows, arcs, strict=True))
    assert balance(arcs, flows) == {"source": amount, "a": 0, "b": 0, "c": 0, "sink": -amount}


def test_a_way_that_was_taken_is_given_back_for_a_cheaper_whole():
    # The first unit goes through a and b; the second makes it leave the arc between them.
    arcs = [("source", "a", 1, 1), ("source", "b", 1, 4), ("a", "b", 1, 1), ("a", "sink", 1, 5), ("b", "sink", 1, 1)]
    network, numbers = built(arcs)
    assert network.send(2) == 11
    assert [network.sent(number) for number in numbers] == [1, 1, 0, 1, 1]


def test_costs_beyond_what_a_float_holds_stay_exact():
    network, _ = built([("source", "sink", 1, (1 << 100) + 1), ("source", "sink", 1, 1 << 100)])
    assert network.send(2) == (1 << 101) + 1


def test_an_arc_knows_its_ends():
    network, (arc,) = built([("source", "sink", 1, 0)])
    assert network.ends(arc) == ("source", "sink")
