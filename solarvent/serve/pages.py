"""The rooms as pages: their forms with what stands in the plan or was read at the bench, and the frame around them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from solarvent import __version__
from solarvent.base.errors import PlanError, Problem, SolarventError
from solarvent.plan.checking import SECTIONS
from solarvent.plan.connectors import read_families
from solarvent.plan.library import Library
from solarvent.plan.starter import EMBEDDED_YEAR
from solarvent.serve import drawings, forms
from solarvent.serve.drafts import Draft
from solarvent.serve.forms import changed_text

if TYPE_CHECKING:
    from solarvent.bench.evidence import KnownLight
    from solarvent.bench.metering import Readings
    from solarvent.bench.preparation import Step
    from solarvent.bench.steps import Checklist
    from solarvent.plan.plan import Plan

ROOMS = {"place": "Place and house", "kit": "Kit", "answer": "Answer", "bench": "Bench"}
#: What a redirect says on the page that it leads to.
NOTICES = {
    "save": "Saved.",
    "other-tab": "This plan was also changed in another tab, by another person or in its file. Both changes are in it"
    " now; where both changed the same thing, this one stands. Undo brings the other back.",
    "reread": "This is the plan as its file has it now. Undo brings yours back.",
    "pin": "Pinned: what you change from now on is held against this state.",
    "undo": "Undone.",
    "redo": "Redone.",
    "join": "The parts of the boxes are in the plan, joined as found.",
    "mend": "Changed in the plan; Undo takes it back. In the garden:",
}


class _AsWritten(str):
    """Words that a person is to get back as they stand in the file: escaped like all, and not typeset."""


@cache
def templates() -> Any:
    """The maker of the pages, with what all of them may use."""
    from solarvent.report.page import environment

    made = environment("solarvent.serve", "solarvent.report")
    made.globals |= {
        "rooms": ROOMS,
        "version_of_program": __version__,
        "picture_of": drawings,
        "part_names": part_names,
    }
    made.filters["as_written"] = _AsWritten
    made.filters["in_address"] = lambda text: quote(str(text), safe="")
    return made


@cache
def look() -> str:
    """The style sheet: that of the report, and what a page with forms needs beside it."""
    report = files("solarvent.report").joinpath("templates", "page.css").read_text(encoding="utf-8")
    return report + files("solarvent.serve").joinpath("templates", "look.css").read_text(encoding="utf-8")


@cache
def script() -> str:
    """The script that sends a form as it is typed, and puts the parts that come back in their places."""
    return files("solarvent.serve").joinpath("templates", "live.js").read_text(encoding="utf-8")


def part_names(kind: str) -> dict[str, str]:
    """Names of the library's parts of one kind, by id."""
    return forms.library().names(kind)


@dataclass(frozen=True)
class Fields:
    """A plan as its forms show it; `typed` are fields that could not be taken as they were, and `problems` why."""

    content: Mapping[str, Any]
    typed: Mapping[str, str] = field(default_factory=dict)
    problems: Sequence[Problem] = ()
    _asked: set[str] = field(default_factory=set)

    def value(self, place: str) -> str:
        """What stands in a field."""
        self._asked.add(place)
        return self.typed.get(place, forms.shown(forms.value_at(self.content, place)))

    def usual(self, place: str) -> str:
        """What holds where a field is left empty."""
        section, number, *keys = [*place.split("."), ""]
        of_part = forms.value_at(self._of_library(f"{section}.{number}"), ".".join(keys[:-1]))
        return forms.shown(of_part or (forms.described(place) or {}).get("default"))

    def others(self, at: str) -> list[forms.Entry]:
        """Everything that may be said below a place and has had no field yet."""
        return [entry for entry in forms.entries_below(at, self._of_library(at)) if entry.place not in self._asked]

    def _of_library(self, at: str) -> Mapping[str, Any]:
        """The figures of the part of the library that a part of the plan names."""
        kind, part = SECTIONS.get(at.partition(".")[0], ""), forms.value_at(self.content, f"{at}.part")
        return forms.library().entries(kind).get(part, {}) if kind and isinstance(part, str) else {}

    def wrong(self, place: str) -> bool:
        """Whether a field is one of those that were refused."""
        return place in self.typed

    def count(self, section: str) -> int:
        """How many parts a section has."""
        return len(forms.parts_of(self.content, section))

    @property
    def runs(self) -> list[list[Any]]:
        """The parts of each run of the wiring, where the plan joins part by part."""
        found = self.get("wiring.runs")
        return found if isinstance(found, list) and all(isinstance(run, list) for run in found) else []

    def get(self, place: str) -> Any:
        """The value at a place as it is in the file."""
        return forms.value_at(self.content, place)


