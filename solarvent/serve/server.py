"""The server itself: where it listens, how it says that it is ready, and how it ends."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

from solarvent.base.errors import OutputError
from solarvent.serve.answers import start
from solarvent.serve.app import application
from solarvent.serve.forms import PARTS, library
from solarvent.serve.gate import Keeper
from solarvent.serve.workers import Workers

_HERE = "127.0.0.1"
#: Connections at a time, and how long an idle one is kept. [-], [s]
_MOST_CONNECTIONS, _IDLE = 100, 5


def run(
    folder: Path, first: str, parts: Path | None, port: int, phone: bool, ready: Callable[[str, str], None]
) -> None:
    """Serve the plans of a folder until the process is told to end.

    Parameters
    ----------
    folder : Path
        Whose plan files are worked on.
    first : str
        The plan that is shown first; empty for the list.
    parts : Path, optional
        A folder of own parts that is laid over the library.
    port : int
        0 for one that is free.
    phone : bool
        Listen in the local network too.
    ready : callable
        Told the address on this machine and that for a phone, empty without one, when requests are answered.

    Raises
    ------
    OutputError
        If the port is taken, or there is no network for the phone.
    PartError
        If the folder of parts, or a file in it, cannot be used.
    """
    if parts is not None:
        os.environ[PARTS] = str(parts.absolute())
    library()
    keeper = Keeper()
    sockets = [_listening(_HERE, port)]
    port = sockets[0].getsockname()[1]
    keeper.open_at(_HERE, port)
    for_phone = ""
    if phone:
        host = _own_address()
        sockets.append(_listening(host, port))
        keeper.open_at(host, port)
        for_phone = f"http://{host}:{port}/?key={keeper.key}"
    workers = Workers(start)
    here = f"http://{_HERE}:{port}/?key={keeper.key}"
    server = _server(application(folder, first, keeper, workers), lambda: ready(here, for_phone))
    try:
        server.run(sockets=sockets)
    except KeyboardInterrupt:
        pass
    # Also where the server itself has failed: workers are processes, and would stay.
    finally:
        workers.end()
        for one in sockets:
            one.close()


def _server(app: Any, ready: Callable[[], None]) -> Any:
    """Make the server of a page."""
    import uvicorn

    class Announced(uvicorn.Server):
        """A server that says when it is ready."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                ready()

    settings = uvicorn.Config(
        app,
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        ws="none",
        http="h11",
        limit_concurrency=_MOST_CONNECTIONS,
        timeout_keep_alive=_IDLE,
        timeout_graceful_shutdown=2,
        proxy_headers=False,
    )
    return Announced(settings)


def _listening(host: str, port: int) -> socket.socket:
    """Open a port, for this host alone."""
    # Named as TCP, so that an answer is not held back for more of it (asyncio looks at that).
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((host, port))
        opened.listen(128)
    except OSError as error:
        opened.close()
        what = f"port {port} cannot be used: {error.strerror}"
        raise OutputError.single(host, what, "choose another with --port, or 0 for any that is free") from None
    return opened


def _own_address() -> str:
    """Address of this machine in its local network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737), which nobody has
            host = str(probe.getsockname()[0])
        except OSError:
            host = _HERE
    if host.startswith("127."):
        raise OutputError.single("", "this machine is in no network of a phone", "join one, or leave --phone out")
    return host
