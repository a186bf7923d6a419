"""The verdict: its level by what stops and by how often the air is enough, and the words that go with it."""

from datetime import date

import numpy as np
import pytest

from solarvent.base.findings import Finding
from solarvent.findings.air import air_supply, is_enough, reaches
from solarvent.findings.verdicts import find, verdict, verdict_level, verdict_of
from solarvent.plan.plan import load_plan
from solarvent.simulation.simulate import simulate

STOP = Finding("stop", "over-voltage", "fan", "Too much.", "A clamp.")
WARN = Finding("warn", "purge-only", "", "Too little.", "Open vents.")


@pytest.mark.parametrize(
    ("findings", "share", "level", "words"),
    [
        ([WARN, STOP], 1.0, "stop", "Do not build it like this."),
        ([WARN], 0.74, "short", "not enough for full sun"),
        ([WARN], 0.75, "fits", "enough but for the fullest sun"),
        ([], 0.98, "fits", "and the air is enough."),
        ([], float("nan"), "fits", "It works."),
    ],
)
def test_a_stop_comes_before_the_air_and_the_air_counts_by_the_hours_that_have_enough(findings, share, level, words):
    given = verdict_of(findings, 200.0, 0.05, share)
    assert given.level == verdict_level(findings, share) == level
    assert words in given.sentence
    assert [figure.value for figure in given.figures][:2] == [200.0, 0.05]


def test_what_comes_first_mends_the_worst():
    assert verdict_of([WARN, STOP], 200.0, 0.05, 0.5).first_sentence == "Do this first (fan): A clamp."


def test_fans_that_stand_when_they_are_needed_do_not_work():
    assert verdict_of([], 200.0, 0.0, 0.0).sentence == "The fans stand in the hours in which air is needed."


def test_how_often_is_often_enough_may_be_asked_for():
    assert not is_enough(0.8, 0.9)
    assert verdict_level([], 0.8, 0.9) == "short"
    assert verdict_level([], 0.3, 0.2) == "fits"


def test_air_that_no_flow_replaces_is_never_enough():
    assert reaches(np.array([1.0, 1.0, 0.0]), np.array([1.0 + 1e-12, np.nan, 0.0])).tolist() == [True, False, True]


@pytest.mark.parametrize(("name", "level"), [("default", "short"), ("faulty", "stop"), ("coop", "stop")])
def test_the_plans_that_ship(name, level):
    run = simulate(load_plan(name))
    findings = find(run)
    given = verdict(run, findings)
    assert given.level == level
    assert given.first.do == next(finding for finding in findings if finding.level != "note").do


def test_a_span_without_hours_of_need_has_no_air_to_judge(small_plan):
    run = simulate(small_plan(), date(2000, 1, 15))
    supply = air_supply(run)
    assert np.isnan([supply.flow, supply.share, supply.share_of_sunny_hour]).all()
    assert verdict(run, []).sentence == "It works."


def test_the_air_of_each_hour_is_held_against_what_its_own_sun_wants(small_plan):
    run = simulate(small_plan({"target.flow": "40 m3/h"}))
    start, end = run.plan.record.target.start, run.plan.record.target.end
    needed = run.hours.between_time(start, end, inclusive="left")
    needed = needed[needed["month"].isin(run.plan.record.months_of_need)]
    assert air_supply(run).share == pytest.approx((needed["flow"] >= 40 / 3600 * (1 - 1e-9)).mean())
