"""Small pieces of text layout that the reports share."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from math import isnan
from typing import Any

from solarvent.base.columns import COLUMNS
from solarvent.base.findings import Finding, by_remedy

WIDTH = 80

CAUTIONS = (
    "General planning help. Stay below 60 V DC and off the mains. Cover the panel before joining anything, and meter"
    " the polarity at the last plug before a fan.",
    "Your building authority, landlord or insurer may ask for more; anything tied to house wiring is for a licensed"
    " electrician. Fans that follow the sun are no life support for animals.",
)

#: Beside thresholds of which one to stop lies above the one to start.
STOPS_EARLIER = (
    "A fan that stops at more light than it started at had the panel to itself on the way up, and shares it with"
    " turning fans on the way down."
)


def heading(text: str) -> str:
    """Write a heading."""
    return f"{text}\n{'-' * len(text)}"


def paragraph(text: str, indent: str = "", first: str | None = None) -> str:
    """Wrap a text to the width of a plain terminal."""
    return textwrap.fill(
        text, WIDTH, initial_indent=indent if first is None else first, subsequent_indent=indent,
        break_long_words=True, break_on_hyphens=False,
    )  # fmt: skip


def findings_text(findings: Iterable[Finding]) -> str:
    """Write findings in words, in the order given; those that call for the same deed stand together."""
    blocks = []
    for remedy in by_remedy(findings):
        names = f"  ({', '.join(remedy.parts)})" if remedy.parts else ""
        lines = [paragraph(f"{remedy.level.upper()}  {', '.join(remedy.codes)}{names}", "      ", "")]
        for text, about in remedy.texts.items():
            whose = f"{', '.join(about)}: " if about and len(remedy.texts) > 1 else ""
            lines.append(paragraph(whose + text, "      "))
        lines.append(paragraph(remedy.do, "         ", "      -> "))
        blocks.append("\n".join(lines))
    return "\n".join(blocks)


def table(rows: Iterable[Sequence[Any]], headers: Sequence[str]) -> str:
    """Lay out a table with aligned columns; a heading breaks before its unit."""
    import tabulate

    # By default every column is two wider than its heading, which a terminal of 80 columns does not have to spare.
    tabulate.MIN_PADDING = 0
    return tabulate.tabulate(
        [list(row) for row in rows],
        headers=[text.replace(" [", "\n[") for text in headers],
        tablefmt="simple",
        disable_numparse=True,
        stralign="right",
        colalign=("left",),
    )


def cell(name: str, value: float, system: str) -> str:
    """Write the value of a result column for people."""
    column = COLUMNS[name]
    if isnan(value):
        return "-"
    return f"{column.shown(value, system):.{column.decimals if system == 'metric' else column.decimals_us}f}"


def clock(hours: float) -> str:
    """Write hours of the day as a time; ``-`` for none."""
    if isnan(hours):
        return "-"
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def spread(typical: float, low: float, high: float) -> str:
    """Write a typical value with its band, ``-`` where it does not happen."""
    words = [("-" if isnan(value) else f"{value:.0f}") for value in (typical, low, high)]
    return f"{words[0]} ({words[1]} .. {words[2]})"
