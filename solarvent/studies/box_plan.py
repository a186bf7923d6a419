"""A plan from what came in the boxes: their parts as a plan has them, and the joins that the pairing found."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from solarvent.base.errors import PlanError, Problem
from solarvent.plan.boxes import Box, BoxedFan, BoxedPanel
from solarvent.plan.connectors import Families
from solarvent.plan.edit import table_text, toml_value
from solarvent.plan.library import Library
from solarvent.plan.parts import SMALL_CELLS, WIRED, Connector, Converter, Fan, Lead, Panel, Part
from solarvent.plan.plan import embedded_plan_path, plan_from
from solarvent.plan.starter import Answers, house_text, likest_fan, opening_text
from solarvent.wiring.harness import build_harness
from solarvent.wiring.joints import Join, Polarity, turned_crossing
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


# --- parts and joins as a plan has them -------------------------------------------------------------------


def boxed_rows(boxes: Box, joints: Sequence[Join]) -> tuple[list[tuple[str, Part, dict[str, Any]]], list[list[str]]]:
    """Give what is joined as the entries of a plan, each with its section and part, and the runs.

    A USB socket of a panel becomes the regulator behind it; a lead that goes in the other way round has its ends
    exchanged.
    """
    parts, ways = dict(boxes.parts), _ways(joints)
    for name, panel in boxes.of(Panel).items():
        boards, ways = _boards(name, panel, parts, ways, boxes)
        parts |= boards
    for joint in joints:
        part = parts[joint.sink.part]
        if isinstance(part, Lead) and joint.sink.name == "outlet":
            parts[joint.sink.part] = _turned(part, boxes.families)
    runs = list(_runs(ways, boxes))
    # What of the boxes is not joined is no part of the plan.
    used = {name for run in runs for name in run}
    rows = [
        (section, part, _row(section, part, boxes.library))
        for section, kind in WIRED.items()
        for name, part in parts.items()
        if isinstance(part, kind) and name in used
    ]
    return rows, runs


def boxed_content(boxes: Box, joints: Sequence[Join]) -> tuple[dict[str, Any], list[str]]:
    """Give what is joined as the content of a plan, without its house; and the parts of which figures are typical."""
    rows, runs = boxed_rows(boxes, joints)
    content: dict[str, Any] = {"wiring": {"runs": runs}}
    assumed = []
    for section, part, row in rows:
        content.setdefault(section, []).append({"id": part.id, **row})
        if is_typical(part):
            assumed.append(part.id)
    return content, assumed


def is_typical(part: Part) -> bool:
    """Tell a part of a box of which some figure that a plan needs is not known."""
    if isinstance(part, BoxedFan):
        return None in (part.rated_voltage, part.rated_current, part.start_voltage, part.maximum_voltage) or (
            not part.curve and None in (part.free_air_flow, part.shutoff_pressure)
        )
    return isinstance(part, BoxedPanel) and part.single_diode is None and part.watts is None and part.v_mp is None


def _ways(joints: Sequence[Join]) -> dict[tuple[str, str], list[str]]:
    """What is joined to each end, towards the fans."""
    ways: dict[tuple[str, str], list[str]] = {}
    for joint in joints:
        ways.setdefault((joint.source.part, joint.source.name), []).append(joint.sink.part)
    return ways


def _boards(
    name: str,
    panel: Part,
    parts: dict[str, Part],
    ways: dict[tuple[str, str], list[str]],
    boxes: Box,
) -> tuple[dict[str, Part], dict[tuple[str, str], list[str]]]:
    """Put the regulator of each socket that is held at 5 V behind the cells of a panel."""
    assert isinstance(panel, Panel)
    families, library = boxes.families, boxes.library
    ends = [panel.outlet, *panel.other_outlets]
    added: dict[str, Part] = {}
    ways = dict(ways)
    for number, end in enumerate(ends):
        port = "outlet" if number == 0 else f"outlet {number + 1}"
        if end is None or not families[end.family].voltage or (name, port) not in ways:
            continue
        board = f"{name}-socket" + (f"-{number + 1}" if number else "")
        kind = "panel-usb-socket" if (panel.v_mp or 18.0) < SMALL_CELLS else "panel-usb-board"
        soldered = Connector(family="soldered")
        entry = {**library.get("converters", kind), "id": board, "part": kind}
        added[board] = Converter.model_validate(entry).model_copy(update={"inlet": soldered, "outlet": end})
        ends[number] = soldered
        ways[(board, "outlet")] = ways.pop((name, port))
        ways[(name, port)] = [board]
    # What nothing hangs on is left out; the others stand in the order in which they are joined.
    ports = ["outlet", *(f"outlet {number}" for number in range(2, len(ends) + 1))]
    used = [ends[ports.index(port)] for source, port in ways if source == name]
    if used:
        parts[name] = panel.model_copy(update={"outlet": used[0], "other_outlets": used[1:]})
    return added, ways


def _turned(lead: Lead, families: Families) -> Lead:
    """Write a lead as the power meets it that goes in the other way round."""
    assert lead.inlet is not None
    assert lead.outlet is not None
    crosses = lead.crosses
    if crosses is not None:
        back = turned_crossing(Polarity.of(crosses), (lead.inlet, lead.outlet), families)
        crosses = back is Polarity.REVERSED
    return lead.model_copy(update={"inlet": lead.outlet, "outlet": lead.inlet, "crosses": crosses})


def _runs(ways: Mapping[tuple[str, str], Sequence[str]], boxes: Box) -> Iterator[list[str]]:
    """Follow the joins from each panel to the last fans of each way."""
    after: dict[str, list[str]] = {}
    for (source, _), sinks in ways.items():
        after.setdefault(source, []).extend(sinks)

    def follow(way: list[str]) -> Iterator[list[str]]:
        onward = after.get(way[-1], [])
        if not onward and isinstance(boxes.parts.get(way[-1]), Fan):
            yield way
        for following in onward:
            yield from follow([*way, following])

    for panel in boxes.of(Panel):
        yield from follow([panel])


def _row(section: str, part: Part, library: Library) -> dict[str, Any]:
    """Give what a plan says of a part: the library entry that it rests on, and what differs from that."""
    aside = {"count", "source", "name", "part", "id"}
    content = part.model_dump(mode="json", exclude_defaults=True, exclude=aside)
    entry = part.part or (_typical(part, library) if is_typical(part) else None)
    if entry is None:
        return {key: value for key, value in content.items() if value is not None}
    record = type(part).model_validate(library.get(f"{section}s", entry))
    base = record.model_dump(mode="json", exclude_defaults=True)
    return {"part": entry} | {key: value for key, value in content.items() if value != base.get(key)}


def _typical(part: Part, library: Library) -> str:
    """Choose the library entry that is likest to a part of which little is known."""
    end = part.outlet if isinstance(part, Panel) else getattr(part, "inlet", None)
    usb = end is not None and end.family.startswith("usb")
    if isinstance(part, Panel):
        return "panel-usb-10w" if usb else "panel-20w"
    assert isinstance(part, BoxedFan)
    return likest_fan(library, part.rated_voltage or (5.0 if usb else 12.0), part.size)
