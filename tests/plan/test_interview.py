"""The questions that lead to a plan: whatever is answered, the plan is one that can be read."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import QuantityError
from solarvent.plan.asking import answer_of, battery_label
from solarvent.plan.checking import check_plan
from solarvent.plan.interview import interview, written_plan
from solarvent.plan.library import Library
from solarvent.plan.plan import Plan
from solarvent.studies.pair import pair
from solarvent.wiring.harness import build_harness

LIBRARY = Library()


def converse(asking, answers=None, pick=None):
    """Answer by the beginning of the question's text, or else with the default; give the end and the questions."""
    asked = []
    question = next(asking)
    try:
        while True:
            asked.append(question)
            words = next((words for text, words in (answers or {}).items() if question.text.startswith(text)), "")
            # A choice may be given by the words of its line, which do not move with the library as its number does.
            words = next((str(at) for at, line in enumerate(question.choices, 1) if words and words in line), words)
            if pick is not None and question.choices:
                words = str(pick(len(question.choices)))
            question = asking.send(answer_of(question, words))
    except StopIteration as end:
        return end.value, asked


@pytest.mark.parametrize(("use", "floor"), [("camper", "boards"), ("shed", "boards"), ("greenhouse", "soil")])
def test_a_camper_does_not_stand_on_bare_soil(use, floor):
    assert plan_of({"What is to be ventilated": use}).house.floor == floor


def test_an_own_fan_that_says_no_more_than_it_must_is_offered(tmp_path):
    figures = {"rated_voltage": "12 V", "rated_current": "0.3 A", "start_voltage": "5 V", "stop_voltage": "4 V"}
    rows = [f'{key} = "{value}"' for key, value in {**figures, "maximum_voltage": "14 V"}.items()]
    text = "\n".join(["parts_version = 1", "[own]", "curve = [[0, 40], [90, 0]]", *rows])
    (tmp_path / "fans.toml").write_text(text, encoding="utf-8")
    library = Library(tmp_path)
    answers, _ = converse(interview(library), {"Your fan": "own"})
    assert (answers.fans[0].part, answers.fans[0].size) == ("own", 0.12)
    answers, _ = converse(interview(library), {"Your fan": "another one", "Width of its frame": "92 mm", "Volts": "12"})
    assert answers.fans[0].part == "fan-12v-92x25"


def plan_of(answers=None):
    text, _ = converse(written_plan(LIBRARY), answers)
    return check_plan(tomllib.loads(text), LIBRARY)


def test_enter_all_the_way_gives_a_plan_in_some_fifteen_questions():
    text, asked = converse(written_plan(LIBRARY))
    plan = check_plan(tomllib.loads(text), LIBRARY)
    assert 12 <= len(asked) <= 17
    assert asked[0].text == "Your units"
    assert (plan.units, plan.house.use, len(plan.fan)) == ("metric", "greenhouse", 1)
    assert plan.weather.embedded


def test_every_question_has_help_and_a_default_that_it_takes():
    metered = {"Your panel": "without", "Any other": "yes", "Your units": "us"}
    for answers in (metered, {"Your panel": "another", "Your fan": "another", "Where does it": "60 N 10 E"}):
        _, asked = converse(written_plan(LIBRARY), answers)
        assert all(question.help and question.default for question in asked)
        assert all(len(f"{question.text} [{question.default}]? ") <= 100 for question in asked)


@pytest.mark.parametrize(
    ("panel", "lead", "branch"), [("50 W", "18 AWG", "20 AWG"), ("panel, 100 W", "14 AWG", "14 AWG")]
)
def test_the_lead_that_is_offered_bears_what_the_panel_pushes_into_a_short(panel, lead, branch):
    """1.56 times the short-circuit current (NEC 690.8): 4.6 A of 50 W, 9.2 A of 100 W; 20 AWG may carry 5 A."""
    plan = plan_of({"Your panel": panel})
    assert (plan.wiring.lead.wire, plan.wiring.branch.wire) == (lead, branch)


