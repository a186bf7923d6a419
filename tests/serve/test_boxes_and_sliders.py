"""Boxes beside a plan, and what is set by sliders and buttons."""

import re
import tomllib

import pytest
from visitor import Sheet

PLUG, JACK = "barrel-5.5x2.1/plug", "barrel-5.5x2.1/jack"


@pytest.fixture
def kit(visitor):
    """Somebody with a plan, and a way to put things into boxes; gives what is told then."""
    visitor.begin("mine")

    def put(**fields):
        fields = {key.replace("_of_", "__"): value for key, value in fields.items()}
        return visitor.do("mine", "box", room="kit", **fields).text

    return put


def boxes(visitor):
    found, number = [], 0
    while (answer := visitor.get(f"/plan/mine/box/{number}")).status_code == 200:
        found.append(tomllib.loads(answer.text))
        number += 1
    return found


def test_things_lie_in_their_boxes_as_a_box_file_has_them(visitor, kit):
    kit(kind="panel", part="panel-30w", end_of_outlet=PLUG, positive_of_outlet="centre")
    kit(kind="fan", part="fan-24v-120x25", count="2", end_of_inlet=JACK, box="1")
    kit(kind="splitter", branches="3", end_of_trunk=JACK, end_of_branch=PLUG, crosses="no", box="1")
    kit(kind="battery", voltage="12", fuse="5", end_of_outlet=PLUG, box="2")
    first, second, third = boxes(visitor)
    assert first["panel"] == [
        {"id": "panel-1", "part": "panel-30w",
         "outlet": {"family": "barrel-5.5x2.1", "body": "plug", "positive": "centre"}}
    ]  # fmt: skip
    assert second["fan"][0]["count"] == 2
    assert (second["splitter"][0]["branches"], second["splitter"][0]["crosses"]) == (3, False)
    assert (third["battery"][0]["voltage"], third["battery"][0]["fuse"]) == ("12 V", "5 A")
    visitor.do("mine", "box", room="kit", remove="0/panel.0")
    assert len(boxes(visitor)) == 2
    visitor.do("mine", "undo")
    assert len(boxes(visitor)) == 3


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"kind": "pump"}, "choose what it is"),
        ({"kind": "fan", "part": "fan-24v-120x25"}, "choose the picture of its plug"),
        ({"kind": "fan", "part": "no-such", "end__inlet": JACK}, "there is no"),
        ({"kind": "fan", "part": "fan-24v-120x25", "end__inlet": JACK, "count": "0"}, "how many: 1 to 60"),
        ({"kind": "fan", "part": "fan-24v-120x25", "end__inlet": "nothing/plug"}, "there is no connector"),
        ({"kind": "fan", "end__inlet": JACK, "positive__inlet": "tongue"}, "no contact"),
        ({"remove": "7/fan.0"}, "not there any more"),
        ({"remove": "x"}, "not there any more"),
    ],
)
def test_what_cannot_lie_in_a_box_is_told_and_nothing_changes(visitor, fields, told):
    visitor.begin("mine")
    assert told in visitor.do("mine", "box", room="kit", **fields).text
    assert boxes(visitor) == []


def test_what_was_picked_of_a_thing_that_is_refused_stays(visitor):
    visitor.begin("mine")
    typed = {"box.panel.part": "panel-usb-20w", "box.panel.count": "2"}
    answer = visitor.press(visitor.get("/plan/mine/kit").text, "Put it into the box", **typed)
    assert answer.status_code == 422
    assert Sheet(answer.text).fields.items() >= typed.items()
    assert answer.text.count('<details class="add" open>') == 1


def test_parts_of_boxes_that_go_together_become_the_plan_and_the_house_stays(visitor, kit):
    kit(kind="panel", part="panel-30w", end_of_outlet=PLUG, positive_of_outlet="centre")
    kit(kind="fan", part="fan-24v-120x25", count="2", end_of_inlet=JACK, positive_of_inlet="centre")
    before = tomllib.loads(visitor.file("mine"))
    visitor.do("mine", "join", room="kit")
    # What is still to be bought goes along, as with the command, and stands on the shopping list.
    assert [splitter["owned"] for splitter in tomllib.loads(visitor.file("mine"))["splitter"]] == [False]
    kit(kind="splitter", part="jack-to-two-plugs-barrel-5.5x2.1")
    visitor.do("mine", "join", room="kit")
    after = tomllib.loads(visitor.file("mine"))
    assert "owned" not in after["splitter"][0]
    assert [len(run) for run in after["wiring"]["runs"]] == [3, 3]
    assert (after["house"], after["place"], after["opening"]) == (before["house"], before["place"], before["opening"])
    assert after["panel"][0]["tilt"] == before["panel"][0]["tilt"]
    # Given part by part, fans come and go in the boxes alone.
    assert "slide.fans" not in visitor.get("/plan/mine/answer").text
    assert "part by part" in visitor.change("mine", slide__fans="3", was__slide__fans="2").text


def test_a_panel_with_a_usb_socket_brings_its_regulator_into_the_plan(visitor, kit):
    kit(kind="panel", part="panel-usb-10w", end_of_outlet="usb-a/jack")
    kit(kind="fan", part="fan-usb-120", count="2", end_of_inlet="usb-a/plug")
    visitor.do("mine", "join", room="kit")
    after = tomllib.loads(visitor.file("mine"))
    assert [one["id"] for one in after["converter"]] == ["panel-1-socket"]
    assert "No answer yet" not in visitor.get("/plan/mine/kit").text


