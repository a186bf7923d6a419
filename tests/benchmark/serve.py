"""Whether the memory of the page's server stays where it is while several people use it for long.

    python tests/benchmark/serve.py            half an hour, about a third of a core
    python tests/benchmark/serve.py --minutes 5 --people 3          shorter, by fewer
    python tests/benchmark/serve.py --quick    only proves that it runs

Starts the program as a person does. Each of the people has plans of their own and does one thing after the other: goes
into rooms, types into fields and follows the parts that come of it, undoes, fills boxes, reads the meter, asks for the
year, pictures or report, and at times goes away before the answer is there. Prints, minute by minute,
the memory of server and workers (what each has for itself; medians, so that what an answer needs for a moment does not
count), and at the end the deeds. Exits 1 if memory has grown by more than 10 % since the third minute, by which what is
kept on purpose is there, or if an answer was an error (never for memory with ``--quick``).
"""

from __future__ import annotations

import argparse
import contextlib
import random
import re
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median

import httpx
import psutil

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
from hands import Served

MOST_GROWTH, FILLED = 1.10, 3
#: Means of what a person waits between two deeds, and how long an answer is given that nobody waits for. [s]
PAUSE, PATIENCE, IMPATIENCE = 9.0, 300.0, 0.2
ROOMS = ("place", "kit", "answer", "bench")
WAYS = ("example", "greenhouse", "coop", "van", "boxes")
#: Fields that every plan has, and values for them.
FIELDS = (
    ("house.length", lambda chance: f"{chance.uniform(2, 9):.1f} m"),
    ("house.width", lambda chance: f"{chance.uniform(2, 5):.1f} m"),
    ("place.latitude", lambda chance: f"{chance.uniform(30, 58):.2f}"),
    ("target.air_changes", lambda chance: f"{chance.randint(10, 60)}"),
    ("slide.tilt", lambda chance: f"{5 * chance.randint(0, 18)}"),
    ("slide.azimuth", lambda chance: f"{15 * chance.randint(0, 24)}"),
    ("slide.panel", lambda chance: f"{chance.randint(0, 4)}"),
    ("slide.water", lambda chance: f"{chance.randint(0, 8)}"),
    ("slide.oktas", lambda chance: f"{chance.randint(0, 8)}"),
)
PLUG, JACK = "barrel-5.5x2.1/plug", "barrel-5.5x2.1/jack"
THINGS = (
    {"kind": "panel", "part": "panel-30w", "end.outlet": PLUG, "positive.outlet": "centre"},
    {"kind": "fan", "part": "fan-12v-120x25", "end.inlet": JACK, "positive.inlet": "centre"},
    {"kind": "splitter", "branches": "3", "end.trunk": JACK, "end.branch": PLUG, "crosses": "no"},
)


class Person:
    """Somebody at the page, with its script; does things by chance, the same ones every time."""

    def __init__(self, running: Served, number: int) -> None:
        self.chance = random.Random(number)
        self.done: Counter[str] = Counter()
        self.errors: list[str] = []
        self._head = {"origin": running.base, "x-tab": f"tab-{number}"}
        self._client = httpx.Client(base_url=running.base, timeout=PATIENCE, follow_redirects=True)
        self._address, self._number, self._begun, self._plan = running.address, number, 0, ""

    def live(self, over: threading.Event, pause: float) -> None:
        """Do one thing after the other until it is over."""
        deeds = {
            self.begins: 1, self.looks: 6, self.changes: 12, self.goes_away: 3, self.undoes: 5, self.packs: 5,
            self.reads: 4, self.ticks: 1, self.pins: 1, self.saves: 1, self.asks: 4, self.reports: 1,
        }  # fmt: skip
        # At first everything once, without waiting: then what is kept on purpose is soon there.
        first = list(deeds)
        with self._client:
            self._client.get(self._address)
            while not over.is_set():
                deed = first.pop(0) if first else self.chance.choices(list(deeds), list(deeds.values()))[0]
                self.done[deed.__name__] += 1
                try:
                    deed()
                except httpx.HTTPError as error:
                    self.errors.append(f"{deed.__name__}: {error!r}")
                if not first:
                    over.wait(self.chance.uniform(0.5, 1.5) * pause)

    def _ask(self, method: str, address: str, **more: object) -> str:
        """Send a request about the plan; what a later one has overtaken is no error."""
        answer = self._client.request(method, f"/plan/{self._plan}/{address}", **more)
        if answer.status_code not in (200, 409) or 'role="alert"' in answer.text:
            self.errors.append(f"{answer.status_code} {method} {address} {more}")
        return answer.text

    def _part(self, name: str, room: str) -> str:
        return self._ask("GET", f"part/{name}?room={room}", headers=self._head)

    def _press(self, deed: str, room: str, **fields: str) -> str:
        return self._ask("POST", f"do/{deed}", headers=self._head | {"x-part": "yes"}, data={"room": room} | fields)

    def _type(self, room: str, timeout: float = PATIENCE, **fields: str) -> str:
        head = self._head | {"x-part": "yes"}
        return self._ask("POST", "change", headers=head, data={"room": room} | fields, timeout=timeout)

    def _change(self, room: str, timeout: float = PATIENCE) -> str:
        field, value = self.chance.choice(FIELDS)
        return self._type(room, timeout, **{field: value(self.chance), f"was.{field}": "x"})

    def begins(self) -> None:
        self._begun += 1
        self._plan = f"plan-{self._number}-{self._begun}"
        form = {"name": self._plan, "way": WAYS[(self._number + self._begun) % len(WAYS)]}
        self._client.post("/begin", headers=self._head, data=form).raise_for_status()

    def looks(self) -> None:
        self._client.get("/?list=yes").raise_for_status()
        self._ask("GET", self.chance.choice(ROOMS))

    def changes(self) -> None:
        text = self._change(self.chance.choice(ROOMS))
        while then := re.search(r'data-then="/plan/[^/]+/([^"]+)"', text):
            text = self._ask("GET", then[1], headers=self._head)

    def goes_away(self) -> None:
        with contextlib.suppress(httpx.TimeoutException):
            self._change("answer", timeout=IMPATIENCE)
            self._ask("GET", "answer", timeout=IMPATIENCE)

    def undoes(self) -> None:
        self._press(self.chance.choice(("undo", "undo", "redo")), "answer")
        self._part("days", "answer")

    def packs(self) -> None:
        self._press("box", "kit", **self.chance.choice(THINGS))
        self._part("pairing", "kit")

    def reads(self) -> None:
        readings = {"read.light": f"{self.chance.randint(200, 1000)}"}
        for name in re.findall(r'name="(read\.(?:open|volts)\.[^"]+)"', self._part("bench", "bench")):
            readings[name] = f"{self.chance.uniform(3, 22):.1f}"
        self._type("bench", **readings)
        self._part("meaning", "bench")

    def ticks(self) -> None:
        steps = re.findall(r'type="checkbox" name="(step\.[^"]+)"', self._part("checklist", "bench"))
        self._type("bench", **{step: self.chance.choice(("", "done")) for step in steps})

    def pins(self) -> None:
        self._press("pin", "answer")
        self._change("answer")
        self._part("difference", "answer")

    def saves(self) -> None:
        self._press("save", "place")
        self._ask("GET", "file")

    def asks(self) -> None:
        self._part(self.chance.choice(("year", "pictures")), "answer")

    def reports(self) -> None:
        self._ask("GET", "report")


