"""Many places on dask: the same bytes however it is run, killed, filled up or stopped.

A scheduler and two workers run as separate processes of this machine.

    SOLARVENT_MANY=long python -m pytest -m "" tests/studies/test_many.py        five workers are killed, not one
"""

import errno
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from itertools import count

import in_process
import pytest
from cluster import environment, running_cluster
from pandas.testing import assert_frame_equal
from sampled import sampled

import solarvent
from solarvent.base.errors import OutputError, PlanError, SolarventError
from solarvent.cli.designs import many_command
from solarvent.report import files
from solarvent.report.many_text import ManyFolder
from solarvent.studies import many
from solarvent.studies.many import ENGINES, engine, prepare, work

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")

LONG = os.environ.get("SOLARVENT_MANY") == "long"
PLACES = [{"id": f"place-{number}", "latitude": 25 + number, "longitude": 0} for number in range(24 if LONG else 10)]
PLACES[3] = {"id": "nowhere", "latitude": 100, "longitude": 0}
DESIGNS = [{"id": "small", "watts": 15}, {"id": "large", "watts": 40}]


@pytest.fixture(autouse=True)
def patient(monkeypatch):
    """A scheduler that was just started on a busy machine takes its time to answer."""
    monkeypatch.setattr(many, "_ANSWER", 60)


@pytest.fixture(scope="module")
def asked(small_plan_of_the_module):
    """Some places with two designs, in as many chunks."""
    ready = prepare(small_plan_of_the_module, PLACES, DESIGNS)
    return replace(ready, manifest={**ready.manifest, "places_of_a_chunk": 1})


@pytest.fixture(scope="module")
def small_plan_of_the_module(small_plan):
    return small_plan()


@pytest.fixture(scope="module")
def table(asked, tmp_path_factory):
    """The files of the rows of an undisturbed run in this process, as bytes."""
    kept = ManyFolder(tmp_path_factory.mktemp("undisturbed") / "results", asked.manifest)
    with engine(kind="one") as client:
        work(asked, kept.missing(asked.chunks), kept.keep, client)
    return rows_of(kept.folder)


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    with running_cluster(tmp_path_factory.mktemp("cluster")) as running:
        yield running


def rows_of(folder):
    return {path.name: path.read_bytes() for path in sorted((folder / "rows").iterdir())}


def test_the_rows_are_all_there_in_order(table):
    assert list(table) == [f"part-{number:06d}.parquet" for number in range(len(PLACES))]


@pytest.mark.parametrize("kind", sampled(["threads"], ["processes"]))
def test_threads_and_processes_give_the_same_bytes(asked, table, tmp_path, kind):
    kept, done = ManyFolder(tmp_path / "results", asked.manifest), []
    with engine(workers=2, kind=kind) as client:
        work(asked, kept.missing(asked.chunks), kept.keep, client, done.append)
    assert rows_of(kept.folder) == table
    assert sum(done) == len(PLACES)
    assert kept.missing(asked.chunks) == []
    assert kind in ENGINES


@pytest.mark.long
def test_workers_that_are_killed_cost_nothing_but_time(asked, table, cluster, tmp_path):
    kept, arrived = ManyFolder(tmp_path / "results", asked.manifest), count(1)
    killed_after, before = (1, 4, 7, 10, 13) if LONG else (2,), len(cluster.workers)

    def keep(number, rows):
        kept.keep(number, rows)
        # What the worker is at, and what it has done and not yet handed over, is lost with it.
        if next(arrived) in killed_after:
            cluster.kill_a_worker()

    with engine(cluster.address) as client:
        client.wait_for_workers(2)
        work(asked, kept.missing(asked.chunks), keep, client)
    assert len(cluster.workers) == before + len(killed_after)
    assert rows_of(kept.folder) == table


SHORT = 0.01
"""Work of a chunk here, so that each place is one. [s]"""
COMMAND = f"""
import sys
from solarvent.cli import main
from solarvent.studies import many
many._CHUNK_SECONDS, many._ANSWER = {SHORT}, 60
main(sys.argv[1:])
"""


def write_tables(folder):
    rows = [f"{row['id']},{row['latitude']},0\n" for row in PLACES]
    (folder / "places.csv").write_text("id,latitude,longitude\n" + "".join(rows), encoding="utf-8")
    (folder / "designs.csv").write_text("id,watts\nsmall,15\nlarge,40\n", encoding="utf-8")


