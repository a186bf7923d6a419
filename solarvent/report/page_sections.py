"""Sections of the page that are a few lines, a picture and a table: other panels, and the night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan

from solarvent.base.findings import Finding
from solarvent.report.night_chart import night_chart, night_words
from solarvent.report.night_text import short_answer
from solarvent.simulation.cold_night import Night
from solarvent.studies.panel_choices import ALL_TURN, PanelChoice


@dataclass(frozen=True)
class Section:
    """A section of the page.

    Attributes
    ----------
    key, title : str
        The anchor, and the heading.
    lines : sequence of str
        Paragraphs before the picture and the table.
    picture, words : str
        An ``svg`` element and what it shows, or nothing.
    headers, rows : sequence
        The table; none if there are no rows. A row whose first cell ends with ``*`` is the plan's own.
    """

    key: str
    title: str
    lines: Sequence[str] = ()
    picture: str = ""
    words: str = ""
    headers: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()


def panels_section(choices: Sequence[PanelChoice]) -> Section | None:
    """Show what smaller and larger panels would change; None if no watts are known."""
    if not choices:
        return None
    headers = ("panel [W]", "all start at [W/m2]", "turn down to [W/m2]", "could start", "most volts", "verdict")
    fitting = next((choice for choice in choices if choice.verdict == ALL_TURN), None)
    own = next(choice for choice in choices if choice.planned)
    lines = [
        "The same fans and wires on another panel. Could start: share of the needed hours whose light starts every fan."
        " Most volts: at the fan nearest to its limit, in the coldest bright hour, and its rated maximum."
    ]
    if fitting is None:
        lines.insert(
            0, "No panel of the usual sizes turns these fans safely: change the fans or put a regulator between."
        )
    elif own.verdict != ALL_TURN:
        lines.insert(0, f"The smallest panel that turns all these fans safely is {fitting.watts:.3g} W.")
    return Section("panels", "Other panels", lines, headers=headers, rows=[_row(choice) for choice in choices])


def _row(choice: PanelChoice) -> list[str]:
    start, stop = (
        "never" if isnan(light) else f"{light:.0f}" for light in (choice.start_irradiance, choice.run_down_irradiance)
    )
    return [
        f"{choice.watts:.3g}" + (" *" if choice.planned else ""),
        start,
        stop,
        "-" if isnan(choice.start_share) else f"{choice.start_share:.0%}",
        f"{choice.voltage:.1f} of {choice.limit:.1f}",
        choice.verdict,
    ]


def night_section(night: Night | None, findings: Sequence[Finding], system: str) -> Section | None:
    """Show the coldest night; None if the weather is too short to have one."""
    if night is None:
        return None
    lines = [f"{finding.text} {finding.do}" for finding in findings if finding.level != "note"]
    lines += short_answer(night, system)
    return Section("night", "The coldest night", lines, night_chart(night, system), night_words(night, system))
