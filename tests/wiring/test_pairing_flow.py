"""The least cost of joining, against every way to join: small problems of counts only, with costs drawn by chance."""

import random
from collections import Counter
from functools import cache
from itertools import product

import pytest

from solarvent.wiring import pairing_flow
from solarvent.wiring.pairing_flow import Group, Option, _Problem, _sums, least_cost

LENGTH = 7


def drawn(seed):
    """Draw a problem; in every other one leads are few, fit many ends, and every fan needs one."""
    chance = random.Random(seed)
    scarce, priced = seed % 2, chance.random() < 0.4
    kinds = range(chance.randint(3, 4) if scarce else chance.randint(1, 3))
    if scarce:
        sorts = ["fan", "fan", "lead", "lead", *(chance.choice(["lead", "splitter", "fan"]) for _ in "on")]
        sources = {0: chance.randint(2, 4)}
    else:
        sorts = [
            "fan",
            *(chance.choice(["fan", "passing fan", "lead", "lead", "splitter", "splitter"]) for _ in "four"),
        ]
        sources = {kind: chance.randint(1, 2) for kind in kinds if kind == 0 or chance.random() < 0.2}
    options, groups = [], []
    for sort in sorts:
        must = "fan" in sort
        ends = {"fan": 0, "lead": 1, "passing fan": 1, "splitter": chance.randint(2, 3)}[sort]
        price = chance.choice([0, 1, 2]) if priced and not must else 0
        ways = set()
        for _ in range((1 if sort == "fan" else chance.randint(2, 4)) if scarce else chance.randint(1, 3)):
            ahead = kinds if not scarce or (ends and chance.random() < 0.5) else kinds[1:] if must else kinds[:1]
            ways.add((chance.choice(ahead), chance.choice(kinds) if ends else -1))
        for taken, given in sorted(ways):
            costs = (price, 0, *(chance.choice([0, 0, 1, 2]) for _ in range(LENGTH - 2)))
            options.append(Option(len(groups), taken, given, costs))
        groups.append(Group(chance.randint(1, 2), ends, must, price))
    return options, groups, sources


@cache
def every_way(seed):
    """Give the cost of every set of uses that can be made one after the other, at its cheapest."""
    options, groups, sources = drawn(seed)
    fans = sum(group.pieces for group in groups if group.must)
    opened = tuple(sources.get(kind, 0) for kind in range(4))
    found, layer = {}, {(opened, (0,) * len(groups)): (0, fans) + (0,) * (LENGTH - 2)}
    while layer:
        found |= layer
        following = {}
        for (opened, used), cost in layer.items():
            for group, taken, given, own in options:
                if not opened[taken] or used[group] == groups[group].pieces:
                    continue
                ends = list(opened)
                ends[taken] -= 1
                if given >= 0:
                    ends[given] += groups[group].ends
                more = (*used[:group], used[group] + 1, *used[group + 1 :])
                total = [sum(pair) for pair in zip(cost, own, strict=True)]
                total[1] -= groups[group].must
                state = tuple(ends), more
                following[state] = min(following.get(state, (99,)), tuple(total))
        layer = following
    return found


def least_of_all(seed, strict):
    return min((cost for cost in every_way(seed).values() if not (strict and cost[1])), default=None)


def assert_can_be_made(options, groups, sources, found):
    """Make all that is used, one after the other, and count what it costs."""
    left, opened, fed = Counter(found.uses), Counter(sources), 0
    total = [0] * LENGTH
    assert all(type(key) is int or key[0] == "out" for key in left)
    left = Counter({key: times for key, times in left.items() if type(key) is int})
    used = Counter()
    for key, times in left.items():
        used[options[key].group] += times
        total = [value + times * own for value, own in zip(total, options[key].cost, strict=True)]
        fed += times * groups[options[key].group].must
    assert all(times <= groups[number].pieces for number, times in used.items())
    total[1] += sum(group.pieces for group in groups if group.must) - fed
    assert tuple(total) == found.costs
    # No kind is used more often than it is given, and each can be reached: then there is an order.
    for key, times in left.items():
        opened[options[key].taken] -= times
        if options[key].given >= 0:
            opened[options[key].given] += times * groups[options[key].group].ends
    assert min(opened.values()) >= 0
    reached = set(sources)
    for _ in options:
        reached |= {options[key].given for key in left if options[key].taken in reached}
    assert all(options[key].taken in reached for key in left)


@pytest.mark.parametrize("strict", [False, True])
def test_the_cost_is_that_of_the_best_of_all_ways(strict):
    for seed in range(300):
        options, groups, sources = problem = drawn(seed)
        found, best = least_cost(*problem, strict, 99), least_of_all(seed, strict)
        assert (found and found.costs) == best, seed
        if found:
            assert found.proved
            assert_can_be_made(options, groups, sources, found)


@pytest.mark.parametrize("strict", [False, True])
def test_what_a_budget_allows_is_found(strict):
    for seed in range(120):
        problem = drawn(seed)
        best = least_of_all(seed, strict)
        for budget in (0, 1, 3):
            found = least_cost(*problem, strict, budget)
            if best and best[0] <= budget:
                assert found.costs == best, (seed, budget)
            else:
                assert found is None or found.costs[0] > budget, (seed, budget)
            if found:
                options, groups, _ = problem
                splitters = [key for key in found.uses if type(key) is int and groups[options[key].group].divides]
                assert sum(found.uses[key] * options[key].cost[0] for key in splitters) <= budget, seed


