"""A plan that is changed in code is checked like a file, and the one that it came from stays as it is."""

import pytest

from solarvent.base.errors import PlanError
from solarvent.plan.library import profiles, read_toml
from solarvent.plan.plan import load_plan, plan_from

SHIPPED = sorted(path.name.removesuffix(".toml") for path in (profiles() / "plans").iterdir())


def rounded(value):
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(item) for item in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value


def test_single_keys_are_changed_by_their_place():
    plan = load_plan()
    before = plan.record
    other = plan.with_({"panel.0.tilt": 41, "target.start": "10:00", "place.skyline": [[180, 12]]})
    assert (other.record.panel[0].tilt, other.record.target.start) == (41.0, "10:00")
    assert other.record.place.skyline == [[180, 12]]
    assert plan.record is before
    assert before.panel[0].tilt != 41.0
    assert other.with_({"panel.0.tilt": before.panel[0].tilt, "target.start": before.target.start,
                        "place.skyline": None}).record == before  # fmt: skip


def test_without_a_number_all_entries_are_changed():
    plan = load_plan().with_({"fan.tolerance": 0.2})
    assert len(plan.record.fan) > 1
    assert {fan.tolerance for fan in plan.record.fan} == {0.2}


def test_a_part_of_the_library_lends_its_figures():
    plan = load_plan().with_({"fan.0.part": "fan-12v-120x25"})
    assert {fan.rated_voltage for fan in plan.record.fan[1:]} == {24.0}
    assert plan.record.fan[0].rated_voltage == 12.0


def test_whole_sections_are_replaced_by_keyword():
    plan = load_plan().with_(weather={"clear_sky": True}, title="Clear")
    assert (plan.record.title, plan.record.weather.clear_sky, plan.record.weather.embedded) == ("Clear", True, None)


def test_every_mistake_is_told_as_from_a_file():
    with pytest.raises(PlanError, match="day") as caught:
        load_plan().with_({"panel.0.tilt": 400, "fan.0.part": "fan-24v-120x2", "target.start": "day"})
    told = str(caught.value)
    assert "panel[1]" in told
    assert 'did you mean "fan-24v-120x25"?' in told


@pytest.mark.parametrize(
    ("place", "value", "words"),
    [
        ("panel.4.tilt", 30, "panel.4.tilt: there is no entry 4; they count from 0 to 0"),
        ("panel.0.tilt.x", 30, '"x" stands below a single value'),
        ("pannel.0.tilt", 30, 'did you mean "panel"'),
        ("target.begin", "10:00", "target.begin: this key is not known"),
    ],
)
def test_places_that_are_not_there_are_told(place, value, words):
    with pytest.raises(PlanError, match=words.replace("?", r"\?")):
        load_plan().with_({place: value})


@pytest.mark.parametrize(
    "slip",
    [{"house.length": "310 m"}, {"house.eaves": "170 m"}, {"house.ridge": "240 m"}, {"fan.0.size": "120 m"},
     {"panel.0.width": "34 m"}, {"opening.0.height": "30 m"}],
    ids=str,
)  # fmt: skip
def test_centimetres_that_are_written_as_metres_are_told(slip):
    (place,) = slip
    with pytest.raises(PlanError, match=r"is out of range; it must be at most \d+ m") as caught:
        load_plan().with_(slip)
    assert caught.value.problems[0].where.endswith(place.rpartition(".")[2])


def test_a_plan_cannot_be_changed_in_place():
    with pytest.raises(AttributeError, match="cannot assign"):
        load_plan().path = None


@pytest.mark.parametrize("name", SHIPPED)
def test_records_that_were_put_in_can_be_changed_like_a_file(name):
    plan = load_plan(name)
    again = plan.with_records(title="Copied").with_(title=plan.record.title)
    # Figures are written with twelve digits.
    assert rounded(again.record.model_dump()) == rounded(plan.record.model_dump())


def test_what_the_content_came_from_is_left_alone():
    content = read_toml(profiles() / "plans" / "default.toml", PlanError)
    plan = plan_from(content)
    content["panel"][0]["tilt"] = 80
    assert plan.with_(title="x").record.panel[0].tilt == plan.record.panel[0].tilt != 80


def test_an_older_key_is_changed_by_its_name_of_today():
    content = read_toml(profiles() / "plans" / "default.toml", PlanError)
    content["panel"][0]["soiling"] = 0.9
    content["panel"][0].pop("soiling_ratio", None)
    plan = plan_from(content)
    assert plan.older_keys == (("soiling", "soiling_ratio"),)
    assert plan.with_({"panel.0.soiling_ratio": 0.8}).record.panel[0].soiling_ratio == 0.8


def test_a_town_that_has_a_time_zone_is_offered_by_its_whole_name():
    with pytest.raises(PlanError, match='"london" is no time zone; did you mean "Europe/London"'):
        load_plan().with_({"place.timezone": "london"})