def test_sliders_set_their_places_and_leave_alone_what_was_not_moved(visitor):
    visitor.begin("mine")
    moved = {"panel": "0", "tilt": "20", "azimuth": "90", "fans": "5", "inlet": "1500", "water": "3"}
    visitor.change("mine", **{f"slide__{name}": value for name, value in moved.items()})
    plan = tomllib.loads(visitor.file("mine"))
    assert (plan["panel"][0]["part"], plan["panel"][0]["tilt"], plan["panel"][0]["azimuth"]) == ("panel-5w", 20, 90)
    assert len({fan["id"] for fan in plan["fan"]}) == 5
    assert plan["opening"][0]["area"] == "1500 cm2"
    assert plan["mass"][0]["count"] == 3
    before = visitor.file("mine")
    visitor.change("mine", slide__tilt="20", was__slide__tilt="20")
    assert visitor.file("mine") == before
    visitor.change("mine", slide__fans="1", slide__water="0")
    plan = tomllib.loads(visitor.file("mine"))
    assert len(plan["fan"]) == 1
    assert "mass" not in plan


def test_the_sky_of_the_slider_is_no_part_of_the_plan(visitor):
    visitor.begin("mine")
    before = visitor.file("mine")
    visitor.change("mine", room="answer", slide__oktas="7", was__slide__oktas="0")
    assert visitor.file("mine") == before
    assert "7 of 8" in visitor.part("mine", "cloud")


@pytest.mark.long
def test_parts_are_added_and_taken_out_by_buttons(visitor):
    visitor.begin("mine")
    for section in ("fan", "panel", "opening", "mass"):
        visitor.do("mine", "part", add=section)
    plan = tomllib.loads(visitor.file("mine"))
    assert [len(plan[section]) for section in ("fan", "panel", "opening", "mass")] == [4, 2, 2, 1]
    visitor.do("mine", "part", remove="mass.0")
    visitor.do("mine", "part", remove="fan.0")
    plan = tomllib.loads(visitor.file("mine"))
    assert "mass" not in plan
    assert [fan["id"] for fan in plan["fan"]] == ["gable-right", "bench", "fan-1"]
    for once in ("thermostat", "shade", "screen", "heater", "battery"):
        assert "Not taken over" not in visitor.do("mine", "part", add=once).text
        assert once in tomllib.loads(visitor.file("mine"))
    assert visitor.get("/plan/mine/place").text.count(">Take out<") >= 4
    visitor.change("mine", thermostat__closes_at="30", shade__transmittance="0.6")
    plan = tomllib.loads(visitor.file("mine"))
    assert (plan["thermostat"]["closes_at"], plan["shade"]["transmittance"]) == ("30 degC", 0.6)
    visitor.do("mine", "part", remove="heater")
    assert "heater" not in tomllib.loads(visitor.file("mine"))
    for wrong in ({"add": "weather"}, {"remove": "fan.9"}, {"remove": "house"}):
        assert "Not taken over" in visitor.do("mine", "part", **wrong).text


def test_weather_is_chosen_from_climates_and_files_of_the_folder(visitor, tmp_path):
    (tmp_path / "here.csv").write_text("time,ghi\n", encoding="utf-8")
    visitor.begin("mine")
    assert 'value="file:here.csv"' in visitor.get("/plan/mine/place").text
    visitor.change("mine", weather="climate:cool-maritime")
    assert tomllib.loads(visitor.file("mine"))["weather"] == {"climate": "cool-maritime"}
    visitor.change("mine", weather="embedded")
    assert tomllib.loads(visitor.file("mine"))["weather"] == {"embedded": "latitude 36.1, longitude -79.95"}
    assert "no source of weather" in visitor.change("mine", weather="normals").text


def test_ticks_stay_with_their_steps(visitor):
    visitor.begin("mine")
    page = visitor.part("mine", "checklist", "bench")
    first = re.search(r'name="(step\.[0-9a-f]+)" value="done"', page)[1]
    visitor.change("mine", room="bench", **{first: "done"})
    ticked = visitor.part("mine", "checklist", "bench")
    assert re.search(rf'name="{re.escape(first)}" value="done" checked', ticked)
    visitor.change("mine", room="bench", **{first: "open"})
    assert " checked" not in visitor.part("mine", "checklist", "bench")


def test_the_fields_of_a_mark_stand_in_the_picture_below_it(visitor):
    visitor.begin("mine")
    page = visitor.part("mine", "bench", "bench")
    # The picture is cut below each letter, and goes on after the fields.
    pieces = page.split('<svg class="picture"')[1:]
    fields = ("read.open.panel", "read.volts.gable-left", "read.amperes.gable-right", "read.seen.bench")
    for letter, field, piece in zip("ABCD", fields, pieces[:4], strict=True):
        assert f"<legend>{letter}: " in piece
        assert f'id="{field}-{letter}"' in piece
    assert len(pieces) == 5 == page.count('<svg class="cords"') + 1
    assert "<input" not in pieces[4].partition("</div>")[0]
    assert " style=" not in page
