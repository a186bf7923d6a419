"""The answer for many places: text, JSON, CSV, a picture of where it fits; and its folder, a Parquet file a chunk."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from math import cos, isnan, radians
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.columns import COLUMNS
from solarvent.base.errors import OutputError, Problem
from solarvent.base.findings import VERDICT_LEVELS
from solarvent.report.charts import GREEN, INK, MUTED, RED, SUN, settings, to_svg
from solarvent.report.data import to_json
from solarvent.report.files import replace_whole, write_whole
from solarvent.report.layout import heading, paragraph, table
from solarvent.studies.many_summary import NEARLY_EVERYWHERE, CauseTally, ManySummary
from solarvent.studies.place_rows import FAILED, NUMBERS, ORDER, TEXTS

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa


SCHEMA = "solarvent.many/1"
_LEVELS = (*VERDICT_LEVELS, FAILED)
_BY = {
    "named": "as the row names it", "nearest file": "the nearest file", "plan": "that of the plan",
    "latitude": "a climate by latitude alone, which knows no coast and no height: name one in the row",
}  # fmt: skip
#: Colour and mark of each verdict: they differ in both.
_MARKS = {"fits": (GREEN, "o"), "short": (SUN, "^"), "stop": (RED, "s"), FAILED: (MUTED, "x")}
_MOST_MARKS, _CELLS = 1000, 36
_MOST_BARS = 40
#: Causes and designs of the first screen.
_CAUSES, _DESIGNS = 5, 10


def render_many(title: str, summary: ManySummary, whole: bool, full: bool = False) -> str:
    """Write the summary, the verdict first; unless it is full, of many designs and causes only the first."""
    asked = "the whole of run" if whole else "size, held against the plan's own target"
    blocks = [
        paragraph(f"Many places: {title[:200]}") + "\n" + paragraph(summary.sentence),
        _causes(summary, full),
        _designs(summary, full),
        _weather(summary),
        _failed(summary),
        paragraph(f"Each row is that of {asked}, with what the row changes in the plan."),
    ]
    return "\n\n".join(block for block in blocks if block)


def _causes(summary: ManySummary, full: bool) -> str:
    """What fails where and why, of the design that was chosen."""
    if not summary.causes:
        return ""
    name = f' ("{summary.choice.id}")' if summary.choice.id else ""
    told = summary.causes if full else summary.causes[:_CAUSES]
    lines = [paragraph(_cause_words(one), "       ", f"{one.level.upper():5s}  ") for one in told]
    if more := len(summary.causes) - len(told):
        lines.append(f"and {more} more causes: --full")
    return heading(f"Where it does not fit, and why{name}") + "\n" + "\n".join(lines)


def _cause_words(one: CauseTally) -> str:
    places = f"{one.count} place{'s' if one.count != 1 else ''}"
    more = ", ..." if one.count > len(one.ids) else ""
    do = f" Do first: {one.do}" if one.do else ""
    where = f"{_span(one.south, one.north, 'N', 'S')}, {_span(one.west, one.east, 'E', 'W')}"
    return (
        f"{one.cause}: {places}, {where} ({', '.join(one.ids)}{more}). At {one.ids[0]}: {one.reason.rstrip('.')}.{do}"
    )


def _span(least: float, most: float, positive: str, negative: str) -> str:
    """Write a span of degrees."""
    ends = [f"{abs(value):.3g} {positive if value >= 0 else negative}" for value in (least, most)]
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def _designs(summary: ManySummary, full: bool) -> str:
    """Tabulate the designs: all in their order, or those that fit at most places."""
    if len(summary.designs) == 1:
        return ""
    best = sorted(summary.designs, key=lambda one: (one is summary.choice, one.merit), reverse=True)
    told = summary.designs if full else best[:_DESIGNS]
    rows = [
        ("->" if one is summary.choice else "", one.id[:24], "-" if isnan(one.watts) else f"{one.watts:.3g}",
         "-" if isnan(one.share) else f"{one.share:.0%}", *(one.levels[level] for level in _LEVELS))
        for one in told
    ]  # fmt: skip
    title = heading(f"Designs ({NEARLY_EVERYWHERE:.0%} of the places is nearly everywhere)")
    more = f"\nand {len(best) - len(told)} more: --full" if len(told) < len(best) else ""
    return f"{title}\n{table(rows, ('', 'design', 'panel [W]', 'fits at', *_LEVELS))}{more}"


def _weather(summary: ManySummary) -> str:
    """Say where the weather is from."""
    if not summary.weather:
        return ""
    lines = [
        paragraph(f"{count} place{'s' if count > 1 else ''}: {_BY[by]}.", "  ", "")
        for by, count in sorted(summary.weather.items())
    ]
    return heading("Weather") + "\n" + "\n".join(lines)


def _failed(summary: ManySummary) -> str:
    """List places that could not be worked out."""
    if not summary.failures:
        return ""
    lines = [paragraph(f"row {row}, {name or 'no id'}: {reason}", "  ", "") for row, name, reason in summary.failed]
    if summary.failures > len(summary.failed):
        lines.append(f"and {summary.failures - len(summary.failed)} more; each row holds its reason")
    return heading(f"Not worked out: {summary.failures}") + "\n" + "\n".join(lines)


def many_json(title: str, summary: ManySummary, whole: bool, parts: Iterable[pd.DataFrame]) -> str:
    """Write the summary and all rows as JSON, schema ``solarvent.many/1``; SI units."""
    content = {
        "schema": SCHEMA,
        "title": title,
        "sentence": summary.sentence,
        "chain": "run" if whole else "size",
        "places": summary.places,
        "choice": {"design": summary.choice.id, "nearly_everywhere": summary.for_all},
        "designs": [
            {"id": one.id, "panel_watts": one.watts, "share_that_fits": one.share}
            | {level: one.levels[level] for level in _LEVELS}
            for one in summary.designs
        ],
        "causes": [vars(one) for one in summary.causes],
        "failures": summary.failures,
        "weather": summary.weather,
    }
    # Row by row: a million places would fill the memory as plain data.
    rows = (to_json(row) for part in parts for row in part.to_dict("records"))
    return to_json(content)[:-1] + f', "rows": [{", ".join(rows)}]}}'


def many_csv(parts: Iterable[pd.DataFrame]) -> str:
    """Write all rows as CSV; the heading carries the SI unit of each column in brackets."""
    return "".join(_csv_parts(parts)).rstrip("\n")


def _csv_parts(parts: Iterable[pd.DataFrame]) -> Iterator[str]:
    for number, part in enumerate(parts):
        units = {name: COLUMNS[name].unit_si() for name in part.columns}
        named = part.rename(columns={name: f"{name} [{unit}]" for name, unit in units.items() if unit})
        yield named.to_csv(index=False, header=number == 0, lineterminator="\n")


def places_picture(title: str, summary: ManySummary) -> str:
    """Draw the places by longitude and latitude, marked by verdict, and by design the share of places that it fits at.

    Many places are drawn by cells of the map, each as most of its places are.
    """
    import matplotlib
    from matplotlib.figure import Figure

    bars = summary.designs[:_MOST_BARS] if len(summary.designs) > 1 else []
    shown, thinned = _thinned(summary.map)
    with matplotlib.rc_context(settings("places")):
        figure = Figure(figsize=(6.4, 4.4 + (0.6 + 0.2 * len(bars) if bars else 0)))
        if bars:
            above, below = figure.subplots(2, 1, height_ratios=(4.0, 0.6 + 0.2 * len(bars)))
            _share_bars(below, bars, summary)
        else:
            above = figure.subplots()
        _map(above, shown, thinned, summary)
        figure.tight_layout()
        return to_svg(figure, "places", f"Where it fits: {title[:120]}", _picture_words(summary))


def _map(axis: Any, shown: Mapping[str, tuple[np.ndarray, np.ndarray]], thinned: bool, summary: ManySummary) -> None:
    """Marks at their longitude and latitude, a degree of both about as long."""
    for level, (colour, mark) in _MARKS.items():
        east, north = shown[level]
        if len(east):
            face = {"edgecolors": INK, "linewidths": 0.4} if mark != "x" else {"linewidths": 1.0}
            label = f"{level} ({summary.choice.levels[level]})"
            axis.scatter(east, north, s=22, c=colour, marker=mark, label=label, zorder=3, **face)
    norths = np.concatenate([north for _, north in shown.values()])
    if len(norths):
        axis.set_aspect(1 / max(cos(radians(float(np.mean(norths)))), 0.2), adjustable="datalim")
    axis.grid(True)
    axis.set_xlabel("longitude [degrees east]")
    axis.set_ylabel("latitude [degrees north]")
    name = f' of "{summary.choice.id[:40]}"' if summary.choice.id else ""
    axis.set_title(f"Verdict{name}{', by cells of the map' if thinned else ''}", loc="left", fontsize=8.5, pad=18)
    axis.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=4, frameon=False, fontsize=7.5, borderpad=0.1)


def _thinned(places: pd.DataFrame) -> tuple[dict[str, tuple[np.ndarray, np.ndarray]], bool]:
    """Longitudes and latitudes by verdict; of very many places one a cell of the map, as most there are."""
    known = places.dropna(subset=["latitude", "longitude"])
    thin = len(known) > _MOST_MARKS
    if thin:
        size = max(float(np.ptp(known[name])) for name in ("latitude", "longitude")) / _CELLS or 1.0
        cell = [np.floor(known[name] / size) for name in ("latitude", "longitude")]
        counts = known.groupby([*cell, "verdict"]).size().rename("count").reset_index()
        known = counts.sort_values("count", kind="stable").drop_duplicates(["latitude", "longitude"], keep="last")
        known = known.assign(**{name: (known[name] + 0.5) * size for name in ("latitude", "longitude")})
    of = {level: known[known["verdict"] == level] for level in _MARKS}
    return {level: (one["longitude"].to_numpy(), one["latitude"].to_numpy()) for level, one in of.items()}, thin


def _share_bars(axis: Any, bars: list[Any], summary: ManySummary) -> None:
    """A bar a design: the share of places at which it fits."""
    shares = np.nan_to_num([one.share for one in bars])
    rows = -np.arange(len(bars))
    axis.barh(rows, 100 * shares, height=0.7, color=[GREEN if one is summary.choice else MUTED for one in bars])
    for row, share in zip(rows, shares, strict=True):
        axis.text(100 * share + 1, row, f"{share:.0%}", va="center", fontsize=7.5)
    axis.axvline(100 * NEARLY_EVERYWHERE, color=INK, linewidth=0.8, linestyle=(0, (4, 2)))
    axis.set_yticks(rows, [f"{'→ ' if one is summary.choice else ''}{one.id[:24]}" for one in bars])
    axis.set_xlim(0, 108)
    axis.set_xlabel("fits at so many of the places [%]")


def _picture_words(summary: ManySummary) -> str:
    """Say in words what the picture shows."""
    words = [summary.sentence]
    words += [_cause_words(one) for one in summary.causes]
    if len(summary.designs) > 1:
        shares = (f"{one.id} {'-' if isnan(one.share) else f'{one.share:.0%}'}" for one in summary.designs[:_MOST_BARS])
        words.append(f"Share of the places that each design fits at: {', '.join(shares)}.")
    return " ".join(words)


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
            # What a process that was killed has begun.
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
