"""Ways to begin a plan: the questions of ``solarvent new --ask``, answered for one of some usual cases."""

from __future__ import annotations

from collections.abc import Mapping

from solarvent.base.errors import PlanError
from solarvent.plan.asking import answer_of
from solarvent.plan.interview import written_plan
from solarvent.plan.library import Library, shipped_text
from solarvent.serve.forms import changed_text

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
    asking = written_plan(Library())
    try:
        question = next(asking)
        while True:
            question = asking.send(answer_of(question, answers.get(question.text, "")))
    except StopIteration as end:
        text = str(end.value) + "\n"
    return changed_text(text, {"battery": _BATTERY}) if way == "van" else text
