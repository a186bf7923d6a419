"""How long a grid of tilts and azimuths takes beside one tilt, as ratios measured in one run.

    python tests/benchmark/orientation.py            full run, some seconds
    python tests/benchmark/orientation.py --quick    only proves that it runs

Both ways begin with the position of the sun through the year. Repetitions are interleaved; the least of each is
compared, for the machine may be busy.
Exits 1 if the limit is passed (never with ``--quick``).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

# One tilt goes through the same kernel, so that most of its time is that of the sun.
LIMIT = 3.0


def main() -> int:
    """Measure and print; 1 if the limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    quick = parser.parse_args().quick

    from solarvent.studies.orientation import TILTS
    from solarvent.weather import planes, sun
    from solarvent.weather.planes import azimuths_of
    from solarvent.weather.reading import embedded_weather

    weather = embedded_weather()
    light = {name: weather[name].to_numpy() for name in ("ghi", "dni", "dhi")}
    azimuths = azimuths_of(36.1)
    facing, tilts = np.repeat(azimuths, len(TILTS)), np.tile(np.array(TILTS, dtype=float), len(azimuths))

    def sun_alone():
        return sun.solar_position(weather.index, 36.1, -79.95, 273.0)

    def one_tilt():
        return planes.plane_of_array(sun_alone(), 35.0, 225.0, **light).effective_global

    def grid():
        lit = light["ghi"] > 0
        position = sun.solar_position(weather.index[lit], 36.1, -79.95, 273.0)
        some = {name: values[lit] for name, values in light.items()}
        return planes.plane_of_array(position, tilts, facing, **some).effective_global

    jobs = {"sun alone": sun_alone, "one tilt": one_tilt, "grid": grid}
    times: dict[str, list[float]] = {name: [] for name in jobs}
    for job in jobs.values():
        job()
    for _ in range(1 if quick else 25):
        for name, job in jobs.items():
            begin = time.perf_counter()
            job()
            times[name].append(time.perf_counter() - begin)
    least = {name: min(values) for name, values in times.items()}
    for name, value in least.items():
        print(f"  {name:40s} {1e3 * value:10.2f} ms")
    ratio = least["grid"] / least["one tilt"]
    print(f"  {len(tilts)} planes / (sun and one tilt)             {ratio:10.2f}   limit {LIMIT:g}")
    return 1 if ratio > LIMIT and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
