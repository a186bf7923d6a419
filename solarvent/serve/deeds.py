"""What a person does: begin a plan, change it by a form, move a slider, press a button; each as a change of a draft."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from solarvent.base.errors import PlanError, SolarventError
from solarvent.base.quantities import compass, convert, parse
from solarvent.plan.asking import answer_of
from solarvent.plan.interview import written_plan
from solarvent.plan.library import shipped_text
from solarvent.serve import answers, boxes, forms, pages
from solarvent.serve.drafts import OKTAS, Draft, Shelf
from solarvent.serve.forms import changed_text, library

#: What a person may have, and how the plan begins.
BEGINNINGS = {
    "boxes": "Boxes with panel, fans and leads: do the plugs fit?",
    "greenhouse": "A greenhouse, with a panel and fans to choose",
    "coop": "A coop, with a panel that has a USB socket",
    "van": "A van or camper, with a battery",
    "example": "The worked example, to look at and to change",
}
#: Beginning -> the question -> its answer; every other question takes what it offers.
_ANSWERS: Mapping[str, Mapping[str, str]] = {
    "boxes": {},
    "greenhouse": {"How many of these": "2"},
    "coop": {"What is to be ventilated": "coop", "Your panel": "panel-usb-10w", "Your fan": "fan-usb-120"},
    "van": {"What is to be ventilated": "camper", "Your panel": "panel-50w", "Your fan": "fan-12v-120x25"},
}
_BATTERY = {"kind": "lithium", "capacity": "150 Wh", "fuse": "5 A"}


def text_of(way: str, system: str) -> str:
    """Give the text of a plan that begins in one of the ways, with results in the person's units."""
    if way == "example":
        return changed_text(shipped_text("default") + "\n", {"units": system})
    if way not in _ANSWERS:
        raise PlanError.single("", f'there is no beginning "{way[:40]}"', "choose one of the list")
    answers = {"Your units": system, **_ANSWERS[way]}
    asking = written_plan(library())
    try:
        question = next(asking)
        while True:
            question = asking.send(answer_of(question, answers.get(question.text, "")))
    except StopIteration as end:
        text = str(end.value) + "\n"
    return changed_text(text, {"battery": _BATTERY}) if way == "van" else text


def take(draft: Draft, form: Mapping[str, str], system: str, folder: str) -> None:
    """Change a draft by a form: the plan, the sky, ticks and readings; PlanError if the plan would not be sound."""
    if "text" in form:
        text = form["text"].replace("\r\n", "\n")
    else:
        base = draft.as_of(forms.counted(form.get("version", "")) or draft.version)
        text = forms.with_form(form, draft.text, base, system)
        text = with_sliders(form, text)
        text = pages.with_weather(form, text, base)
    _put(draft, text, folder)
    if (oktas := form.get("slide.oktas", "")) in OKTAS:
        draft.view["oktas"] = oktas
    shown = {key.removeprefix("step.") for key in form if key.startswith("step.")}
    done = {step for step in shown if form[f"step.{step}"] == "done"}
    draft.ticks = sorted((set(draft.ticks) - shown) | done)[:500]
    if readings := {key: value for key, value in form.items() if key.startswith("read.")}:
        draft.readings = {key: value[:60] for key, value in readings.items() if value}


def do(deed: str, name: str, form: Mapping[str, str], shelf: Shelf) -> None:
    """Do what a button says; PlanError if it cannot be done, OutputError if a file is in the way."""
    folder = str(shelf.folder)
    if deed == "save":
        answers.plan_of(shelf.draft(name).text, folder, name)
        shelf.save(name, force="force" in form)
    elif deed == "reread":
        shelf.reread(name)
    elif deed in _DEEDS:
        shelf.change(name, lambda draft: _DEEDS[deed](draft, form))
    elif deed in _TEXTS:
        shelf.change(name, lambda draft: _put(draft, _TEXTS[deed](draft, form), folder))
    else:
        raise PlanError.single("", "there is no such button")


def _put(draft: Draft, text: str, folder: str) -> None:
    """Take a text over, if it is a sound plan."""
    if text != draft.text:
        answers.plan_of(text, folder, draft.name)
    draft.put(text=text)


def _pin(draft: Draft, text: str) -> None:
    draft.pinned = text


def _mend(draft: Draft, form: Mapping[str, str]) -> str:
    """Give the text that mends a plan, unless it is another one by now."""
    if draft.text != form["from"]:
        raise PlanError.single("", "the plan was changed meanwhile", "press the button again")
    draft.view["told"] = form["told"]
    return form["mended"]


