"""Writing files so that nothing is lost: whole or not at all, and never over something by surprise."""

from __future__ import annotations

import contextlib
import glob
import os
import re
import stat
import sys
import tempfile
from pathlib import Path

from solarvent.base.errors import OutputError, Problem

try:
    import fcntl
except ImportError:  # Windows, where nobody can take a file away that another has open
    fcntl = None  # type: ignore[assignment]


#: Names that Windows keeps to itself, whatever their ending.
_DEVICES = re.compile(r"con|prn|aux|nul|(com|lpt)[1-9]", re.IGNORECASE)


def write_whole(path: Path, text: str, *, force: bool = False) -> None:
    """Write a text file (UTF-8) in one step: a reader sees the old content or the new, never a half.

    A link is followed, so that what it points to is replaced and the link stays. A device or a pipe (``/dev/stdout``)
    is written to as it stands.

    Raises
    ------
    OutputError
        If the file is there and `force` is not set, or it cannot be written; an old file then stays as it was.
    """
    refuse_to_clobber(path, force=force)
    try:
        if _is_no_plain_file(path):
            path.write_text(text, encoding="utf-8", newline="\n")
        else:
            replace_whole(Path(os.path.realpath(path)), text.encode("utf-8"))
    except OSError as error:
        raise _cannot(path, error) from None


def replace_whole(target: Path, content: bytes) -> None:
    """Write beside the target, and put that in its place when it is safe on the disk; an interrupt leaves no litter.

    What a kill has left of an earlier write is taken away.
    """
    mode = target.stat().st_mode & 0o777 if target.exists() else _new_file_mode()
    begun = f".{target.name[:40]}."
    for left in target.parent.glob(f"{glob.escape(begun)}*.part"):
        with contextlib.suppress(OSError):
            with left.open("rb") as file:
                _claim(file.fileno())
            left.unlink()
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=begun, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            with contextlib.suppress(OSError):
                _claim(handle)
            file.write(content)
            file.flush()
            # Else a power cut may leave the new name with nothing in it.
            os.fsync(file.fileno())
        # A temporary file is for its owner alone.
        os.chmod(temporary, mode)
        os.replace(temporary, target)
    # At Ctrl-C too.
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise


def _claim(handle: int) -> None:
    """Claim a file for as long as it is open here; OSError if another process writes it."""
    if fcntl is not None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def refuse_to_clobber(path: Path, *, force: bool = False) -> None:
    """Raise now what :func:`write_whole` would raise after the work, if the place is taken or its folder is missing.

    Raises
    ------
    OutputError
        If the file is there and `force` is not set, or it is a folder, has none to stand in, or has an impossible name.
    """
    if sys.platform == "win32" and _DEVICES.fullmatch(path.stem.partition(".")[0]):
        raise OutputError.single(str(path), "on Windows this is the name of a device", "choose another name")
    try:
        kind = path.stat().st_mode
    except FileNotFoundError:
        if not Path(os.path.realpath(path)).parent.is_dir():
            raise OutputError.single(
                str(path), "its folder is not there", "make it first, or choose another place"
            ) from None
    except (OSError, ValueError) as error:
        raise _cannot(path, error) from None
    else:
        if stat.S_ISDIR(kind):
            raise OutputError.single(str(path), "this is a folder", "name a file in it")
        if stat.S_ISREG(kind) and not force:
            raise OutputError.single(str(path), "the file is there already", "choose another name, or add --force")


def _is_no_plain_file(path: Path) -> bool:
    """Tell a device or a pipe, which is written to as it is; replacing it would break it for everybody."""
    return path.exists() and not path.is_file()


def _cannot(path: Path, error: OSError | ValueError) -> OutputError:
    """Say why a place cannot be written to."""
    reason = getattr(error, "strerror", None) or str(error)
    return OutputError([Problem(str(path), f"the file cannot be written: {reason}", "choose another place")])


def _new_file_mode() -> int:
    """Give the permissions that a plainly created file would get."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