def test_us_units_are_offered_and_kept():
    text, asked = converse(written_plan(LIBRARY), {"Your units": "us"})
    shown = {question.text: question.default for question in asked}
    assert shown["Its floor, length x width"] == "10 ft x 8 ft"
    assert tomllib.loads(text)["house"]["length"] == "10 ft"
    assert tomllib.loads(text)["wiring"]["branch"]["length"] == "3 ft"


def test_the_south_looks_north_west():
    plan = plan_of({"Where does it": "36.8 S 174.7 E"})
    assert plan.panel[0].azimuth == 315
    assert plan.weather.climate == "southern-temperate-oceanic"
    assert plan.place.timezone == "Etc/GMT-12"


def test_an_old_panel_without_a_plate_is_given_by_two_readings():
    plan = plan_of({"Your panel": "without a label", "Volts": "19.4 V", "Amperes": "0.7 A"})
    panel = plan.panel[0]
    assert (panel.v_oc, panel.i_sc, panel.cells_in_series) == (19.4, 0.7, 36)
    # Best point: 0.82 of Voc and 0.93 of Isc, a fill factor of 0.76 as of usual plates.
    assert panel.v_mp == pytest.approx(15.9)
    assert panel.i_mp == pytest.approx(0.651)


def test_an_old_panel_of_which_only_watts_and_age_are_known():
    panel = plan_of({"Your panel": "another", "Watts": "40 W", "How many years": "20"}).panel[0]
    assert (panel.watts, panel.v_oc, panel.age) == (40, None, 20)


def test_amperes_are_guessed_from_watts_and_volts():
    _, asked = converse(written_plan(LIBRARY), {"Your panel": "another", "Watts": "20 W", "Its open": "22 V"})
    short = next(question for question in asked if question.text.startswith("Its short"))
    # 20 W over 0.82 of 22 V and 0.93 of the short-circuit current: as on the library's 20 W plate.
    assert short.default == "1.2 A"


def test_a_best_point_above_its_ends_is_asked_again():
    with pytest.raises(ValueError, match="25 V is not below 22 V"):
        plan_of({"Your panel": "another", "Its open": "22 V", "Its volts at the best": "25 V"})


def test_a_scrap_fan_is_known_by_its_label():
    plan = plan_of({
        "Your fan": "another", "Volts on": "12 V", "Width": "92 mm", "Amperes on": "0.10 A", "How many of": "3",
    })  # fmt: skip
    assert [fan.id for fan in plan.fan] == ["fan-1", "fan-2", "fan-3"]
    assert plan.fan[2].part == "fan-12v-92x25"
    assert plan.fan[2].rated_current == 0.10
    assert plan.fan[2].start_voltage == 7


def test_the_volts_of_an_odd_fan_scale_with_its_label():
    fan = plan_of({"Your fan": "another", "Volts on its label": "48 V", "Width": "120 mm"}).fan[0]
    assert (fan.part, fan.rated_voltage) == ("fan-24v-120x25", 48)
    assert fan.start_voltage == pytest.approx(26)
    assert fan.maximum_voltage > 48


def test_fans_of_several_kinds_stand_on_one_panel():
    kinds = iter(["120 x 38 mm, easy", "80 x 25 mm, 0.15"])
    asking = written_plan(LIBRARY)
    question, asked = next(asking), []
    try:
        while True:
            asked.append(question.text)
            words = "2" if question.text == "How many of these" else ""
            words = next(kinds) if question.text == "Your fan" else words
            if question.text == "Any other fan on the same panel":
                words = "yes" if asked.count("Your fan") < 2 else "no"
            words = next((str(at) for at, line in enumerate(question.choices, 1) if words and words in line), words)
            question = asking.send(answer_of(question, words))
    except StopIteration as end:
        plan = check_plan(tomllib.loads(end.value), LIBRARY)
    assert [fan.part for fan in plan.fan] == ["fan-12v-120x38"] * 2 + ["fan-12v-80x25"] * 2