#: Drum of the library that the slider of water counts.
_DRUM = "drum-208l"
_MOST_FANS, _MOST_DRUMS = 12, 8
#: A number in a file beyond which no slider stands: it is not a number, or a slip.
_ABSURD = 1e9
_WORDS_OF_LAYOUT = ("shared", "series")
#: Sections of parts that buttons add to, and what a new one begins with.
_NEW: dict[str, dict[str, Any]] = {
    "fan": {"part": "fan-24v-120x25", "outlet_opening": "hood"},
    "panel": {"part": "panel-20w", "tilt": 35, "azimuth": 180},
    "opening": {"part": "wire-mesh", "area": "400 cm2"},
    "mass": {"part": _DRUM},
    "obstacle": {"kind": "tree", "azimuth": 180, "distance": "10 m", "height": "5 m", "width": "4 m"},
    "lead": {"wire": "18 AWG", "length": "2 m"},
    "splitter": {"branches": 2},
    "converter": {"part": "buck-12v"},
}
#: Sections that are there once or not at all, and what a new one begins with.
_ONCE: dict[str, dict[str, Any]] = {
    "plants": {"crop": "warm"},
    "animals": {"count": 6},
    "thermostat": {"closes_at": "28 degC", "opens_at": "24 degC"},
    "shade": {"transmittance": 0.5},
    "screen": {"saving": 0.3},
    "heater": {"power": "350 W", "fuel": "electric", "thermostat": "4 degC"},
    "battery": {"kind": "lithium", "capacity": "150 Wh", "fuse": "5 A"},
}


@dataclass(frozen=True)
class Slider:
    """One slider: its field, what it says, its ends and step, where it stands, and its value in words."""

    name: str
    label: str
    least: float
    most: float
    step: float
    value: float
    words: str
    marks: tuple[str, ...] = ()

    @property
    def stands(self) -> float:
        """The step that is nearest: a browser puts it there of itself, which is no move of the person's."""
        at = min(max(self.value, self.least), self.most)
        return self.least + self.step * round((at - self.least) / self.step)


def plain_panels() -> dict[str, float]:
    """Panels of the library that differ in their watts alone, by rising watts. [W]"""
    entries = library().entries("panels")
    plain = {
        name: parse(entry["watts"], "power") for name, entry in entries.items() if name == f"panel-{_watts(entry)}w"
    }
    return dict(sorted(plain.items(), key=lambda pair: pair[1]))


def _watts(entry: Mapping[str, Any]) -> str:
    return f"{parse(entry.get('watts', '0 W'), 'power'):g}"


def sliders(fields: pages.Fields, draft: Draft) -> list[Slider]:
    """The sliders that a plan has; one that would need another layout is left out."""
    content = fields.content
    found = [Slider("slide.oktas", "cloud", 0, 8, 1, float(draft.view.get("oktas", "0")),
                    f"{draft.view.get('oktas', '0')} of 8 parts of the sky")]  # fmt: skip
    first, fans = next(iter(forms.parts_of(content, "panel")), {}), forms.parts_of(content, "fan")
    sizes = plain_panels()
    own = first.get("part")
    if isinstance(own, str) and own in sizes and not {"v_oc", "watts", "single_diode"} & first.keys():
        names = list(sizes)
        found.append(Slider("slide.panel", "panel", 0, len(sizes) - 1, 1, names.index(own), f"{sizes[own]:g} W",
                            tuple(f"{watts:g} W" for watts in sizes.values())))  # fmt: skip
    tilt, azimuth = (_number(first.get(key), usual) for key, usual in (("tilt", 35.0), ("azimuth", 180.0)))
    found.append(Slider("slide.tilt", "tilt", 0, 90, 5, tilt, f"{tilt:g}° from flat"))
    found.append(Slider("slide.azimuth", "facing", 0, 360, 15, azimuth, f"{azimuth:g}°, {compass(azimuth)}"))
    if _may_count_fans(content):
        found.append(Slider("slide.fans", "fans", 1, _MOST_FANS, 1, len(fans), f"{len(fans)}"))
    if openings := forms.parts_of(content, "opening"):
        area = _area(openings[0].get("area"))
        found.append(Slider("slide.inlet", "inlet", 0, 6000, 50, round(area), f"{area:.0f} cm²"))
    drums = _drums(content)
    if drums is not None:
        found.append(Slider("slide.water", "water", 0, _MOST_DRUMS, 1, drums, f"{drums} drums of 208 L"))
    return found


def _number(value: Any, usual: float) -> float:
    return float(value) if isinstance(value, int | float) and abs(value) < _ABSURD else usual


def _area(text: Any) -> float:
    """Area in [cm2]; nothing if it cannot be read."""
    try:
        return convert(parse(text, "area"), "area", "cm2")
    except SolarventError:
        return 0.0


def _may_count_fans(content: Mapping[str, Any]) -> bool:
    """Whether fans can come and go without touching the joins: a layout word, and no ends that are described."""
    return bool(forms.parts_of(content, "fan")) and forms.table_of(content, "wiring").get("layout") in _WORDS_OF_LAYOUT


def _drums(content: Mapping[str, Any]) -> int | None:
    """Number of drums; None if the plan stores heat in something else."""
    masses = forms.parts_of(content, "mass")
    if len(masses) == 1 and masses[0].get("part") == _DRUM:
        return int(_number(masses[0].get("count"), 1.0))
    return None if content.get("mass") else 0


