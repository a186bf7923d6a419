"""How long ten thousand designs take through every hour of a year, against one design at a time.

    python tests/benchmark/designs.py            full run, about two minutes
    python tests/benchmark/designs.py --quick    only proves that it runs

Panels x converters x leads x tilts x numbers of fans, over the 8,760 hours of the embedded year, by the way that
`size` takes: designs that differ in the size of their panel only together. All of them go in one process, and then
shared by as many as there are cores, which must give the same to the last digit. Some designs are also simulated alone,
with the sun and the weather on the panel already worked out, and must agree to rounding. Prints designs a second, the
ratio to one design at a time, the growth of time with the number of designs, and the most memory of one process.
Exits 1 if a limit is passed (never with ``--quick``).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

MOST_SECONDS, LEAST_RATIO, MOST_MEMORY, MOST_BEND = 120.0, 10.0, 1.5, 1.25
VOLTS, HOURS = 1e-6, 1e-6
ALONE = 24


def bar(total: int) -> Any:
    """Show how far it is on a terminal."""
    import click

    return click.progressbar(length=total, label="designs", file=sys.stderr, hidden=not sys.stderr.isatty())


def tried(loaded: Any, quick: bool) -> list[Any]:
    """All designs, mixed so that any part of them is like the whole."""
    from solarvent.studies.size_designs import base_fan, designs

    watts = np.geomspace(5.0, 100.0, 2 if quick else 25).tolist()
    wires = ["20 AWG"] if quick else ["16 AWG", "18 AWG", "20 AWG", "24 AWG"]
    tilts = [30.0] if quick else [10.0, 25.0, 40.0, 55.0, 70.0]
    fan = base_fan(loaded, "fan-12v-120x25", False)
    every = designs(loaded, fan, [1] if quick else [1, 2, 3, 4, 5], watts, wires, tilts)
    return [every[k] for k in np.random.default_rng(3).permutation(len(every))]


def together(every: Sequence[Any], loaded: Any, suns: dict[tuple[float, float], Any], workers: int = 1) -> np.ndarray:
    """Hours in which a fan turns, and in which all do; mean voltage at the first that turns; shape (designs, 3)."""
    from solarvent.base.processes import spread
    from solarvent.studies.size_work import wired_as

    alike: dict[Any, list[int]] = {}
    for number, design in enumerate(every):
        alike.setdefault(wired_as(design), []).append(number)
    figures = np.empty((len(every), 3))
    groups = list(alike.values())
    done = spread(partial(wired_alike, loaded, suns), [[every[k] for k in numbers] for numbers in groups], workers)
    with bar(len(every)) as shown:
        for numbers, found in zip(groups, done, strict=True):
            figures[numbers] = found
            shown.update(len(numbers))
    return figures


def wired_alike(loaded: Any, suns: dict[tuple[float, float], Any], alike: Sequence[Any]) -> list[Any]:
    """The figures of designs that differ in the size of their panels only."""
    from solarvent.studies.size_designs import plan_of
    from solarvent.studies.size_fans import SizedCircuits
    from solarvent.studies.size_work import AT_ONCE

    first, found = alike[0], []
    wired, sun = SizedCircuits(plan_of(first, loaded)), suns[first.tilt, first.azimuth]
    weight = sun.sky_states.moment_weight * sun.step / 3600.0
    order = sun.sky_states.order
    lights = {
        name: (light.section_irradiance[..., order], light.temp_cell[order]) for name, light in sun.panel_states.items()
    }
    most = max(AT_ONCE // len(weight), 1)
    for begin in range(0, len(alike), most):
        sizes = [design.panel_watts / first.panel_watts for design in alike[begin : begin + most]]
        courses = wired.courses(lights, sizes, np.ones(len(weight), dtype=bool))
        found += [summed(course.running, course.voltage, weight) for course in courses]
    return found


def summed(running: np.ndarray, voltage: np.ndarray, weight: np.ndarray) -> tuple[float, float, float]:
    """Hours of any fan and of all, and the mean voltage at the first that turns in each moment."""
    some = running.any(axis=0)
    volts = voltage.max(axis=0, initial=0.0)
    hours = float(weight[some].sum())
    mean = float((weight * volts).sum()) / hours if hours else float("nan")
    return hours, float(weight[running.all(axis=0)].sum()), mean


def alone(design: Any, loaded: Any, sun: Any) -> tuple[float, ...]:
    """The figures of a design by the public way: one plan, one simulation."""
    from solarvent.electrical.panel_model import TYPICAL
    from solarvent.simulation.simulate import simulate_under
    from solarvent.studies.size_designs import plan_of

    run = simulate_under(plan_of(design, loaded), sun, (TYPICAL,), house=False)
    turning = run.electrical.running
    most = turning.max(axis=0)
    volts = run.electrical.fan_voltage[np.argmax(turning, axis=0), np.arange(turning.shape[1])]
    mean = float((volts * most).sum() / most.sum()) if most.sum() else float("nan")
    return float(most.sum()), float(turning.min(axis=0).sum()), mean


def memory() -> float:
    """Most memory of this process so far [GiB]; NaN where it cannot be had."""
    try:
        import resource
    except ImportError:
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def main() -> int:
    """Measure and print; 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    quick = parser.parse_args().quick

    from solarvent.base.processes import cores
    from solarvent.plan.plan import load_plan
    from solarvent.studies.size_designs import plan_of
    from solarvent.weather.conditions import conditions

    loaded = load_plan()
    every = tried(loaded, quick)
    suns = {}
    for design in every:
        if (place := (design.tilt, design.azimuth)) not in suns:
            suns[place] = conditions(plan_of(design, loaded))

    times = {}
    for share in (0.25, 0.5, 1.0):
        part = every[: max(round(share * len(every)), 1)]
        begin = time.perf_counter()
        found = together(part, loaded, suns)
        times[len(part)] = time.perf_counter() - begin

    begin = time.perf_counter()
    is_same = np.array_equal(found, together(every, loaded, suns, cores()), equal_nan=True)
    shared = time.perf_counter() - begin

    one_by_one, misses = [], [np.zeros(3)]
    for place in np.linspace(0, len(every) - 1, 4 if quick else ALONE).astype(int):
        design = every[place]
        begin = time.perf_counter()
        figures = alone(design, loaded, suns[design.tilt, design.azimuth])
        one_by_one.append(time.perf_counter() - begin)
        misses.append(np.abs(np.nan_to_num(figures) - np.nan_to_num(found[place])))
    *worst_hours, worst_volts = np.max(misses, axis=0).tolist()

    counts, seconds = list(times), list(times.values())
    rate = counts[-1] / seconds[-1]
    ratio = median(one_by_one) * rate
    bend = (seconds[-1] / counts[-1]) / (seconds[0] / counts[0])
    print(f"{counts[-1]} designs x 8760 hours: {seconds[-1]:.1f} s, {rate:.0f} designs a second")
    print(f"  one design at a time {median(one_by_one) * 1e3:.0f} ms (sun and weather known), ratio {ratio:.1f}")
    print(f"  shared by {cores()} processes: {shared:.1f} s")
    print(f"  time of a design, all against a quarter of them: {bend:.2f}")
    print(f"  most memory {memory():.2f} GiB")
    print(f"  against the same designs alone: {worst_volts:.1e} V, {max(worst_hours):.1e} h")
    missed = [
        words
        for words, broken in (
            ("seconds", seconds[-1] > MOST_SECONDS),
            ("ratio", ratio < LEAST_RATIO),
            ("memory", memory() > MOST_MEMORY),
            ("linear", bend > MOST_BEND),
            ("voltage", worst_volts > VOLTS),
            ("hours", max(worst_hours) > HOURS),
            ("the same from processes", not is_same),
        )
        if broken
    ]
    if missed:
        print("  MISSED: " + ", ".join(missed))
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
