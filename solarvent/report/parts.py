"""Parts: the library, and how the pieces of a box go together."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from solarvent.plan.library import KINDS, Library
from solarvent.report.data import to_json, verdict_data
from solarvent.report.layout import (
    Block,
    Line,
    findings_brief,
    findings_text,
    heading,
    next_step,
    paragraph,
    room_beside,
    width,
)
from solarvent.studies.pair import Pairing
from solarvent.wiring.pairing_search import JoinLine
from solarvent.wiring.remedies import Purchase


def render_parts(library: Library, kind: str | None, part: str | None, form: str) -> str:
    """List the kinds, the parts of a kind, or one part, as text, JSON or CSV; values as in the files, with their units.

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
    left = max((len(word) for word in rows), default=0) + 2
    lines = [paragraph(f"{word:<{left}}{text}", " " * min(left, width() // 2), "") for word, text in rows.items()]
    return "\n".join([heading(title), *lines])


def _csv(entries: dict[str, Any]) -> str:
    keys = list(dict.fromkeys(key for entry in entries.values() for key in entry))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["id", *keys])
    writer.writerows([name, *(entry.get(key, "") for key in keys)] for name, entry in entries.items())
    return text.getvalue().rstrip("\n")


SCHEMA = "solarvent.pair/1"
_POLES = {"kept": "right", "reversed": "REVERSED", "unknown": "meter it"}


def pairing_text(answer: Pairing, then: str = "", full: bool = True) -> str:
    """Write the answer: the verdict first, then the findings and what to join, or what to buy and where to cut.

    `then` is the command that comes next, empty for none. Not in full the findings have what room a screen leaves, and
    where something is bought, it stands there once.
    """
    head = [paragraph(answer.verdict.sentence), paragraph(answer.title)]
    if answer.verdict.first is not None:
        head.append(paragraph(answer.verdict.first_sentence))
    rest = []
    for block in pairing_blocks(answer):
        if full or not (block.key == "now" and answer.buy):
            rest.append(block.on_screen())
        if full and block.key == "buy":
            rest.append("\n".join(["Once bought, it stands in a box file as", *map(_as_file, answer.buy)]))
    if then:
        rest.append(next_step(then))
    if full:
        told = findings_text(answer.findings, answer.verdict.first)
    else:
        told = findings_brief(answer.findings, answer.verdict.first, room_beside([*head, *rest]))
    return "\n\n".join([*head, *([told] if told else []), *rest])


def pairing_blocks(answer: Pairing) -> Iterator[Block]:
    """Tell what to buy (its key is "buy"), where to cut, and what to join in which order (as it is "now")."""
    if answer.buy:
        yield Block("Least to buy", [line for item in answer.buy for line in _purchase(item)], "buy")
        yield Block("Then join, in this order", _joins(answer.after_buying))
    if answer.splice:
        cuts = [
            Line(f"{number}. {cut.at[:1].upper()}{cut.at[1:]}: {cut.why}.", "   ", "")
            for number, cut in enumerate(answer.splice, 1)
        ]
        yield Block("Or cut and splice (second choice)" if answer.buy else "Cut and splice", cuts)
    if _wants_a_remedy(answer) and not answer.buy and not answer.splice:
        yield Block("", [Line("Neither an adapter of the library nor a splice would help.")])
    if answer.fits != "no":
        first = "Join" if answer.feasible != "no" else "Once that is mended, join"
        yield Block(f"{first}, in this order, with the panel covered", _joins(answer.joins))
    elif answer.joins:
        title = "What can be joined now" if answer.fed < answer.fans else "As it would be joined now"
        yield Block(title, _joins(answer.joins), "now")
    if answer.left_over and answer.fits != "no":
        yield Block("", [Line(f"Left over: {', '.join(answer.left_over)}.")])


def _wants_a_remedy(answer: Pairing) -> bool:
    """Tell whether something to buy or to splice was looked for."""
    wrong = {"polarity-reversed", "fan-runs-backward", "voltage-sides"} & {finding.code for finding in answer.findings}
    return answer.feasible == "no" and answer.loose and (answer.fed < answer.fans or bool(wrong))


def _purchase(item: Purchase) -> list[Line]:
    """Tell of one thing to buy, with both ways of naming."""
    name, _, ends = item.item.partition(" - ")
    first, *others = ends.split("; out: ")
    return [
        Line(f"{item.count} x {name}", "    ", ""),
        Line(first, "          ", "    "),
        *(Line(f"out: {end}", "          ", "    ") for end in others),
        Line(item.why, "    "),
    ]


def _as_file(item: Purchase) -> str:
    """Write a thing that was bought as it stands in a box file."""
    count = f"\n    count = {item.count}" if item.count > 1 else ""
    return f'    [[{item.section}]]\n    part = "{item.part}"{count}'


def _joins(joins: list[JoinLine]) -> list[Line]:
    """Tell joins as numbered steps."""
    lines = []
    for number, join in enumerate(joins, start=1):
        ends = f"{_end(join.source, join.source_port)}  ->  {_end(join.sink, join.sink_port)}"
        note = "" if join.mates else "DOES NOT FIT; "
        used = {one.source_port for one in joins if one.source == join.sink}
        if join.sink_port.startswith("branch") and "trunk" not in used:
            note += "its trunk stays free, tape it; "
        pole = f"+ on the {join.plus} contact" if join.plus else f"pole: {_POLES[join.polarity]}"
        lines += [Line(f"{number:2d}. {ends}", "    ", ""), Line(f"{join.connectors}; {note}{pole}", "    ")]
    return lines


def _end(part: str, port: str) -> str:
    name = part.removeprefix("new-")
    return f"{name} ({port})" if port.startswith(("branch", "trunk")) or port[-1].isdigit() else name


def _join_data(join: JoinLine) -> dict[str, Any]:
    return {
        "from": join.source,
        "from_port": join.source_port,
        "to": join.sink,
        "to_port": join.sink_port,
        "connector": join.connectors,
        "mates": join.mates,
        "polarity": join.polarity,
        "plus": join.plus,
    }


def pairing_data(answer: Pairing) -> dict[str, Any]:
    """Give the answer as data for other programs."""
    return {
        "schema": SCHEMA,
        "title": answer.title,
        "verdict": verdict_data(answer.verdict),
        "feasible": answer.feasible,
        "fans": answer.fans,
        "fed": answer.fed,
        "joins": [_join_data(join) for join in answer.joins],
        "left_over": answer.left_over,
        "buy": [{"item": item.item, "part": item.part, "count": item.count, "why": item.why} for item in answer.buy],
        "joins_after_buying": [_join_data(join) for join in answer.after_buying],
        "splice": [{"at": cut.at, "why": cut.why} for cut in answer.splice],
        "findings": [asdict(finding) for finding in answer.findings],
    }
