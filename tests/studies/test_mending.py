"""Mending: whoever does again and again what is said first gets somewhere, and never in a circle."""

import tomllib
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest
import tomlkit
from faulty_wiring import CASES as WIRING
from faulty_wiring import WIRED
from sampled import one_in
from small import SMALL, changed

from solarvent.base.errors import PlanError
from solarvent.base.findings import Finding, first_remedy
from solarvent.electrical.panel_model import LOW, TYPICAL
from solarvent.findings.verdicts import find
from solarvent.plan.connectors import read_families
from solarvent.plan.library import Library, profiles
from solarvent.plan.plan import plan_from
from solarvent.simulation.simulate import simulate
from solarvent.studies.mending import NO_WAY, WAYS, mend
from solarvent.studies.mending_joints import Case
from solarvent.wiring.harness import build_harness
from solarvent.wiring.joints import Polarity, PolarityTrace, worst_polarity

FAILURES = Path(__file__).parents[1] / "data" / "failures"
LIBRARY = Library()
MOST_STEPS = 5


def written(content):
    """Write a plan as a file, without what a test set to None."""

    def whole(value):
        if isinstance(value, dict):
            return {key: whole(item) for key, item in value.items() if item is not None}
        return [whole(item) for item in value] if isinstance(value, list) else value

    return tomlkit.dumps(whole(content))


def from_the_catalogue():
    """Yield the faulty plans of the catalogue that say stop, and the day of each."""
    for slug, case in tomllib.loads((FAILURES / "cases.toml").read_text(encoding="utf-8")).items():
        if case["level"] == "stop":
            content = tomllib.loads((FAILURES / f"{case['plan']}.toml").read_text(encoding="utf-8"))
            for part in ("scene", "fault"):
                patch = {place: None if value == "-" else value for place, value in case.get(part, {}).items()}
                content = changed(content, patch)
            yield slug, content, case.get("day", "06-21")


def faulty_plans():
    """Yield faulty plans: their names, what their files say, and a day."""
    yield from from_the_catalogue()
    for name, (_, level, _, fault, _) in WIRING.items():
        if level == "stop":
            yield name, changed(changed(SMALL, WIRED), fault), "06-21"
    shipped = tomllib.loads((profiles() / "plans" / "faulty.toml").read_text(encoding="utf-8"))
    yield "the faulty plan that ships", shipped, "07-15"


PLANS = {name: (content, day) for name, content, day in faulty_plans()}
#: Those that no change of parts or wires mends, with the finding at which it ends.
BY_HAND = {
    "ends of quite different kinds": "connector-mismatch",
    "panels side by side that differ much": "panels-unlike",
    "the plug of a 21 mm socket in a 12 mm one": "look-alike",
}


def look_on(day):
    """Give a function that finds what is to be found in a plan, each plan looked at once."""
    when, known = date.fromisoformat(f"2001-{day}"), {}

    def look(plan):
        key = plan.record.model_dump_json()
        if key not in known:
            known[key] = find(simulate(plan, when, bands=(TYPICAL, LOW)))
        return known[key]

    return look


def followed(text, look):
    """Do what is said first, again and again; give the steps, and where it ends."""
    texts, codes = [text], []
    while True:
        plan = plan_from(tomllib.loads(texts[-1]), LIBRARY)
        first = first_remedy(look(plan))
        if first is None or first.level != "stop":
            return texts, codes, None
        codes.append(first.codes[0])
        try:
            texts.append(mend(texts[-1], plan, first.codes[0], look).text)
        except PlanError as error:
            if error.problems[0].what != NO_WAY:
                raise
            return texts, codes, first.codes[0]
        assert len(codes) <= MOST_STEPS


def test_there_are_thirty_faulty_plans():
    assert len(PLANS) >= 30


@pytest.mark.parametrize("name", one_in(4, PLANS))
def test_following_the_first_remedy_ends_in_a_plan_without_a_stop_or_says_that_there_is_none(name):
    content, day = PLANS[name]
    texts, codes, end = followed(written(content), look_on(day))
    assert codes
    assert len(set(texts)) == len(texts)
    assert end == BY_HAND.get(name)


