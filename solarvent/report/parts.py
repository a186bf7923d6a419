"""The parts library as text and as data."""

from __future__ import annotations

import csv
import io
from typing import Any

from solarvent.plan.library import KINDS, Library
from solarvent.report.layout import WIDTH, heading, paragraph
from solarvent.report.plain_json import to_json


def render_parts(library: Library, kind: str | None, part: str | None, form: str) -> str:
    """List the kinds, the parts of a kind, or one part.

    Parameters
    ----------
    library : Library
        With a person's own parts laid over it.
    kind, part : str, optional
        What to show.
    form : {"text", "json", "csv"}
        How.

    Returns
    -------
    str
        The values stand as in the files, with their units.

    Raises
    ------
    PartError
        If there is no such kind or part.
    """
    if kind is None:
        entries: dict[str, Any] = {name: {"entries": len(library.entries(name))} for name in KINDS}
        text = _lines({name: f"{entry['entries']} entries" for name, entry in entries.items()}, "Kinds of part")
        text += "\n\n" + paragraph(
            "For the parts of a kind: solarvent parts fans; for one part: solarvent parts fans ID."
        )
    elif part is None:
        entries = dict(library.entries(kind))
        text = _lines({name: entry.get("name", "") for name, entry in entries.items()}, kind.capitalize())
    else:
        entries = {part: library.get(kind, part)}
        text = _lines({key: str(value) for key, value in entries[part].items()}, part)
    if form == "json":
        return to_json({"schema": "solarvent.parts/1", "parts": entries}, indent=2)
    return _csv(entries) if form == "csv" else text


def _lines(rows: dict[str, str], title: str) -> str:
    """Write words with their meaning, wrapped beside them."""
    width = max((len(word) for word in rows), default=0) + 2
    lines = [paragraph(f"{word:<{width}}{text}", " " * min(width, WIDTH // 2), "") for word, text in rows.items()]
    return "\n".join([heading(title), *lines])


def _csv(entries: dict[str, Any]) -> str:
    keys = list(dict.fromkeys(key for entry in entries.values() for key in entry))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["id", *keys])
    writer.writerows([name, *(entry.get(key, "") for key in keys)] for name, entry in entries.items())
    return text.getvalue().rstrip("\n")
