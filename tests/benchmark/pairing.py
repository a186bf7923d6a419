"""How long the search takes for joints that feed every fan, in random boxes that have such joints.

    python tests/benchmark/pairing.py            some seconds
    python tests/benchmark/pairing.py --quick    only proves that it runs

Exits 1 if the slowest box passes its limit (never with ``--quick``). The boxes are those of the tests of the search.
"""

from __future__ import annotations

import argparse
import sys
import time
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "wiring")]

#: Parts beside the panel (fans, splitters, leads and adapters), and the most that the slowest box may take. [s]
LIMITS = (((4, 2, 5), 0.2), ((12, 6, 21), 2.0))
BOXES = 8


def main() -> int:
    """Measure and print; 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    quick = parser.parse_args().quick

    # Loaded first, so that its half second is not counted.
    import_module("scipy.optimize")
    from test_pairing_search import FAMILIES, every_side, planted

    from solarvent.wiring.pairing_search import search

    missed = 0
    for counts, limit in LIMITS:
        taken = []
        for seed in range(1 if quick else BOXES):
            sources, parts = planted(seed, *counts)
            begin = time.perf_counter()
            found = search(sources, parts, FAMILIES, {}, every_side)
            taken.append(time.perf_counter() - begin)
            assert found.costs[1:3] == (0, 0), "every fan is fed, and none wrongly"
        kept = max(taken) <= limit
        verdict = "kept" if kept else "not judged" if quick else "MISSED"
        words = f"1 panel, {counts[0]} fans, {counts[1]} splitters, {counts[2]} leads and adapters"
        print(f"  {words:60s} {min(taken):.3f} to {max(taken):.3f} s   limit {limit:g} s {verdict}")
        missed += not kept
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
