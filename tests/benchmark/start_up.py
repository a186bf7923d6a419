"""How long whole commands take, as ratios to importing what they rest on, in fresh interpreters.

    python tests/benchmark/start_up.py            about a minute
    python tests/benchmark/start_up.py --quick    only proves that it runs

Each command and the import it is held against run in turn, so that a slow moment of the machine meets both; medians of
the ratios are compared. Exits 1 if a limit is passed (never with ``--quick``).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parents[2]

#: Command, what it is held against, and the most that it may take of it.
LIMITS = (
    ("--help", "import click", 2.5),
    ("run", "import pvlib", 2.5),
    ("airflow --year", "import pvlib", 3.0),
    ("meter", "import pvlib", 2.5),
    ("size --fans 2", "import pvlib", 3.0),
    ("report", "import pvlib", 4.0),
)


def seconds(*command: str) -> float:
    """Time one process; its output is thrown away, its exit code is not judged."""
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, *command], stdout=subprocess.DEVNULL, env=os.environ | {"PYTHONPATH": path}, check=False
    )
    return time.perf_counter() - begin


def main() -> int:
    """Measure and print; 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    quick = parser.parse_args().quick
    missed = []
    for arguments, base, limit in LIMITS:
        pairs = [
            (seconds("-m", "solarvent", *arguments.split()), seconds("-c", base)) for _ in range(1 if quick else 9)
        ]
        ratio = median(ours / theirs for ours, theirs in pairs)
        words = f"solarvent {arguments} / {base}"
        ours = median(pair[0] for pair in pairs)
        verdict = "kept" if ratio <= limit else "not judged" if quick else "MISSED"
        print(f"  {words:48s} {ratio:6.2f}   limit {limit:g} {verdict}   ({ours:.2f} s)")
        missed += [words] if ratio > limit else []
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
