"""Many places at once, on dask: the places in chunks, each chunk one call of a pure function, wherever dask runs it."""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import re
import signal
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarvent.base.errors import OutputError, PlanError, Problem, SolarventError, nearest
from solarvent.plan.library import KINDS
from solarvent.plan.plan import Plan
from solarvent.studies.place_rows import ORDER, ManyStudy, work_out
from solarvent.studies.places import (
    REACH,
    PlaceRow,
    Source,
    mistakes_of,
    read_designs,
    read_places,
)
from solarvent.weather.conditions import weather_path
from solarvent.weather.reading import stations

if TYPE_CHECKING:
    from distributed import Client

ENGINES = ("processes", "threads", "one")
#: Packages whose versions decide about the numbers, and so must be the same everywhere.
_DECIDING = ("solarvent", "numpy", "pandas", "scipy", "pvlib", "pydantic")
#: What a row takes by each chain, and what a place takes by itself, on a processor of 2023 (measured, rounded). [s]
_SECONDS = {True: 0.5, False: 0.02}
_SECONDS_A_PLACE = 0.1
#: Work of a chunk, so that little is lost with it; and the most chunks of one study. [s], [-]
_CHUNK_SECONDS, _MOST_CHUNKS = 10.0, 10_000
#: What a worker keeps of freed memory, and from which size on memory is not kept at all (that of the GNU C library).
_MALLOC = {"MALLOC_TRIM_THRESHOLD_": 256 << 20, "MALLOC_MMAP_THRESHOLD_": 32 << 20}
_ANSWER, _WORKER = 10, 30
"""How long a scheduler may take to answer, and to have its first worker. [s]"""


