"""How long a slider takes on the page: until the three days and the start are there, and until the year is.

    python tests/benchmark/page.py [--quick]

Starts the program, warms it, and moves sliders with one client and with twenty, each on a plan of its own, one after
the other without a pause. Every change is a new one, so nothing is answered from what is known. The aims on two idle
cores: one client 0.15 s for the days and 1 s for the year (p95); twenty clients no error, 3 s for the days. Processor
time, which a busy machine lengthens less, stands beside it (Linux).
"""

import argparse
import concurrent.futures
import os
import signal
import statistics
import sys
import tempfile
import time
from pathlib import Path

import httpx

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
from hands import Served

#: Field, and its value at the n-th move.
SLIDERS = (
    ("slide.tilt", lambda n: 5 * (n % 18)),
    ("slide.inlet", lambda n: 100 + 7 * n),
    ("slide.panel", lambda n: n % 5),
    ("slide.azimuth", lambda n: 15 * (n % 24)),
    ("slide.fans", lambda n: 1 + n % 4),
)


def one_client(base, address, name, moves):
    """Move sliders; seconds until the days, and until the year, of each move."""
    days, years = [], []
    with httpx.Client(base_url=base, timeout=300, follow_redirects=True) as client:
        client.get(address)
        head = {"origin": base, "x-part": "yes", "x-tab": name}
        client.post("/begin", data={"name": name, "way": "example"}, headers={"origin": base}).raise_for_status()
        for number in range(moves):
            field, value = SLIDERS[number % len(SLIDERS)]
            form = {"room": "answer", field: str(value(number)), f"was.{field}": "x"}
            start = time.perf_counter()
            client.post(f"/plan/{name}/change", data=form, headers=head).raise_for_status()
            days.append(time.perf_counter() - start)
            client.get(f"/plan/{name}/part/verdict", params={"room": "answer"}, headers=head).raise_for_status()
            years.append(time.perf_counter() - start)
    return days, years


def family(pid):
    """A process and its children."""
    return [str(pid), *Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def processor_time(pid):
    """Time that a process and its children have worked. [s]"""
    ticks = 0
    for one in family(pid):
        fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def told(words, seconds):
    cuts = statistics.quantiles(seconds, n=20, method="inclusive")
    print(f"    {words:<24} p50 {statistics.median(seconds):6.3f} s   p95 {cuts[-1]:6.3f} s   n {len(seconds)}")


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="a few moves, to prove that it runs")
    quick = options.parse_args().quick
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as folder:
        running = Served(folder)
        try:
            one_client(running.base, running.address, "warm", 4)
            for clients, moves in ((1, 6 if quick else 60), (3 if quick else 20, 2 if quick else 8)):
                before = processor_time(running.process.pid) if sys.platform == "linux" else 0.0
                with concurrent.futures.ThreadPoolExecutor(clients) as pool:
                    names = [f"c{clients}-{number}" for number in range(clients)]
                    work = [pool.submit(one_client, running.base, running.address, name, moves) for name in names]
                    pairs = [each.result() for each in work]
                print(f"{clients} client{'s' if clients > 1 else ''}")
                told("three days and start", [one for days, _ in pairs for one in days])
                told("the year", [one for _, years in pairs for one in years])
                if sys.platform == "linux":
                    spent = (processor_time(running.process.pid) - before) / (clients * moves)
                    print(f"    processor time of a move {spent:.3f} s, beginnings with it")
        finally:
            running.end(signal.SIGTERM)


if __name__ == "__main__":
    main()