def started(folder, *others):
    """Start ``solarvent many`` as a process of its own, with a place a chunk."""
    write_tables(folder)
    command = [sys.executable, "-c", COMMAND, *words(folder, *others)]
    return subprocess.Popen(
        list(map(str, command)), env=environment(), text=True, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip


def wait_for_rows(folder, process, parts=2):
    """Wait until some rows are kept."""
    for _ in range(1200):
        if len(list((folder / "results" / "rows").glob("part-*"))) >= parts:
            return
        assert process.poll() is None, process.communicate()
        time.sleep(0.05)
    raise AssertionError("no rows came")


def words(folder, *others):
    """The same command in any folder."""
    return [
        "many",
        "coop",
        folder / "places.csv",
        "-o",
        folder / "results",
        "--designs",
        folder / "designs.csv",
        *others,
    ]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """The rows of the same command, left alone, and what it says."""
    folder = tmp_path_factory.mktemp("alone")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(many, "_CHUNK_SECONDS", SHORT)
        write_tables(folder)
        done = in_process.solarvent(*words(folder, "--on", "one"))
    assert done.returncode == 0, done.stderr
    return done.stdout, rows_of(folder / "results")


def gone_on(folder, monkeypatch, *others):
    """Give the command again, here; what it says, and the rows."""
    monkeypatch.setattr(many, "_CHUNK_SECONDS", SHORT)
    done = in_process.solarvent(*words(folder, *others))
    assert done.returncode == 0, done.stderr
    return done.stdout, rows_of(folder / "results")


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL")
def test_a_command_that_is_killed_goes_on_where_it_was(undisturbed, cluster, tmp_path, monkeypatch):
    first = started(tmp_path, "--scheduler", cluster.address)
    wait_for_rows(tmp_path, first)
    os.killpg(first.pid, signal.SIGKILL)
    first.communicate()
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "results" / "rows").glob("part-*")}
    assert 2 <= len(before) < len(PLACES)
    assert gone_on(tmp_path, monkeypatch, "--scheduler", cluster.address) == undisturbed
    # What was there is not written anew.
    assert {path: path.stat().st_mtime_ns for path in before} == before


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="a console of Windows has no groups of processes")
def test_ctrl_c_ends_soon_and_leaves_a_folder_that_goes_on(undisturbed, tmp_path, monkeypatch):
    first = started(tmp_path, "--workers", "1")
    wait_for_rows(tmp_path, first)
    begin = time.monotonic()
    # As a terminal does: to the command and to all that it has started.
    os.killpg(first.pid, signal.SIGINT)
    out, err = first.communicate(timeout=60)
    assert time.monotonic() - begin < 30
    assert first.returncode == 130
    assert "chunks stand; the same command goes on" in err
    assert "Traceback" not in out + err
    assert gone_on(tmp_path, monkeypatch, "--on", "one") == undisturbed


def test_a_full_disk_is_told_and_the_same_call_goes_on(asked, table, tmp_path, monkeypatch):
    kept, synced, real = ManyFolder(tmp_path / "results", asked.manifest), count(1), os.fsync

    def full(handle):
        if next(synced) == 5:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(files.os, "fsync", full)
    with engine(kind="one") as client:
        with pytest.raises(OutputError, match="No space left on device; make room"):
            work(asked, kept.missing(asked.chunks), kept.keep, client)
        assert len(rows_of(kept.folder)) == 4
        work(asked, kept.missing(asked.chunks), kept.keep, client)
    assert rows_of(kept.folder) == table


def test_a_worker_of_other_versions_is_refused_with_what_differs(asked, monkeypatch):
    ours = many.versions()
    with engine(kind="one") as client:
        # The worker of this process asks the same function: the first answer is ours, the second that of the worker.
        answers = iter([ours, {**ours, "pvlib": "0.9", "numpy": None}])
        monkeypatch.setattr(many, "versions", lambda: next(answers))
        with pytest.raises(SolarventError, match=f"the worker has pvlib 0.9, here it is {ours['pvlib']}"):
            work(asked, [0], lambda number, rows: None, client)


@pytest.mark.long
def test_a_worker_without_the_package_is_refused(asked, tmp_path):
    (tmp_path / "solarvent.py").write_text("raise ImportError('there is no such package here')", encoding="utf-8")
    with running_cluster(tmp_path, workers=0) as other:
        other.start_worker(PYTHONPATH=str(tmp_path))
        with engine(other.address) as client, pytest.raises(SolarventError, match="the worker cannot load solarvent"):
            work(asked, [0], lambda number, rows: None, client)


