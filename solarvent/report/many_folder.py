"""The folder of a study of many places: a Parquet file a chunk, whole or not at all, and what they all rest on."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from solarvent.base.columns import COLUMNS
from solarvent.base.errors import OutputError, Problem
from solarvent.report.files import replace_whole, write_whole
from solarvent.studies.place_rows import NUMBERS, ORDER, TEXTS

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

_MANIFEST, _ROWS = "many.json", "rows"
#: What of the manifest is told where it differs, in words.
_WORDS = {
    "plan": "another plan", "parts": "other parts of the library", "designs": "other designs", "places": "other places",
    "weather": "other weather files", "whole": "the other way to work a row out", "versions": "other versions",
}  # fmt: skip


@contextmanager
def kept_in(folder: Path | None, manifest: Mapping[str, Any]) -> Iterator[ManyFolder]:
    """Give the folder of a study; without one, a passing one that is gone afterwards."""
    if folder is not None:
        yield ManyFolder(folder, manifest)
        return
    with TemporaryDirectory(prefix="solarvent-") as passing:
        yield ManyFolder(Path(passing), manifest, passing=True)


class ManyFolder:
    """The results of a study, chunk by chunk; what is there already is kept.

    Parameters
    ----------
    folder : Path
        It is made if it is not there.
    manifest : mapping
        What the rows rest on.
    passing : bool
        Nobody will see it afterwards.

    Raises
    ------
    OutputError
        If the folder holds something else, or rests on something else: another plan, other places ...
    """

    def __init__(self, folder: Path, manifest: Mapping[str, Any], passing: bool = False) -> None:
        self.folder, self.rows, self.passing = folder, folder / _ROWS, passing
        self._key = str(manifest["key"])
        try:
            known = _known(folder)
            if known is not None and known != dict(manifest):
                raise OutputError([_differs(folder, known, manifest)])
            self.rows.mkdir(parents=True, exist_ok=True)
            if known is None:
                write_whole(folder / _MANIFEST, json.dumps(manifest, indent=1))
            for litter in self.rows.glob(".*.part"):
                litter.unlink()
        except OutputError:
            raise
        except OSError as error:
            raise _cannot(folder, error) from None

    def beside(self, name: str, text: str) -> None:
        """Write, or write anew, a text that is made of the rows."""
        write_whole(self.folder / name, text + "\n", force=True)

    def part(self, number: int) -> Path:
        """The file of a chunk."""
        return self.rows / f"part-{number:06d}.parquet"

    def missing(self, chunks: int) -> list[int]:
        """The chunks whose rows are not there yet."""
        return [number for number in range(chunks) if not self._is_there(self.part(number))]

    def _is_there(self, path: Path) -> bool:
        """Tell whether a file is there and rests on what this folder rests on."""
        from pyarrow import ArrowException
        from pyarrow.parquet import read_schema

        try:
            return bool(((read_schema(path).metadata or {}).get(b"solarvent.key") or b"").decode() == self._key)
        except (OSError, ArrowException):
            return False

    def keep(self, number: int, rows: Sequence[Mapping[str, Any]]) -> None:
        """Write the rows of a chunk in one step; OutputError if they cannot be written, and then nothing is left."""
        from pyarrow import BufferOutputStream, Table
        from pyarrow.parquet import write_table

        columns = {name: [row[name] for row in rows] for name in ORDER}
        content = BufferOutputStream()
        write_table(Table.from_pydict(columns, _schema(self._key)), content, compression="zstd")
        try:
            replace_whole(self.part(number), content.getvalue().to_pybytes())
        except OSError as error:
            raise _cannot(self.part(number), error) from None

    def parts(self, columns: Sequence[str] | None = None) -> Iterator[pd.DataFrame]:
        """Yield the rows of each chunk, in order; a large study is never in memory as a whole."""
        from pyarrow.parquet import read_table

        for path in sorted(self.rows.glob("part-*.parquet")):
            yield read_table(path, columns=None if columns is None else list(columns)).to_pandas()

    def table(self) -> pd.DataFrame:
        """All rows, in order; ``attrs["units"]`` gives the SI unit of each column."""
        import pandas as pd

        whole = pd.concat(list(self.parts()), ignore_index=True)
        whole.attrs = {"units": {name: COLUMNS[name].unit_si() for name in whole.columns}}
        return whole

    def lazy(self) -> Any:
        """All rows as a dask DataFrame, read where they are asked for."""
        from dask.dataframe import read_parquet

        return read_parquet(os.fspath(self.rows))


def _schema(key: str) -> pa.Schema:
    """Kinds of the columns: the same file for the same rows."""
    import pyarrow as pa

    kinds = {name: pa.float64() for name in NUMBERS} | {name: pa.string() for name in TEXTS} | {"row": pa.int64()}
    return pa.schema([(name, kinds[name]) for name in ORDER], metadata={"solarvent.key": key})


def _known(folder: Path) -> dict[str, Any] | None:
    """What the folder rests on; None if it is new or empty."""
    try:
        content = json.loads((folder / _MANIFEST).read_text(encoding="utf-8"))
    except FileNotFoundError:
        if folder.is_dir() and any(folder.iterdir()):
            raise OutputError.single(str(folder), "the folder holds other files", "name a new folder") from None
        return None
    except ValueError:
        raise OutputError.single(str(folder / _MANIFEST), "this cannot be read", "name a new folder") from None
    return dict(content) if isinstance(content, dict) else {}


def _differs(folder: Path, known: Mapping[str, Any], manifest: Mapping[str, Any]) -> Problem:
    """Say what the results in a folder rest on that is not asked for now."""
    parts = [words for name, words in _WORDS.items() if known.get(name) != manifest[name]]
    if "versions" in known and known.get("versions") != manifest["versions"]:
        older, newer = known["versions"], manifest["versions"]
        changed = [f"{name} {older.get(name)}, now {newer[name]}" for name in newer if older.get(name) != newer[name]]
        parts[-1] += f" ({', '.join(changed)})"
    what = f"the folder holds the results of {', '.join(parts) or 'another study'}"
    return Problem(str(folder), what, "name a new folder, or ask for what it was begun with")


def _cannot(path: Path, error: OSError) -> OutputError:
    """Say why a place cannot be written to."""
    reason = error.strerror or str(error)
    write = "make room or choose another place; the same command then does what is missing"
    return OutputError([Problem(str(path), f"this cannot be written: {reason}", write)])
