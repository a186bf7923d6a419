"""A starter plan from what came in the boxes: their parts, and the joins that the pairing found."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from solarvent.base.errors import PlanError, Problem
from solarvent.plan.boxes import Box, BoxedBattery, with_pieces
from solarvent.plan.edit import table_text, toml_value
from solarvent.plan.library import Library
from solarvent.plan.parts import Panel, Part
from solarvent.plan.plan import Plan, embedded_plan_path, plan_from
from solarvent.plan.starter import Answers, house_text, opening_text
from solarvent.studies.boxed_parts import boxed_rows, is_typical
from solarvent.studies.pair import pair
from solarvent.wiring.harness import build_harness
from solarvent.wiring.joints import Join
from solarvent.wiring.remedies import Purchase

#: Where the parts of the embedded example begin; what stands before is place, weather, house and target.
_FIRST_PART = "[[panel]]"
_REGULATOR = """\
# A regulator or clamp between panel and fans: take the # away, and put "regulator" into each run, where it stands.
# [[converter]]
# id = "regulator"
# part = "clamp-13v"          # see: solarvent parts converters"""


@dataclass(frozen=True)
class JoinedBoxes:
    """Boxes, how their parts are joined, and what of them is still to be bought."""

    boxes: Box
    joints: Sequence[Join]
    missing: Sequence[Purchase] = ()


def joined_boxes(boxes: Box | Plan, buying: bool = False) -> JoinedBoxes:
    """Join the parts of some boxes; if they cannot be joined as they are, `buying` adds the least that must be bought.

    Raises PlanError if it was a plan already, the parts cannot be joined, or they are fed by a battery.
    """
    if isinstance(boxes, Plan):
        raise PlanError.single("", "this is a plan already", "copy it")
    if boxes.of(BoxedBattery):
        raise PlanError.single(
            "", "a box with a battery has no plan of its own", "write the plan by hand: solarvent new"
        )
    answer = pair(boxes)
    missing = answer.buy if buying and answer.fits == "no" else []
    if missing:
        content: dict[str, Any] = {"kit_version": 1}
        for item in missing:
            piece = {"id": f"new-{item.section}", "part": item.part, "count": item.count, "owned": False}
            content.setdefault(item.section, []).append(piece)
        boxes = with_pieces(boxes, content)
        answer = pair(boxes)
    if answer.fits == "no":
        what = "these parts cannot be joined as they are"
        raise PlanError([Problem("", what, "see what is missing with: solarvent pair, and add it to the box")])
    return JoinedBoxes(boxes, answer.joints, missing)


def box_plan(joined: JoinedBoxes, answers: Answers | None = None) -> str:
    """Write a plan file (TOML) for joined parts of some boxes; PlanError if a plan has no words for the joins.

    Place, weather, house and openings are as answered, or else those of the embedded example, to be changed; parts and
    runs are the boxes' own.
    """
    boxes = joined.boxes
    head, openings = _around(" + ".join(boxes.titles), answers)
    rows, runs = boxed_rows(boxes, joined.joints)
    parts = [_table(section, _mounted(part, row, answers)) for section, part, row in rows]
    wiring = "[wiring]\nruns = [\n" + "".join(f"    {toml_value(run)},\n" for run in runs) + f"]\n\n{_REGULATOR}"
    text = "\n\n".join([head.rstrip(), *parts, openings, wiring])
    _must_hold(text, boxes.library)
    return text


def _around(title: str, answers: Answers | None) -> tuple[str, str]:
    """Write what stands before the parts, and the openings."""
    if answers is not None:
        return house_text(answers, title), opening_text(answers)
    example = embedded_plan_path().read_text(encoding="utf-8")
    note = "# From what came in the boxes. Place, weather, house and openings are the embedded example's: change them."
    line = f"title = {toml_value(title)}"
    head = [line if row.startswith("title =") else row for row in example.split(_FIRST_PART)[0].splitlines()]
    return "\n".join([note, *head[2:]]), "[[opening]]" + example.split("[[opening]]", 1)[1].split("\n\n", 1)[0]


def _mounted(part: Part, row: dict[str, Any], answers: Answers | None) -> tuple[Part, dict[str, Any]]:
    """Hang a panel as it was answered."""
    if answers is None or not isinstance(part, Panel):
        return part, row
    return part, row | {"tilt": answers.tilt, "azimuth": answers.azimuth}


def _must_hold(text: str, library: Library) -> None:
    """Refuse joins that a plan has no words for."""
    try:
        build_harness(plan_from(tomllib.loads(text), library))
    except PlanError as error:
        what = "these parts can be joined, but a plan cannot hold all of it"
        raise PlanError(
            [Problem("", what, 'write one by hand: solarvent new, with layout = "shared"'), *error.problems]
        ) from None


def _table(section: str, entry: tuple[Part, dict[str, Any]]) -> str:
    """Write one part as a table, with its name; of which nothing is known, with what it was taken for."""
    part, row = entry
    note = f"  # {part.name}" if part.name else "  # typical, but for what was known" if is_typical(part) else ""
    header, *lines = table_text(section, {"id": part.id, **row}).splitlines()
    return "\n".join([header + note, *lines])
