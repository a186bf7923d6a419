"""Reading a plan: the file, the library laid under it, and every mistake told in plain words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from solarvent.base.errors import PartError, PlanError, Problem, nearest
from solarvent.inputs.fields import Record
from solarvent.inputs.library import Library, profiles, read_toml
from solarvent.inputs.parts import RECORDS, Cover, Diode, Opening, Wire
from solarvent.inputs.plan import Plan

#: Section of the plan -> kind of part in the library.
_SECTIONS = {"panel": "panels", "fan": "fans", "lead": "leads", "splitter": "splitters", "opening": "openings"}


class LoadedPlan:
    """A plan with the library that its words refer to.

    Attributes
    ----------
    plan : Plan
        The checked plan.
    library : Library
        The parts that it may name.
    path : Path or None
        Where it was read; None for the embedded one.
    """

    def __init__(self, plan: Plan, library: Library, path: Path | None = None) -> None:
        self.plan, self.library, self.path = plan, library, path

    def wire(self, name: str) -> Wire:
        """Look a wire up, by gauge or id."""
        return self._record("wires", name)

    def diode(self, name: str) -> Diode:
        """Look a blocking diode up."""
        return self._record("diodes", name)

    def cover(self, name: str) -> Cover:
        """Look a glazing up."""
        return self._record("covers", name)

    def opening(self, name: str) -> Opening:
        """Look a kind of opening up."""
        return self._record("openings", name)

    def _record(self, kind: str, name: str) -> Any:
        return RECORDS[kind].model_validate(self.library.get(kind, name))


def embedded_plan_path(name: str = "default") -> Any:
    """Find a plan that ships with the package: ``"default"``, or its faulty twin ``"faulty"``."""
    return profiles() / "plans" / f"{name}.toml"


def load_plan(path: str | Path | None = None, parts_folder: Path | None = None) -> LoadedPlan:
    """Read a plan and check all of it.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file; without it, the embedded example.
    parts_folder : Path, optional
        A folder of parts that is laid over the library.

    Returns
    -------
    LoadedPlan
        The plan with its library.

    Raises
    ------
    PlanError
        With every mistake in the file, each with its place and what to write.
    """
    source = embedded_plan_path() if path is None else Path(path)
    content = read_toml(source, PlanError)
    library = Library(parts_folder)
    return LoadedPlan(check_plan(content, library), library, None if path is None else Path(path))


def check_plan(content: dict[str, Any], library: Library) -> Plan:
    """Check the content of a plan file; the same errors as :func:`load_plan`."""
    problems: list[Problem] = []
    merged = {
        section: _with_library(section, value, library, problems) if section in _SECTIONS else value
        for section, value in content.items()
    }
    try:
        plan = Plan.model_validate(merged)
    except ValidationError as error:
        problems += [_problem(detail, merged) for detail in error.errors(include_url=False)]
        raise PlanError(problems) from None
    problems += _unknown_names(plan, library)
    if problems:
        raise PlanError(problems)
    return plan


def _with_library(section: str, entries: Any, library: Library, problems: list[Problem]) -> Any:
    """Lay each entry of a section over the library entry that it names."""
    if not isinstance(entries, list):
        return entries
    result = []
    for number, entry in enumerate(entries, start=1):
        if isinstance(entry, dict) and isinstance(entry.get("part"), str):
            try:
                base = library.get(_SECTIONS[section], entry["part"])
            except PartError as error:
                where = _place([section, number - 1, "part"], {section: entries})
                problems.extend(Problem(where, item.what, item.write) for item in error.problems)
                continue
            entry = _laid_over(base, entry)
        result.append(entry)
    return result


def _laid_over(base: dict[str, Any], entry: dict[str, Any]) -> dict[str, Any]:
    """Let the plan's figures win; a plate given in the plan replaces every form of plate in the library."""
    plate = {"watts", "v_oc", "i_sc", "v_mp", "i_mp", "single_diode"}
    if "single_diode" in entry or {"v_oc", "i_sc", "v_mp", "i_mp"} <= entry.keys():
        base = {key: value for key, value in base.items() if key not in plate}
    return base | entry


def _unknown_names(plan: Plan, library: Library) -> list[Problem]:
    """Find ids used twice, and words that name no entry of the library."""
    problems = []
    seen: dict[str, str] = {}
    for section in _SECTIONS:
        for number, part in enumerate(getattr(plan, section), start=1):
            where = f'{section}[{number}] "{part.id}"' if part.id else f"{section}[{number}]"
            if part.id is None and section != "opening":
                problems.append(Problem(where, "id is missing", f'write id = "{section}-{number}"'))
            elif part.id in seen:
                problems.append(Problem(where, f"{seen[part.id]} has the same id", "give each part an id of its own"))
            elif part.id is not None:
                seen[part.id] = where
            problems += _unknown_words(where, part, library)
            if section == "opening" and part.area is None:
                problems.append(Problem(where, "area is missing", 'write area = "0.05 m2"'))
    for where, cable in (("wiring.lead", plan.wiring.lead), ("wiring.branch", plan.wiring.branch)):
        problems += _unknown_words(where, cable, library)
    problems += _missing("wiring.blocking_diode", "diodes", plan.wiring.blocking_diode, library)
    problems += _missing("house.cover", "covers", plan.house.cover, library)
    return problems


