"""The least cost of joining, against every way to join: small problems of counts only, with costs drawn by chance."""

import random
from collections import Counter
from functools import cache
from typing import NamedTuple

import pytest
from sampled import one_in

from solarvent.wiring.pairing_program import Choice, Costs, least_cost


class Lot(NamedTuple):
    pieces: int
    ends: int
    is_fan: bool


def drawn(seed):
    """Draw a problem; in every other one leads are few, fit many ends, and every fan needs one."""
    chance = random.Random(seed)
    scarce, priced = seed % 2, chance.random() < 0.4
    kinds = range(chance.randint(3, 4) if scarce else chance.randint(1, 3))
    if scarce:
        sorts = ["fan", "fan", "lead", "lead", *(chance.choice(["lead", "splitter", "fan"]) for _ in "on")]
        supplies = [chance.randint(2, 4), 0, 0, 0]
    else:
        sorts = [
            "fan",
            *(chance.choice(["fan", "passing fan", "lead", "lead", "splitter", "splitter"]) for _ in "four"),
        ]
        given = {kind: chance.randint(1, 2) for kind in kinds if kind == 0 or chance.random() < 0.2}
        supplies = [given.get(kind, 0) for kind in range(4)]
    choices, lots = [], []
    for sort in sorts:
        is_fan = "fan" in sort
        ends = {"fan": 0, "lead": 1, "passing fan": 1, "splitter": chance.randint(2, 3)}[sort]
        price = chance.choice([0, 1, 2]) if priced and not is_fan else 0
        ways = set()
        for _ in range((1 if sort == "fan" else chance.randint(2, 4)) if scarce else chance.randint(1, 3)):
            ahead = kinds if not scarce or (ends and chance.random() < 0.5) else kinds[1:] if is_fan else kinds[:1]
            ways.add((chance.choice(ahead), chance.choice(kinds) if ends else -1))
        for taken, given in sorted(ways):
            wrong, unknown, weather, spare = (chance.choice([0, 0, 1, 2]) for _ in range(4))
            costs = Costs(price, -is_fan, wrong, unknown, joints=1, weather=weather, spare=spare)
            choices.append(Choice(len(lots), taken, given, ends, 0, costs))
        lots.append(Lot(chance.randint(1, 2), ends, is_fan))
    return choices, lots, supplies


@cache
def every_way(seed):
    """Give the cost of every set of uses that can be made one after the other, at its cheapest."""
    choices, lots, supplies = drawn(seed)
    found, layer = {}, {(tuple(supplies), (0,) * len(lots)): (0,) * len(Costs._fields)}
    while layer:
        found |= layer
        following = {}
        for (opened, used), cost in layer.items():
            for lot, taken, given, count, _, own in choices:
                if not opened[taken] or used[lot] == lots[lot].pieces:
                    continue
                ends = list(opened)
                ends[taken] -= 1
                if given >= 0:
                    ends[given] += count
                more = (*used[:lot], used[lot] + 1, *used[lot + 1 :])
                total = tuple(sum(pair) for pair in zip(cost, own, strict=True))
                following[tuple(ends), more] = min(following.get((tuple(ends), more), (99,)), total)
        layer = following
    return found


def fans_of(lots):
    return sum(lot.pieces for lot in lots if lot.is_fan)


def solved(problem, strict=False, **more):
    choices, lots, supplies = problem
    held = {"unfed": -fans_of(lots)} if strict else {}
    return least_cost(choices, [lot.pieces for lot in lots], supplies, held, **more)


def assert_can_be_made(choices, lots, supplies, counts):
    """No lot or kind of end is used more often than it is given, and each is reached: then there is an order."""
    opened, used = Counter(dict(enumerate(supplies))), Counter()
    for number, times in counts.items():
        choice = choices[number]
        used[choice.lot] += times
        opened[choice.taken] -= times
        if choice.given >= 0:
            opened[choice.given] += times * choice.ends
    assert all(times <= lots[lot].pieces for lot, times in used.items())
    assert min(opened.values()) >= 0
    reached = {kind for kind, ends in enumerate(supplies) if ends}
    for _ in choices:
        reached |= {choices[number].given for number in counts if choices[number].taken in reached}
    assert all(choices[number].taken in reached for number in counts)


@pytest.mark.parametrize("strict", one_in(2, [True, False]))
def test_the_cost_is_that_of_the_best_of_all_ways(strict):
    for seed in range(300):
        choices, lots, supplies = problem = drawn(seed)
        ways = every_way(seed).values()
        best = min((cost for cost in ways if not (strict and -cost[1] < fans_of(lots))), default=None)
        counts = solved(problem, strict)
        assert (counts is None) == (best is None), seed
        if counts is not None:
            parts = [[times * cost for cost in choices[number].costs] for number, times in counts.items()]
            assert tuple(map(sum, zip(*parts, strict=True))) == (best if parts else ()), seed
            assert_can_be_made(choices, lots, supplies, counts)


def test_splitters_do_not_feed_each_other_in_a_ring():
    # Two splitters could feed each other and six fans besides; but nothing leads from the panel to them.
    splitter, fan = Costs(joints=1), Costs(unfed=-1, joints=1)
    choices = [Choice(0, 1, 1, 4, 0, splitter), Choice(1, 1, -1, 0, 0, fan)]
    assert not least_cost(choices, [2, 6], [1, 0], {})
    # A lead from the panel to them makes it good.
    choices.append(Choice(2, 0, 1, 1, 0, splitter))
    assert least_cost(choices, [2, 6, 1], [1, 0], {}) == {0: 2, 1: 6, 2: 1}


@pytest.mark.parametrize(("own", "panels"), [(0, 1), (1, 0)])
def test_a_fan_that_hands_the_power_on_does_not_feed_itself(own, panels):
    # What it gives is what it takes; the panel's end is of another kind.
    choices = [Choice(0, own, own, 1, 0, Costs(unfed=-1, joints=1))]
    supplies = [int(kind == panels) for kind in (0, 1)]
    assert not least_cost(choices, [3], supplies, {})
    choices.append(Choice(1, panels, own, 1, 0, Costs(joints=1)))
    assert least_cost(choices, [3, 1], supplies, {}) == {0: 3, 1: 1}


def test_what_is_held_is_not_passed_and_what_cannot_be_is_none():
    # With nothing to choose nothing is joined, which passes no cost; but it feeds no fan.
    assert [least_cost([], [], [], {"unfed": most, "wrong": 0}) for most in (0, -1)] == [{}, None]
    choices = [Choice(0, 0, -1, 0, 0, Costs(unfed=-1, wrong=1, joints=1))]
    assert least_cost(choices, [1], [1], {}) == {0: 1}
    assert least_cost(choices, [1], [1], {"wrong": 0}) == {}
    assert least_cost(choices, [1], [1], {"wrong": 0, "unfed": -1}) is None


def test_the_fans_of_two_panels_are_shared():
    choices = [Choice(0, kind, -1, 0, kind, Costs(unfed=-1, joints=1)) for kind in (0, 1)]
    assert least_cost(choices, [6], [6, 6], {}) == {0: 3, 1: 3}
    choices = [choices[0], choices[1]._replace(costs=Costs(unfed=-1, strange=1, joints=1))]
    assert least_cost(choices, [5], [6, 6], {}) == {0: 3, 1: 2}
