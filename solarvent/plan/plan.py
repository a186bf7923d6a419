"""A plan: what its file says, with the library that its words refer to; how it is read, and changed in code."""

from __future__ import annotations

import os
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from solarvent.base.errors import PlanError, Problem, nearest
from solarvent.plan.checking import SECTIONS, check_plan, keys_at, library_record
from solarvent.plan.climate import Climate
from solarvent.plan.house_records import Cover, Crop, Opener, Opening
from solarvent.plan.library import Library, older_keys, read_toml, shipped, with_todays_keys
from solarvent.plan.parts import Converter, Diode, Wire
from solarvent.plan.plan_record import PlanRecord


@dataclass(frozen=True, eq=False)
class Plan:
    """A checked plan with its library; it cannot be changed, but :meth:`with_` gives another.

    `path` is where it was read, if that is a plain file; a weather file is looked for beside it. `older_keys` are keys
    of the file that have another name today, with that name.
    """

    record: PlanRecord
    library: Library = field(repr=False)
    path: Path | None = None
    older_keys: tuple[tuple[str, str], ...] = ()
    _content: Mapping[str, Any] | None = field(default=None, repr=False)

    def with_(self, changes: Mapping[str, Any] | None = None, /, **sections: Any) -> Plan:
        """Change the plan as one would change its file, and check it like a file.

        Parameters
        ----------
        changes : mapping of str to value, optional
            By the place in the file: ``"target.start"``, ``"panel.0.tilt"`` of the first panel, ``"panel.roof.tilt"``
            of the one with the id "roof", ``"panel.tilt"`` of all. A value is what would stand in the file; None takes
            the key out.
        **sections
            Whole sections, or single keys at the top of the file.

        Returns
        -------
        Plan
            Another plan; this one stays as it is.

        Raises
        ------
        PlanError
            With every mistake, as from a file.

        Examples
        --------
        >>> from solarvent import load_plan
        >>> plan = load_plan()
        >>> other = plan.with_({"panel.0.tilt": 40, "fan.part": "fan-24v-120x25"}, title="Steeper")
        >>> other.record.title, other.record.panel[0].tilt, other.record.fan[0].rated_voltage
        ('Steeper', 40.0, 24.0)
        """
        if not isinstance(changes, Mapping | None):
            what = f"{changes!r} is no mapping of places to values"
            raise PlanError.single("with_", what, 'write it like {"panel.0.tilt": 40}')
        content: Any = deepcopy(dict(self._content or self._as_content()))
        for place, value in {**(changes or {}), **sections}.items():
            _put(content, place.split("."), value, place)
        return plan_from(content, self.library, self.path)

    def _as_content(self) -> dict[str, Any]:
        """The plan as a file might hold it: what was left out stays so, for it means other things in other houses."""
        return self.record.model_dump(mode="json", exclude_none=True, exclude_unset=True)

    def unknown_place(self, place: str) -> Problem | None:
        """Tell, before anything is changed, that :meth:`with_` would find nothing at a place; None if it would."""
        known: list[str] = []
        for step in place.split("."):
            keys, ids = keys_at(PlanRecord, tuple(known)), self._ids(known)
            if step in keys:
                known.append(step)
            elif not (known and known[-1] in SECTIONS and (step in ids or step.isdecimal())):
                return Problem(place, f'"{step}" is not known there', nearest(step, [*keys, *ids]))
        return None

    def _ids(self, known: list[str]) -> list[str]:
        """The ids of the entries of a section."""
        entries = getattr(self.record, known[0]) if len(known) == 1 and known[0] in SECTIONS else []
        return [entry.id for entry in entries if entry.id]

    def with_records(self, **sections: Any) -> Plan:
        """Put records that are checked already in place of sections: quick, for the many designs of a study."""
        return Plan(self.record.model_copy(update=sections), self.library, self.path)

    def wire(self, name: str) -> Wire:
        """Look a wire up, by gauge or id."""
        return library_record("wires", name, self.library)

    def diode(self, name: str) -> Diode:
        """Look a blocking diode up."""
        return library_record("diodes", name, self.library)

    def converter(self, name: str) -> Converter:
        """Look a converter up."""
        return library_record("converters", name, self.library)

    def controller(self, name: str) -> Converter:
        """The charge controller that the battery brings, under a name; of the library."""
        assert self.record.battery is not None
        # Where it comes with the battery, nobody has said more of it than its kind.
        part = f"charge-controller-{self.record.battery.controller}"
        return self.converter(part).model_copy(update={"id": name, "part": part})

    def cover(self, name: str) -> Cover:
        """Look a glazing up."""
        return library_record("covers", name, self.library)

    def opener(self, name: str) -> Opener:
        """Look a wax cylinder up."""
        return library_record("openers", name, self.library)

    def crop(self, name: str) -> Crop:
        """Look a group of plants up."""
        return library_record("crops", name, self.library)

    def opening(self, name: str) -> Opening:
        """Look a kind of opening up."""
        return library_record("openings", name, self.library)

    def climate(self, name: str) -> Climate:
        """Look a climate up."""
        return library_record("climates", name, self.library)