def test_a_kind_of_worker_that_is_not_known_is_refused():
    with (
        pytest.raises(SolarventError, match='"thread" is no kind of worker; did you mean "threads"'),
        engine(kind="thread"),
    ):
        pass


def test_the_command_offers_every_kind_of_worker():
    option = next(one for one in many_command.params if one.name == "kind")
    assert tuple(option.type.choices) == ENGINES


def test_a_scheduler_that_does_not_answer_or_has_no_workers_is_told(monkeypatch, tmp_path):
    monkeypatch.setattr(many, "_ANSWER", 1)
    monkeypatch.setattr(many, "_WORKER", 1)
    with pytest.raises(SolarventError, match="no dask scheduler answers there"), engine("tcp://127.0.0.1:1"):
        pass
    with pytest.raises(SolarventError, match="this is no address of a scheduler; like tcp://"), engine("nowhere"):
        pass


def test_chunks_that_are_lost_are_told_and_the_others_kept(asked, tmp_path, monkeypatch):
    def work_out(study, places):
        if places[0].id == "place-1":
            raise MemoryError("no room")
        return [{"id": places[0].id}]

    monkeypatch.setattr(many, "work_out", work_out)
    kept = {}
    with (
        engine(kind="one") as client,
        pytest.raises(OutputError, match="chunk 1: no room; give the same command again"),
    ):
        work(asked, range(4), kept.__setitem__, client)
    assert sorted(kept) == [0, 2, 3]


def test_few_chunks_wait_at_a_time(asked, monkeypatch):
    monkeypatch.setattr(many, "work_out", lambda study, places: [{}])
    taken, most = count(1), []

    def numbers():
        for number in range(asked.chunks):
            yield number
            most.append(next(taken) - len(done))

    done = []
    with engine(kind="one") as client:
        work(asked, numbers(), lambda number, rows: done.append(number), client)
    assert len(done) == asked.chunks
    assert max(most) <= 2 * 1 + 2 + 1


def test_the_manifest_tells_what_the_rows_rest_on(small_plan, tmp_path):
    weather = tmp_path / "own.csv"
    weather.write_text("# latitude: 51\n# longitude: 0\n", encoding="utf-8")
    rows = [{"id": "a", "latitude": 51, "longitude": 0, "weather_file": str(weather)}]
    first = prepare(small_plan(), rows).manifest
    assert prepare(small_plan(), rows).manifest == first
    others = [
        prepare(small_plan({"panel.0.tilt": 5}), rows).manifest,
        prepare(small_plan(), [{**rows[0], "id": "b"}]).manifest,
        prepare(small_plan(), rows, [{"id": "d"}]).manifest,
        prepare(small_plan(), rows, whole=False).manifest,
    ]
    weather.write_text("# latitude: 51\n# longitude: 0\n# more\n", encoding="utf-8")
    others.append(prepare(small_plan(), rows).manifest)
    assert len({one["key"] for one in [first, *others]}) == 6


def test_a_strict_table_is_refused_with_all_its_mistakes(small_plan):
    rows = [{"id": "a", "latitude": 100, "longitude": 0}, {"id": "b", "latitude": 0, "longitude": 500}]
    with pytest.raises(PlanError, match='places row 2 "b": longitude') as error:
        prepare(small_plan(), rows, strict=True)
    assert len(error.value.problems) == 2
    with pytest.raises(PlanError, match="there are no rows"):
        prepare(small_plan(), rows, [])


def test_many_gives_a_table_with_units_and_a_lazy_one(small_plan, tmp_path):
    plan, rows = small_plan(), PLACES[:4]
    given = solarvent.many(plan, rows, DESIGNS, tmp_path / "results", on="one")
    assert given["design"].tolist() == ["small", "large"] * 4
    assert given["verdict"].tolist()[6:] == ["failed"] * 2
    assert given.attrs["units"]["mean_flow"] == "m3/s"
    lazy = solarvent.many(plan, rows, DESIGNS, tmp_path / "results", lazy=True)
    assert_frame_equal(lazy.compute().reset_index(drop=True), given, check_dtype=False)
    with pytest.raises(SolarventError, match="give a folder"):
        solarvent.many(plan, rows, lazy=True)
