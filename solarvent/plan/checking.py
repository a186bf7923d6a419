"""What a plan file says, checked: the library laid under it, and every mistake told in plain words."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError

from solarvent.base.errors import PartError, PlanError, Problem
from solarvent.plan.library import Library, with_todays_keys
from solarvent.plan.parts import RECORDS, Panel
from solarvent.plan.plan_record import PlanRecord
from solarvent.plan.wording import on_one_line, place, problems_of

#: Section of the plan -> kind of part in the library.
SECTIONS = {
    "panel": "panels",
    "fan": "fans",
    "lead": "leads",
    "splitter": "splitters",
    "converter": "converters",
    "opening": "openings",
    "mass": "masses",
}
#: Sections whose entries need no name, for nothing refers to them.
_NAMELESS = ("opening", "mass")


def check_plan(content: dict[str, Any], library: Library) -> PlanRecord:
    """Check the content of a plan file; the same errors as :func:`solarvent.plan.plan.load_plan`."""
    if not content:
        raise PlanError.single("", "the plan is empty", 'start from the file that "solarvent new" writes')
    problems: list[Problem] = []
    merged: dict[str, Any] = dict(content)
    baseless: set[tuple[int | str, ...]] = set()
    for section, kind in SECTIONS.items():
        if isinstance(entries := content.get(section), list):
            merged[section] = with_library(section, kind, entries, library, problems, baseless)
    record = None
    try:
        record = PlanRecord.model_validate(merged)
    except ValidationError as error:
        problems += [
            problem
            for location, problem in problems_of(error, PlanRecord, merged)
            if not (location[:2] in baseless and may_come_from_the_base(location, merged))
        ]
    problems += _name_problems(merged, library, baseless)
    if problems or record is None:
        raise PlanError(on_one_line(problem) for problem in problems)
    return record


def with_library(
    section: str,
    kind: str,
    entries: list[Any],
    library: Library,
    problems: list[Problem],
    baseless: set[tuple[int | str, ...]],
) -> list[Any]:
    """Lay each entry of a section over the library entry that it names; note those whose entry is not found."""
    result = []
    for number, entry in enumerate(entries):
        if isinstance(entry, dict):
            entry = with_todays_keys(kind, entry)
        if isinstance(entry, dict) and isinstance(entry.get("part"), str):
            try:
                entry = _laid_over(library.get(kind, entry["part"]), entry)
            except PartError as error:
                where = place((section, number, "part"), {section: entries})
                problems.extend(Problem(item.where or where, item.what, item.write) for item in error.problems)
                baseless.add((section, number))
        result.append(entry)
    return result


def may_come_from_the_base(location: tuple[int | str, ...], content: dict[str, Any]) -> bool:
    """Tell whether a mistake is only that the library entry, which was not found, lends no figures."""
    value: Any = content
    for step in location:
        if not isinstance(value, dict | list) or (isinstance(value, dict) and step not in value):
            return True
        value = value[step]  # type: ignore[index]
    return len(location) == 2


def _laid_over(base: dict[str, Any], entry: dict[str, Any]) -> dict[str, Any]:
    """Let the plan's figures win; a plate given in the plan replaces every form of plate in the library."""
    plate = {"watts", "v_oc", "i_sc", "v_mp", "i_mp", "single_diode"}
    if "single_diode" in entry or {"v_oc", "i_sc", "v_mp", "i_mp"} <= entry.keys():
        base = {key: value for key, value in base.items() if key not in plate}
    return base | entry


#: Key of a plan -> kind of part that its word names.
_REFERENCES = {
    "wire": "wires",
    "diode": "diodes",
    "blocking_diode": "diodes",
    "converter": "converters",
    "behind": "covers",
    "cover": "covers",
    "outlet_opening": "openings",
    "climate": "climates",
    "opener": "openers",
    "crop": "crops",
}


def _name_problems(content: dict[str, Any], library: Library, baseless: set[tuple[int | str, ...]]) -> list[Problem]:
    """Find ids left out or used twice, and words that name no entry of the library.

    It looks at the raw content, so that these are told together with everything else that is wrong.
    """
    problems = []
    seen: dict[str, str] = {}
    for section in SECTIONS:
        entries = content.get(section)
        for number, entry in enumerate(entries if isinstance(entries, list) else []):
            if not isinstance(entry, dict):
                continue
            where, name = place((section, number), content), entry.get("id")
            if "id" not in entry and section not in _NAMELESS:
                problems.append(Problem(where, "id is missing", f'write it like id = "{section}-{number + 1}"'))
            elif isinstance(name, str) and name in seen:
                problems.append(Problem(where, f"{seen[name]} has the same id", "give each part an id of its own"))
            elif isinstance(name, str):
                seen[name] = where
            problems += _unknown_words(where, entry, library)
            if section == "opening" and "area" not in entry and (section, number) not in baseless:
                problems.append(Problem(where, "area is missing", 'write it like area = "0.05 m2"'))
            if section == "panel":
                problems += _impossible_plate(where, entry)
    for location in (("weather",), ("house",), ("plants",), ("wiring",), ("wiring", "lead"), ("wiring", "branch")):
        table: Any = content
        for step in location:
            table = table.get(step) if isinstance(table, dict) else None
        problems += _unknown_words(".".join(location), table, library) if isinstance(table, dict) else []
    return problems


def _unknown_words(where: str, table: dict[str, Any], library: Library) -> list[Problem]:
    """Check the keys of one table that name a library entry, and the entries that they name."""
    problems = []
    for key, kind in _REFERENCES.items():
        if isinstance(name := table.get(key), str):
            try:
                library_record(kind, name, library)
            except PartError as error:
                problems += [Problem(item.where or f"{where}.{key}", item.what, item.write) for item in error.problems]
    return problems


def library_record(kind: str, name: str, library: Library) -> Any:
    """Look an entry of the library up, and check it."""
    content = library.get(kind, name)
    try:
        return RECORDS[kind].model_validate(content)
    except ValidationError as error:
        found = problems_of(error, RECORDS[kind], content, f'{kind} "{name[:40]}"')
        raise PartError([problem for _, problem in found]) from None


def _impossible_plate(where: str, entry: dict[str, Any]) -> list[Problem]:
    """Find a plate whose best point lies outside its own voltage or current; unreadable figures are told elsewhere."""
    try:
        panel = Panel.model_validate(entry)
    except ValidationError:
        return []
    checks = (
        ("v_mp", panel.v_mp, "v_oc", panel.v_oc, "V", "voltage"),
        ("i_mp", panel.i_mp, "i_sc", panel.i_sc, "A", "current"),
    )
    return [
        Problem(
            f"{where}.{key}",
            f"an impossible plate: {best:g} {unit} is not below {limit_key}, {limit:g} {unit}",
            f"look at the label again: the {word} of the best point is the smaller one",
        )
        for key, best, limit_key, limit, unit, word in checks
        if best is not None and limit is not None and best >= limit
    ]