def fields_of(draft: Draft, typed: Mapping[str, str] | None = None, problems: Sequence[Problem] = ()) -> Fields | None:
    """The fields of a draft; None if its text is no TOML, so that only the text itself can be mended."""
    try:
        content = forms.content_of(draft.text)
    except SolarventError:
        return None
    left = {place: text for place, text in (typed or {}).items() if text != forms.shown(forms.value_at(content, place))}
    return Fields(content, left, problems)


def refusal(status: int, words: str, problems: Sequence[Problem] = ()) -> str:
    """A short page in plain words for a request that is not answered."""
    return str(templates().get_template("refusal.html").render(status=status, words=words, problems=problems))


def house_part(draft: Draft, plan: Any, system: str) -> str:
    """The drawing of the house, or nothing while the plan cannot be read."""
    drawing = "" if plan is None else drawings.house_picture(plan.record, system)
    return str(templates().get_template("house.html").render(drawing=drawing))


def bar(draft: Draft, room: str, notice: str = "", problems: Sequence[Problem] = (), changed: bool = False) -> str:
    """The bar above every room: undo, redo, save, and what there is to be told."""
    words = NOTICES.get(notice, "") + (f" {draft.view.get('told', '')}" if notice == "mend" else "")
    return str(
        templates()
        .get_template("bar.html")
        .render(draft=draft, room=room, notice=words, problems=problems, file_changed=changed)
    )


@cache
def faces(library: Library) -> list[dict[str, Any]]:
    """Every half of every connector, drawn face on."""
    return drawings.plug_faces(read_families(library))


def weathers(fields: Fields, found: Sequence[str]) -> tuple[dict[str, str], str]:
    """Sources of weather that may be chosen, and the one that is."""
    choices = {"embedded": f"the year of hours that comes with the program ({EMBEDDED_YEAR})"}
    choices |= {f"file:{name}": f"file {name}" for name in found}
    choices |= {f"climate:{name}": words for name, words in part_names("climates").items()}
    now = _weather_word(forms.table_of(fields.content, "weather"))
    return choices | ({} if now in choices else {now: "as written in the file"}), now


def _weather_word(weather: Mapping[str, Any]) -> str:
    for key in ("climate", "file"):
        if key in weather:
            return f"{key}:{weather[key]}"
    return "embedded" if "embedded" in weather else "own"


def with_weather(form: Mapping[str, str], text: str, base: str) -> str:
    """Give a plan with the source of weather that a form chooses."""
    chosen = form.get("weather", "own")
    if chosen == "own" or chosen == _weather_word(forms.table_of(forms.content_of(base), "weather")):
        return text
    key, _, value = chosen.partition(":")
    if key not in ("embedded", "climate", "file"):
        raise PlanError.single("weather", f'"{chosen[:40]}" is no source of weather', "choose one of the list")
    sources = ("embedded", "climate", "file", "normals", "clear_sky")
    changes: dict[str, Any] = {f"weather.{one}": None for one in sources}
    return changed_text(text, changes | {f"weather.{key}": value or EMBEDDED_YEAR})


#: Option of the command line -> the fields of the page that say the same.
_FIELDS = {
    "--panel-open": "volts, nothing joined",
    "--panel-short": "amperes through the meter alone",
    "--panel-joined": "volts, everything joined",
    "--fan": "volts and amperes of a fan",
}
#: Of the light that a person may have measured. [W/m2]
_MOST_LIGHT = 1400.0


