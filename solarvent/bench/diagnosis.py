"""From readings taken to the most likely faults: a small Bayesian comparison.

Each fault is tried for every light, heat and history that may be, with the deviations of meters and plates. Faults that
explain the readings about equally well are called tied, whatever their priors.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, log

import numpy as np

from solarvent.base.errors import require_kind
from solarvent.bench.evidence import (
    Evidence,
    KnownLight,
    NextReading,
    Ranked,
    Tally,
    is_explained,
    light_found,
    log_likelihood,
    log_likelihood_of_nothing,
    log_likelihood_of_signs,
    log_prior_of_light,
    next_reading,
)
from solarvent.bench.faults import FAN_BANDS, Change, FaultModel, Place, Prediction
from solarvent.bench.metering import Measurement, Readings
from solarvent.bench.suspects import FAULTS, Suspect, name_of_sound, suspects
from solarvent.electrical.panel_model import Band
from solarvent.plan.plan import Plan
from solarvent.wiring.circuit import Circuit, circuits
from solarvent.wiring.harness import build_harness

#: Faults are tied with the leading one if their best fit is less than this many times less likely.
TIED = 4.0
#: What has a posterior below this is not told.
_NEGLIGIBLE = 0.01
#: A suspect so much less likely than the best one is not tried with easier and stiffer fans. [logarithm]
_HOPELESS = 6.0
#: With more unlike fans than this on one circuit less is tried, for every combination takes its time.
_MANY = 4
#: The share of its plate that a panel usually gives (common practice, no source: 0.65 to 1.0).
_USUAL_FACTOR = 0.93
#: Below this, probes or poles are the wrong way round; nearer to nothing the sign says nothing. [V], [A]
_MINUS = -0.2
#: A panel that shows so many times the most of its cells has other cells, or is two panels (our choice). [-]
_TOO_HIGH = 1.15
Name = tuple[str, tuple[str, ...]]


@dataclass(frozen=True)
class Diagnosis:
    """What the readings of one circuit mean; `ranking` is likeliest first.

    Readings stand without signs [V], [A]; `minus` names those that had one. `unread` are fans at which nothing was
    read, so that a fault there is not excluded. `over_limit` holds fans read above their limit, whatever else is wrong:
    id, reading, limit [V]; `too_high` panels that show more with nothing joined than their cells can give: id, reading,
    the most that they could [V]. `explained`: the best of the ranking is near the readings. `light` is what the panels
    turn into current, as the readings have it: middle, low, high [W/m2].
    """

    panels: tuple[str, ...]
    readings: dict[Place, float]
    ranking: tuple[Ranked, ...]
    unread: tuple[str, ...]
    minus: tuple[Place, ...]
    over_limit: tuple[tuple[str, float, float], ...]
    too_high: tuple[tuple[str, float, float], ...]
    explained: bool
    next_reading: NextReading | None
    light: tuple[float, float, float]


def diagnose(
    plan: Plan, taken: Readings, light: KnownLight | None = None, progress: Callable[[float], None] = lambda _: None
) -> tuple[Diagnosis, ...]:
    """Rank what may be wrong with each circuit on which a reading was taken.

    Parameters
    ----------
    light : KnownLight, optional
        What is known of the light on the cells.
    progress : callable, optional
        Told now and then which share of a circuit's work is done, 0 to 1. [-]

    Returns
    -------
    tuple of Diagnosis
        One a circuit with readings.

    Examples
    --------
    >>> from solarvent import KnownLight, Measurement, Readings, load_plan
    >>> read = Readings(fans={"bench": Measurement(0.4, 0.9)})
    >>> [found] = diagnose(load_plan(), read, KnownLight(900.0, measured=True, temp_cell=45.0))
    >>> len(found.ranking) > 1
    True
    """
    require_kind(plan, Plan)
    diagnoses = []
    for circuit in circuits(build_harness(plan), plan):
        readings, seen = of_circuit(circuit, taken)
        if readings or seen:
            model = FaultModel(circuit, light.temp_cell if light else None)
            diagnoses.append(Comparison(model, light or KnownLight()).diagnose(readings, seen, progress))
    return tuple(diagnoses)


def of_circuit(circuit: Circuit, taken: Readings) -> tuple[dict[Place, float], dict[str, str]]:
    """Pick the readings of one circuit, and what was seen of its fans."""
    panels, fans = set(circuit.panel_ids), set(circuit.fan_ids)
    readings: dict[Place, float] = {("panel_open", name): v for name, v in taken.panel_open.items() if name in panels}
    readings |= {("panel_short", name): value for name, value in taken.panel_short.items() if name in panels}
    tables: tuple[tuple[str, set[str], Mapping[str, Measurement]], ...] = (
        ("panel_", panels, taken.panel_joined),
        ("", fans, taken.fans),
    )
    for before, ids, table in tables:
        for name, pair in table.items():
            for kind, value in (("voltage", pair.voltage), ("current", pair.current)):
                if name in ids and value is not None:
                    readings[before + kind, name] = value
    return readings, {name: pair.seen for name, pair in taken.fans.items() if name in fans and pair.seen}


class Comparison:
    """The suspects of one circuit, ready to be held against readings."""

    def __init__(self, model: FaultModel, light: KnownLight) -> None:
        self.model = model
        self._light_is_known = light.irradiance is not None and light.measured
        usual = _USUAL_FACTOR if self.model.panels[0].plate_factor is None else 1.0
        with np.errstate(divide="ignore"):
            history = np.log(self.model.weight)
        self._light = {weak: self._by_step(log_prior_of_light(light, usual, weak)) + history for weak in (False, True)}

    def _by_step(self, by_light: np.ndarray) -> np.ndarray:
        """Repeat what is known of the levels of light for the steps of the sweep."""
        # The darkness and the glare between which the light goes up and down only set which fans turn.
        once = np.concatenate([[-np.inf], by_light, [-np.inf], by_light[::-1]])
        return np.tile(once, self.model.light.size // once.size)

    def diagnose(
        self,
        signed: Mapping[Place, float],
        seen: Mapping[str, str] | None = None,
        progress: Callable[[float], None] = lambda _: None,
    ) -> Diagnosis:
        """Hold every suspect against the readings [V], [A], by kind and part as in a prediction.

        `seen` is by fan, one of :data:`solarvent.bench.metering.SEEN`.
        """
        evidence = self._evidence(signed, seen or {})
        tallies = self._tallies(evidence, progress)
        ranking, explained = self._ranking(tallies, evidence)
        tied = [(ranked, tallies[ranked.fault, ranked.parts]) for ranked in ranking if ranked.tied]
        readings = evidence.readings
        return Diagnosis(
            panels=tuple(panel.id for panel in self.model.panels),
            readings=readings,
            ranking=ranking,
            unread=tuple(name for name in sorted(self.model.fans) if name not in evidence.fans)
            if evidence.joined
            else tuple(self.model.fans),
            minus=tuple(place for place, value in signed.items() if value < _MINUS),
            over_limit=tuple(
                (name, readings["voltage", name], fan.maximum_voltage)
                for name, fan in self.model.fans.items()
                if readings.get(("voltage", name), 0.0) > fan.maximum_voltage
            ),
            too_high=tuple(self._too_high(readings)),
            explained=explained,
            next_reading=next_reading(tied, readings, evidence.seen),
            light=light_found(tallies),
        )

    def _evidence(self, signed: Mapping[Place, float], seen: Mapping[str, str]) -> Evidence:
        """Drop the signs, and name the fans at which something was read or seen."""
        readings = {place: abs(value) for place, value in signed.items()}
        fans = (
            name for name in self.model.fans if name in seen or {("voltage", name), ("current", name)} & set(readings)
        )
        minus = frozenset(place for place, value in signed.items() if value < _MINUS)
        return Evidence(readings, dict(seen), tuple(fans), minus)

    def _too_high(self, readings: Mapping[Place, float]) -> Iterator[tuple[str, float, float]]:
        """Find panels that show more with nothing joined than theirs could in the coldest, brightest light."""
        sound = self.model.prediction(Change("none"))
        for panel in self.model.panels:
            most = float(sound.values["panel_open", panel.id].max())
            if readings.get(("panel_open", panel.id), 0.0) > _TOO_HIGH * most:
                yield panel.id, readings["panel_open", panel.id], most

    def _tallies(self, evidence: Evidence, progress: Callable[[float], None]) -> dict[Name, Tally]:
        """Try every change of every suspect: first with typical fans, then what is not hopeless with other ones."""
        many = len(self.model.groups) > _MANY
        circuit, fans = self.model.circuit, self.model.fans
        tried = suspects(circuit, fans, evidence, weak_panel=self._light_is_known, brief=many)
        changes = [(suspect, change, weight) for suspect in tried for change, weight in suspect.changes]
        tallies: dict[Name, Tally] = {}
        reached: dict[tuple[str, Change], float] = {}
        (typical, usual), *others = FAN_BANDS
        for number, (suspect, change, weight) in enumerate(changes):
            reached[suspect.fault, change] = self._tally(
                suspect, change, typical, suspect.prior * weight * usual, evidence, tallies
            )
            progress(0.6 * number / len(changes))
        # Each band is a circuit more to solve: what typical fans leave far behind does not win with easier ones.
        hopeless = max(reached.values()) - _HOPELESS
        for number, (suspect, change, weight) in enumerate(changes):
            if not many and reached[suspect.fault, change] > hopeless:
                for band, share in others:
                    self._tally(suspect, change, band, suspect.prior * weight * share, evidence, tallies)
            progress(0.6 + 0.4 * (number + 1) / len(changes))
        return tallies

    def _ranking(self, tallies: Mapping[Name, Tally], evidence: Evidence) -> tuple[tuple[Ranked, ...], bool]:
        """Give the explanations that are worth a line by their posterior, and tell which of them are tied.

        Where the best of them is far from the readings, none of them stands first, and that is told too.
        """
        nothing = log(FAULTS["unknown"].prior) + log_likelihood_of_nothing(evidence)
        nothing += log_likelihood_of_signs(evidence, ())
        listed = self._worth_a_line(tallies, evidence)
        total = np.logaddexp(nothing, np.logaddexp.reduce([tally.log_posterior for tally in listed.values()]))
        leader = max(listed.values(), key=lambda tally: tally.log_posterior)
        ranking = [
            Ranked(
                fault,
                parts,
                tally.by_cause(),
                exp(tally.log_posterior - total),
                tally.fit > leader.fit - log(TIED),
                tally.expected,
            )
            for (fault, parts), tally in listed.items()
        ]
        unknown = Ranked("unknown", (), (), exp(nothing - total), False, {})
        told = (one for one in (*ranking, unknown) if one.posterior > _NEGLIGIBLE)
        ranking = sorted(told, key=lambda one: -one.posterior)
        # What is tied with nothing else is the answer.
        if sum(one.tied for one in ranking) == 1:
            ranking = [replace(one, tied=False) for one in ranking]
        best = next((one for one in ranking if one.fault != "unknown"), None)
        explained = best is not None and is_explained(evidence, best.expected, best.fault)
        if not explained:
            ranking = [unknown, *(one for one in ranking if one.fault != "unknown")]
        return tuple(ranking), explained

    def _worth_a_line(self, tallies: Mapping[Name, Tally], evidence: Evidence) -> dict[Name, Tally]:
        """Leave out faults at fans that were not read, where they explain the readings no better than sound parts."""
        read = set(evidence.fans)
        if not read:
            return dict(tallies)
        sound_fit = max((tally.fit for (_, parts), tally in tallies.items() if set(parts) <= read), default=-np.inf)
        unread = set(self.model.fans) - read
        return {
            (fault, parts): tally
            for (fault, parts), tally in tallies.items()
            if not parts or not set(parts) <= unread or tally.fit >= sound_fit + log(TIED)
        }

    def _tally(
        self,
        suspect: Suspect,
        change: Change,
        band: Band,
        prior: float,
        evidence: Evidence,
        tallies: dict[Name, Tally],
    ) -> float:
        """Gather what one change explains; return the best that it reaches."""
        light, best = self._light[suspect.weak_panel], -np.inf
        signs = log_likelihood_of_signs(evidence, suspect.parts if suspect.fault == "swapped" else ())
        for prediction, share in self._variants(change, band):
            likelihood = log_likelihood(prediction, evidence, suspect.fault) + signs
            best = max(best, log(prior) + float((light + likelihood).max()))
            for name, causes, steps in self._called(suspect, prediction, evidence.fans):
                tally = tallies.setdefault(name, Tally())
                tally.add(causes, log(prior * share), light, likelihood, steps, prediction, evidence.readings)
        return best

    def _variants(self, change: Change, band: Band) -> list[tuple[Prediction, float]]:
        """A prediction, and the same with alike fans in each other's places: which of them starts first is chance."""
        prediction = self.model.prediction(change, band)
        free = [[name for name in group if name != change.part] for group in self.model.groups]
        turns = max(1, *(len(names) for names in free))
        variants = [(prediction, 1 / turns)]
        for turn in range(1, turns):
            moved = {name: names[(place + turn) % len(names)] for names in free for place, name in enumerate(names)}
            variants.append((prediction.renamed(moved), 1 / turns))
        return variants

    def _called(
        self, suspect: Suspect, prediction: Prediction, read: Sequence[str]
    ) -> list[tuple[Name, tuple[str, ...], np.ndarray]]:
        """What to call each step: the fault of the suspect, or for sound parts what the fans do that were read."""
        everywhere = np.ones(self.model.light.shape, dtype=bool)
        if suspect.fault:
            # What a fan draws shows while it turns; standing, it is one that tries to start.
            shows = suspect.fault in ("draws-more", "other-fan")
            steps = prediction.running[suspect.parts[0]] if shows else everywhere
            return [((suspect.fault, suspect.parts), suspect.causes, steps)]
        if not read:
            return [(("normal", ()), ("sound",), everywhere)]
        state = np.array([self._state(name, prediction) for name in read])
        kinds, at = np.unique(state, axis=1, return_inverse=True)
        called = []
        for number, column in enumerate(kinds.T):
            worst = int(column.min())
            fans = [self.model.fans[name] for name, kind in zip(read, column, strict=True) if kind == worst]
            fault, causes = name_of_sound(worst, fans)
            parts = () if fault == "normal" else tuple(fan.id for fan in fans)
            called.append(((fault, parts), causes, np.ravel(at) == number))
        return called

    def _state(self, name: str, prediction: Prediction) -> np.ndarray:
        """0 over-volted, 1 standing, 2 slow, 3 normal, by step."""
        fan, volts = self.model.fans[name], prediction.values["voltage", name][0]
        turning = np.where(volts > fan.maximum_voltage, 0, np.where(volts < fan.start_voltage, 2, 3))
        return np.where(prediction.running[name], turning, 1)
