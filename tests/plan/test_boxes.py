"""Kits: what lies in the boxes, and what is said when a box is described wrongly."""

import pytest

from solarvent.base.errors import PlanError
from solarvent.plan.boxes import Box, BoxedBattery, ends_of, load_box
from solarvent.plan.library import shipped
from solarvent.plan.parts import Fan, Lead, Panel, Splitter
from solarvent.plan.plan import Plan, embedded_plan_path

#: What a person with two parts in front of them would write.
OWN = """
kit_version = 1
title = "What the neighbour gave me"

[[panel]]
outlet = { family = "barrel-5.5x2.1", body = "plug" }

[[fan]]
count = 2
motor = "brushed"
inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }

[[splitter]]
branches = 2
trunk = { family = "barrel-5.5x2.1", body = "jack" }
branch = { family = "barrel-5.5x2.1", body = "plug" }
"""


def written(tmp_path, text, name="box.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def mistakes(tmp_path, text):
    with pytest.raises(PlanError, match=r".") as caught:
        load_box([written(tmp_path, text)])
    return [str(problem) for problem in caught.value.problems]


def test_a_file_without_its_ending_is_found(tmp_path):
    path = written(tmp_path, OWN, "my-box.toml")
    with pytest.raises(PlanError, match="no such kit and no such file") as caught:
        load_box([path.removesuffix(".toml")])
    assert caught.value.problems[0].write == f'did you mean "{path}"?'


def test_at_least_ten_kits_ship_and_the_named_ones_are_among_them():
    assert len(shipped("kits")) >= 10
    assert {"trio-wrong-splitter", "trio-right-splitter"} <= set(shipped("kits"))


def test_a_box_is_read_from_a_path_as_from_its_name(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(shipped("kits")["usb-pair"].read_text(encoding="utf-8"), encoding="utf-8")
    named = load_box("usb-pair")
    assert load_box(path).parts == load_box([path]).parts == load_box(str(path)).parts == named.parts


@pytest.mark.parametrize("name", [name for name in shipped("kits") if not name.startswith("box-of")])
def test_every_kit_loads_with_all_its_ends_described(name):
    boxes = load_box([name])
    assert isinstance(boxes, Box)
    assert boxes.of(Panel)
    assert boxes.of(Fan)
    assert boxes.titles[0].strip()
    for part in boxes.parts.values():
        assert all(end is not None for end in ends_of(part).values())


def test_alike_pieces_are_counted_out():
    boxes = load_box(["trio-right-splitter"])
    assert list(boxes.of(Fan)) == ["fan-1", "fan-2", "fan-3"]
    assert list(boxes.of(Splitter)) == ["splitter"]
    assert all(part.id == name for name, part in boxes.parts.items())


def test_two_boxes_pool_their_parts():
    boxes = load_box(["box-of-panel", "box-of-fans"])
    assert len(boxes.titles) == 2
    assert set(boxes.parts) == {"panel", "adapter", "extension", "gable-fan-1", "gable-fan-2", "splitter"}


def test_the_same_box_twice_keeps_its_pieces_apart():
    boxes = load_box(["trio-right-splitter", "trio-right-splitter"])
    assert len(boxes.of(Fan)) == 6
    assert len(boxes.of(Panel)) == 2
    assert {"panel", "panel.2", "fan-1", "fan-1.2"} <= set(boxes.parts)


@pytest.mark.parametrize(("name", "word"), [("box-of-fans", "panel"), ("box-of-panel", "fan")])
def test_a_box_without_a_panel_or_a_fan_says_so(name, word):
    with pytest.raises(PlanError, match=rf"there is no {word} in the box.*\[\[{word}\]\]"):
        load_box([name])


def test_a_box_of_ones_own_needs_neither_plate_nor_ids(tmp_path):
    boxes = load_box([written(tmp_path, OWN)])
    assert set(boxes.parts) == {"panel", "fan-1", "fan-2", "splitter"}
    assert boxes.parts["panel"].watts is None
    assert boxes.parts["fan-1"].rated_voltage is None
    assert boxes.parts["fan-2"].motor == "brushed"
    assert boxes.titles == ("What the neighbour gave me",)


def test_a_battery_may_stand_for_the_panel(tmp_path):
    text = OWN.replace("[[panel]]", '[[battery]]\nvoltage = "12 V"\nfuse = "5 A"')
    boxes = load_box([written(tmp_path, text)])
    assert isinstance(boxes.parts["battery"], BoxedBattery)
    assert boxes.parts["battery"].fuse == 5.0


def test_parts_come_from_the_library_and_what_is_written_wins():
    boxes = load_box(["daisy-chain"])
    fan = boxes.parts["fan-1"]
    assert fan.rated_voltage == 24.0
    assert fan.outlet.family == "barrel-5.5x2.1"


def test_a_plan_gives_its_parts_too_if_their_ends_are_described(tmp_path):
    with pytest.raises(PlanError, match=r"outlet.*this is missing.*family"):
        load_box([str(embedded_plan_path("default"))])


# --- mistakes -------------------------------------------------------------------------------------------


def test_several_mistakes_are_told_at_once_each_with_its_place_and_what_to_write(tmp_path):
    text = OWN.replace(', body = "plug" }\n\n[[fan]]', " }\n\n[[fan]]").replace('"centre"', '"tip"')
    text = text.replace('trunk = { family = "barrel-5.5x2.1"', 'trunk = { family = "barel-5.5x2.1"')
    found = mistakes(tmp_path, text)
    assert len(found) == 3
    assert any("panel" in line and "outlet.body" in line and 'write body = "plug"' in line for line in found)
    assert any("fan" in line and "inlet.positive" in line and "centre, sleeve" in line for line in found)
    assert any(
        "splitter" in line and "trunk.family" in line and 'did you mean "barrel-5.5x2.1"' in line for line in found
    )


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("kit_version = 1", "", ["kit_version", "write kit_version = 1"]),
        ("kit_version = 1", "kit_version = 2", ["kit_version", "1"]),
        ("count = 2", "count = 0", ["count", "1"]),
        ("count = 2", "count = 2\nnumber = 4", ["number"]),
        ("branches = 2", "branches = 2\npart = \"no-such\"", ["no-such"]),
        ("branch = { family", "brunch = { family", ["brunch"]),
        ('motor = "brushed"', 'motor = "brush"', ["motor", "brush"]),
    ],
)  # fmt: skip
def test_a_slip_names_its_place(tmp_path, before, after, words):
    found = " / ".join(mistakes(tmp_path, OWN.replace(before, after, 1)))
    assert all(word in found for word in words), found


