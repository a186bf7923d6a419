"""The joins of an answer, in the order in which they are made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from solarvent.plan.connectors import in_words
from solarvent.plan.parts import Fan
from solarvent.wiring.mating import mates
from solarvent.wiring.polarity import Joined, PolarityTrace, contact_of, verdict


@dataclass(frozen=True)
class JoinLine:
    """One join of the answer.

    Attributes
    ----------
    source, source_port, sink, sink_port : str
        The ids of the parts, and which of their ends.
    words : str
        The connectors.
    mates : bool
        False if the two ends do not go together.
    polarity : str
        ``"kept"``, ``"reversed"`` or ``"unknown"``: at a fan, of its +; before, against the habit of the connector.
    plus : str or None
        The contact of the source's end that is +; None at a fan, or where it is not known.
    """

    source: str
    source_port: str
    sink: str
    sink_port: str
    words: str
    mates: bool
    polarity: str
    plus: str | None = None

    def as_data(self) -> dict[str, Any]:
        """Give it with the keys of the JSON."""
        return {
            "from": self.source,
            "from_port": self.source_port,
            "to": self.sink,
            "to_port": self.sink_port,
            "connector": self.words,
            "mates": self.mates,
            "polarity": self.polarity,
            "plus": self.plus,
        }


def join_lines(trace: PolarityTrace) -> list[JoinLine]:
    """Write the joins down, each branch to its end before the next one."""
    order: list[Any] = []

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


def _line(trace: PolarityTrace, join: Joined) -> JoinLine:
    fits = mates(join, trace.families)
    both = [end for end in (join.source.connector, join.sink.connector) if end is not None]
    ends = [in_words(end, trace.families) for end in sorted(both, key=lambda end: end.body == "jack")]
    words = " into ".join(dict.fromkeys(ends)) or "not described"
    polarity = verdict(trace.arriving(join))
    plus = None
    if join.source.connector is not None and not isinstance(trace.parts[join.sink.part], Fan) and polarity != "unknown":
        plus = contact_of(join.source.connector, int(polarity == "reversed"), True, trace.families)
    return JoinLine(
        join.source.part, join.source.name, join.sink.part, join.sink.name, words, fits is not False, polarity, plus
    )