@dataclass(frozen=True, eq=False)
class ManyPlan:
    """A study that is ready to be worked out.

    `manifest` says what it rests on, and tells it from any other; `mistakes` are those of single rows, which stay as
    rows with their reason.
    """

    study: ManyStudy
    places: tuple[PlaceRow, ...]
    manifest: dict[str, Any]
    mistakes: tuple[Problem, ...]

    @property
    def chunks(self) -> int:
        """Number of chunks."""
        return -(-len(self.places) // self.places_of_a_chunk)

    @property
    def places_of_a_chunk(self) -> int:
        """How many places go together; the last chunk may have fewer."""
        return int(self.manifest["places_of_a_chunk"])

    def chunk(self, number: int) -> tuple[PlaceRow, ...]:
        """The places of one chunk."""
        size = self.places_of_a_chunk
        return self.places[number * size : (number + 1) * size]


def prepare(
    plan: Plan,
    places: Source,
    designs: Source | None = None,
    weather: Path | None = None,
    reach: float = REACH,
    whole: bool | None = None,
    strict: bool = False,
) -> ManyPlan:
    """Read the tables, choose the weather of each place, and cut the work into chunks.

    Parameters
    ----------
    plan : Plan
        What a row does not say stays as it is here.
    places, designs : path, pandas.DataFrame or sequence of mappings
        The tables, see :func:`solarvent.many`.
    weather : Path, optional
        A folder of weather files to choose from.
    reach : float
        How far weather is taken from. [m]
    whole : bool, optional
        Carry each row through the whole of `run`; by default where there are no designs.
    strict : bool
        Refuse a table with a mistake in any row.

    Raises
    ------
    SolarventError
        With every mistake that is not of a single row; if `strict`, with those too.
    """
    read = tuple(read_designs(designs, plan)) if designs is not None else ()
    if designs is not None and not read:
        raise PlanError.single("designs", "there are no rows under the header", "write a design a row")
    taken = {name for design in read for name in design.changes}
    known = None if weather is None else stations(weather)
    found = tuple(read_places(places, plan, known, reach, taken))
    mistakes = tuple(mistakes_of(places, found))
    if strict and mistakes:
        raise PlanError(mistakes)
    study = ManyStudy(plan, read, not read if whole is None else whole)
    return ManyPlan(study, found, _manifest(study, found), mistakes)


def _manifest(study: ManyStudy, places: Sequence[PlaceRow]) -> dict[str, Any]:
    """What the rows rest on, as plain data: whole where people read it, else as a hash."""
    designs = [asdict(design) for design in study.designs]
    files: dict[str, str] = {}
    rows = hashlib.sha256()
    for place in places:
        file = place.changes.get("weather", {}).get("file")
        if file is not None and file not in files:
            files[file] = _digest(Path(file))
        # The content of a file counts, not where it lies.
        told = {**vars(place), "changes": {**place.changes, "weather": files.get(file, place.changes.get("weather"))}}
        rows.update(repr(sorted(told.items())).encode())
    seconds = _SECONDS[study.whole] * study.rows_of_a_place + _SECONDS_A_PLACE
    # Small tables are parted too, so that every worker gets some; very large ones not into more than a folder bears.
    size = max(min(round(_CHUNK_SECONDS / seconds), -(-len(places) // 16)), -(-len(places) // _MOST_CHUNKS), 1)
    content: dict[str, Any] = {
        "schema": "solarvent.many.folder/1",
        "plan": study.plan.record.model_dump(mode="json", exclude_none=True),
        "parts": _hash({kind: dict(study.plan.library.entries(kind)) for kind in KINDS}),
        "designs": designs,
        "places": {"count": len(places), "sha256": rows.hexdigest()},
        "weather": _hash({"own": _own_digest(study.plan), "files": sorted(files.values())}),
        "whole": study.whole,
        "columns": list(ORDER),
        "places_of_a_chunk": size,
        "versions": versions(),
    }
    return {**json.loads(json.dumps(content, default=str)), "key": _hash(content)}


def _hash(content: Any) -> str:
    """Plain data in short."""
    return hashlib.sha256(json.dumps(content, sort_keys=True, default=str).encode()).hexdigest()


def _own_digest(plan: Plan) -> str:
    """The content of the plan's own weather file in short; empty without one."""
    path = weather_path(plan)
    return "" if path is None else _digest(path)


def _digest(path: Path) -> str:
    """The content of a file in short; that of one that cannot be read is told by its row."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def versions() -> dict[str, str]:
    """The versions that decide about the numbers."""
    from solarvent import __version__

    packages = {"python": ".".join(map(str, sys.version_info[:2]))}
    for name in _DECIDING[1:]:
        with contextlib.suppress(PackageNotFoundError):
            packages[name] = version(name)
    return {"solarvent": __version__, **packages}


def work(
    asked: ManyPlan,
    missing: Iterable[int],
    keep: Callable[[int, list[dict[str, Any]]], None],
    client: Client,
    progress: Callable[[int], None] = lambda done: None,
) -> None:
    """Have chunks worked out by dask, and hand over the rows of each as soon as they are there, in any order.

    Only a few chunks more than there are threads wait at a time, so that neither the scheduler nor a worker holds more
    for more places. A worker that is lost costs what it was at: dask gives that to another one.

    Parameters
    ----------
    asked : ManyPlan
        From :func:`prepare`.
    missing : iterable of int
        The chunks that are wanted.
    keep : callable
        Is given the number of a chunk and its rows.
    client : distributed.Client
        Where it is worked out.
    progress : callable
        Is given how many places are done since it was called last.

    Raises
    ------
    SolarventError
        If a worker has other versions, or chunks were lost with their workers more often than dask tries; all others
        are handed over by then.
    """
    from asyncio import CancelledError

    from distributed import as_completed

    _same_versions(client)
    numbers = iter(missing)
    # One chunk a thread at work and one that waits, so that none is idle while rows are handed over.
    ahead = 2 * sum(client.nthreads().values()) + 2
    lost: list[Problem] = []

    def submitted(count: int) -> Iterator[Any]:
        for number in islice(numbers, count):
            name = f"places-{asked.manifest['key'][:16]}-{number}"
            yield client.submit(_numbered, number, asked.study, asked.chunk(number), key=name, pure=False)

    running = as_completed(list(submitted(ahead)), loop=client.loop)
    try:
        for future in running:
            try:
                # Rows that were done, and died with their worker before they were handed over, are waited for anew.
                number, rows = future.result()
            except (Exception, CancelledError) as error:
                lost.append(_lost(future.key, error))
            else:
                keep(number, rows)
                progress(len(asked.chunk(number)))
            future.release()
            for another in submitted(1):
                running.add(another)
    finally:
        # After an interrupt or a full disk nothing more is wanted.
        client.cancel(list(running.futures))
    if lost:
        raise OutputError(lost)


def _numbered(number: int, study: ManyStudy, places: Sequence[PlaceRow]) -> tuple[int, list[dict[str, Any]]]:
    """One chunk, as a worker does it."""
    return number, work_out(study, places)


def _lost(key: str, error: BaseException) -> Problem:
    """Why a chunk is missing."""
    reason = (str(error) or type(error).__name__).splitlines()[0]
    return Problem(f"chunk {key.rpartition('-')[2]}", reason, "give the same command again: it does what is missing")


def _same_versions(client: Client) -> None:
    """Refuse workers that would give other numbers, or none."""
    ours = versions()
    # In place of dask's own comparison, which only warns, and does not know what decides here.
    problems = []
    for address, theirs in client.run(versions, on_error="return").items():
        if not isinstance(theirs, dict):
            reason = str(theirs).strip("'\"") or type(theirs).__name__
            what = f"the worker cannot load solarvent: {reason.splitlines()[0]}"
            problems.append(Problem(address, what, f"install solarvent {ours['solarvent']} there"))
            continue
        problems += [
            Problem(
                address, f"the worker has {name} {theirs.get(name, 'not at all')}, here it is {mine}", "make them equal"
            )
            for name, mine in ours.items()
            if theirs.get(name) != mine
        ]
    if problems:
        raise SolarventError(problems)


@contextlib.contextmanager
def engine(scheduler: str | None = None, workers: int | None = None, kind: str = "processes") -> Iterator[Client]:
    """Give a dask client: of a running cluster, or of one on this machine that ends with it.

    Parameters
    ----------
    scheduler : str, optional
        Address of a running scheduler, like ``"tcp://10.0.0.5:8786"``.
    workers : int, optional
        On this machine; by default one a core.
    kind : {"processes", "threads", "one"}
        On this machine: a process a worker, threads of this process, or this process with a single thread.

    Raises
    ------
    SolarventError
        If the kind is none of these, dask is not there, or no scheduler or worker answers.
    """
    if kind not in ENGINES:
        hint = nearest(kind, ENGINES) or f"one of: {', '.join(ENGINES)}"
        raise SolarventError.single("", f'"{str(kind)[:40]}" is no kind of worker', hint)
    try:
        import dask
        from distributed import Client, LocalCluster
    except ImportError:
        what, write = "many places are worked out by dask, which is not installed", 'pip install "solarvent[cluster]"'
        raise SolarventError.single("", what, write) from None

    if scheduler is not None:
        if not re.fullmatch(r"(\w+://)?[^\s/]+:\d+/?", scheduler):
            raise SolarventError.single(scheduler, "this is no address of a scheduler", "like tcp://10.0.0.5:8786")
        try:
            client = Client(scheduler, timeout=_ANSWER, set_as_default=False)
        except (OSError, TimeoutError) as error:
            what = f"no dask scheduler answers there: {str(error).splitlines()[0] if str(error) else 'no answer'}"
            raise SolarventError.single(scheduler, what, 'start one with "dask scheduler"') from None
        try:
            try:
                client.wait_for_workers(1, timeout=_WORKER)
            except TimeoutError:
                raise SolarventError.single(scheduler, "it has no workers", 'start some with "dask worker"') from None
            yield client
        finally:
            client.close()
        return
    count = 1 if kind == "one" else workers
    shape: dict[str, Any] = {"n_workers": count, "threads_per_worker": 1}
    if kind == "threads":
        shape = {"n_workers": 1, "threads_per_worker": count}
    elif kind == "processes":
        shape["preload"] = [__name__]
    # A lost worker is told by what comes of it; the pages that dask shows of its work stay on this machine.
    quiet = {"logging.distributed": "critical", "distributed.scheduler.allowed-failures": 10}
    # dask has workers give every freed array back to the system at once, which takes a third of their time here; and
    # keeps a tree of the calls of every second for its pages, most of a gigabyte in half an hour.
    memory = {f"distributed.nanny.pre-spawn-environ.{name}": most for name, most in _MALLOC.items()}
    memory |= {"distributed.worker.profile.enabled": False}
    pages = dict.fromkeys(("dashboard_address", "worker_dashboard_address"), "127.0.0.1:0")
    with (
        dask.config.set(quiet | memory),
        LocalCluster(**shape, **pages, processes=kind == "processes", silence_logs=logging.CRITICAL) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield client


def dask_setup(worker: Any) -> None:
    """Let Ctrl-C in the terminal reach the command alone, which ends its workers; dask calls this in each of them."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