def test_an_end_that_is_left_out_is_shown_how_to_write(tmp_path):
    text = OWN.replace('inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }', "")
    (found,) = mistakes(tmp_path, text)
    assert 'write it like inlet = { family = "barrel-5.5x2.1", body = "plug" }' in found


def test_a_lead_whose_two_ends_contradict_its_crosses_is_refused(tmp_path):
    lead = """
[[lead]]
crosses = false
inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }
outlet = { family = "barrel-5.5x2.1", body = "plug", positive = "sleeve" }
"""
    (found,) = mistakes(tmp_path, OWN + lead)
    assert "crosses is false" in found
    assert "leave out crosses" in found
    boxes = load_box([written(tmp_path, OWN + lead.replace("false", "true"))])
    assert boxes.of(Lead)["lead"].crosses is True


def test_a_mistake_in_one_of_several_boxes_names_the_file(tmp_path):
    path = written(tmp_path, OWN.replace("count = 2", "count = -1"), "second.toml")
    with pytest.raises(PlanError, match=r"second\.toml: "):
        load_box(["trio-right-splitter", path])


@pytest.mark.parametrize("argument", ["trio-rihgt-splitter", "nowhere.toml"])
def test_a_box_that_is_not_there_is_told(argument):
    with pytest.raises(PlanError, match=r"trio-right-splitter|nowhere\.toml"):
        load_box([argument])


def test_text_that_is_not_toml_names_its_line(tmp_path):
    with pytest.raises(PlanError, match="line 2"):
        load_box([written(tmp_path, "kit_version = 1\ntitle = what\n")])


PLAN = """
plan_version = 1
title = "Bean house"
[place]
latitude = 51.0
longitude = 0.0
timezone = "UTC"
[weather]
clear_sky = true
[house]
length = "3 m"
width = "2 m"
[[panel]]
id = "roof"
part = "panel-30w"
tilt = 35
azimuth = 200
outlet = { family = "barrel-5.5x2.1", body = "plug", positive = "centre" }
[[fan]]
id = "east"
part = "fan-24v-120x25"
inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }
[wiring]
runs = [["roof", "east"]]
"""


def test_a_single_plan_with_runs_comes_back_as_it_is_and_with_a_box_it_is_loose_parts(tmp_path):
    path = written(tmp_path, PLAN, "plan.toml")
    alone = load_box([path])
    assert isinstance(alone, Plan)
    assert alone.record.wiring.runs == [["roof", "east"]]
    pooled = load_box([path, "trio-right-splitter"])
    assert isinstance(pooled, Box)
    assert {"roof", "east", "panel", "fan-1", "splitter"} <= set(pooled.parts)


def test_the_words_of_shops_for_plug_and_jack_are_not_taken(tmp_path):
    path = written(tmp_path, PLAN.replace('body = "jack"', 'body = "female"'), "plan.toml")
    with pytest.raises(PlanError, match=r'shops mix "female" up.*the plug has the hole'):
        load_box([path])


def test_the_ends_of_a_plan_are_checked_like_those_of_a_box(tmp_path):
    path = written(tmp_path, PLAN.replace('body = "jack", ', ""), "plan.toml")
    with pytest.raises(PlanError, match=r'fan "east"\.inlet\.body.*plug or jack is missing'):
        load_box([path])
