"""Kits: what lies in a box, or in several, with counts. Nothing says yet how it is to be joined."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from solarvent.base.errors import PlanError, Problem, likely_meant, nearest
from solarvent.plan.checking import check_plan, place, validated, with_library
from solarvent.plan.connectors import Families, connector_problems, crossing_problems, read_families
from solarvent.plan.fields import Current, Record, Voltage
from solarvent.plan.library import Library, read_toml, shipped
from solarvent.plan.parts import WIRED, Connector, Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.plan.plan_record import PlanRecord

KIT_VERSION: Literal[1] = 1

Count = Annotated[int, Field(ge=1, le=60, description="how many of them are in the box")]


class BoxedPanel(Panel):
    """A panel as it lies in the box; its plate may be left out."""

    count: Count = 1

    @model_validator(mode="after")
    def _has_a_plate(self) -> BoxedPanel:
        return self


class BoxedFan(Fan):
    """A fan as it lies in the box; its figures may be left out."""

    count: Count = 1
    rated_voltage: Voltage | None = None
    rated_current: Current | None = None
    start_voltage: Voltage | None = None
    stop_voltage: Voltage | None = None
    maximum_voltage: Voltage | None = None

    @model_validator(mode="after")
    def _is_consistent(self) -> BoxedFan:
        return self


class BoxedLead(Lead):
    """A lead or an adapter as it lies in the box."""

    count: Count = 1


class BoxedSplitter(Splitter):
    """A splitter as it lies in the box."""

    count: Count = 1


class BoxedConverter(Converter):
    """A converter as it lies in the box, like a lead that steps USB up to 12 V."""

    count: Count = 1


class BoxedBattery(Part):
    """A battery or power bank that feeds in place of a panel."""

    count: Count = 1
    voltage: Voltage
    outlet: Connector | None = None
    fuse: Current | None = Field(None, description="at the battery: what it carries for ever")


class Kit(Record):
    """The content of a box."""

    kit_version: Literal[1] = KIT_VERSION
    title: Annotated[str, Field(max_length=200)] = "a kit without a title"
    notes: str = ""
    panel: list[BoxedPanel] = Field(default_factory=list, max_length=12)
    battery: list[BoxedBattery] = Field(default_factory=list, max_length=6)
    fan: list[BoxedFan] = Field(default_factory=list, max_length=24)
    lead: list[BoxedLead] = Field(default_factory=list, max_length=60)
    splitter: list[BoxedSplitter] = Field(default_factory=list, max_length=24)
    converter: list[BoxedConverter] = Field(default_factory=list, max_length=12)

    def parts(self) -> Iterable[tuple[str, Part]]:
        """Yield the entries with their sections."""
        for section in ("panel", "battery", "fan", "lead", "splitter", "converter"):
            for part in getattr(self, section):
                yield section, part


@dataclass(frozen=True)
class Box:
    """The parts of one or more boxes, each piece by an id of its own.

    Three alike fans ``east`` are ``east-1``, ``east-2`` and ``east-3``. `library` is what the parts were laid over and
    what could be bought; `kit_of` the number of the box of each piece.
    """

    titles: tuple[str, ...]
    parts: dict[str, Part]
    families: Families
    library: Library
    kit_of: dict[str, int] = field(default_factory=dict)

    def of(self, *kinds: type[Part]) -> dict[str, Part]:
        """Pick the parts of some kinds."""
        return {name: part for name, part in self.parts.items() if isinstance(part, kinds)}


def load_box(arguments: str | Path | Iterable[str | Path], parts_folder: Path | None = None) -> Box | Plan:
    """Read kits and plans, and pool their parts.

    Parameters
    ----------
    arguments : str, Path or iterable of them
        Names of kits that ship with the program, or paths of kit and plan files.
    parts_folder : Path, optional
        A folder of parts that is laid over the library.

    Returns
    -------
    Box or Plan
        A single plan whose wiring is given as runs comes back as it is, to be checked; everything else as loose parts.

    Raises
    ------
    PlanError
        With every mistake of all the files.

    Examples
    --------
    >>> len(load_box("trio-right-splitter").of(Fan))
    3
    """
    names = [arguments] if isinstance(arguments, str | os.PathLike) else arguments
    if not isinstance(names, Iterable):
        what = f"a box is read from files, and this is no path but {type(names).__name__}"
        raise PlanError.single("load_box", what, 'give the name of a kit, or a path like "my-box.toml"')
    return pool_contents([_content(str(name)) for name in names], Library(parts_folder))


def pool_contents(contents: Sequence[tuple[str, dict[str, Any]]], library: Library) -> Box | Plan:
    """Check the contents of kits and plans, each with the name or path that it goes by, and pool their parts.

    Otherwise as :func:`load_box`; PlanError with every mistake of all of them.
    """
    families = read_families(library)
    titles: list[str] = []
    parts: dict[str, Part] = {}
    kit_of: dict[str, int] = {}
    problems: list[Problem] = []
    for path, content in contents:
        try:
            box: PlanRecord | Kit = (
                _checked_plan(content, library, families)
                if _is_plan(content)
                else check_kit(content, library, families)
            )
        except PlanError as error:
            many = len(contents) > 1
            problems += [replace(found, where=f"{path}: {found.where}") if many else found for found in error.problems]
            continue
        # Several plans, or a plan beside a kit, are pooled as loose parts: their runs know nothing of each other.
        if isinstance(box, PlanRecord) and box.wiring.runs and len(contents) == 1:
            return Plan(box, library, Path(path))
        pieces = _single(box.parts(), parts)
        parts |= pieces
        kit_of |= dict.fromkeys(pieces, len(titles))
        titles.append(box.title)
    for kinds, word in (((Panel, BoxedBattery), "panel"), ((Fan,), "fan")):
        if not problems and not any(isinstance(part, kinds) for part in parts.values()):
            problems.append(Problem("", f"there is no {word} in the box", f"begin one with [[{word}]]"))
    if problems:
        raise PlanError(problems)
    return Box(tuple(titles), parts, families, library, kit_of)


def with_pieces(box: Box, content: dict[str, Any]) -> Box:
    """Put the pieces of one more kit into a box; PlanError with every mistake of the kit."""
    pieces = _single(check_kit(content, box.library, box.families).parts(), box.parts)
    number = max(box.kit_of.values(), default=-1) + 1
    return replace(box, parts=box.parts | pieces, kit_of=box.kit_of | dict.fromkeys(pieces, number))


def _content(argument: str) -> tuple[str, dict[str, Any]]:
    """Find and read one file."""
    path = Path(argument)
    if path.suffix != ".toml" and not os.path.exists(path):
        kits = shipped("kits")
        if argument in shipped("plans"):
            what = "this is a plan that ships, and here a kit or a file is wanted"
            raise PlanError.single(argument, what, f"its wiring is checked by: solarvent run {argument}")
        if argument not in kits:
            there = map(str, path.parent.glob("*.toml"))
            hint = likely_meant(argument, [*kits, *there]) or nearest(argument, kits)
            raise PlanError.single(argument[:80], "there is no such kit and no such file", hint)
        return argument, read_toml(kits[argument], PlanError)
    return argument, read_toml(path, PlanError)


def _is_plan(content: dict[str, Any]) -> bool:
    """Tell a plan from a kit."""
    return "kit_version" not in content and bool({"plan_version", "wiring", "place"} & content.keys())


def _checked_plan(content: dict[str, Any], library: Library, families: Families) -> PlanRecord:
    """Check a plan, and the ends of its parts; all of them must be described, unless it gives runs."""
    record = check_plan(content, library)
    problems = []
    for section, part in record.parts():
        where = f'{section} "{part.id}"'
        problems += [] if record.wiring.runs else _missing_ends(where, part)
        problems += end_problems(where, part, families)
    if problems:
        raise PlanError(problems)
    return record


def check_kit(content: dict[str, Any], library: Library, families: Families) -> Kit:
    """Check the content of a kit file; PlanError with every mistake, each with its place and what to write."""
    merged, problems, baseless = with_library(content, WIRED, library)
    if "kit_version" not in content:
        problems.append(Problem("kit_version", "this is missing", f"write kit_version = {KIT_VERSION}"))
    kit = validated(Kit, merged, problems, baseless)
    if kit is not None:
        numbers: dict[str, int] = {}
        for section, part in kit.parts():
            numbers[section] = numbers.get(section, -1) + 1
            where = place((section, numbers[section]), merged)
            problems += _missing_ends(where, part)
            problems += end_problems(where, part, families)
    if problems or kit is None:
        raise PlanError(problems)
    return kit


def ends_of(part: Part) -> dict[str, Connector | None]:
    """Give the ends of a part by the keys under which a file describes them."""
    if isinstance(part, Panel):
        return {"outlet": part.outlet} | {f"other_outlets[{n}]": end for n, end in enumerate(part.other_outlets, 1)}
    if isinstance(part, BoxedBattery):
        return {"outlet": part.outlet}
    if isinstance(part, Fan):
        return {"inlet": part.inlet} | ({"outlet": part.outlet} if part.outlet else {})
    if isinstance(part, Lead | Converter):
        return {"inlet": part.inlet, "outlet": part.outlet}
    if isinstance(part, Splitter):
        return {"trunk": part.trunk, "branch": part.branch}
    return {}


def _missing_ends(where: str, part: Part) -> list[Problem]:
    """Find ends that a box must describe, since there is nothing else to go by."""
    return [
        Problem(
            f"{where}.{key}",
            "this is missing",
            f'write it like {key} = {{ family = "barrel-5.5x2.1", body = "plug" }}; see: solarvent parts connectors',
        )
        for key, end in ends_of(part).items()
        if end is None
    ]


def end_problems(where: str, part: Part, families: Families) -> list[Problem]:
    """Find what is wrong with the ends of one part."""
    ends = ends_of(part)
    problems = [
        found
        for key, end in ends.items()
        if end is not None
        for found in connector_problems(f"{where}.{key}", end, families)
    ]
    if not problems and len(ends) == 2 and isinstance(part, Fan | Lead | Splitter | Converter):
        first, second = ends.values()
        problems += crossing_problems(where, (first, second), part.crosses, families)
    return problems


def _single(entries: Iterable[tuple[str, Part]], taken: dict[str, Part]) -> dict[str, Part]:
    """Give every piece an id: count out the alike ones, and tell pieces of several boxes apart."""
    entries = list(entries)
    unnamed: dict[str, int] = {}
    found: dict[str, Part] = {}
    for section, part in entries:
        count, name = getattr(part, "count", 1), part.id
        if not name:
            unnamed[section] = unnamed.get(section, 0) + 1
            alone = sum(1 for other, piece in entries if other == section and not piece.id) == 1
            name = section if alone else f"{section}-{unnamed[section]}"
        names = [name] if count == 1 else [f"{name}-{number}" for number in range(1, count + 1)]
        for piece in names:
            # A second box may hold a part of the same name.
            free, number = piece, 2
            while free in taken or free in found:
                free, number = f"{piece}.{number}", number + 1
            found[free] = part.model_copy(update={"id": free})
    return found