def with_sliders(form: Mapping[str, str], text: str) -> str:
    """Give a plan as the sliders of a form set it; those that stand where they stood leave it alone."""
    moved = {key: value for key, value in form.items() if key.startswith("slide.") and value != form.get(f"was.{key}")}
    if not moved:
        return text
    content = forms.content_of(text)
    changes: dict[str, Any] = {}
    for name, value in moved.items():
        number = forms.number_of(name, value)
        if name in _SETTERS:
            changes |= _SETTERS[name](content, number)
    return changed_text(text, changes) if changes else text


def _set_panel(content: Mapping[str, Any], number: float) -> dict[str, Any]:
    names = list(plain_panels())
    part = names[min(max(int(number), 0), len(names) - 1)]
    return {f"panel.{place}.part": part for place in range(len(forms.parts_of(content, "panel")))}


def _set_angle(key: str, most: float) -> Any:
    def change(content: Mapping[str, Any], number: float) -> dict[str, Any]:
        value = min(max(number, 0.0), most)
        return {f"panel.{place}.{key}": int(value) for place in range(len(forms.parts_of(content, "panel")))}

    return change


def _set_fans(content: Mapping[str, Any], number: float) -> dict[str, Any]:
    fans = forms.parts_of(content, "fan")
    wanted = min(max(int(number), 1), _MOST_FANS)
    if not _may_count_fans(content):
        raise PlanError.single("fan", "the joins of this plan are given part by part", "change the fans in the kit")
    # From the last on, so that the numbers of the others stay.
    changes: dict[str, Any] = {f"fan.{place}": None for place in reversed(range(wanted, len(fans)))}
    taken = {str(fan.get("id")) for fan in fans}
    for place in range(len(fans), wanted):
        name = _free("fan", taken)
        taken.add(name)
        changes[f"fan.{place}"] = {**fans[-1], "id": name}
    return changes


def _set_inlet(content: Mapping[str, Any], number: float) -> dict[str, Any]:
    return {"opening.0.area": f"{min(max(number, 0.0), 1e5):g} cm2"} if forms.parts_of(content, "opening") else {}


def _set_water(content: Mapping[str, Any], number: float) -> dict[str, Any]:
    count = min(max(int(number), 0), _MOST_DRUMS)
    if _drums(content) is None:
        return {}
    if count == 0:
        return {"mass": None} if content.get("mass") else {}
    # An entry that is there keeps its other keys.
    if content.get("mass"):
        return {"mass.0.count": count}
    return {"mass": [{"id": "drums", "part": _DRUM, "count": count}]}


_SETTERS = {
    "slide.panel": _set_panel, "slide.tilt": _set_angle("tilt", 90.0), "slide.azimuth": _set_angle("azimuth", 360.0),
    "slide.fans": _set_fans, "slide.inlet": _set_inlet, "slide.water": _set_water,
}  # fmt: skip


def _free(section: str, taken: set[str]) -> str:
    """A name that no part has yet."""
    return next(name for number in range(1, 100) if (name := f"{section}-{number}") not in taken)


def with_parts(text: str, form: Mapping[str, str]) -> str:
    """Add a part to a plan, or take one out: ``add`` names a section, ``remove`` a place like ``fan.2``."""
    content = forms.content_of(text)
    for word, keys in _ONCE.items():
        if word in (form.get("add"), form.get("remove")):
            return changed_text(text, {word: keys if "add" in form else None})
    if section := form.get("add", ""):
        if section not in _NEW:
            raise PlanError.single("", f'there is no button for "{section[:40]}"')
        present = forms.parts_of(content, section)
        taken = {str(part.get("id")) for one in content for part in forms.parts_of(content, one)}
        has_name = "id" in (forms.described(f"{section}.0") or {})["properties"]
        new = ({"id": _free(section, taken)} if has_name else {}) | _NEW[section]
        return changed_text(text, {f"{section}.{len(present)}": new} if present else {section: [new]})
    section, _, number = form.get("remove", "").partition(".")
    at = forms.counted(number)
    present = forms.parts_of(content, section)
    if section not in _NEW or at is None or at >= len(present):
        raise PlanError.single("", "this part is not there any more", "load the page again")
    return changed_text(text, {section if len(present) == 1 else f"{section}.{number}": None})


#: What buttons do to a draft, and those of which a new text of the plan comes.
_DEEDS: Mapping[str, Callable[[Draft, Mapping[str, str]], Any]] = {
    "undo": lambda draft, _: draft.go(-1),
    "redo": lambda draft, _: draft.go(1),
    "pin": lambda draft, _: _pin(draft, draft.text),
    "unpin": lambda draft, _: _pin(draft, ""),
    "box": lambda draft, form: draft.put(boxes=boxes.changed(draft.content.boxes, form)),
}
_TEXTS: Mapping[str, Callable[[Draft, Mapping[str, str]], str]] = {
    "part": lambda draft, form: with_parts(draft.text, form),
    "join": lambda draft, _: boxes.joined_text(draft.text, draft.content.boxes),
    "mend": _mend,
}