#: Flat two-pins, whose usual + at a source is the shrouded contact: behind a panel of the other habit a crosser goes.
FLAT = {
    "panel.0.outlet": {"family": "flat-two-pin", "positive": "shrouded"},
    "lead": [
        {"id": "first", "part": "extension-flat-two-pin-3m"},
        {"id": "second", "part": "extension-flat-two-pin-3m"},
    ],
    "fan": [{"id": "east", "part": "fan-12v-120x25", "inlet": {"family": "flat-two-pin", "positive": "exposed"}}],
    "wiring": {"runs": [["roof", "first", "second", "east"]]},
}
CROSSED = {"panel.0.outlet.positive": "exposed", "lead.1.part": "crosser-flat-two-pin"}


@pytest.mark.parametrize(("fault", "at"), [({}, 1), (CROSSED, 3)], ids=["usual poles", "crossed poles"])
def test_a_regulator_stands_where_the_poles_are_right(fault, at):
    # Fed with crossed poles it can be destroyed (common practice, no source).
    text, look = written(changed(changed(SMALL, FLAT), fault)), look_on("06-21")
    mended = mend(text, plan_from(tomllib.loads(text), LIBRARY), "over-voltage", look)
    (run,), (regulator,) = mended.plan.record.wiring.runs, mended.plan.record.converter
    assert run.index(regulator.id) == at
    harness = build_harness(mended.plan)
    trace = PolarityTrace(harness.parts, harness.joins, read_families(LIBRARY))
    poles = {join.sink.part: worst_polarity(trace.arriving(join)) for join in harness.joins}
    assert (poles[regulator.id], poles["east"]) == (Polarity.KEPT, Polarity.KEPT)


def test_a_diode_stands_where_the_poles_are_right():
    # Before the crosser its + conductor would be the - of the panel: it would let nothing through.
    ends = {"family": "flat-two-pin", "positive": "exposed"}
    content = changed(SMALL, FLAT) | {
        "panel": [{"id": name, "part": "panel-30w", "tilt": 35, "azimuth": 200, "outlet": ends} for name in "ab"],
        "lead": [{"id": f"crosser-{name}", "part": "crosser-flat-two-pin"} for name in "ab"],
        "splitter": [{"id": "y", "part": "flat-two-pin-to-two"}],
        "wiring": {"runs": [[name, f"crosser-{name}", "y", "east"] for name in "ab"]},
    }
    plan = plan_from(content, LIBRARY)
    found = (Finding("warn", "no-blocking-diode", "a", "None.", "Put one in.", 1.0, 1.0),)
    case = Case(plan, content, build_harness(plan), read_families(LIBRARY), found)
    (mending,) = WAYS["no-blocking-diode"](case)
    assert [run[2] for run in mending.changes[-1].value] == ["diode-a", "diode-b"]


def test_a_larger_panel_comes_before_the_dust_that_lies_on_every_panel_and_after_dirt():
    plan = plan_from(tomllib.loads((profiles() / "plans" / "default.toml").read_text(encoding="utf-8")), LIBRARY)
    for soiling, first in ((0.95, "Get a crystalline"), (0.85, "Rinse panel")):
        dusty = plan.with_({"panel.0.soiling_ratio": soiling})
        found = (Finding("warn", "will-not-restart", "bench", "It stands.", "A larger panel.", 249.0, 44.0),)
        content = {"panel": [{"id": "panel", "part": "panel-30w", "soiling_ratio": soiling}]}
        case = Case(dusty, content, build_harness(dusty), read_families(LIBRARY), found)
        assert next(WAYS["will-not-restart"](case)).words.startswith(first)


def test_a_way_that_leaves_what_the_wiring_shows_is_not_simulated(monkeypatch):
    from solarvent.studies import mending

    text, looked = written(changed(SMALL, FLAT)), []
    stays = [Finding("stop", "over-voltage", "east", "It gets too much.", "Less.", 21.0, 13.8)]
    monkeypatch.setattr(mending, "pair", lambda plan: SimpleNamespace(findings=stays))
    with pytest.raises(PlanError, match=NO_WAY):
        mend(text, plan_from(tomllib.loads(text), LIBRARY), "over-voltage", lambda plan: looked.append(plan) or stays)
    assert len(looked) == 1
