"""The catalogue of what goes wrong: each failure as a plan that has it and its mended twin, or as a checklist step."""

import tomllib
from datetime import date
from pathlib import Path

import pytest
from sampled import one_in

import solarvent
from solarvent.bench.preparation import prepare
from solarvent.bench.steps import building_steps
from solarvent.electrical.panel_model import LOW, TYPICAL
from solarvent.findings.verdicts import find
from solarvent.plan.library import profiles
from solarvent.plan.plan import load_plan
from solarvent.simulation.simulate import simulate

FOLDER = Path(__file__).parents[1] / "data" / "failures"
CASES = tomllib.loads((FOLDER / "cases.toml").read_text(encoding="utf-8"))
FAULTS = {
    fault["slug"]: fault for fault in tomllib.loads((profiles() / "faults.toml").read_text(encoding="utf-8"))["faults"]
}
#: All failures of the catalogue, in its order: what goes wrong with panel and fan, light, joints, air, place.
NAMES = """
    never-starts-in-weak-sun twitches-and-never-spins-up runs-only-after-a-push one-of-two-fans-turns
    over-voltage-at-noon over-voltage-while-stalled cold-morning-spike start-surge-beats-the-panel
    converter-hiccups-at-dawn usb-drops-out-in-passing-shade usb-port-gives-too-little-current
    power-bank-switches-itself-off charge-controller-without-battery fan-for-another-voltage-on-a-battery
    panel-below-its-battery battery-empty-each-morning fans-in-series fan-holds-its-speed
    stiff-in-the-cold watts-from-volts-times-short-circuit more-watts-than-its-size-can-give hot-panel
    brushed-blower-day-long

    panel-behind-glazing panel-behind-mesh shadow-on-a-cell leaves-before-the-panel
    panel-faces-away-from-the-hot-hours flat-panel dust-and-pollen mean-light-hides-the-clouds

    two-jacks-that-should-meet splitter-the-wrong-way-round flat-leads-turn-the-poles barrel-centre-not-known
    barrels-of-two-sizes bare-wires-by-colour brushless-fan-reversed brushed-fan-reversed wire-long-and-thin
    blocking-diode-without-need unlike-panels-side-by-side panels-in-series-by-mistake wire-thinner-than-marked
    corroded-contacts usb-lead-with-two-plugs wrong-pair-of-fan-wires fuse-that-blows-or-guards-nothing
    diode-the-wrong-way-round unlike-panels-on-one-battery usb-c-that-gives-nothing

    no-inlet inlet-too-small shutter-will-not-lift suction-holds-the-inlet-shut vent-beside-the-fan
    fan-fights-the-roof-opener two-fans-not-twice-the-air fan-against-the-wind screen-chokes-the-inlet long-duct
    fan-set-in-backwards free-air-figure-taken-as-delivered draught-on-plants-or-birds runs-in-cold-sun
    opener-set-too-high thermostat-for-alternating-current

    damp-in-the-fan poultry-dust nest-in-the-fan blocked-fan-with-no-protection lead-torn-or-chafed
    fuel-in-the-shed animals-rely-on-it drums-in-the-shade burner-and-extractor
"""
SLUGS = NAMES.split()
NOT_TOLD = ["fan-set-in-backwards", "draught-on-plants-or-birds", "nest-in-the-fan", "lead-torn-or-chafed"]
#: Turned poles are one matter: the first is how it comes about, the second what it does to a fan.
ONE_MATTER = {"polarity-reversed": ["flat-leads-turn-the-poles", "brushless-fan-reversed"]}


@pytest.fixture
def findings(plan_of):
    """Give a function that makes the faulty plan of a case, or its twin, and finds what is to be found in it."""

    def make(slug, which):
        case = CASES[slug]
        base = tomllib.loads((FOLDER / f"{case['plan']}.toml").read_text(encoding="utf-8"))
        patches = [
            {place: None if value == "-" else value for place, value in case.get(part, {}).items()}
            for part in ("scene", which)
        ]
        day = case.get("day", "06-21")
        when = None if day == "year" else date.fromisoformat(f"2001-{day}")
        return find(simulate(plan_of(base, *patches), when, bands=(TYPICAL, LOW)))

    return make


def test_the_catalogue_names_all_76_failures_in_order():
    assert len(SLUGS) == 76
    assert list(FAULTS) == SLUGS


def test_each_failure_is_told_from_a_plan_or_looked_for_by_the_checklist():
    assert [slug for slug, fault in FAULTS.items() if "codes" not in fault] == NOT_TOLD
    assert all(("codes" in fault) != ("step" in fault) for fault in FAULTS.values())
    assert list(CASES) == [slug for slug in SLUGS if slug not in NOT_TOLD]


def test_each_failure_has_a_finding_of_its_own():
    owners = {}
    for slug, fault in FAULTS.items():
        if "codes" in fault:
            owners.setdefault(fault["codes"][0], []).append(slug)
    assert {code: slugs for code, slugs in owners.items() if len(slugs) > 1} == ONE_MATTER


@pytest.mark.parametrize("slug", one_in(4, CASES))
def test_the_failure_is_found_and_its_mended_twin_is_free_of_it(findings, slug):
    case, own = CASES[slug], FAULTS[slug]["codes"][0]
    faulty, mended = findings(slug, "fault"), findings(slug, "mended")
    assert (own, case["level"], case["part"]) in [(one.code, one.level, one.part) for one in faulty]
    assert own not in {one.code for one in mended}
    # The repair brings no new harm.
    assert [one for one in mended if one.level == "stop"] == []
    for one in faulty:
        assert one.text.strip().endswith((".", ")"))
        assert one.do.strip().endswith((".", "?"))
        assert "nan" not in f"{one.text} {one.do}"


@pytest.mark.parametrize("slug", NOT_TOLD)
@pytest.mark.parametrize("plan", ["default", "faulty"])
def test_what_no_plan_tells_is_a_step_of_every_checklist(slug, plan):
    steps = [step.do for step in building_steps(prepare(load_plan(plan)))]
    assert any(FAULTS[slug]["step"] in step for step in steps)


def test_every_code_that_the_catalogue_names_is_one_that_a_check_gives():
    given = " ".join(path.read_text(encoding="utf-8") for path in Path(solarvent.__file__).parent.rglob("*.py"))
    for fault in FAULTS.values():
        for code in fault.get("codes", ()):
            assert f'"{code}"' in given, code
