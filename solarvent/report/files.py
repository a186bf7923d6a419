"""Writing files so that nothing is lost: whole or not at all, and never over something by surprise."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from solarvent.base.errors import OutputError


def write_whole(path: Path, text: str, *, force: bool = False) -> None:
    """Write a text file in one step: a reader sees the old content or the new, never a half.

    Parameters
    ----------
    path : Path
        Where; its folder must exist. A link is followed, so that what it points to is replaced.
    text : str
        The content, stored as UTF-8.
    force : bool
        Replace a file that is there.

    Raises
    ------
    OutputError
        If the file is there and `force` is not set, or it cannot be written; an old file then stays as it was.
    """
    refuse_to_clobber(path, force=force)
    target = Path(os.path.realpath(path))
    mode = target.stat().st_mode & 0o777 if target.exists() else None
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:40]}.", suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, _new_file_mode() if mode is None else mode)
        os.replace(temporary, target)
    except OSError as error:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
        reason = error.strerror or str(error)
        raise OutputError.single(str(path), f"the file cannot be written: {reason}", "choose another place") from None


def refuse_to_clobber(path: Path, *, force: bool = False) -> None:
    """Raise now what :func:`write_whole` would raise after the work, if the place is taken or its folder is missing.

    Raises
    ------
    OutputError
        If the file is there and `force` is not set, or it is a folder, or has none to stand in.
    """
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise OutputError.single(str(path), "this is a folder", "name a file in it")
    if target.exists() and not force:
        raise OutputError.single(str(path), "the file is there already", "choose another name, or add --force")
    if not target.parent.is_dir():
        raise OutputError.single(str(path), "its folder is not there", "make it first, or choose another place")


def _new_file_mode() -> int:
    """Give the permissions that a plainly created file would get."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
