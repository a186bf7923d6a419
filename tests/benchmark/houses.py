"""Speed of the house model: a year of one plan, and a thousand houses through a year, as ratios to `import pvlib`.

    python tests/benchmark/houses.py [--quick]

The thousand houses differ in cover, light, floor, water and the size of their openings; each has a low inlet, a roof
vent on a wax opener, cracks, wind and draught, and its flows and temperatures are brought to agree hour by hour. They
are worked on in batches by two processes.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

HOUSES, STEPS, BATCH = 1000, 8760, 25
MOST_SECONDS, MOST_IMPORTS = 60.0, 4.0


def import_seconds() -> float:
    """Time that a fresh process needs to import pvlib, the least of three. [s]"""
    code = "import time; t = time.perf_counter(); import pvlib; print(time.perf_counter() - t)"
    runs = [subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True) for _ in range(3)]
    return min(float(run.stdout) for run in runs)


def command_seconds() -> float:
    """Time of a whole `solarvent run` of the embedded example, house and all, the least of three. [s]"""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "solarvent", "run"], capture_output=True, check=True)
        times.append(time.perf_counter() - start)
    return min(times)


def embedded():
    """The house of the embedded example under its year, and the wind on two of its walls."""
    from solarvent.house.model import house_model
    from solarvent.plan.plan import load_plan
    from solarvent.weather.conditions import conditions
    from solarvent.weather.sun import solar_position

    loaded = load_plan()
    sun = conditions(loaded)
    place = loaded.record.place
    position = solar_position(sun.weather.index, place.latitude, place.longitude, place.altitude)
    model = house_model(loaded, sun.weather, position, np.asarray(sun.times.month), sun.step)
    return model.part(slice(0, STEPS))


def batch(model, seed: int, steps: int) -> float:
    """Carry one batch of houses through the year; the largest disagreement. [K]"""
    from solarvent.air.airflow import OpeningPath, house_flow
    from solarvent.air.opening import combined_flow, lagged_temperature, leakage_flow, opened_share, stack_pressure
    from solarvent.house.envelope import FLOOR_NODES
    from solarvent.house.heat_balance import Masses, Surroundings, solve_coupled

    model = model.part(slice(0, steps))
    rng = np.random.default_rng(seed)
    size = rng.uniform(0.6, 2.0, BATCH)
    loss = model.u_value[:, None] * model.cover_area * size * rng.uniform(0.6, 1.6, BATCH)
    light = size * rng.uniform(0.7, 1.2, BATCH)
    water = rng.uniform(0.0, 1.0, BATCH) * 4 * 0.87e6
    # The nodes of a floor make one floor only together; the water stands beside them.
    floor = slice(0, FLOOR_NODES)
    masses = Masses(
        np.vstack([model.masses.capacity[floor] * size, water + 1e4]),
        np.vstack([model.masses.conductance[floor] * size, (water + 1e4) / 0.87e6 * 15.5]),
        np.vstack([model.masses.far_conductance[floor] * size, np.zeros(BATCH)]),
    )
    sun_mass = model.sun_mass[:, floor, None] * light
    around = Surroundings(
        loss,
        loss * model.temp_sol_air[:, None],
        model.sun_air[:, None] * light,
        np.concatenate([sun_mass, 0.2 * sun_mass.sum(axis=1, keepdims=True)], axis=1),
        model.temp_ground[:, None],
    )
    low, high = rng.uniform(0.01, 0.1, BATCH), rng.uniform(0.02, 0.2, BATCH)
    wind = 0.3 * 0.6 * (0.5 * model.wind_speed) ** 2

    def flow(temp, wanted):
        share = opened_share(lagged_temperature(temp, 3600.0, 900.0), 18.0, 10.0)
        step, house = np.nonzero(wanted)
        inside = temp[step, house]
        per_metre = stack_pressure(1.0, inside, model.temp_air[step])
        openings = [
            OpeningPath(low[house], wind[step] - 0.3 * per_metre),
            OpeningPath(high[house] * share[step, house], -1.9 * per_metre),
        ]
        air = house_flow([], openings)
        total = np.zeros(temp.shape)
        leak = leakage_flow(0.01, inside - model.temp_air[step], model.wind_speed[step])
        total[step, house] = combined_flow(air.inflow, leak)
        return total

    start = np.full(BATCH, model.temp_air[0])
    result = solve_coupled(
        3600.0, around, masses, model.air_capacity * size, model.temp_air[:, None], model.density[:, None], flow,
        lambda temp, moved: np.zeros_like(temp), start, np.tile(start, (FLOOR_NODES + 1, 1)),
    )  # fmt: skip
    assert np.isfinite(result.march.temp_air).all()
    return result.residual


def main() -> None:
    """Print seconds, ratios and what they are held against."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="50 houses through 60 days, to prove that it runs")
    quick = parser.parse_args().quick
    houses, steps = (50, 1440) if quick else (HOUSES, STEPS)
    model = embedded()
    start = time.perf_counter()
    with ProcessPoolExecutor(2) as pool:
        count = houses // BATCH
        residual = max(pool.map(batch, [model] * count, range(count), [steps] * count))
    seconds = time.perf_counter() - start
    print(f"{houses} houses x {steps} h on 2 processes: {seconds:.1f} s, residual {residual:.3f} K")
    if quick:
        return
    print(f"  held against {MOST_SECONDS:.0f} s: {'holds' if seconds <= MOST_SECONDS else 'FAILS'}")
    imports, command = import_seconds(), command_seconds()
    ratio = command / imports
    print(f"solarvent run, house and all: {command:.2f} s = {ratio:.1f} x import pvlib ({imports:.2f} s)")
    print(f"  held against {MOST_IMPORTS:.0f} x: {'holds' if ratio <= MOST_IMPORTS else 'FAILS'}")
    if seconds > MOST_SECONDS or ratio > MOST_IMPORTS:
        sys.exit(1)


if __name__ == "__main__":
    main()
