"""How long ten thousand designs take through every hour of a year, against one design at a time.

    python tests/benchmark/designs.py            full run, about two minutes
    python tests/benchmark/designs.py --quick    only proves that it runs

Panels x converters x leads x tilts x numbers of fans, over the 8,760 hours of the embedded year. Some designs are also
simulated alone, with the sun and the weather on the panel already worked out, and must agree: voltages to 0.05 V, hours
and times to one step. Prints designs a second, the ratio to one design at a time, the growth of time with the number of
designs, and the most memory. Exits 1 if a limit is passed (never with ``--quick``).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

MOST_SECONDS, LEAST_RATIO, MOST_MEMORY, MOST_BEND = 120.0, 20.0, 1.5, 1.25
VOLTS, STEP = 0.05, 1.0
ALONE = 24


def bar(designs: Iterable[Any]) -> Iterator[Any]:
    """Show how far it is on a terminal."""
    import click

    every = list(designs)
    if not sys.stderr.isatty():
        yield from every
        return
    with click.progressbar(every, label="designs", file=sys.stderr) as shown:
        yield from shown


def tried(loaded: Any, quick: bool) -> list[Any]:
    """All designs, mixed so that any part of them is like the whole."""
    from solarvent.studies.size_designs import base_fan, designs

    watts = np.geomspace(5.0, 100.0, 2 if quick else 25).tolist()
    wires = ["20 AWG"] if quick else ["16 AWG", "18 AWG", "20 AWG", "24 AWG"]
    tilts = [30.0] if quick else [10.0, 25.0, 40.0, 55.0, 70.0]
    fan = base_fan(loaded, "fan-12v-120x25", False)
    every = designs(loaded, fan, [1] if quick else [1, 2, 3, 4, 5], watts, wires, tilts)
    return [every[k] for k in np.random.default_rng(3).permutation(len(every))]


def alone(design: Any, loaded: Any, sun: Any) -> tuple[float, ...]:
    """The figures of a design by the public way: one plan, one simulation."""
    from solarvent.electrical.bands import TYPICAL
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

    from solarvent.plan.loading import load_plan
    from solarvent.studies.size_designs import plan_of
    from solarvent.studies.size_sweep import sweep
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
        found = sweep(loaded, part, progress=bar, known=suns)
        times[len(part)] = time.perf_counter() - begin

    one_by_one, worst_volts, worst_step = [], 0.0, 0.0
    for place in np.linspace(0, len(every) - 1, 4 if quick else ALONE).astype(int):
        design = every[place]
        begin = time.perf_counter()
        some, both, volts = alone(design, loaded, suns[design.tilt, design.azimuth])
        one_by_one.append(time.perf_counter() - begin)
        worst_step = max(worst_step, abs(some - found.hours_running[place]), abs(both - found.hours_all[place]))
        if some:
            worst_volts = max(worst_volts, abs(volts - found.voltage[place]))

    counts, seconds = list(times), list(times.values())
    rate = counts[-1] / seconds[-1]
    ratio = median(one_by_one) * rate
    bend = (seconds[-1] / counts[-1]) / (seconds[0] / counts[0])
    print(f"{counts[-1]} designs x 8760 hours: {seconds[-1]:.1f} s, {rate:.0f} designs a second")
    print(f"  one design at a time {median(one_by_one) * 1e3:.0f} ms (sun and weather known), ratio {ratio:.1f}")
    print(f"  time of a design, all against a quarter of them: {bend:.2f}")
    print(f"  most memory {memory():.2f} GiB")
    print(f"  against the same designs alone: {worst_volts:.3f} V, {worst_step:.2f} h")
    missed = [
        words
        for words, broken in (
            ("seconds", seconds[-1] > MOST_SECONDS),
            ("ratio", ratio < LEAST_RATIO),
            ("memory", memory() > MOST_MEMORY),
            ("linear", bend > MOST_BEND),
            ("voltage", worst_volts > VOLTS),
            ("step", worst_step > STEP),
        )
        if broken
    ]
    if missed:
        print("  MISSED: " + ", ".join(missed))
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
