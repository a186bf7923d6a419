"""The text of a weather file: read, unpacked and decoded, as long as it has a size that a year of hours can have."""

from __future__ import annotations

import gzip
import io
import os
import zlib
from pathlib import Path

import numpy as np

from solarvent.base.errors import WeatherError

LARGEST_FILE = 50_000_000
"""Bytes, after unpacking; a year of hours has one or two million."""
MOST_LINES = 150_000
"""A year of five minutes, or a summer of single ones: what a plan can be run on in less than 1 GiB."""
LONGEST_LINE = 20_000
"""Bytes; the head lines of an EPW file have a few thousand."""


def read_raw(path: str | Path) -> bytes:
    """Read the bytes of a file, or as many as show that it is too large.

    Raises
    ------
    WeatherError
        No such file, a folder, or one that cannot be read.
    """
    try:
        with Path(path).open("rb") as file:
            return file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise WeatherError.single(str(path), "there is no such file", "check the path") from None
    except (OSError, ValueError) as reason:
        if os.path.isdir(path):
            raise WeatherError.single(str(path), "this is a folder", "name a weather file in it") from None
        what = getattr(reason, "strerror", None) or str(reason)
        raise WeatherError.single(str(path), "the file cannot be read", what) from None


def decode(raw: bytes, where: str) -> str:
    r"""Give the text of a weather file, with ``"\\n"`` at the end of each line.

    Parameters
    ----------
    raw : bytes
        UTF-8 with or without a byte order mark, gzipped or not; lines end as on any system.
    where : str
        Name of the file, for the messages.

    Returns
    -------
    str

    Raises
    ------
    WeatherError
        Damaged, not UTF-8, or larger, longer or wider than a weather file is.

    Examples
    --------
    >>> decode(b"\xef\xbb\xbftime\r\n", "year.csv")
    'time\n'
    """
    if raw[:2] == b"\x1f\x8b":
        try:
            with gzip.open(io.BytesIO(raw)) as packed:
                raw = packed.read(LARGEST_FILE + 1)
        except (OSError, EOFError, zlib.error) as reason:
            raise WeatherError.single(where, f"the gzip file is damaged: {reason}", "fetch it again") from None
    if len(raw) > LARGEST_FILE:
        what = f"the file has over {LARGEST_FILE:,} bytes"
        raise WeatherError.single(where, what, "give one year of hours; it has one or two million")
    _refuse_a_strange_shape(raw, where)
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as reason:
        line = raw[: reason.start].count(b"\n") + 1
        raise WeatherError.single(f"{where} line {line}", "the text is not UTF-8", "save the file as UTF-8") from None


def _refuse_a_strange_shape(raw: bytes, where: str) -> None:
    """Refuse very many lines and very long ones before any of them becomes an object of its own."""
    code = np.frombuffer(raw, dtype=np.uint8)
    ends = np.flatnonzero((code == ord("\n")) | (code == ord("\r")))
    lengths = np.diff(ends, prepend=-1, append=len(raw))
    if max(raw.count(b"\n"), raw.count(b"\r")) > MOST_LINES:
        what = f"the file has over {MOST_LINES:,} lines"
        raise WeatherError.single(where, what, "give a year of hours, of five minutes at the finest")
    if lengths.max() > LONGEST_LINE:
        row = int(np.argmax(lengths))
        line = raw[: ends[row - 1] + 1].count(b"\n") + 1 if row else 1
        what = f"a line of over {LONGEST_LINE:,} bytes"
        raise WeatherError.single(f"{where} line {line}", what, "is it a weather file?")
