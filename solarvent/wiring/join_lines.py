"""The joins of an answer, in the order in which they are made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from solarvent.plan.parts import Fan
from solarvent.wiring.harness import Join
from solarvent.wiring.mating import in_words, mates
from solarvent.wiring.polarity import PolarityTrace, worst_polarity
from solarvent.wiring.poles import Polarity, positive_contact


@dataclass(frozen=True)
class JoinLine:
    """One join of the answer: parts and ends by id, both connectors in words.

    `polarity` at a fan is against its own +, before that against the habit of the connector; `plus` is the contact of
    the source's end that is +, None at a fan or where it is not known.
    """

    source: str
    source_port: str
    sink: str
    sink_port: str
    connectors: str
    mates: bool
    polarity: Polarity
    plus: str | None = None

    def as_data(self) -> dict[str, Any]:
        """Give it with the keys of the JSON."""
        return {
            "from": self.source,
            "from_port": self.source_port,
            "to": self.sink,
            "to_port": self.sink_port,
            "connector": self.connectors,
            "mates": self.mates,
            "polarity": self.polarity,
            "plus": self.plus,
        }


def join_lines(trace: PolarityTrace) -> list[JoinLine]:
    """Write the joins down, each branch to its end before the next one."""
    order: list[Join] = []

    def follow(part: str) -> None:
        for join in trace.joins:
            if join.source.part == part and join not in order:
                order.append(join)
                follow(join.sink.part)

    sinks = {join.sink.part for join in trace.joins}
    for join in trace.joins:
        if join.source.part not in sinks:
            follow(join.source.part)
    return [_line(trace, join) for join in order]


def _line(trace: PolarityTrace, join: Join) -> JoinLine:
    families, end = trace.families, join.source.connector
    both = [one for one in (end, join.sink.connector) if one is not None]
    names = [in_words(one, families) for one in sorted(both, key=lambda one: one.body == "jack")]
    polarity = worst_polarity(trace.arriving(join))
    at_fan = isinstance(trace.parts[join.sink.part], Fan)
    return JoinLine(
        join.source.part,
        join.source.name,
        join.sink.part,
        join.sink.name,
        " into ".join(dict.fromkeys(names)) or "not described",
        mates(join, families) is not False,
        polarity,
        None if end is None or at_fan else positive_contact(end, polarity, False, families),
    )
