"""What goes wrong: what one sees, why, the finding that tells it from a plan, and what helps."""

from __future__ import annotations

from functools import cache
from itertools import groupby
from typing import NamedTuple

from solarvent.base.errors import SolarventError
from solarvent.plan.library import profiles, read_toml
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph


class Fault(NamedTuple):
    """One thing that goes wrong; a plan tells it by `codes`, or else a step of the checklist looks for it."""

    slug: str
    topic: str
    what: str
    why: str
    do: str
    codes: tuple[str, ...] = ()
    step: str = ""


@cache
def faults() -> tuple[Fault, ...]:
    """All of them, by topic."""
    entries = read_toml(profiles() / "faults.toml", SolarventError)["faults"]
    return tuple(Fault(**{**entry, "codes": tuple(entry.get("codes", ()))}) for entry in entries)


def render_faults() -> str:
    """Write all of them as text of at most 80 columns."""
    blocks = [
        paragraph(
            "What goes wrong with fans on a panel. In brackets stands the finding by which solarvent run or solarvent"
            " pair tells it from a plan; where no plan can tell it, the checklist looks for it."
        )
    ]
    for topic, members in groupby(faults(), key=lambda fault: fault.topic):
        blocks.append(heading(topic.capitalize()))
        blocks += [_fault_text(fault) for fault in members]
    return "\n\n".join(blocks)


def _fault_text(fault: Fault) -> str:
    """One of them, in the form of a finding."""
    where = ", ".join(fault.codes) if fault.codes else f'checklist: "{fault.step}"'
    rows = (
        paragraph(fault.what),
        paragraph(f"{fault.why} [{where}]", "    "),
        paragraph(fault.do, "       ", "    -> "),
    )
    return "\n".join(rows)


def faults_json() -> str:
    """Write the same as JSON, schema ``solarvent.faults/1``."""
    return to_json({"schema": "solarvent.faults/1", "faults": [fault._asdict() for fault in faults()]})
