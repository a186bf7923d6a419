"""From readings taken to the most likely faults: a small Bayesian comparison.

Each fault is tried for every light, heat and history that may be, with the spread of meters and plates. Faults that
explain the readings about equally well are called tied, whatever one would have thought beforehand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, log

import numpy as np

from solarvent.bench.evidence import Light, Tally, light_found, log_light, log_likelihood, unexplained
from solarvent.bench.faults import SPREADS, Change, FaultModel, Place, Prediction
from solarvent.bench.next_reading import NextReading, Ranked, next_reading
from solarvent.bench.readings import Pair, Taken
from solarvent.bench.suspects import PRIOR_OF_UNKNOWN, Suspect, name_of_sound, suspects
from solarvent.electrical.bands import TYPICAL, Band
from solarvent.plan.plan import Plan
from solarvent.wiring.circuit import Circuit
from solarvent.wiring.harness import build_harness
from solarvent.wiring.network import circuits

#: Faults are tied with the leading one if their best fit is less than this many times less likely.
TIED = 4.0
#: What stays below this share of belief is not told.
_NEGLIGIBLE = 0.01
#: A suspect so much less likely than the best one is not tried with other spreads of the fans.
_HOPELESS = 6.0
#: With more unlike fans than this on one circuit less is tried, for every combination takes its time.
_MANY = 4
#: The share of its plate that a panel usually gives (common practice, no source: 0.65 to 1.0).
_USUAL_FACTOR = 0.93
Name = tuple[str, tuple[str, ...]]


@dataclass(frozen=True)
class Diagnosis:
    """What the readings of one circuit mean.

    Attributes
    ----------
    panels : tuple of str
        That feed the circuit.
    readings : dict of (str, str) to float
        What was read, without signs. [V], [A]
    ranking : tuple of Ranked
        Likeliest first.
    unread : tuple of str
        Fans at which nothing was read, so that a fault there is not excluded.
    minus : tuple of (str, str)
        Readings with a minus sign.
    over_limit : tuple of (str, float, float)
        Fans that were read above their limit, whatever else is wrong: id, reading, limit. [V]
    next_reading : NextReading or None
        None if nothing is tied, or no reading would help.
    light : tuple of float
        Light that the panels turn into current, as the readings have it: middle, low, high. [W/m2]
    """

    panels: tuple[str, ...]
    readings: dict[Place, float]
    ranking: tuple[Ranked, ...]
    unread: tuple[str, ...]
    minus: tuple[Place, ...]
    over_limit: tuple[tuple[str, float, float], ...]
    next_reading: NextReading | None
    light: tuple[float, float, float]


def diagnose(
    plan: Plan, taken: Taken, light: Light | None = None, progress: Callable[[float], None] | None = None
) -> tuple[Diagnosis, ...]:
    """Rank what may be wrong with each circuit on which a reading was taken.

    Parameters
    ----------
    plan : Plan
        The plan.
    taken : Taken
        The readings.
    light : Light, optional
        What is known of the light.
    progress : callable, optional
        Told now and then which share of a circuit's work is done.

    Returns
    -------
    tuple of Diagnosis
        One a circuit with readings.
    """
    found = []
    for circuit in circuits(build_harness(plan), plan):
        readings, seen = of_circuit(circuit, taken)
        if readings or seen:
            model = FaultModel(plan, circuit, light.temp_cell if light else None)
            found.append(Comparison(model, light or Light()).diagnose(readings, seen, progress))
    return tuple(found)


def of_circuit(circuit: Circuit, taken: Taken) -> tuple[dict[Place, float], dict[str, str]]:
    """Pick the readings of one circuit, and what was seen of its fans."""
    panels, fans = set(circuit.panel_ids), set(circuit.fan_ids)
    found: dict[Place, float] = {("panel_open", name): v for name, v in taken.panel_open.items() if name in panels}
    found |= {("panel_short", name): value for name, value in taken.panel_short.items() if name in panels}
    tables: tuple[tuple[str, set[str], Mapping[str, Pair]], ...] = (
        ("panel_", panels, taken.panel_joined),
        ("", fans, taken.fans),
    )
    for before, ids, table in tables:
        for name, pair in table.items():
            for kind, value in (("voltage", pair.voltage), ("current", pair.current)):
                if name in ids and value is not None:
                    found[before + kind, name] = value
    return found, {name: pair.seen for name, pair in taken.fans.items() if name in fans and pair.seen}


class Comparison:
    """The suspects of one circuit, ready to be held against readings.

    Parameters
    ----------
    model : FaultModel
        Of the circuit.
    light : Light
        What is known of the light.
    """

    def __init__(self, model: FaultModel, light: Light) -> None:
        self.model = model
        self._light_is_known = light.irradiance is not None and light.measured
        usual = _USUAL_FACTOR if self.model.panels[0].plate_factor is None else 1.0
        with np.errstate(divide="ignore"):
            history = np.log(self.model.weight)
        self._light = {weak: self._by_step(log_light(light, usual, weak)) + history for weak in (False, True)}

    def _by_step(self, by_light: np.ndarray) -> np.ndarray:
        """Spread what is known of the levels of light over the steps of the sweep."""
        once = np.concatenate([[-np.inf], by_light, [-np.inf], by_light[::-1]])
        return np.tile(once, self.model.light.size // once.size)

    def diagnose(
        self,
        signed: Mapping[Place, float],
        seen: Mapping[str, str] | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> Diagnosis:
        """Hold every suspect against the readings.

        Parameters
        ----------
        signed : mapping of (str, str) to float
            By kind of reading and part, as in a prediction. [V], [A]
        seen : mapping of str to str
            By fan, one of :data:`solarvent.bench.readings.SEEN`.
        progress : callable, optional
            Told now and then which share of the work is done.

        Returns
        -------
        Diagnosis
        """
        readings = {place: abs(value) for place, value in signed.items()}
        seen = seen or {}
        read = [
            name for name in self.model.fans if name in seen or {("voltage", name), ("current", name)} & readings.keys()
        ]
        joined = bool(read) or any(kind in ("panel_voltage", "panel_current") for kind, _ in readings)
        many = len(self.model.groups) > _MANY
        held_against = suspects(
            self.model.circuit, self.model.fans, read, joined=joined, weak_panel=self._light_is_known, brief=many
        )
        tallies: dict[Name, Tally] = {}
        reached: dict[tuple[str, Change], float] = {}
        spreads = () if many else SPREADS[1:]
        tries = [(suspect, change, share) for suspect in held_against for change, share in suspect.changes]
        for number, (suspect, change, share) in enumerate(tries):
            prior = suspect.prior * share * SPREADS[0][1]
            gained = self._tally(suspect, change, TYPICAL, prior, readings, seen, read, tallies)
            reached[suspect.fault, change] = gained
            if progress:
                progress(0.6 * number / len(tries))
        best = max(reached.values())
        for number, (suspect, change, share) in enumerate(tries):
            for band, usual in spreads if reached[suspect.fault, change] > best - _HOPELESS else ():
                self._tally(suspect, change, band, suspect.prior * share * usual, readings, seen, read, tallies)
            if progress:
                progress(0.6 + 0.4 * (number + 1) / len(tries))
        nothing = log(PRIOR_OF_UNKNOWN) + unexplained(readings, seen)
        sound_fit = max(
            (tally.fit for (_, parts), tally in tallies.items() if set(parts) <= set(read)), default=-np.inf
        )
        unread = set(self.model.fans) - set(read)
        # A fault at a fan that was not read, and that explains nothing better, is worth no line of its own.
        idle = {
            name for name, tally in tallies.items() if read and name[1] and set(name[1]) <= unread
            and tally.fit < sound_fit + log(TIED)
        }  # fmt: skip
        listed = {name: tally for name, tally in tallies.items() if name not in idle}
        total = np.logaddexp(nothing, np.logaddexp.reduce([tally.belief for tally in listed.values()]))
        leader = max(listed.values(), key=lambda tally: tally.belief)
        ranking = [
            Ranked(
                fault,
                parts,
                tally.by_cause(),
                exp(tally.belief - total),
                tally.fit > leader.fit - log(TIED),
                tally.expected,
            )
            for (fault, parts), tally in listed.items()
            if exp(tally.belief - total) > _NEGLIGIBLE
        ]
        if exp(nothing - total) > _NEGLIGIBLE:
            ranking.append(Ranked("unknown", (), (), exp(nothing - total), False, {}))
        ranking.sort(key=lambda one: -one.share)
        if sum(one.tied for one in ranking) == 1:
            ranking = [replace(one, tied=False) for one in ranking]
        return Diagnosis(
            tuple(panel.id for panel in self.model.panels),
            readings,
            tuple(ranking),
            tuple(sorted(unread)) if joined else tuple(self.model.fans),
            tuple(place for place, value in signed.items() if value < -0.2),
            tuple(
                (name, readings["voltage", name], fan.maximum_voltage)
                for name, fan in self.model.fans.items()
                if readings.get(("voltage", name), 0.0) > fan.maximum_voltage
            ),
            next_reading([(one, tallies[one.fault, one.parts]) for one in ranking if one.tied], readings, seen),
            light_found(tallies),
        )

    def _tally(
        self,
        suspect: Suspect,
        change: Change,
        band: Band,
        prior: float,
        readings: Mapping[Place, float],
        seen: Mapping[str, str],
        read: Sequence[str],
        tallies: dict[Name, Tally],
    ) -> float:
        """Gather what one change explains; return the best that it reaches."""
        light, best = self._light[suspect.weak_panel], -np.inf
        for prediction, share in self._variants(change, band):
            likelihood = log_likelihood(prediction, readings, seen, suspect.fault)
            best = max(best, log(prior) + float((light + likelihood).max()))
            for name, causes, steps in self._called(suspect, prediction, read):
                tally = tallies.setdefault(name, Tally())
                tally.add(causes, log(prior * share), light, likelihood, steps, prediction, readings)
        return best

    def _variants(self, change: Change, band: Band) -> list[tuple[Prediction, float]]:
        """A prediction, and the same with alike fans in each other's places: which of them starts first is chance."""
        prediction = self.model.prediction(change, band)
        free = [[name for name in group if name != change.fan] for group in self.model.groups]
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
            return [((suspect.fault, suspect.parts), suspect.causes, everywhere)]
        if not read:
            return [(("normal", ()), ("sound",), everywhere)]
        state = np.array([self._state(name, prediction) for name in read])
        kinds, at = np.unique(state, axis=1, return_inverse=True)
        found = []
        for number, column in enumerate(kinds.T):
            worst = int(column.min())
            fans = [self.model.fans[name] for name, kind in zip(read, column, strict=True) if kind == worst]
            fault, causes = name_of_sound(worst, fans)
            parts = () if fault == "normal" else tuple(fan.id for fan in fans)
            found.append(((fault, parts), causes, np.ravel(at) == number))
        return found

    def _state(self, name: str, prediction: Prediction) -> np.ndarray:
        """0 over-volted, 1 standing, 2 slow, 3 normal, by step."""
        fan, volts = self.model.fans[name], prediction.values["voltage", name][0]
        turning = np.where(volts > fan.maximum_voltage, 0, np.where(volts < fan.start_voltage, 2, 3))
        return np.where(prediction.running[name], turning, 1)
