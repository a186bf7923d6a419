"""What a person does: begin a plan, change it by a form, press a button; each as a change of a draft."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from solarvent.base.errors import PlanError
from solarvent.plan.asking import answer_of
from solarvent.plan.interview import written_plan
from solarvent.plan.library import shipped_text
from solarvent.serve import answers, boxes, forms, pages, sliders
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
        text = sliders.with_sliders(form, text)
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


#: What buttons do to a draft, and those of which a new text of the plan comes.
_DEEDS: Mapping[str, Callable[[Draft, Mapping[str, str]], Any]] = {
    "undo": lambda draft, _: draft.go(-1),
    "redo": lambda draft, _: draft.go(1),
    "pin": lambda draft, _: _pin(draft, draft.text),
    "unpin": lambda draft, _: _pin(draft, ""),
    "box": lambda draft, form: draft.put(boxes=boxes.changed(draft.content.boxes, form)),
}
_TEXTS: Mapping[str, Callable[[Draft, Mapping[str, str]], str]] = {
    "part": lambda draft, form: sliders.with_parts(draft.text, form),
    "join": lambda draft, _: boxes.joined_text(draft.text, draft.content.boxes),
    "mend": _mend,
}
