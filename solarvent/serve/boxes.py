"""The boxes that lie beside a plan: things picked from the library, their plugs, and whether they go together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from solarvent.base.errors import PlanError
from solarvent.plan.boxes import check_kit
from solarvent.plan.connectors import read_families
from solarvent.plan.edit import toml_value
from solarvent.plan.parts import WIRED
from solarvent.serve import forms
from solarvent.serve.forms import changed_text

_KINDS = {"panel": "panels", "fan": "fans", "lead": "leads", "splitter": "splitters"}
#: The ends of each kind of thing, as a box file calls them.
ENDS = {"panel": ("outlet",), "fan": ("inlet",), "lead": ("inlet", "outlet"), "splitter": ("trunk", "branch"),
        "battery": ("outlet",)}  # fmt: skip
_MOST_BOXES, _MOST_THINGS = 4, 40
_HEAD = """\
# What lies in a box, for "solarvent pair". Each thing is a table; its ends are connectors: of a barrel, the plug has
# the hole and the jack the pin. positive is the contact that is +; left out where nobody has metered it.
kit_version = 1
"""


@dataclass(frozen=True)
class Thing:
    """One entry of a box, for the list on the page."""

    box: int
    place: str
    words: str
    count: int
    ends: tuple[str, ...]


class Pool:
    """All boxes of a draft."""

    def __init__(self, texts: Sequence[str]) -> None:
        self.texts = tuple(texts)

    @cached_property
    def things(self) -> list[Thing]:
        """Everything in the boxes, in order."""
        found = []
        library = forms.library()
        families = read_families(library)
        for number, text in enumerate(self.texts):
            content = forms.content_of(text)
            for section in (*_KINDS, "battery"):
                for place, entry in enumerate(forms.parts_of(content, section)):
                    kind = _KINDS.get(section, "")
                    known = library.entries(kind).get(entry.get("part", ""), {}) if kind else {}
                    ends = {key: entry.get(key) or known.get(key) for key in ENDS[section]}
                    words = entry.get("name") or known.get("name") or section
                    told = tuple(f"{key}: {_end_words(end, families)}" for key, end in ends.items())
                    found.append(Thing(number, f"{section}.{place}", str(words), int(entry.get("count", 1)), told))
        return found

    @property
    def ready(self) -> bool:
        """Whether there is something that gives power and something that takes it."""
        sections = {thing.place.partition(".")[0] for thing in self.things}
        return "fan" in sections and bool(sections & {"panel", "battery"})

    @property
    def room(self) -> int:
        """How many boxes may be spoken of: those there are, and one more."""
        return min(len(self.texts) + 1, _MOST_BOXES)


def _end_words(end: Any, families: Mapping[str, Any]) -> str:
    """A connector in words, with both ways of naming its half."""
    from solarvent.plan.parts import Connector
    from solarvent.wiring.joints import in_words

    if not isinstance(end, dict):
        return "not told"
    words = in_words(Connector.model_validate(end), families)
    positive = end.get("positive")
    fixed = families[end["family"]].fixed
    return words + (f", + on the {positive}" if positive else "" if fixed else ", + not known")


def changed(texts: Sequence[str], form: Mapping[str, str]) -> tuple[str, ...]:
    """Put a thing into a box, or take one out, or a whole box; PlanError if it cannot be as it was told."""
    if remove := form.get("remove", ""):
        return _without(texts, remove)
    section = form.get("kind", "")
    # What a button's address names counts before what stands in the fields of its kind.
    form = {key.removeprefix(f"box.{section}."): value for key, value in form.items()} | dict(form)
    if section not in ENDS:
        raise PlanError.single("", "choose what it is", "a panel, a fan, a lead, a splitter or a battery")
    number = min(forms.counted(form.get("box", "0")) or 0, len(texts), _MOST_BOXES - 1)
    boxes = [*texts, *([_HEAD + f"title = {toml_value(f'Box {len(texts) + 1}')}\n"] if number == len(texts) else [])]
    content = forms.content_of(boxes[number])
    present = forms.parts_of(content, section)
    if sum(len(forms.parts_of(content, one)) for one in content) >= _MOST_THINGS:
        raise PlanError.single("", f"a box holds at most {_MOST_THINGS} kinds of things", "use another box")
    entry = _entry(section, form, {one.get("id") for one in present})
    place = f"{section}.{len(present)}" if present else section
    boxes[number] = changed_text(boxes[number], {place: entry if present else [entry]})
    library = forms.library()
    check_kit(forms.content_of(boxes[number]), library, read_families(library))
    return tuple(boxes)


def _entry(section: str, form: Mapping[str, str], taken: set[Any]) -> dict[str, Any]:
    """One entry of a box file from a form."""
    name = next(word for number in range(1, 100) if (word := f"{section}-{number}") not in taken)
    entry: dict[str, Any] = {"id": name}
    known: Mapping[str, Any] = {}
    if part := form.get("part", ""):
        entry["part"] = part
        known = forms.library().get(_KINDS[section], part) if section in _KINDS else {}
    count = form.get("count", "1").strip() or "1"
    many = forms.counted(count) or 0
    if not 1 <= many <= 60:
        raise PlanError.single("count", f'"{count[:20]}" will not do', "how many: 1 to 60")
    if many > 1:
        entry["count"] = many
    for key in ("voltage", "fuse"):
        if section == "battery" and form.get(key, "").strip():
            value = form[key].strip()
            entry[key] = value if value[-1:].isalpha() else f"{value} {'V' if key == 'voltage' else 'A'}"
    if section == "splitter" and not known.get("branches") and (branches := forms.counted(form.get("branches", ""))):
        entry["branches"] = branches
    for key in ENDS[section]:
        family, _, body = form.get(f"end.{key}", "").partition("/")
        if not family and key not in known:
            what = f"what is at the end of the {section} is not chosen yet"
            raise PlanError.single("", what, 'choose the picture of its plug, or "bare wire ends"')
        if family:
            entry[key] = {"family": family} | ({"body": body} if body in ("plug", "jack") else {})
            if positive := form.get(f"positive.{key}", ""):
                entry[key]["positive"] = positive
    if section in ("lead", "splitter") and form.get("crosses") in ("yes", "no"):
        entry["crosses"] = form["crosses"] == "yes"
    return entry


def _without(texts: Sequence[str], remove: str) -> tuple[str, ...]:
    """Take out a thing, by box, section and number; an empty box goes."""
    first, _, place = remove.partition("/")
    section, _, last = place.partition(".")
    box, number = forms.counted(first), forms.counted(last)
    if box is None or box >= len(texts):
        raise PlanError.single("", "this box is not there any more", "load the page again")
    boxes = list(texts)
    content = forms.content_of(boxes[box])
    entries = forms.parts_of(content, section)
    if section not in ENDS or number is None or number >= len(entries):
        raise PlanError.single("", "this is not in the box any more", "load the page again")
    boxes[box] = changed_text(boxes[box], {section if len(entries) == 1 else f"{section}.{number}": None})
    left = forms.content_of(boxes[box])
    if not any(left.get(one) for one in ENDS):
        del boxes[box]
    return tuple(boxes)


def pooled(texts: Sequence[str]) -> Any:
    """The parts of all boxes, as ``solarvent pair`` pools them from files."""
    from solarvent.plan.boxes import pool_contents

    boxes = [(f"Box {number}", forms.content_of(text)) for number, text in enumerate(texts, 1)]
    return pool_contents(boxes, forms.library())


def joined_text(text: str, texts: Sequence[str]) -> str:
    """Put the parts of the boxes into a plan in place of its own, joined as the pairing finds it."""
    from solarvent.studies.box_plan import box_plan
    from solarvent.studies.pair import joined_boxes

    found = forms.content_of(box_plan(joined_boxes(pooled(texts))))
    present = forms.content_of(text)
    changes: dict[str, Any] = {"wiring": None}
    changes |= {section: None for section in WIRED if section in present}
    without = changed_text(text, changes)
    # Among them the regulator behind the USB socket of a panel, which comes as a converter.
    parts: dict[str, Any] = {section: _hung(section, found[section], present) for section in WIRED if section in found}
    return changed_text(without, {**parts, "wiring": found["wiring"]})


def _hung(section: str, parts: list[dict[str, Any]], present: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Panels hang as the plan's first one did."""
    first = next(iter(forms.parts_of(present, "panel")), {})
    if section != "panel":
        return parts
    how = {key: first[key] for key in ("tilt", "azimuth", "mounting", "soiling_ratio") if key in first}
    return [how | part for part in parts]