#: Field of a record -> kind of part that its word names.
_REFERENCES = {"wire": "wires", "diode": "diodes", "behind": "covers", "outlet_opening": "openings"}


def _unknown_words(where: str, record: Record, library: Library) -> list[Problem]:
    """Check the fields of one record that name a library entry."""
    return [
        problem
        for field, kind in _REFERENCES.items()
        for problem in _missing(f"{where}.{field}", kind, getattr(record, field, None), library)
    ]


def _missing(where: str, kind: str, name: str | None, library: Library) -> list[Problem]:
    """Report a word that names no entry."""
    if name is None:
        return []
    try:
        library.get(kind, name)
    except PartError as error:
        return [Problem(where, problem.what, problem.write) for problem in error.problems]
    return []


def _place(location: list[int | str], content: dict[str, Any]) -> str:
    """Write a place as people count: ``fan[2] "east".start_voltage``."""
    words, value = "", content
    for step in location:
        value = value[step] if isinstance(value, list | dict) and _has(value, step) else None
        if isinstance(step, int):
            words += f"[{step + 1}]"
            if isinstance(value, dict) and isinstance(value.get("id"), str):
                words += f' "{value["id"][:40]}"'
        else:
            words += f".{step}" if words else step
    return words


def _has(value: Any, step: int | str) -> bool:
    return step in value if isinstance(value, dict) else isinstance(step, int) and step < len(value)


#: Pydantic's kinds of mistake, in the words of this project.
_WORDS = {
    "missing": ("is missing", ""),
    "bool_type": ("must be true or false", ""),
    "bool_parsing": ("must be true or false", ""),
    "int_type": ("must be a whole number", "without quotes or decimal point"),
    "int_from_float": ("must be a whole number", ""),
    "float_type": ("must be a plain number", "without quotes or unit"),
    "string_type": ("must be text", "put it in quotes"),
    "list_type": ("must be a list", "put it in [ ]"),
    "model_type": ("must be a table", "begin it with its name in [brackets]"),
    "model_attributes_type": ("must be a table", "begin it with its name in [brackets]"),
    "finite_number": ("must be a finite number", ""),
}


def _problem(detail: ErrorDetails, content: dict[str, Any]) -> Problem:
    """Turn one of pydantic's findings into ours."""
    location = [step for step in detail["loc"] if not (isinstance(step, str) and step.startswith("function-"))]
    where, kind, context = _place(location, content), detail["type"], detail.get("ctx", {})
    if kind == "extra_forbidden":
        known = _fields_at(location[:-1])
        return Problem(where, "this key is not known", nearest(str(location[-1]), known))
    if kind in _WORDS:
        what, write = _WORDS[kind]
        if isinstance(detail["input"], int | float | str) and kind != "missing":
            what += f", not {str(detail['input'])[:50]!r}"
        return Problem(where, what, write or _example(location))
    if kind == "literal_error":
        word = detail["input"]
        return Problem(where, f"{str(word)[:50]!r} is not one of the choices", f"write one of: {context['expected']}")
    message = detail["msg"][0].lower() + detail["msg"][1:]
    return Problem(where, message, str(context.get("write", "")))


def _fields_at(location: list[int | str]) -> list[str]:
    """Name the keys that are known at a place in the plan."""
    model: Any = Plan
    for step in location:
        if isinstance(step, str):
            model = _model_in(model.model_fields[step].annotation)
    return list(model.model_fields)


def _model_in(annotation: Any) -> Any:
    """Find the record inside ``list[Record]`` or ``Record | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        if (found := _model_in(inner)) is not None:
            return found
    return None


def _example(location: list[int | str]) -> str:
    """Suggest what to write where a key is missing."""
    model: Any = Plan
    schema: dict[str, Any] = {}
    for step in location:
        if isinstance(step, str) and model is not None:
            schema = model.model_json_schema()["properties"].get(step, {})
            model = _model_in(model.model_fields[step].annotation)
    if examples := schema.get("examples"):
        return f'write {location[-1]} = "{examples[0]}"'
    return ""


def plan_schema() -> dict[str, Any]:
    """Make the JSON Schema of the plan file.

    Returns
    -------
    dict
        Draft 2020-12; keys that a library entry may supply are not required.
    """
    schema = Plan.model_json_schema()
    for name in ("Panel", "Fan", "Lead", "Splitter", "Opening"):
        schema["$defs"][name].pop("required", None)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "solarvent plan", **schema}
