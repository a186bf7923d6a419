"""How an answer is set on a screen: its frame, its first screen, paragraphs, tables and findings."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from math import isnan
from typing import TYPE_CHECKING, Any

from solarvent.base.columns import COLUMNS
from solarvent.base.findings import Finding, KeyFigure, Remedy, Verdict, by_remedy
from solarvent.base.quantities import show

if TYPE_CHECKING:
    from solarvent.plan.plan_record import PlanRecord

#: Columns of a file, a pipe and a plain terminal.
WIDTH = 80
NARROWEST, WIDEST = 40, 120
#: Lines of the first screen; what is longer stands behind ``--full``.
SCREEN_LINES = 45
#: Findings get this many lines even where the rest of the screen leaves them fewer.
_LEAST_FINDING_LINES = 5
_MOST_NOTES = 4
#: So many parts are named in the short form of a finding; more say nothing to anybody.
_MOST_NAMED = 3

CAUTIONS = (
    "General planning help. Stay below 60 V DC and off the mains. Cover the panel before joining anything, and meter"
    " the polarity at the last plug before a fan.",
    "Your building authority, landlord or insurer may ask for more; anything tied to house wiring is for a licensed"
    " electrician. Fans that follow the sun are no life support for animals.",
)

#: Beside figures of all bands.
IN_BRACKETS = "In brackets: weak panel and stiff fans .. all at their best."
#: Beside thresholds of which one to stop lies above the one to start.
STOPS_EARLIER = (
    "A fan that stops at more light than it started at had the panel to itself on the way up, and shares it with"
    " turning fans on the way down."
)

# Of each thread and task its own, so that two answers at once do not set each other's width.
_width: ContextVar[int] = ContextVar("width", default=WIDTH)


@dataclass(frozen=True)
class Frame:
    """How an answer is to be set.

    `system` are the units; `note` stands under the title; `plan` is what to type for the plan after a command, empty
    for the embedded example; `full` asks for every table; `plain` for ASCII in the pictures; `mend` is the finding
    that can be mended in the plan's file, empty for none.
    """

    system: str = "metric"
    note: str = ""
    plan: str = ""
    full: bool = False
    plain: bool = False
    mend: str = ""

    def command(self, words: str) -> str:
        """Write a command about the plan, as it is typed."""
        name, *options = words.split(" ")
        return " ".join(word for word in ("solarvent", name, self.plan, *options) if word)


def width() -> int:
    """Columns that a line may have."""
    return _width.get()


@contextmanager
def set_to(columns: int) -> Iterator[None]:
    """Write lines of at most so many columns meanwhile, but of no fewer than 40 and no more than 120."""
    before = _width.set(min(max(columns, NARROWEST), WIDEST))
    try:
        yield
    finally:
        _width.reset(before)


def heading(text: str) -> str:
    """Write a heading; one that is too long for the line is broken."""
    lines = textwrap.wrap(text, width()) or [""]
    return "\n".join([*lines, "-" * max(map(len, lines))])


def paragraph(text: str, indent: str = "", first: str | None = None) -> str:
    """Wrap a text to the width of the screen."""
    return textwrap.fill(
        text, width(), initial_indent=indent if first is None else first, subsequent_indent=indent,
        break_long_words=True, break_on_hyphens=False,
    )  # fmt: skip


def paragraphs(texts: Iterable[str]) -> str:
    """Wrap texts, one below the other."""
    return "\n".join(map(paragraph, texts))


def headed(title: str, texts: Iterable[str]) -> str:
    """Write texts under a heading."""
    return f"{heading(title)}\n{paragraphs(texts)}"


@dataclass(frozen=True)
class Line:
    """A paragraph of an answer; on a screen set in by `indent`, but for its first line where `first` says so."""

    text: str
    indent: str = ""
    first: str | None = None


@dataclass(frozen=True)
class Block:
    """Paragraphs that belong together, with or without a heading; `key` names what is told for a page to know it by."""

    title: str
    lines: Sequence[Line]
    key: str = ""

    def on_screen(self) -> str:
        """Write it in lines of a screen."""
        lines = [paragraph(line.text, line.indent, line.first) for line in self.lines]
        return "\n".join([*([heading(self.title)] if self.title else []), *lines])


@dataclass(frozen=True)
class Section:
    """A section of the page: paragraphs, then a picture (SVG) with what it shows in words, then a table.

    The key is the anchor. A row whose first cell ends with ``*`` is the plan's own.
    """

    key: str
    title: str
    lines: Sequence[str] = ()
    picture: str = ""
    words: str = ""
    headers: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()


def cautions(record: PlanRecord) -> list[str]:
    """Give the cautions that a plan earns, the most apt of them first, then those for everybody."""
    own = []
    if record.heater is not None:
        own.append(
            "A heater that burns fuel in a closed house makes carbon monoxide, which kills people, and ethylene, which"
            " harms plants: give it its own air and flue."
        )
    if record.battery is not None:
        own.append("A battery can push hundreds of amperes: a fuse at its + pole comes first, and no spark near it.")
    if record.house.use == "coop":
        own.append("Animals die in hours when air fails: have an alarm, and openings that need no power.")
    if record.mass:
        own.append("Water is heavy: a 55 gal drum weighs 208 kg. Set it on firm level ground, where it cannot tip.")
    return [*own, *CAUTIONS, "Keep joints dry and off the ground; an indoor extension lead is no outdoor cable."]


def first_screen(
    frame: Frame,
    title: str,
    verdict: Verdict,
    findings: Sequence[Finding],
    blocks: Iterable[str],
    caution: str,
    then: str,
) -> str:
    """Set the answer that fits on one screen: verdict, findings, the blocks given, one caution, and what comes next."""
    head = [titled(title, frame.note), verdict_text(verdict, frame.system)]
    rest = [*(block for block in blocks if block), foot(caution, then)]
    told = findings_brief(findings, verdict.first, room_beside([*head, *rest]))
    return "\n\n".join([*head, *([told] if told else []), *rest])


def room_beside(blocks: Iterable[str]) -> int:
    """Lines that a screen leaves for findings; where it is narrow, words take more lines, and it may be longer."""
    lines = SCREEN_LINES * WIDTH // min(width(), WIDTH)
    # A block takes its lines and the empty one below it.
    return max(lines - sum(block.count("\n") + 2 for block in blocks), _LEAST_FINDING_LINES)


def foot(caution: str, then: str) -> str:
    """Write what an answer ends with: one caution, and what comes next."""
    return f"{paragraph(f'Caution: {caution}')}\n{next_step(then)}"


def next_step(then: str) -> str:
    """Write what comes next; a command, which stands before three spaces, is never broken: it is there to be copied."""
    command, _, words = then.partition("   ")
    text = paragraph(f"Next: {then}", "      ", "")
    return text if not words or command in text else f"Next: {command}\n{paragraph(words, '      ')}"


def titled(title: str, note: str) -> str:
    """Write the title, and under it what is to be known of the plan."""
    return paragraph(title[:200]) + ("\n" + paragraph(note) if note else "")


def verdict_text(verdict: Verdict, system: str) -> str:
    """Write a verdict: the sentence, what to do first, and the figures that carry it."""
    figures = "; ".join(f"{figure.what}: {_figure(figure, system)}" for figure in verdict.figures)
    deed = verdict.first_sentence
    lines = [verdict.sentence, deed, f"{figures[:1].upper()}{figures[1:]}." if figures else ""]
    return "\n".join(paragraph(line) for line in lines if line)


def _figure(figure: KeyFigure, system: str) -> str:
    """Write a figure of a verdict."""
    if isnan(figure.value):
        return "none does" if figure.dimension == "irradiance" else "-"
    # From a battery fans start in the dark.
    if figure.dimension == "irradiance" and figure.value == 0:
        return "none is needed"
    return show(figure.value, figure.dimension, system) if figure.dimension else f"{figure.value:.0%}"


def findings_brief(findings: Iterable[Finding], first: Remedy | None, room: int) -> str:
    """Write findings within so many lines: first the stops and warnings in words, then as many as fit in one line each.

    What the verdict has said to do is not said again. Of each note there is one line.
    """
    remedies = by_remedy(findings)
    pressing = [remedy for remedy in remedies if remedy.level != "note"]
    notes = [remedy for remedy in remedies if remedy.level == "note"]
    shown = notes if len(notes) <= _MOST_NOTES else notes[: _MOST_NOTES - 1]
    if any(remedy.level == "stop" for remedy in pressing):
        shown = []  # They can wait until it may be built.
    told = [_shortly(remedy) for remedy in shown]
    if len(notes) > len(shown):
        left = len(notes) - len(shown)
        told.append(f"NOTE  and {left} {'more ' if shown else ''}note{'s' if left > 1 else ''}: --full")
    lines: list[str] = []
    short: dict[int, Remedy] = {}
    for number, remedy in enumerate(pressing):
        said = first is not None and remedy.do == first.do and remedy.level == first.level
        words = _in_words(remedy, with_deed=not said).split("\n")
        left = len(pressing) - number - 1
        if len(lines) + len(words) + left + len(told) > room:
            words = [_shortly(remedy)]
            short[len(lines)] = remedy
        # Stops cut short have the room before warnings.
        waits = remedy.level == "warn" and any(other.level == "stop" for other in short.values())
        if waits or len(lines) + len(words) + min(left, 1) + len(told) > room:
            short.pop(len(lines), None)
            lines.append(f"      and {left + 1} more, see --full")
            break
        lines += words
    short |= {len(lines) + number: remedy for number, remedy in enumerate(shown)}
    lines += told
    # What room is left goes to those that one line cut short, the worst first.
    spare = room - len(lines)
    for number, remedy in short.items():
        longer = _shortly(remedy, min(spare, 1) + 1)
        spare -= longer.count("\n")
        lines[number] = longer
    return "\n".join(lines)


def _head(remedy: Remedy) -> str:
    names = f"  ({', '.join(remedy.parts)})" if remedy.parts else ""
    return f"{remedy.level.upper()}  {', '.join(remedy.codes)}{names}"


def _shortly(remedy: Remedy, lines: int = 1) -> str:
    """Write the first sentence of what was found, or as much of it as one or more lines hold."""
    parts = f" ({', '.join(remedy.parts)})" if 0 < len(remedy.parts) < _MOST_NAMED else ""
    # A finding begins with what is wrong; figures and reasons follow in further sentences.
    said = remedy.members[0].text.partition(". ")[0].removesuffix(".")
    told = textwrap.wrap(
        f"{', '.join(remedy.codes)}{parts}: {said}.", width() - 6, max_lines=lines, placeholder=" ...",
        break_on_hyphens=False,
    )  # fmt: skip
    return "\n".join([f"{remedy.level.upper()}  {told[0]}", *(f"      {line}" for line in told[1:])])


def _in_words(remedy: Remedy, with_deed: bool = True) -> str:
    """Write what was found, and what mends it."""
    lines = [paragraph(_head(remedy), "      ", "")]
    for text, about in remedy.texts.items():
        whose = f"{', '.join(about)}: " if about and len(remedy.texts) > 1 else ""
        lines.append(paragraph(whose + text, "      "))
    if with_deed:
        lines.append(paragraph(remedy.do, "         ", "      -> "))
    return "\n".join(lines)


def findings_text(findings: Iterable[Finding], first: Remedy | None = None) -> str:
    """Write findings in words, in the order given; those that call for the same deed stand together.

    The deed of `first`, which the verdict has said, is not said again.
    """
    return "\n".join(
        _in_words(remedy, first is None or (remedy.do, remedy.level) != (first.do, first.level))
        for remedy in by_remedy(findings)
    )


def table(rows: Iterable[Sequence[Any]], headers: Sequence[str]) -> str:
    """Lay out a table with aligned columns; a heading breaks before its unit.

    A table that is wider than the screen goes on below, its first column again in front.
    """
    every = [[text.replace(" [", "\n[") for text in headers], *([str(entry) for entry in row] for row in rows)]
    if width() < WIDTH:
        # Words may be broken over lines, so that the first column and any other stand side by side.
        half = (width() - 2) // 2
        every = [[_broken(text, half) for text in row] for row in every]
    headers, *every = every
    wide = [
        max(len(line) for row in [headers, *every] for line in row[place].split("\n")) for place in range(len(headers))
    ]
    parts: list[list[int]] = [[0]]
    taken = wide[0]
    for place in range(1, len(headers)):
        if taken + 2 + wide[place] > width() and len(parts[-1]) > 1:
            parts.append([0])
            taken = wide[0]
        parts[-1].append(place)
        taken += 2 + wide[place]
    return "\n\n".join(
        _aligned([[row[at] for at in part] for row in every], [headers[at] for at in part]) for part in parts
    )


def _broken(text: str, columns: int) -> str:
    """Break every line of a cell that is longer than so many columns; an id keeps its hyphens."""
    lines = (textwrap.wrap(line, columns, break_on_hyphens=False) or [""] for line in text.split("\n"))
    return "\n".join(part for parts in lines for part in parts)


def _aligned(rows: list[list[str]], headers: list[str]) -> str:
    import tabulate

    # By default every column is two wider than its heading, which a terminal of 80 columns does not have to spare.
    tabulate.MIN_PADDING = 0
    return tabulate.tabulate(
        rows, headers=headers, tablefmt="simple", disable_numparse=True, stralign="right", colalign=("left",)
    )


def cell(name: str, value: float, system: str) -> str:
    """Write the value of a result column for people."""
    column = COLUMNS[name]
    if isnan(value):
        return "-"
    # z: what rounds to nought has no minus sign.
    return f"{column.shown(value, system):z.{column.decimals if system == 'metric' else column.decimals_us}f}"


def clock(hours: float) -> str:
    """Write hours of the day as a time; ``-`` for none."""
    if isnan(hours):
        return "-"
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def of_bands(bands: Mapping[str, Any], figure: str) -> list[Any]:
    """Give a figure of the typical, the low and the high reading, in the order of :func:`spread`."""
    return [getattr(bands[name], figure) for name in ("typical", "low", "high")]


def bracket(typical: float, low: float, high: float) -> tuple[float, float]:
    """Give the ends of a band, the nearer one moved to the typical value where that lies beyond both."""
    beyond = (typical - low) * (typical - high) > 0
    if beyond and abs(typical - low) < abs(typical - high):
        return typical, high
    return (low, typical) if beyond else (low, high)


def spread(typical: float, low: float, high: float) -> str:
    """Write a typical value with its band, ``never`` where it does not happen."""
    if all(map(isnan, (typical, low, high))):
        return "never"
    low, high = bracket(typical, low, high)
    words = [("never" if isnan(value) else f"{value:.0f}") for value in (typical, low, high)]
    return f"{words[0]} ({words[1]} .. {words[2]})"