def memory(process: psutil.Process) -> float:
    """Memory that a process has for itself. [MB]"""
    # Its part of what it shares would rise when any other program ends that has the same libraries loaded.
    try:
        return float(process.memory_full_info().uss / 1e6)
    except psutil.NoSuchProcess:
        return 0.0


def watched(server: psutil.Process, minutes: int, minute: float) -> list[float]:
    """Tell the memory of server and workers of every minute, of so many seconds each. [MB]"""
    totals: list[float] = []
    begin = time.monotonic()
    print("  minute   server  workers  together [MB]")
    while len(totals) < minutes:
        own, others = [], []
        while time.monotonic() < begin + (len(totals) + 1) * minute:
            time.sleep(minute / 12)
            own.append(memory(server))
            others.append(sum(memory(worker) for worker in server.children(recursive=True)))
        totals.append(median(map(sum, zip(own, others, strict=True))))
        print(f"  {len(totals):6} {median(own):8.1f} {median(others):8.1f} {totals[-1]:9.1f}", flush=True)
    return totals


def processor(server: psutil.Process) -> float:
    """Processor time of the server and its workers so far. [s]"""
    return sum(sum(one.cpu_times()[:2]) for one in (server, *server.children(recursive=True)))


def main() -> int:
    """Measure and print; 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="only prove that it runs")
    parser.add_argument("--minutes", type=int, default=30, help="how long (30)")
    parser.add_argument("--people", type=int, default=6, help="how many (6)")
    given = parser.parse_args()
    minutes, minute, pause, count = (4, 8.0, 0.5, 3) if given.quick else (given.minutes, 60.0, PAUSE, given.people)
    over = threading.Event()
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(count) as pool:
        running = Served(folder)
        server = psutil.Process(running.process.pid)
        people = [Person(running, number) for number in range(count)]
        try:
            lives = [pool.submit(person.live, over, pause) for person in people]
            totals = watched(server, minutes, minute)
            share = processor(server) / (minutes * minute)
            over.set()
            for life in lives:
                life.result()
        finally:
            over.set()
            running.end(signal.SIGTERM)
    done = sum((person.done for person in people), Counter())
    errors = [error for person in people for error in person.errors]
    growth = totals[-1] / totals[min(FILLED, minutes) - 1]
    print(f"{sum(done.values())} deeds ({', '.join(f'{name} {number}' for name, number in done.most_common())})")
    print(f"  {share:.2f} of a core; memory at the end {growth:.3f} of that of minute {FILLED}; {len(errors)} errors")
    for error in errors[:10]:
        print(f"  {error[:200]}")
    broken = {"memory": growth > MOST_GROWTH and not given.quick, "errors": bool(errors)}
    missed = [words for words, is_broken in broken.items() if is_broken]
    if missed:
        print("  MISSED: " + ", ".join(missed))
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
