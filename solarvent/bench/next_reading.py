"""Which reading to take next: the one that tells explanations apart that fit equally well."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from solarvent.bench.evidence import Tally
from solarvent.bench.faults import Place, Prediction

#: How many tied explanations are compared, and how many standard deviations tell two of them apart.
_COMPARED = 4
_APART = 2.0
_CERTAIN = 6.0
_FARTHER = 1.3


@dataclass(frozen=True)
class Ranked:
    """One explanation of the readings: a fault, where it is, and its causes, likeliest first.

    `posterior` is its probability given these readings and the priors, 0 to 1 [-]; `tied` says that the readings cannot
    tell it from the best one; `expected` is what it would give for each reading that was taken [V], [A].
    """

    fault: str
    parts: tuple[str, ...]
    causes: tuple[str, ...]
    posterior: float
    tied: bool
    expected: dict[Place, float]


@dataclass(frozen=True)
class NextReading:
    """The reading that tells tied explanations apart best: kind and part as in a prediction, or ``"seen"`` and a fan.

    Each outcome is a fault, its parts, and what it would give. [V], [A]
    """

    kind: str
    part: str
    outcomes: tuple[tuple[str, tuple[str, ...], float | str], ...]


def next_reading(
    tied: Sequence[tuple[Ranked, Tally]], readings: Mapping[Place, float], seen: Mapping[str, str]
) -> NextReading | None:
    """Choose the reading, or the look at a fan, that tells tied explanations apart; None if there is none.

    `tied` is likeliest first.
    """
    tied = tied[:_COMPARED]
    if len(tied) < 2:
        return None
    candidates = [*_sights(tied, readings, seen), *_readings(tied, readings, seen)]
    score, chosen = max(candidates, key=lambda candidate: candidate[0], default=(0.0, None))
    return chosen if score > 0 else None


def _sights(
    tied: Sequence[tuple[Ranked, Tally]], readings: Mapping[Place, float], seen: Mapping[str, str]
) -> Iterator[tuple[float, NextReading]]:
    """Score a look at each fan that was read and that explanations let do different things."""
    for fan in _prediction(tied).running:
        if fan not in seen and ("voltage", fan) in readings:
            sights = [tally.sight(fan) for _, tally in tied]
            likeliest = [max(sight, key=lambda word: sight[word]) for sight in sights]
            if len(set(likeliest)) > 1:
                score = _score(tied, [[_difference(one, other) for other in sights] for one in sights])
                yield score, _outcomes("seen", fan, tied, likeliest)


def _readings(
    tied: Sequence[tuple[Ranked, Tally]], readings: Mapping[Place, float], seen: Mapping[str, str]
) -> Iterator[tuple[float, NextReading]]:
    """Score each reading that was not taken and that tells two explanations apart."""
    places = _prediction(tied).values
    # Where the person stands already, or at the panel, a reading costs less than at a place of its own.
    near = {part for _, part in readings} | seen.keys() | {part for kind, part in places if "panel" in kind}
    for kind, part in sorted(places.keys() - readings.keys()):
        given = [tally.predicted((kind, part), one.fault) for one, tally in tied]
        apart = [[_sigmas(one, other) for other in given] for one in given]
        if np.max(apart) > _APART:
            score = _score(tied, apart) / (1.0 if part in near else _FARTHER)
            yield score, _outcomes(kind, part, tied, [mean for mean, _ in given])


def _prediction(tied: Sequence[tuple[Ranked, Tally]]) -> Prediction:
    """One prediction of the first explanation: all name the same fans and places."""
    return tied[0][1].pieces[0][1]


def _score(tied: Sequence[tuple[Ranked, Tally]], apart: Sequence[Sequence[float]]) -> float:
    """Weigh how far each pair is told apart by how likely the pair is."""
    return sum(tied[a][0].posterior * tied[b][0].posterior * apart[a][b] for a, b in combinations(range(len(tied)), 2))


def _difference(one: Mapping[str, float], other: Mapping[str, float]) -> float:
    """How surely a look tells two explanations apart, on the scale of standard deviations."""
    return _CERTAIN / 2 * sum(abs(one[word] - other[word]) for word in one)


def _sigmas(one: tuple[float, float], other: tuple[float, float]) -> float:
    """How far two predictions lie apart; a vague one may still be told from a sharp one, so neither deviation rules."""
    return min(abs(one[0] - other[0]) / float(np.sqrt(one[1] * other[1])), _CERTAIN)


def _outcomes(kind: str, part: str, tied: Sequence[tuple[Ranked, Tally]], given: Sequence[float | str]) -> NextReading:
    return NextReading(
        kind, part, tuple((one.fault, one.parts, value) for (one, _), value in zip(tied, given, strict=True))
    )
