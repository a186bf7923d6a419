"""How long a year of operating points takes, as ratios measured in one run.

    python tests/benchmark/operating_points.py            full run, about a minute
    python tests/benchmark/operating_points.py --quick    only proves that it runs

The work: the daylight points of a year, one panel condition, two unlike fans on leads, three running sets (both stand,
one turns, both turn). It is compared with pvlib's maximum power point on the same points, and with what one would write
with pvlib and scipy: ``i_from_v`` inside ``brentq``, hour by hour and set by set. The light is made up: no network, no
weather file. Repetitions are interleaved, so that a slow moment of the machine meets all of them; medians are compared.
Exits 1 if a limit is passed (never with ``--quick``).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

LIMITS = {"operating points / max_power_point": 4.0, "hour by hour / operating points": 500.0}
HAND_WRITTEN_POINTS = 200
VOLTAGE_AT_25_DEGC = 0.9285  # n Ns k T / q of 36 cells


def year_of_light(days: int) -> tuple[np.ndarray, ...]:
    """Five parameters of a 20 W panel for the daylight hours, from sun height, cloud and cell temperature."""
    rng = np.random.default_rng(7)
    day, hour = np.repeat(np.arange(days), 24), np.tile(np.arange(24) + 0.5, days)
    declination = np.radians(-23.45 * np.cos(2 * np.pi * (day + 10) / 365))
    latitude = np.radians(36.0)
    angle = np.radians(15.0 * (hour - 12.0))
    height = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(angle)
    cloud = 1.0 - 0.75 * rng.beta(0.5, 0.7, len(hour)) ** 3.4
    irradiance = 1050.0 * np.maximum(height, 0.0) ** 1.15 * cloud
    temp_air = 14.0 - 10.0 * np.cos(2 * np.pi * (day - 20) / 365) + 5.0 * np.sin(np.radians(15.0 * (hour - 9.0)))
    light = irradiance > 1.0
    from pvlib.pvsystem import calcparams_desoto

    temp_cell = (temp_air + 0.03 * irradiance)[light]
    return tuple(
        np.broadcast_to(value, temp_cell.shape)
        for value in calcparams_desoto(
            irradiance[light], temp_cell, 0.0005, VOLTAGE_AT_25_DEGC, 1.173, 2.8e-11, 406.0, 1.05
        )
    )


def fans_and_circuit() -> tuple[dict, object]:
    """Two unlike fans, each on a lead, behind the lead of one panel."""
    from solarvent.electrical.operation import FanElectrical
    from solarvent.wiring.circuit import Circuit, Joined, Leaf, Through

    fans = {
        "small": FanElectrical("small", 12.0, 0.15, 0.95, 6.5, 4.5, 2.5, True),
        "large": FanElectrical("large", 12.0, 0.25, 1.05, 7.0, 5.0, 2.5, False),
    }
    legs = Joined("parallel", (Through(Leaf("small"), 0.4), Through(Leaf("large"), 0.6)))
    return fans, Circuit(Leaf("panel"), Through(legs, 0.3))


SETS = (("held", "held"), ("turning", "held"), ("turning", "turning"))


def by_curves(parameters: tuple, fans: dict, circuit: object) -> Callable:
    """Three running sets with this project's curves: sources and tables are made anew each time."""
    from solarvent.electrical.branches import LoadSide
    from solarvent.electrical.intersection import intersect
    from solarvent.electrical.source_side import SourceSide

    def work() -> list[np.ndarray]:
        source = SourceSide(circuit.source, {"panel": parameters})
        load = LoadSide(circuit.load, fans, source.highest)
        return [intersect(source.source, load.table({"small": small, "large": large})[0])[0] for small, large in SETS]

    return work


def by_hand(parameters: tuple, fans: dict) -> Callable:
    """What one would write: one hour and one set at a time, the voltage at the panel by ``brentq``."""
    from pvlib.pvsystem import i_from_v
    from scipy.optimize import brentq

    leads = {"small": 0.4, "large": 0.6}

    def behind_lead(voltage: float, name: str, state: str) -> float:
        fan = fans[name]
        if state == "held":
            return voltage / (fan.locked_rotor_resistance + leads[name])

        def excess(current: float) -> float:
            terminal = max(voltage - leads[name] * current, 0.0)
            return fan.rated_current * (terminal / fan.rated_voltage) ** fan.current_exponent - current

        return brentq(excess, 0.0, 5.0)

    def work() -> list[np.ndarray]:
        reached = []
        for states in SETS:
            volts = []
            for step in range(len(parameters[0])):
                values = [float(value[step]) for value in parameters]

                def excess(voltage: float, values: list = values, states: tuple = states) -> float:
                    given = float(i_from_v(voltage, *values))
                    joint = voltage - 0.3 * given
                    drawn = sum(behind_lead(joint, name, state) for name, state in zip(fans, states, strict=True))
                    return given - drawn

                volts.append(brentq(excess, 0.0, 30.0))
            reached.append(np.array(volts))
        return reached

    return work


def seconds(work: Callable) -> float:
    """Time of one call."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main() -> int:
    """Measure and print; 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    quick = parser.parse_args().quick

    from pvlib.pvsystem import max_power_point

    from solarvent.electrical.operation import operate

    parameters = year_of_light(10 if quick else 365)
    points = len(parameters[0])
    picked = np.linspace(0, points - 1, 3 if quick else HAND_WRITTEN_POINTS).astype(int)
    few = tuple(value[picked] for value in parameters)
    fans, circuit = fans_and_circuit()

    jobs = {
        "max_power_point": lambda: max_power_point(*parameters, method="newton"),
        "operating points": by_curves(parameters, fans, circuit),
        "operate (sets, tests, pass in time)": lambda: operate(circuit, {"panel": parameters}, fans),
    }
    hand = by_hand(few, fans)

    # The panel voltage of the hand-written way and the voltage at the cut are the same here: the panel has no lead.
    for ours, theirs in zip(by_curves(few, fans, circuit)(), hand(), strict=True):
        assert np.allclose(ours, theirs, rtol=1e-3), "the two ways must agree before they are timed"

    rounds = 1 if quick else 15
    times: dict[str, list[float]] = {name: [] for name in [*jobs, "hour by hour"]}
    for turn in range(rounds):
        for name, work in jobs.items():
            times[name].append(seconds(work))
        if turn % 5 == 0:
            times["hour by hour"].append(seconds(hand) * points / len(picked))
    middle = {name: median(values) for name, values in times.items()}

    print(f"{points} daylight points, {len(SETS)} running sets, medians of {rounds} interleaved rounds")
    for name, value in middle.items():
        print(f"  {name:40s} {1e3 * value:12.2f} ms" + (" (scaled)" if name == "hour by hour" else ""))
    ratios = {
        "operating points / max_power_point": middle["operating points"] / middle["max_power_point"],
        "operate / max_power_point": middle["operate (sets, tests, pass in time)"] / middle["max_power_point"],
        "hour by hour / operating points": middle["hour by hour"] / middle["operating points"],
    }
    missed = []
    for name, ratio in ratios.items():
        limit = LIMITS.get(name)
        kept = limit is None or (ratio >= limit if name.startswith("hour") else ratio <= limit)
        word = "" if limit is None else f"   limit {limit:g} {'kept' if kept else 'not judged' if quick else 'MISSED'}"
        print(f"  {name:40s} {ratio:12.2f}{word}")
        missed += [] if kept else [name]
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