@pytest.mark.parametrize("strict", [False, True])
def test_only_what_is_better_than_the_known_costs_is_looked_for(strict):
    for seed in range(60):
        problem = drawn(seed)
        best = least_of_all(seed, strict)
        if best is None:
            continue
        assert least_cost(*problem, strict, 99, best) is None, seed
        assert least_cost(*problem, strict, 99, (*best[:-1], best[-1] + 1)).costs == best, seed


@pytest.mark.parametrize("strict", [False, True])
def test_no_bound_is_above_the_cost_of_a_choice_of_splitters(strict):
    for seed in range(120):
        options, groups, sources = drawn(seed)
        problem = _Problem(options, groups, sources, strict, 99)
        best = {}
        for (_, used), cost in every_way(seed).items():
            key = tuple((number, times) for number, times in enumerate(used) if times and groups[number].divides)
            if not (strict and cost[1]):
                best[key] = min(best.get(key, (99,)), cost)
        bounds = {node.used: problem.unpack(bound) for node, bound in problem.starts()}
        assert all(bounds[key] <= cost for key, cost in best.items()), seed


def test_a_search_that_is_cut_short_gives_what_can_be_made(monkeypatch):
    short = 0
    for seed in range(150):
        options, groups, sources = problem = drawn(seed)
        best = least_of_all(seed, False)
        monkeypatch.setattr(pairing_flow, "LIMIT", 0)
        found = least_cost(*problem, False, 99)
        monkeypatch.undo()
        assert_can_be_made(options, groups, sources, found)
        assert found.costs >= best
        assert not found.proved or found.costs == best
        short += not found.proved
    assert short > 5


#: A lead that fits either of two fans: the flow uses it on both, which takes one look more to settle.
ONE_LEAD = (
    [
        Option(0, 1, -1, (0, 0, 0, 1)),
        Option(1, 2, -1, (0, 0, 0, 0)),
        Option(2, 0, 1, (0, 0, 1, 0)),
        Option(2, 0, 2, (0, 0, 1, 0)),
    ],
    [Group(1, 0, True, 0), Group(1, 0, True, 0), Group(1, 1, False, 0)],
    {0: 2},
)


@pytest.mark.parametrize(("most", "proved"), [(0, False), (1, True)])
def test_a_search_is_cut_short_after_so_many_flows(monkeypatch, most, proved):
    monkeypatch.setattr(pairing_flow, "LIMIT", most)
    found = least_cost(*ONE_LEAD, False, 0)
    assert (found.costs, found.proved) == ((0, 1, 1, 0), proved)
    assert {key: times for key, times in found.uses.items() if times} == {1: 1, 3: 1}


@pytest.mark.parametrize("dear", [0, 1])
def test_a_search_that_is_cut_short_follows_the_cheapest_case(monkeypatch, dear):
    monkeypatch.setattr(pairing_flow, "LIMIT", 0)
    options = [option._replace(cost=(0, 0, 0, int(number == dear))) for number, option in enumerate(ONE_LEAD[0])]
    found = least_cost(options, *ONE_LEAD[1:], False, 0)
    assert (found.costs, found.uses[dear], found.uses[1 - dear]) == ((0, 1, 0, 0), 0, 1)


def test_a_search_that_is_cut_short_before_it_found_anything_gives_no_costs(monkeypatch):
    assert least_cost(*ONE_LEAD, True, 0) is None
    monkeypatch.setattr(pairing_flow, "LIMIT", 0)
    assert least_cost(*ONE_LEAD, True, 0) == ((), Counter(), False)


def test_without_anything_to_put_on_every_fan_stays_unfed():
    assert least_cost([], [Group(3, 0, True, 0)], {0: 1}, False, 0) == ((0, 3, 0, 0, 0, 0, 0), Counter(), True)
    assert least_cost([], [Group(3, 0, True, 0)], {0: 1}, True, 0) is None


def test_of_leads_alone_the_bound_is_the_number_of_fans_that_no_end_is_left_for():
    # Three fans on one end, one splitter with two branches at most.
    options = [Option(0, 0, -1, (0, 0, 1, 2)), Option(1, 0, 0, (1, 0, 0, 3))]
    problem = _Problem(options, [Group(3, 0, True, 0), Group(1, 2, False, 1)], {0: 1}, False, 5)
    assert {node.used: problem.unpack(bound) for node, bound in problem.starts()} == {
        (): (0, 2, 0, 0),
        ((1, 1),): (1, 1, 0, 3),
    }


def test_with_an_end_for_every_fan_the_bound_is_the_cost():
    options = [Option(0, 0, -1, (0, 0, 1, 2)), Option(0, 1, -1, (0, 0, 2, 1)), Option(1, 0, 0, (1, 0, 0, 3))]
    problem = _Problem(options, [Group(3, 0, True, 0), Group(1, 3, False, 1)], {0: 1}, True, 5)
    assert [(node.used, problem.unpack(bound)) for node, bound in problem.starts()] == [(((1, 1),), (1, 0, 3, 6))]


@pytest.mark.parametrize("weights", [(), (1, 2, 3)])
def test_sums_are_all_that_stay_within(weights):
    ranges = [range(3), range(4), range(2)]
    wanted = [
        some for some in product(*ranges) if sum(x * w for x, w in zip(some, weights or (1, 1, 1), strict=True)) <= 4
    ]
    assert list(_sums(ranges, 4, weights)) == wanted
