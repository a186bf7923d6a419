"""How long very many places take, with how much memory, and what a second worker is worth.

    python tests/benchmark/many.py            1,000 places x 28 designs x 8,760 hours, then three parts of them
    python tests/benchmark/many.py --places 40          fewer places, the same questions
    python tests/benchmark/many.py --quick    only proves that it runs

Places of five climates between 30 and 58 degrees north, each with a house and a tilt of its own; four ways to meet the
voltage of the fans times seven panels. All by dask with a process a worker, into a folder each. Prints minutes,
processor time of a row, the most memory of a worker, and three ratios: one worker to two, ten times the places to one
time, and the memory of a worker at the end to that after a tenth. Exits 1 if a limit is passed (never with
``--quick``).
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

LEAST_GAIN, SHARES, MOST_GROWTH = 1.8, (9.0, 11.0), 1.15
CLIMATES = ("cool-maritime", "mediterranean", "humid-continental", "hot-desert", "semi-arid-steppe")
WAYS = (("fan-12v-120x25", None), ("fan-24v-120x25", None), ("fan-12v-120x25", "buck-12v"),
        ("fan-12v-120x25", "clamp-13v"))  # fmt: skip


def places(count: int) -> list[dict[str, Any]]:
    """Some places, the same every time."""
    chance = random.Random(18)
    return [
        {
            "id": f"place-{number}", "latitude": round(chance.uniform(30, 58), 2), "climate": chance.choice(CLIMATES),
            "longitude": round(chance.uniform(-120, 20), 2), "panel.tilt": chance.randrange(10, 70),
            "house.length [m]": round(chance.uniform(2, 6), 1),
        }
        for number in range(count)
    ]  # fmt: skip


def designs(quick: bool) -> list[dict[str, Any]]:
    """Twenty-eight of them."""
    return [
        {"id": f"{fan} {part} {watts}", "watts": watts, "fan.part": fan, "wiring.converter": part}
        for fan, part in (WAYS[:1] if quick else WAYS)
        for watts in ((20, 50) if quick else (5, 10, 15, 20, 30, 50, 100))
    ]


def memory() -> float:
    """Memory that this process holds now [MiB]; dask calls it in each worker."""
    import psutil

    return float(psutil.Process().memory_info().rss / 2**20)


def processor() -> float:
    """Processor time of this process so far [s]; dask calls it in each worker."""
    return time.process_time()


def once(asked: Any, client: Any, folder: str) -> tuple[float, float, list[float]]:
    """Work a study out; seconds by the clock, seconds of the processors, and the memory of a worker by tenths. [MiB]"""
    from solarvent.report.many_text import ManyFolder
    from solarvent.studies.many import work

    kept, held, done = ManyFolder(Path(folder) / "results", asked.manifest), [], 0

    def progress(number: int) -> None:
        nonlocal done
        done += number
        if done * 10 // len(asked.places) > len(held):
            held.append(max(client.run(memory).values()))

    spent = sum(client.run(processor).values())
    begin = time.perf_counter()
    work(asked, kept.missing(asked.chunks), kept.keep, client, progress)
    clock = time.perf_counter() - begin
    return clock, sum(client.run(processor).values()) - spent, held


def main() -> int:
    """Measure and print; 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    parser.add_argument("--places", type=int, default=1000, help="how many (1000)")
    given = parser.parse_args()
    quick, count = given.quick, 4 if given.quick else given.places

    from solarvent.plan.plan import load_plan
    from solarvent.studies.many import engine, prepare

    loaded, tried = load_plan(), designs(quick)
    whole = prepare(loaded, places(count), tried)
    tenth = prepare(loaded, places(count)[: max(count // 10, 2)], tried)
    warm = prepare(loaded, places(2), tried)
    found: dict[str, tuple[float, float, list[float]]] = {}
    for workers in (2, 1):
        with engine(workers=workers) as client:
            client.wait_for_workers(workers)
            for name, asked in (("warm", warm), ("tenth", tenth), *([("whole", whole)] if workers == 2 else [])):
                with tempfile.TemporaryDirectory() as folder:
                    found[f"{name} {workers}"] = once(asked, client, folder)
    clock, spent, held = found["whole 2"]
    rows = count * len(tried)
    # Chunks of the tenth are few: what it takes is held against the processor time of the whole, not against its clock.
    gain = found["tenth 1"][0] / found["tenth 2"][0]
    share = spent / found["tenth 2"][1] * len(tenth.places) / count * 10
    growth = held[-1] / held[0] if held else float("nan")
    print(f"{count} places x {len(tried)} designs x 8760 hours on two workers: {clock / 60:.1f} min")
    print(f"  {1e3 * spent / rows:.1f} ms of processor a row, {spent / count:.2f} s a place")
    print(f"  a worker holds {max(held, default=float('nan')):.0f} MiB at the most; at the end {growth:.2f} of a tenth")
    print(f"  one worker takes {gain:.2f} times as long as two")
    print(f"  ten times the places take {share:.1f} times the processor")
    missed = [
        words
        for words, broken in (
            ("workers", gain < LEAST_GAIN),
            ("linear", not SHARES[0] <= share <= SHARES[1]),
            ("memory", growth > MOST_GROWTH),
        )
        if broken
    ]
    if missed:
        print("  MISSED: " + ", ".join(missed))
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