@pytest.mark.parametrize(
    ("panel", "fan", "converter"),
    [('"12 V" panel, 20 W', "24 V axial", None), ('"12 V" panel, 20 W', "USB fan, 120", "buck-5v"),
     ('"12 V" panel, 20 W', "12 V axial fan, 120 x 25", None)],
)  # fmt: skip
def test_what_usually_stands_between_is_offered(panel, fan, converter):
    assert plan_of({"Your panel": panel, "Your fan": fan}).wiring.converter == converter


@pytest.mark.parametrize("count", ["1", "3"])
def test_fans_in_the_socket_of_a_usb_panel_hang_behind_it(count):
    plan = plan_of({"Your panel": "USB, 10 W", "Your fan": "USB fan, 120", "How many of": count})
    assert plan.converter[0].built_in
    assert all(run[:3] == ["panel", "socket", "lead"] for run in plan.wiring.runs)
    assert len(plan.wiring.runs) == int(count)
    # Measured ones gave 0.4 to 0.6 of their label (common practice, no source).
    assert (plan.panel[0].plate_factor, plan.panel[0].usual_factor) == (None, 0.6)
    loaded = Plan(plan, LIBRARY)
    assert pair(loaded).feasible == "yes"


def test_no_opening_is_an_answer():
    assert plan_of({"Opening": "none"}).opening == []


def test_a_top_under_the_wall_is_asked_again():
    asking = written_plan(LIBRARY)
    question = next(asking)
    while not question.text.startswith("Its height"):
        question = asking.send(answer_of(question, ""))
    with pytest.raises(ValueError, match="the top is not above the wall"):
        answer_of(question, "2 m x 6 ft")


def test_without_parts_only_place_house_and_mounting_are_asked():
    answers, asked = converse(interview(LIBRARY, [0.12, 0.12]), {"Its floor": "4 m x 3 m"})
    assert not any("fan" in question.text.lower().split(":")[0] for question in asked)
    assert answers.length == "4 m"
    # Three times two holes of 120 mm: the default of the inlet.
    assert asked[-1].default == "680 cm2"


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_whatever_is_chosen_the_plan_can_be_read_and_wired(data):
    text, _ = converse(written_plan(LIBRARY), pick=lambda count: data.draw(st.integers(1, count)))
    plan = check_plan(tomllib.loads(text), LIBRARY)
    assert build_harness(Plan(plan, LIBRARY)).parts
    assert max(map(len, text.splitlines())) <= 120


def test_a_battery_is_asked_for_with_its_controller_and_lands_in_the_plan():
    said = {
        "What stands between": "a charge controller with a battery",
        "Your fan": "12 V",
        "The battery": "12 V, 20 Ah",
    }
    plan = plan_of(said | {"Its kind": "lithium", "The fuse": "10", "Until when": "06:00"})
    battery = plan.storage
    assert (battery.kind, battery.capacity, battery.fuse, battery.end) == ("lithium", 240.0, 10.0, "06:00")
    named = plan_of({"What stands between": "charge controller, 12 or 24 V, MPPT"})
    assert (named.wiring.converter, named.storage.capacity) == ("charge-controller-mppt", 84.0)
    assert plan_of({"What stands between": "straight"}).battery is None


@pytest.mark.parametrize("words", ["100 Ah", "12 V", "7 V Ah", "12 V, 0 Ah", "12 V, 9999999 Ah", "1.2.3 V, 7 Ah"])
def test_ampere_hours_without_volts_are_asked_for_again(words):
    with pytest.raises(QuantityError, match=r'like "12 V, 7 Ah"|out of range'):
        battery_label(words)


def test_hens_in_a_coop_are_asked_for_and_written():
    plan = plan_of({"What is to be ventilated": "coop", "How many hens": "9"})
    assert (plan.animals.count, plan.animals.weight) == (9, 1.8)
    assert plan_of({"What is to be ventilated": "coop", "How many hens": "0"}).animals is None
    assert plan_of({}).animals is None