def plan_from(content: Mapping[str, Any], library: Library | None = None, path: Path | None = None) -> Plan:
    """Make a plan from the content of a plan file.

    Parameters
    ----------
    content : mapping
        What a plan file says: tables, lists, text with units, numbers.
    library : Library, optional
        The parts that it may name; by default those that ship.
    path : Path, optional
        The file that it stands for; a weather file is looked for beside it.

    Returns
    -------
    Plan
        The plan with its library.

    Raises
    ------
    PlanError
        With every mistake, each with its place and what to write.

    Examples
    --------
    >>> plan = plan_from({
    ...     "plan_version": 1, "place": {"latitude": 51.0, "longitude": 0.0}, "weather": {"clear_sky": True},
    ...     "house": {"length": "3 m", "width": "2 m", "use": "shed"},
    ...     "panel": [{"id": "roof", "part": "panel-30w"}], "fan": [{"id": "east", "part": "fan-24v-120x25"}],
    ...     "wiring": {"layout": "shared"},
    ... })
    >>> plan.record.house.length
    3.0
    """
    if not isinstance(content, Mapping):
        what = f"a plan's content is a mapping of its tables, and this is {type(content).__name__}"
        raise PlanError.single("plan_from", what, "give what a plan file says; a file itself is read by load_plan")
    library = Library() if library is None else library
    record = check_plan(dict(content), library)
    kinds = {section: kind for section, kind in SECTIONS.items() if section in content}
    older = (keys for section, kind in kinds.items() for part in content[section] for keys in older_keys(kind, part))
    # With the keys of today, so that a change of one meets it by that name.
    todays = {section: [with_todays_keys(kind, part) for part in content[section]] for section, kind in kinds.items()}
    return Plan(record, library, path, tuple(dict.fromkeys(older)), deepcopy({**content, **todays}))


def _put(node: Any, steps: list[str], value: Any, place: str) -> None:
    """Set, or take out, what stands at a place below a table or a list of them."""
    step, *further = steps
    # A word in a list is the id of one of its tables, or else a key that all of them get.
    if isinstance(node, list) and not step.isdecimal():
        named = [entry for entry in node if isinstance(entry, dict) and further and entry.get("id") == step]
        for entry in named or node:
            _put(entry, further if named else steps, value, place)
        return
    if not isinstance(node, dict | list):
        raise PlanError.single(place, f'"{step}" stands below a single value', "change that value as a whole")
    if isinstance(node, list) and int(step) >= len(node):
        raise PlanError.single(place, f"there is no entry {step}", f"they count from 0 to {len(node) - 1}")
    at: Any = int(step) if isinstance(node, list) else step
    if further:
        _put(node[at] if isinstance(node, list) else node.setdefault(at, {}), further, value, place)
    elif value is not None:
        node[at] = deepcopy(value)
    elif isinstance(node, list) or at in node:
        del node[at]


def embedded_plan_path(name: str = "default") -> Traversable:
    """Find a plan that ships with the package: ``"default"``, its faulty twin ``"faulty"``, or ``"coop"``."""
    return shipped("plans")[name]


def _plan_source(path: str | Path | None) -> Path | Traversable:
    """Find a plan's file: the one that is named, or else the shipped plan of that name."""
    if path is None:
        return embedded_plan_path()
    if not isinstance(path, str | os.PathLike):
        what = f"a plan is read from a file, and this is no path but {type(path).__name__}"
        raise PlanError.single("load_plan", what, 'give a path, like "my-plan.toml"; content goes to plan_from')
    # A file of one's own wins over a plan that ships.
    return Path(path) if os.path.exists(path) else shipped("plans").get(str(path), Path(path))


def load_plan(path: str | Path | None = None, parts_folder: Path | None = None) -> Plan:
    """Read a plan and check all of it.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file, or the name of a plan that ships; without it, the embedded example.
    parts_folder : Path, optional
        A folder of parts that is laid over the library.

    Returns
    -------
    Plan
        The plan with its library.

    Raises
    ------
    PlanError
        With every mistake in the file, each with its place and what to write.
    PartError
        If the folder of parts, or a file in it, cannot be used.

    Examples
    --------
    >>> load_plan("coop").record.house.use
    'coop'
    """
    source = _plan_source(path)
    content = read_toml(source, PlanError)
    return plan_from(content, Library(parts_folder), source if isinstance(source, Path) else None)