@dataclass(frozen=True)
class Mark:
    """A place for the meter: its letter in the wiring picture, what to expect, and the fields for what was read."""

    letter: str
    part: str
    words: str
    fields: tuple[tuple[str, str], ...]


def marks_of(steps: Checklist) -> list[Mark]:
    """List the marks of the wiring picture in their order, each with its fields: names and labels."""
    rows, panels = steps.wiring, {panel.id: panel for panel in steps.bench.plan.record.panel}
    found = []
    for number, row in enumerate(rows):
        if not row.probe:
            continue
        if row.kind == "panel":
            own = [(f"read.open.{row.title}", "volts, nothing joined")]
            # Behind a regulator in the panel's own box amperes say nothing about the cells.
            if steps.bench.built_in(panels[row.title]) is None:
                own.append((f"read.short.{row.title}", "amperes through the meter alone"))
            own.append((f"read.joined.{row.title}", "volts, everything joined"))
            found.append(Mark(row.probe, row.title, row.probe_words, tuple(own)))
            continue
        fan = next((below.title for below in rows[number:] if below.kind == "fan"), "")
        fields = ((f"read.volts.{fan}", "volts"), (f"read.amperes.{fan}", "amperes"), (f"read.seen.{fan}", "the fan"))
        found.append(Mark(row.probe, fan, row.probe_words, fields))
    return found


def readings_of(plan: Plan, typed: Mapping[str, str]) -> Readings:
    """Read what was typed at the marks, as the command line would; PlanError with everything that cannot be read."""
    # The server shows rooms without the bench; only its workers need it.
    from solarvent.bench.metering import SEEN, parse_readings

    by_kind: dict[str, dict[str, str]] = {}
    for name, value in typed.items():
        _, _, place = name.partition("read.")
        kind, _, part = place.partition(".")
        if value.strip():
            by_kind.setdefault(kind, {})[part] = value.strip()
    fans: dict[str, list[str]] = {}
    for kind, unit in (("volts", "V"), ("amperes", "A"), ("seen", "")):
        for part, value in by_kind.get(kind, {}).items():
            fans.setdefault(part, []).append(value if kind == "seen" else _with_unit(value, unit))
    unknown = [value for value in by_kind.get("seen", {}).values() if value not in SEEN]
    if unknown:
        raise PlanError.single(
            "", f'"{unknown[0][:40]}" is nothing that a fan is seen to do', f"one of {', '.join(SEEN)}"
        )
    try:
        return parse_readings(
            [panel.id for panel in plan.record.panel],
            [fan.id for fan in plan.record.fan],
            panel_open=_named(by_kind.get("open", {}), "V"),
            panel_short=_named(by_kind.get("short", {}), "A"),
            panel_joined=_named(by_kind.get("joined", {}), "V"),
            fan=[f"{part}={'/'.join(values)}" for part, values in fans.items()],
        )
    except PlanError as error:
        raise PlanError(replace(one, where=_FIELDS.get(one.where, one.where)) for one in error.problems) from None


def _named(values: Mapping[str, str], unit: str) -> list[str]:
    return [f"{part}={_with_unit(value, unit)}" for part, value in values.items()]


def _with_unit(value: str, unit: str) -> str:
    """A bare number is in the unit that the field names."""
    return value if value[-1:].isalpha() else f"{value} {unit}"


def light_of(typed: str) -> KnownLight:
    """Read the light that was measured; empty if nobody did. [W/m2]"""
    from solarvent.bench.evidence import KnownLight

    if not typed.strip():
        return KnownLight()
    try:
        light = float(typed.split("W")[0])
    except ValueError:
        light = -1.0
    if not 1.0 <= light <= _MOST_LIGHT:
        what = f'"{typed[:40]}" is no light on the cells'
        raise PlanError.single("", what, f"a number from 1 to {_MOST_LIGHT:g} W/m2, or leave it empty")
    return KnownLight(light, True)


def tick_of(step: Step) -> str:
    """Name a step by its words, so that its tick stays with it when others come or go."""
    return sha256(f"{step.phase}|{step.do}".encode()).hexdigest()[:12]
