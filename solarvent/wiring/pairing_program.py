"""The integer program of the pairing, solved exactly: the ways to use a part, and how often each is used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from solarvent.plan.connectors import Families
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Part, Splitter
from solarvent.wiring.joints import Join, Polarity, Port, crossing, turned_crossing

#: The family of the ends that a splice gives: bare conductors that go onto whatever is cut open next.
CUT = "cut"
_CUT_END = Connector(family=CUT)


class SupplyEnd(NamedTuple):
    """An end that gives power, and the side that it belongs to (sides differ in voltage)."""

    port: Port
    side: int


class Splice(NamedTuple):
    """A place to cut and splice: one supply, and so many ways on."""

    ways: int


@dataclass(frozen=True)
class Joint(Join):
    """Two ends to be joined, with the poles at the source end against the habit of its connector."""

    leaving: Polarity = Polarity.UNKNOWN


class Use(NamedTuple):
    """A way to use a part: the end that takes power, and those, all alike, that then give it.

    `crosses` is what happens to the poles on the way.
    """

    inlet: str
    connector: Connector
    outlets: tuple[str, ...] = ()
    gives: Connector | None = None
    crosses: Polarity = Polarity.KEPT


def uses(part: Part | Splice, families: Families) -> Iterator[Use]:
    """Yield the ways in which a part can be used; a lead or a splitter can be turned round."""
    match part:
        case Splice(ways):
            yield Use("", _CUT_END, tuple(f"way {number}" for number in range(1, ways + 1)), _CUT_END)
        case Fan(inlet=Connector() as inlet, outlet=Connector() as outlet):
            yield Use("inlet", inlet, ("outlet",), outlet, crossing(inlet, outlet, part.crosses, families))
        case Fan(inlet=Connector() as inlet):
            yield Use("inlet", inlet)
        case Converter(inlet=Connector() as inlet, outlet=Connector() as outlet):
            yield Use("inlet", inlet, ("outlet",), outlet, crossing(inlet, outlet, part.crosses, families))
        case Lead(inlet=Connector() as inlet, outlet=Connector() as outlet) if part.usb_wires != "data":
            forwards = crossing(inlet, outlet, part.crosses, families)
            yield Use("inlet", inlet, ("outlet",), outlet, forwards)
            if part.diode is None:
                back = turned_crossing(forwards, (inlet, outlet), families)
                yield Use("outlet", outlet, ("inlet",), inlet, back)
        case Splitter(trunk=Connector() as trunk, branch=Connector() as branch, arrangement="parallel"):
            branches = tuple(f"branch {number}" for number in range(1, part.branches + 1))
            forwards = crossing(trunk, branch, part.crosses, families)
            yield Use("trunk", trunk, branches, branch, forwards)
            if (trunk.family, trunk.body) != (branch.family, branch.body):
                # One pair of conductors: it may be fed at a branch, and pass on at the trunk or the other branches.
                yield Use("branch 1", branch, ("trunk",), trunk, turned_crossing(forwards, (trunk, branch), families))
                across = turned_crossing(Polarity.KEPT, (branch,), families)
                yield Use("branch 1", branch, branches[1:], branch, across)


#: What one objective may span. HiGHS takes an integer for whole within 1e-6, so that costs err by 0.01 at most.
_WIDEST = 10_000
#: What the solver says when its time is over.
_OUT_OF_TIME = 1


class OutOfTimeError(Exception):
    """An objective was not proved in its time."""


class Costs(NamedTuple):
    """What joining costs, the most important first; the last six break ties.

    Attributes
    ----------
    bought : int
        Pieces bought, or ends cut.
    unfed, wrong, unknown : int
        Fans that are not fed, that are reversed or on a wrong side, and whose polarity is not known.
    crowded : int
        Pairs of fans that share a panel: the least where the shares are even.
    strange : int
        Fans on a panel out of another box.
    joints : int
        Joints to be made.
    weather : int
        2 for a joint that must stay dry, 1 if it needs shelter.
    spare : int
        Ends of what is bought.
    turned : int
        Joints at which the person puts + on the contact that is not the usual one.
    """

    bought: int = 0
    unfed: int = 0
    wrong: int = 0
    unknown: int = 0
    crowded: int = 0
    strange: int = 0
    joints: int = 0
    weather: int = 0
    spare: int = 0
    turned: int = 0


class Choice(NamedTuple):
    """A variable of the program: pieces of one lot, put in one way on one kind of open end.

    `taken` is the kind of end that one piece takes, `given` the kind of which it gives `ends`; -1 if none. `panel`
    feeds it. `costs` are those of one piece; a fan that is fed takes one from those that are not.
    """

    lot: int
    taken: int
    given: int
    ends: int
    panel: int
    costs: Costs


def least_cost(
    choices: Sequence[Choice],
    pieces: Sequence[int],
    supplies: Sequence[int],
    held: Mapping[str, int],
    seconds: float = np.inf,
    within: Mapping[str, int] | None = None,
) -> Counter[int] | None:
    """Find how often each choice, by its number, is used at the least cost; None if impossible.

    `pieces` is how many there are of each lot, `supplies` how many ends of each kind the sources give, `held` costs
    that must not be passed and are not made smaller, `within` such that are; `seconds` is the time for each of the
    objectives [s], and OutOfTimeError says that it did not do.
    """
    within = within or {}
    if not choices:
        return Counter() if all(most >= 0 for most in held.values()) else None
    kept, uses = dict(held), np.zeros(len(choices), dtype=int)
    # One objective after the other: each may spend only what costs nothing of those before it.
    while True:
        # What need not be bought is known after the first objective: the programs after it are much smaller.
        program = _Program(choices, pieces, supplies, kept.get("bought", within.get("bought")))
        stage = program.next_stage(kept)
        if not stage:
            return +Counter(dict(enumerate(uses.tolist())))
        solution = program.minimise(stage, {**within, **kept}, seconds)
        if solution is None:
            return None
        kept |= {name: round(program.costs[name] @ solution) for name in stage}
        uses = np.rint(solution[: len(choices)]).astype(int)


class _Program:
    """Rows and bounds over three sets of variables: uses of each choice, what flows on behind them, and shares.

    A share is one more fan on one panel. The first costs nothing, each further one as much as there are before it.
    """

    def __init__(
        self, choices: Sequence[Choice], pieces: Sequence[int], supplies: Sequence[int], budget: int | None
    ) -> None:
        from scipy import sparse

        size, fields = len(choices), Costs._fields
        lots, taken, given, ends, panels = (np.array(column) for column in list(zip(*choices, strict=True))[:5])
        costs = np.array([choice.costs for choice in choices])
        feeds = costs[:, fields.index("unfed")] < 0
        dearest = np.zeros((len(pieces), len(fields)), dtype=int)
        np.maximum.at(dearest, lots, np.abs(costs))
        price = dearest[:, fields.index("bought")]
        number = np.array(pieces)
        # More pieces of a lot than the budget pays for are never used: tighter bounds, and the solver is done sooner.
        if budget is not None:
            number = np.where(price > 0, np.minimum(number, budget // np.maximum(price, 1)), number)

        def at_most(each: np.ndarray) -> int:
            """Sum so much for each piece of a lot up, as far as the pieces can be bought."""
            total, paid = number * each, price > 0
            bought = total[paid].sum()
            if budget is not None and paid.any():
                bought = min(bought, budget * each[paid].max())
            return int(total[~paid].sum() + bought)

        def of(rows: np.ndarray, height: int, values: Any = 1) -> Any:
            """Lay the choices out over lots, kinds or panels; those without one are left out."""
            column = np.flatnonzero(rows >= 0)
            filled = np.broadcast_to(values, size)[column]
            return sparse.csr_matrix((filled, (rows[column], column)), shape=(height, size))

        takes, gives = of(taken, len(supplies)), of(given, len(supplies))
        # A ring of leads alone gives no more ends than it takes and feeds nothing: it only costs joints. So it will do
        # that splitters, and fans that hand the power on, are within reach.
        keeps = (ends > 1) | (feeds & (given >= 0))
        flow = at_most(np.isin(np.arange(len(pieces)), lots[keeps]).astype(int))
        fans = at_most(dearest[:, fields.index("unfed")])
        rows = [
            # No more pieces of a lot than there are, and no more ends of a kind taken than given.
            [of(lots, len(pieces)), None],
            [takes - of(given, len(supplies), ends), None],
            # What flows on through a choice comes from a source, and flows only where the choice is used.
            [takes.multiply(keeps), takes - gives],
            [-flow * sparse.identity(size), sparse.identity(size)],
        ]
        on, shares = 0, 0
        if len(set(panels)) > 1:
            on, shares = panels.max() + 1, fans
            one_each = sparse.kron(sparse.identity(on), np.ones((1, shares)))
            rows = [[*row, None] for row in rows] + [[of(np.where(feeds, panels, -1), on), None, -one_each]]
        self.rows = sparse.bmat(rows, format="csr")
        self.most = np.concatenate([number, supplies, flow * np.array(supplies), np.zeros(size + on)])
        self.bounds = np.concatenate([number[lots], np.full(size, flow), np.ones(on * shares)])
        self.whole = np.arange(len(self.bounds)) < size
        beside = np.zeros((len(fields), size + on * shares))
        self.costs = dict(zip(fields, np.hstack([costs.T, beside]), strict=True))
        self.costs["crowded"][2 * size :] = np.tile(np.arange(shares), on)
        #: What each cost can come to at most.
        self.reach = {name: at_most(each) for name, each in zip(fields, dearest.T, strict=True)}
        self.reach["crowded"] = int(shares * (shares - 1) // 2)

    def next_stage(self, kept: Mapping[str, int]) -> list[str]:
        """Name the first costs that are open, as many together as one objective can tell apart."""
        stage: list[str] = []
        span = 1
        for name, reach in self.reach.items():
            if reach and name not in kept:
                span *= reach + 1
                if stage and span > _WIDEST:
                    break
                stage.append(name)
                if name == "bought":
                    break
        return stage

    def minimise(self, stage: Sequence[str], held: Mapping[str, int], seconds: float) -> np.ndarray | None:
        """Make the costs of a stage small; None if there is no solution."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        objective = np.zeros(len(self.bounds))
        for name in stage:
            # One of a cost weighs more than all that follows can come to, so that their order is kept.
            objective = objective * (self.reach[name] + 1) + self.costs[name]
        limits = [LinearConstraint(self.costs[name], -np.inf, most) for name, most in held.items()]
        solved = milp(
            objective,
            integrality=self.whole,
            bounds=Bounds(0, self.bounds),
            constraints=[LinearConstraint(self.rows, -np.inf, self.most), *limits],
            options={"mip_rel_gap": 0, "time_limit": seconds},
        )
        if solved.status == _OUT_OF_TIME:
            raise OutOfTimeError
        return solved.x if solved.success else None
