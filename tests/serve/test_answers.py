"""What the workers keep of a plan: the chain runs once, and every answer is of the plan as it is now."""

import pytest

from solarvent.plan.library import shipped_text
from solarvent.serve import answers
from solarvent.serve.forms import changed_text
from solarvent.simulation import simulate as chain


@pytest.fixture
def runs(monkeypatch):
    """Titles of the plans that are simulated whole."""
    seen = []
    original = chain.simulate_under

    def noted(plan, *others, **more):
        if more.get("house", True):
            seen.append(plan.record.title)
        return original(plan, *others, **more)

    monkeypatch.setattr(chain, "simulate_under", noted)
    return seen


def test_units_title_and_comparison_take_the_run_that_is_there(runs, tmp_path):
    folder = str(tmp_path)
    text = changed_text(shipped_text("default"), {"title": "Before", "house.length": "3.3 m"})
    other = changed_text(text, {"panel.0.tilt": 21})
    after = changed_text(text, {"title": "After"})
    assert "m³/h" in answers.year(text, folder, "mine", "metric")[1]
    assert "cfm" in answers.year(text, folder, "mine", "us")[1]
    assert "<title>Before" in answers.report(text, folder, "mine", "metric")
    assert "<title>After" in answers.report(after, folder, "mine", "metric")
    assert runs == ["Before"]
    assert "panel[1].tilt" in answers.difference(text, other, folder, "mine", "metric")
    assert runs == ["Before", "Before"]


@pytest.mark.long
def test_a_comparison_of_runs_that_are_known_is_that_of_the_plans(tmp_path):
    from solarvent.plan.plan import load_plan
    from solarvent.studies.compare import compare

    plans = [load_plan(name) for name in ("default", "coop")]
    assert compare(*plans, [chain.simulate(plan) for plan in plans]) == compare(*plans)


@pytest.mark.parametrize(
    "moved", [{"panel.0.tilt": 21}, {"panel.0.azimuth": 90}, {"panel.0.part": "panel-30w"},
              {"fan.0.start_voltage": "9 V"}, {"wiring.lead.length": "20 m"}, {"opening.0.area": "700 cm2"}],
)  # fmt: skip
def test_what_was_kept_of_another_plan_changes_nothing(tmp_path, monkeypatch, moved):
    folder, text = str(tmp_path), shipped_text("default")
    answers.days(text, folder, "mine", "metric")
    kept = answers.days(changed_text(text, moved), folder, "mine", "metric")
    for name in ("_SKY", "_LIGHT", "_LIMITS", "_QUICK"):
        monkeypatch.setattr(answers, name, answers._Stages(4))
    assert answers.days(changed_text(text, moved), folder, "mine", "metric") == kept


def test_a_reading_that_cannot_be_read_is_told_by_its_field_and_not_by_an_option(tmp_path):
    told = answers.meaning(
        shipped_text("default"),
        str(tmp_path),
        "mine",
        "metric",
        (("read.amperes.bench", "0,1"), ("read.open.panel", "x")),
    )
    assert "amperes of a fan" in told
    assert "volts, nothing joined" in told
    assert "--" not in told
