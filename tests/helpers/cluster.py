"""A dask scheduler and its workers, as separate processes of this machine, over 127.0.0.1 with a port of their own."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import solarvent

#: Where the package is found by processes that do not inherit the path of the tests.
ROOT = str(Path(solarvent.__file__).parents[1])


def environment(**changes: str) -> dict[str, str]:
    """What a process is started with: the package in its path, one thread for sums as dask's own workers have."""
    path = os.pathsep.join(filter(None, [ROOT, os.environ.get("PYTHONPATH", "")]))
    return {**os.environ, "PYTHONPATH": path, "OMP_NUM_THREADS": "1", **changes}


class Cluster:
    """A running scheduler; `workers` are its processes."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        self.folder, self.address = folder, f"tcp://127.0.0.1:{port}"
        self.workers: list[subprocess.Popen[bytes]] = []
        self._scheduler = self._start("scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-show")

    def _start(self, what: str, *words: str, **changes: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *words, "--no-dashboard"]
        log = (self.folder / f"{what}-{len(self.workers)}.log").open("wb")
        return subprocess.Popen(command, stdout=log, stderr=log, cwd=self.folder, env=environment(**changes))

    def start_worker(self, **changes: str) -> subprocess.Popen[bytes]:
        """Start a worker of one thread, without a nurse: killed, it stays dead."""
        words = [self.address, "--no-nanny", "--nthreads", "1", "--local-directory", str(self.folder)]
        self.workers.append(self._start("worker", *words, **changes))
        return self.workers[-1]

    def kill_a_worker(self) -> None:
        """Kill the oldest worker that lives, and start another one in its place."""
        living = next(worker for worker in self.workers if worker.poll() is None)
        living.send_signal(signal.SIGKILL)
        living.wait()
        self.start_worker()

    def end(self) -> None:
        """End all that was started."""
        for process in (*self.workers, self._scheduler):
            process.kill()
            process.wait()


@contextmanager
def running_cluster(folder: Path, workers: int = 2) -> Iterator[Any]:
    """Give a cluster; it may take some seconds until its workers are there."""
    cluster = Cluster(folder)
    try:
        for _ in range(workers):
            cluster.start_worker()
        yield cluster
    finally:
        cluster.end()
