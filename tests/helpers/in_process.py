"""The command line without a process of its own, which would spend a second on its imports."""

import contextlib
import io
from types import SimpleNamespace

import pytest

from solarvent.cli import main


def solarvent(*args, folder="."):
    """Run a command in a folder, on a console that writes UTF-8; its exit code and what it printed."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2))
    with contextlib.chdir(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        with pytest.raises(SystemExit) as left:
            main(list(map(str, args)))
        for stream in (out, err):
            stream.flush()
    stdout, stderr = (stream.buffer.getvalue().decode() for stream in (out, err))
    return SimpleNamespace(returncode=left.value.code, stdout=stdout, stderr=stderr)
