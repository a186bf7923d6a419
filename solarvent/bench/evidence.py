"""How well a prediction explains readings, what that adds up to, and which reading to take next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np

from solarvent.bench.faults import LIGHT, PHASES, Place, Prediction

#: A reading that has nothing to do with the circuit (slip, wrong range), as a chance. Of one or two readings that are
#: all there is, none is easily called a slip.
SLIP, SLIP_OF_FEW, FEW = 0.02, 0.004, 3
#: Chance that a sign is what the poles make it: now and then somebody holds the probes the other way round.
_RIGHT_SIGN = 0.9
#: So many standard deviations off, a reading is not explained.
_OFF = 4.0
#: Unit of each kind of reading.
UNITS = {
    **{"panel_open": "V", "panel_voltage": "V", "voltage": "V"},
    **{"panel_short": "A", "panel_current": "A", "current": "A"},
}
#: Of a cheap meter and of its last digit. [-], [V], [A]
_METER = 0.03
_FLOOR = {"V": 0.1, "A": 0.008}
#: Range over which a slip may fall. [V], [A]
_SCALE = {"V": 25.0, "A": 3.0}
#: Standard deviation of single fans beside what all of them share. [-]
_FAN_DEVIATION = 0.04
#: What the voltage at a fan strays beside: a short has a voltage of its own, a bad contact any resistance. [-], [V]
_FAULT_DEVIATION = {"short": (0.0, 0.25), "resistance": (0.04, 0.0)}
_PHASE_WEIGHTS = np.array([weight for _, weight in PHASES])[:, None]


@dataclass(frozen=True)
class KnownLight:
    """What is known of the light on the cells.

    Attributes
    ----------
    irradiance : float or None
        Measured, or of a clear sky at the time. [W/m2]
    measured : bool
        False if a cloud may have been before the sun.
    temp_cell : float or None
        [degC]
    """

    irradiance: float | None = None
    measured: bool = False
    temp_cell: float | None = None


@dataclass(frozen=True)
class Evidence:
    """What was read [V], [A] (without signs, by kind of reading and part) and seen (by fan) on one circuit.

    `minus` are the places whose reading had a minus sign; `fans` those at which something was read or seen.
    """

    readings: dict[Place, float]
    seen: dict[str, str]
    fans: tuple[str, ...]
    minus: frozenset[Place] = frozenset()

    @property
    def panels(self) -> tuple[str, ...]:
        """The panels at which something was read."""
        return tuple(dict.fromkeys(part for kind, part in self.readings if kind.startswith("panel")))

    @property
    def slip(self) -> float:
        """Chance that a reading has nothing to do with the circuit."""
        return SLIP if len(self.readings) >= FEW else SLIP_OF_FEW

    @property
    def joined(self) -> bool:
        """Whether anything was read with the panel joined to the fans."""
        return bool(self.fans) or any(kind in ("panel_voltage", "panel_current") for kind, _ in self.readings)


def log_prior_of_light(light: KnownLight, usual_factor: float, weak_panel: bool) -> np.ndarray:
    """Logarithms of the prior of each level of :data:`~solarvent.bench.faults.LIGHT`, before any electrical reading.

    `usual_factor` is the share of its plate that a panel usually gives, 0 to 1 [-]; the weights sum to 1.
    """
    even = np.full(LIGHT.size, 1.0 / LIGHT.size)
    if light.irradiance is None:
        weight = even
    else:
        middle = usual_factor * light.irradiance / 1000
        # Of measured light, the stray of the panel with it, and of the clear sky of a model (our choice).
        standard_deviation = 0.11 if light.measured else 0.15
        near = np.exp(-0.5 * ((LIGHT / middle - 1) / standard_deviation) ** 2)
        # A cloud takes any share of the light; a weak panel gives less than four fifths of what is usual (our choice).
        below = np.where(0.8 * middle > LIGHT, 1.0, 1e-6)
        if weak_panel:
            weight = below
        elif light.measured:
            weight = near
        else:
            weight = 0.5 * near / near.sum() + 0.5 * below / below.sum()
    with np.errstate(divide="ignore"):
        return np.log(weight / weight.sum())


def log_likelihood_of_nothing(evidence: Evidence) -> float:
    """Logarithm of the likelihood of readings that nothing explains."""
    by_kind = sum(-np.log(_SCALE[UNITS[kind]]) for kind, _ in evidence.readings)
    return float(by_kind - len(evidence.seen) * np.log(3.0))


def standard_deviation_of(kind: str, expected: np.ndarray, fault: str) -> np.ndarray:
    """Standard deviation of a reading. [V] or [A]"""
    own, more = 0.0, 0.0
    if kind == "current":
        own = _FAN_DEVIATION
    elif kind == "voltage":
        own, more = _FAULT_DEVIATION.get(fault, (0.0, 0.0))
    # Errors that know nothing of each other add up as squares: of the scale, of the fan, and of the last digit.
    return np.sqrt((_METER**2 + own**2) * expected**2 + (_FLOOR[UNITS[kind]] + more) ** 2)


def log_likelihood(prediction: Prediction, evidence: Evidence, fault: str) -> np.ndarray:
    """Logarithm of the likelihood of all readings, by step; each may be a slip, so that none decides alone."""
    total = np.zeros(next(iter(prediction.running.values())).shape)
    for (kind, name), value in evidence.readings.items():
        expected = prediction.values[kind, name]
        deviation = standard_deviation_of(kind, expected, fault)
        density = np.exp(-0.5 * ((value - expected) / deviation) ** 2) / (np.sqrt(2 * np.pi) * deviation)
        total += np.log(
            (1 - evidence.slip) * (_PHASE_WEIGHTS * density).sum(axis=0) + evidence.slip / _SCALE[UNITS[kind]]
        )
    for name, sight in evidence.seen.items():
        total += np.log(likely_sight(prediction, name)[sight])
    return total


def log_likelihood_of_signs(evidence: Evidence, swapped: Sequence[str]) -> float:
    """Logarithm of the likelihood of the signs at the fans, where the poles of some of them are swapped."""
    at_fans = [place for place in evidence.readings if place[0] == "voltage"]
    right = sum((place in evidence.minus) == (place[1] in swapped) for place in at_fans)
    return right * float(np.log(_RIGHT_SIGN)) + (len(at_fans) - right) * float(np.log(1 - _RIGHT_SIGN))


def is_explained(evidence: Evidence, expected: Mapping[Place, float], fault: str) -> bool:
    """Tell whether what a fault would read is near what was read; of three readings or more one may be a slip."""
    off = 0
    for place, value in evidence.readings.items():
        deviation = float(standard_deviation_of(place[0], np.array(expected[place]), fault))
        off += abs(value - expected[place]) > _OFF * deviation
    return off <= (len(evidence.readings) >= FEW)


def likely_sight(prediction: Prediction, fan: str) -> dict[str, np.ndarray]:
    """Chance that a person says of a fan that it turns, stands or pulses, by step."""
    running, pulsing = prediction.running[fan], prediction.pulsing[fan]
    return {
        "turns": np.where(running, 0.94, 0.03),
        # Short attempts are easily missed, so a pulsing fan is often said to stand.
        "stands": np.where(running, 0.03, np.where(pulsing, 0.4, 0.94)),
        "pulses": np.where(pulsing, 0.57, 0.03),
    }


@dataclass
class Tally:
    """What one explanation has gathered.

    `log_posterior` is the logarithm of prior times likelihood, summed, not normalised; `fit` that of the best
    likelihood in a light that may be; `expected` holds the readings at that best fit. [V], [A]
    """

    log_posterior: float = -np.inf
    fit: float = -np.inf
    expected: dict[Place, float] = field(default_factory=dict)
    causes: dict[tuple[str, ...], float] = field(default_factory=dict)
    pieces: list[tuple[np.ndarray, Prediction]] = field(default_factory=list)

    def add(
        self,
        causes: tuple[str, ...],
        log_weight: float,
        light: np.ndarray,
        likelihood: np.ndarray,
        steps: np.ndarray,
        prediction: Prediction,
        readings: Mapping[Place, float],
    ) -> None:
        """Add one prediction in some of its steps; `light` is the logarithm of the weight of each."""
        joint = np.where(steps, log_weight + light + likelihood, -np.inf)
        top = float(joint.max())
        if top == -np.inf:
            return
        gained = top + float(np.log(np.exp(joint - top).sum()))
        self.log_posterior = float(np.logaddexp(self.log_posterior, gained))
        self.causes[causes] = float(np.logaddexp(self.causes.get(causes, -np.inf), gained))
        self.pieces.append((joint, prediction))
        fits = np.where(steps, likelihood + light - light.max(), -np.inf)
        step = int(np.argmax(fits))
        if fits[step] > self.fit:
            self.fit = float(fits[step])
            self.expected = {
                place: _nearest(prediction.values[place][:, step], value) for place, value in readings.items()
            }

    def by_cause(self) -> tuple[str, ...]:
        """Causes, likeliest first; those that are hardly possible are left out."""
        order = sorted(self.causes, key=lambda causes: -self.causes[causes])
        kept = [causes for causes in order if self.causes[causes] > self.causes[order[0]] - 4]
        return tuple(dict.fromkeys(cause for causes in kept for cause in causes))

    def by_light(self) -> np.ndarray:
        """Posterior by level of light, as plain weights relative to its own largest."""
        weight = np.zeros(LIGHT.size)
        for joint, _ in self.pieces:
            # For each heat the light goes up from darkness and down again from glare: both ways tell of the same level.
            for part in np.split(np.exp(joint - self.log_posterior), len(joint) // (2 * LIGHT.size + 2)):
                weight += part[1 : LIGHT.size + 1] + part[: LIGHT.size + 1 : -1]
        return weight

    def predicted(self, place: Place, fault: str) -> tuple[float, float]:
        """Mean and standard deviation of a reading that was not taken."""
        total = first = second = 0.0
        for joint, prediction in self.pieces:
            weight = np.exp(joint - self.log_posterior) * _PHASE_WEIGHTS
            expected = prediction.values[place]
            deviation = standard_deviation_of(place[0], expected, fault)
            total += weight.sum()
            first += (weight * expected).sum()
            second += (weight * (expected**2 + deviation**2)).sum()
        # Of a mixture the variance is the mean of the squares less the square of the mean.
        mean = first / total
        return float(mean), float(np.sqrt(max(second / total - mean**2, 0.0)))

    def sight(self, fan: str) -> dict[str, float]:
        """Chance that a fan turns, stands or pulses."""
        chances = dict.fromkeys(("turns", "stands", "pulses"), 0.0)
        for joint, prediction in self.pieces:
            weight = np.exp(joint - self.log_posterior)
            turns, pulses = weight @ prediction.running[fan], weight @ prediction.pulsing[fan]
            chances["turns"] += float(turns)
            chances["pulses"] += float(pulses)
            chances["stands"] += float(weight.sum() - turns - pulses)
        return chances


def _nearest(phases: np.ndarray, value: float) -> float:
    """Of the phases of a fan that tries, the one that a reading caught."""
    return float(phases[int(np.argmin(np.abs(phases - value)))])


def light_found(tallies: Mapping[Any, Tally]) -> tuple[float, float, float]:
    """Middle and the range that holds nine tenths of the posterior. [W/m2]"""
    # Relative to the likeliest, for the plain weights are too small to be told from nothing.
    top = max(tally.log_posterior for tally in tallies.values())
    weight = sum(
        (
            np.exp(tally.log_posterior - top) * tally.by_light()
            for tally in tallies.values()
            if tally.log_posterior > top - 12
        ),
        np.zeros(LIGHT.size),
    )
    reached = np.cumsum(weight) / weight.sum()
    middle, low, high = (1000 * float(LIGHT[int(np.searchsorted(reached, share))]) for share in (0.5, 0.05, 0.95))
    return middle, low, high


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
