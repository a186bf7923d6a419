"""The rooms as somebody without a script meets them: begin, change, be told, undo, save, take away."""

import re
import tomllib
from pathlib import Path

import pytest
from sampled import one_in
from visitor import ADDRESS, Sheet, Visitor

from solarvent.plan.library import shipped_text
from solarvent.plan.plan_record import plan_schema
from solarvent.serve.deeds import BEGINNINGS
from solarvent.serve.forms import entries_below

TESTS = Path(__file__).resolve().parents[1]
ROOMS = ("place", "kit", "answer", "bench")
MARKUP = "</title><script>alert(1)</script>\"'{{7*7}}"


def test_the_first_page_lists_the_plans_and_says_how_to_begin(visitor):
    text = visitor.get("/").text
    assert all(words.replace("'", "&#39;") in text for words in BEGINNINGS.values())
    visitor.begin("mine")
    assert "<bdi>mine</bdi>" in visitor.get("/").text


@pytest.mark.parametrize("way", one_in(5, BEGINNINGS))
def test_every_beginning_has_an_answer_in_every_room(visitor, way):
    visitor.begin("mine", way)
    for room in ROOMS:
        answer = visitor.get(f"/plan/mine/{room}")
        assert answer.status_code == 200, answer.text[-500:]
        assert "No answer yet" not in answer.text
        assert "To be mended" not in answer.text


def test_a_typed_change_is_in_the_plan_and_its_notes_stay(visitor):
    visitor.begin("mine")
    before = visitor.file("mine")
    answer = visitor.change("mine", house__length="12", place__latitude="-33.5", target__air_changes="40")
    assert answer.status_code == 200
    after = visitor.file("mine")
    assert tomllib.loads(after)["house"]["length"] == "12 m"
    assert tomllib.loads(after)["place"]["latitude"] == -33.5
    assert [line for line in before.splitlines() if "#" in line and "latitude =" not in line] == [
        line for line in after.splitlines() if "#" in line and "latitude =" not in line
    ]


def test_what_cannot_be_is_told_with_its_place_and_what_was_typed_stays(visitor):
    visitor.begin("mine")
    before = visitor.file("mine")
    answer = visitor.change("mine", seen=True, house__length="8,5 m", house__width="4 m")
    assert answer.status_code == 422
    assert "house.length" in answer.text
    assert "decimal point" in answer.text
    assert 'value="8,5 m"' in answer.text
    assert 'value="4 m"' in answer.text
    assert visitor.file("mine") == before


def test_undo_and_redo_go_through_all_steps(visitor):
    visitor.begin("mine")
    texts = [visitor.file("mine")]
    for length in ("4 m", "5 m", "6 m"):
        visitor.change("mine", house__length=length)
        texts.append(visitor.file("mine"))
    for text in reversed(texts[:-1]):
        visitor.do("mine", "undo")
        assert visitor.file("mine") == text
    for text in texts[1:]:
        visitor.do("mine", "redo")
        assert visitor.file("mine") == text


def test_two_tabs_do_not_undo_each_other_and_the_later_one_is_told(visitor):
    visitor.begin("mine")
    version = visitor.version("mine")
    shown = {"house__length": "3.1 m", "house__width": "2.5 m", "house__use": "greenhouse"}
    assert "another tab" not in visitor.change("mine", version=version, **(shown | {"house__length": "5 m"})).text
    answer = visitor.change("mine", version=version, **(shown | {"house__width": "3 m"}))
    assert "also changed in another tab" in answer.text
    house = tomllib.loads(visitor.file("mine"))["house"]
    assert (house["length"], house["width"]) == ("5 m", "3 m")


def test_saving_writes_the_file_and_spares_one_that_another_program_changed(visitor, tmp_path):
    visitor.begin("mine")
    assert "Saved." in visitor.do("mine", "save", seen=True).text
    path = tmp_path / "mine.toml"
    assert path.read_text(encoding="utf-8") == visitor.file("mine")
    visitor.change("mine", house__length="9 m")
    path.write_text(path.read_text(encoding="utf-8") + "# by hand\n", encoding="utf-8")
    answer = visitor.do("mine", "save", seen=True)
    assert "changed by another program" in answer.text
    assert path.read_text(encoding="utf-8").endswith("# by hand\n")
    # Also in what the script is given, until one of the two is chosen.
    assert "Take the file" in visitor.change("mine", house__width="3 m").text
    assert "Take the file" not in visitor.do("mine", "reread").text
    assert visitor.file("mine").endswith("# by hand\n")
    visitor.do("mine", "undo")
    visitor.do("mine", "save", force="yes")
    assert path.read_text(encoding="utf-8") == visitor.file("mine")


def test_own_parts_are_laid_over_the_library_in_every_room(tmp_path, monkeypatch):
    parts = tmp_path / "parts"
    parts.mkdir()
    own = {
        "name": "fan from the old printer", "source": "typical", "rated_voltage": "24 V", "rated_current": "0.1 A",
        "start_voltage": "7 V", "stop_voltage": "5 V", "maximum_voltage": "28 V", "free_air_flow": "80 m3/h",
        "shutoff_pressure": "30 Pa",
    }  # fmt: skip
    lines = ["parts_version = 1", "[my-fan]", *(f'{key} = "{value}"' for key, value in own.items())]
    (parts / "fans.toml").write_text("\n".join(lines), encoding="utf-8")
    monkeypatch.setenv("SOLARVENT_PARTS", str(parts))
    visitor = Visitor(tmp_path)
    visitor.begin("mine")
    assert "Not taken over" not in visitor.change("mine", fan__0__part="my-fan").text
    assert "fan from the old printer" in visitor.get("/plan/mine/kit").text
    box = visitor.do("mine", "box", room="kit", kind="fan", part="my-fan", end__inlet="barrel-5.5x2.1/jack")
    assert "Not taken over" not in box.text
    assert "No answer yet" not in visitor.part("mine", "verdict")
    visitor.close()


@pytest.mark.long
def test_a_plan_of_the_folder_is_opened_and_a_draft_outlives_the_server(tmp_path):
    (tmp_path / "shed.toml").write_text(shipped_text("coop"), encoding="utf-8")
    (tmp_path / "other.toml").write_text("[tool]\n", encoding="utf-8")
    first = Visitor(tmp_path, "shed")
    assert first.send("GET", "/").url.path == "/plan/shed/answer"
    assert "<bdi>other" not in first.get("/?list=yes").text
    first.change("shed", house__length="3 m", room="answer")
    again = Visitor(tmp_path)
    assert tomllib.loads(again.file("shed"))["house"]["length"] == "3 m"
    again.do("shed", "undo")
    assert again.file("shed") == shipped_text("coop")
    first.close()
    again.close()


def test_names_are_words_and_never_markup_or_paths(visitor, tmp_path):
    for name in ("../x", "a/b", ".hidden", "x\x00", MARKUP, "x" * 61, "C:\\x", " ", "..", "a\nb"):
        answer = visitor.post("/begin", name=f"{name}!", way="example")
        assert answer.status_code == 400, name
        assert "<script>alert" not in answer.text
    assert not list(tmp_path.iterdir())
    for address in ("/plan/..%2f..%2fetc%2fpasswd/file", "/plan/%2e%2e/file", "/plan/.ssh/file", "/plan/x%00/place"):
        assert visitor.get(address).status_code in (400, 404), address


def test_words_of_a_plan_stand_on_the_page_as_text(visitor):
    visitor.begin("mine")
    visitor.change("mine", title=MARKUP)
    for room in ROOMS:
        text = visitor.get(f"/plan/mine/{room}").text
        assert "<script>alert" not in text
        assert "49" not in text.partition("</title>")[0]
    assert tomllib.loads(visitor.file("mine"))["title"] == MARKUP


def test_a_link_out_of_the_folder_is_not_followed(visitor, tmp_path, tmp_path_factory):
    secret = tmp_path_factory.mktemp("elsewhere") / "secret.toml"
    secret.write_text("plan_version = 1\n# secret\n", encoding="utf-8")
    (tmp_path / "link.toml").symlink_to(secret)
    assert "<bdi>link</bdi>" not in visitor.get("/").text
    for address in ("/plan/link/file", "/plan/link/place"):
        answer = visitor.get(address)
        assert answer.status_code == 400
        assert "secret" not in answer.text


@pytest.mark.parametrize("file", ["/etc/passwd", "../x.csv", "sub/x.csv", ".."])
def test_weather_is_read_from_the_folder_alone(visitor, file):
    visitor.begin("mine")
    text = visitor.file("mine").replace('embedded = "latitude 36.1, longitude -79.95"', f'file = "{file}"')
    answer = visitor.post("/plan/mine/change", room="place", text=text)
    assert answer.status_code == 422
    assert "does not lie in the folder" in answer.text


def test_the_text_itself_can_be_changed_and_a_broken_one_is_told(visitor):
    visitor.begin("mine")
    before = visitor.file("mine")
    answer = visitor.post("/plan/mine/change", room="answer", text=before.replace("[house]", "[house"))
    assert answer.status_code == 422
    assert re.search(r"line \d+", answer.text)
    assert visitor.file("mine") == before
    visitor.change("mine", text=before.replace("3.1 m", "3.2 m"))
    assert tomllib.loads(visitor.file("mine"))["house"]["length"] == "3.2 m"


@pytest.mark.parametrize(
    "odd",
    ["mass = 5", "fan = 5", 'panel = [{part = ["a"]}]', "[opening]", 'fan = ["a"]', "wiring = 5", "battery = [1, 2]",
     "[wiring]\nruns = [1]", "[[panel]]\ntilt = inf\nazimuth = nan", '[[mass]]\npart = "drum-208l"\ncount = inf',
     '[[opening]]\narea = 5', "[house"],
)  # fmt: skip
def test_a_plan_of_odd_shape_is_shown_and_what_is_wrong_is_told_at_every_button(visitor, tmp_path, odd):
    (tmp_path / "odd.toml").write_text(f"plan_version = 1\n{odd}\n", encoding="utf-8")
    for room in ROOMS:
        answer = visitor.get(f"/plan/odd/{room}")
        assert answer.status_code == 200
        assert "No answer yet" in answer.text
    for section in ("fan", "opening", "mass", "battery"):
        assert "Not taken over" in visitor.do("odd", "part", add=section).text
    for moved in ({"slide__fans": "3"}, {"slide__water": "2"}, {"house__length": "5"}, {"wiring__lead__length": "3"}):
        assert visitor.change("odd", **moved).status_code == 200
    assert visitor.file("odd") == f"plan_version = 1\n{odd}\n"


def test_units_are_of_the_person_and_not_of_the_plan(visitor):
    visitor.begin("mine")
    assert "m³/h" in visitor.part("mine", "year")
    answer = visitor.post("/units", units="us", back="/plan/mine/place")
    assert answer.url.path == "/plan/mine/place"
    assert "cfm" in visitor.part("mine", "year")
    assert tomllib.loads(visitor.file("mine"))["units"] == "metric"
    assert visitor.post("/units", units="us", back="//evil.example").url.path == "/"


def test_a_copy_and_the_report_are_taken_away(visitor):
    visitor.begin("mine")
    visitor.post("/plan/mine/do/duplicate", name="other")
    assert visitor.file("other") == visitor.file("mine")
    assert visitor.post("/plan/mine/do/duplicate", name="other").status_code == 422
    report = visitor.get("/plan/mine/report?download=yes")
    assert report.text.startswith("<!DOCTYPE html>")
    assert "attachment" in report.headers["content-disposition"]
    assert "script" not in report.headers["content-security-policy"]


def test_the_script_gets_what_changes_first_and_the_address_of_what_comes_next(visitor):
    visitor.begin("mine")
    headers = {"origin": ADDRESS, "x-part": "yes", "x-tab": "a"}
    answer = visitor.post("/plan/mine/change", headers, room="answer", slide__tilt="20", was__slide__tilt="35")
    assert answer.text.startswith('<div id="bar">')
    seen = []
    while 'data-then="' in answer.text:
        address = answer.text.partition('data-then="')[2].partition('"')[0]
        seen.append(address.partition("/part/")[2].partition("?")[0])
        answer = visitor.get(address.replace("&amp;", "&"), **headers)
        assert f'id="part-{seen[-1]}"' in answer.text
    assert seen == ["verdict", "year", "cloud", "pictures", "difference"]


def test_a_part_that_was_given_up_says_so_in_its_place_and_the_others_stand(visitor, monkeypatch):
    from solarvent.serve import answers
    from solarvent.serve.workers import WorkFailedError

    def stuck(*_):
        raise WorkFailedError("the worker was ended")

    visitor.begin("mine")
    monkeypatch.setattr(answers, "pictures", stuck)
    answer = visitor.get("/plan/mine/answer")
    assert answer.status_code == 200
    assert '<section id="part-pictures"><h2>No answer here</h2>' in answer.text
    assert "took too long" in answer.text
    assert "No answer yet" not in answer.text
    assert visitor.get("/plan/mine/part/pictures?room=answer").status_code == 503


def test_a_room_that_is_none_is_the_first_one_and_never_a_mistake_of_the_page(visitor):
    visitor.begin("mine")
    for seen in (False, True):
        assert visitor.change("mine", seen=seen, room="attic", house__length="5 m").status_code == 200
        assert visitor.change("mine", seen=seen, room="attic", house__length="5").status_code == 200
        assert visitor.do("mine", "pin", seen=seen, room="attic").status_code == 200
    assert visitor.change("mine", seen=True, room="attic", house__length="x").url.path == "/plan/mine/change"
    assert visitor.do("mine", "pin", seen=True, room="attic").url.path == "/plan/mine/place"


@pytest.mark.parametrize("written", ['units="us"', "units = 'us'", 'units   =   "us"  # as we do'])
def test_units_of_the_plan_count_however_they_are_written(visitor, tmp_path, written):
    text = shipped_text("default").replace('units = "metric"', written)
    assert written in text
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    assert "cfm" in visitor.part("mine", "year")


def test_a_weather_file_that_is_replaced_is_asked_about_anew(visitor, tmp_path, monkeypatch):
    import visitor as helper

    asked = []
    ask = helper.Inline.ask

    async def noted(self, function, *arguments, state=None, **more):
        asked.append((function.__name__, state))
        return await ask(self, function, *arguments, **more)

    monkeypatch.setattr(helper.Inline, "ask", noted)
    file = tmp_path / "here.csv"
    file.write_text("time,ghi\n", encoding="utf-8")
    visitor.begin("mine")
    visitor.change("mine", weather="file:here.csv")
    asked.clear()
    for text in ("time,ghi\n", "time,ghi\n", "time,ghi,dni\n"):
        if file.read_text(encoding="utf-8") != text:
            file.write_text(text, encoding="utf-8")
        visitor.part("mine", "verdict")
        visitor.get("/plan/mine/report")
    assert [name for name, _ in asked] == ["year", "report"] * 3
    first, second, third = (asked[at][1] for at in (0, 2, 4))
    assert first == second != third
    assert [state for name, state in asked if name == "report"] == [first[:1], second[:1], third[:1]]


#: What no field shows, with the reason.
NOT_TYPED = {
    "plan_version": "of the program",
    "units": "each person has their own, at the foot of every page",
    "weather": "chosen from a list; normals of one's own are a table of twelve months",
    "id": "joins go by it",
    "source": "of the library",
    "single_diode": "of a laboratory",
    "efficiency": "of a laboratory",
    "measured": "written by calibrate",
    "other_outlets": "told in the boxes",
}


def test_everything_that_a_plan_can_say_has_a_field(visitor):
    visitor.begin("mine")
    for section in ("panel", "fan", "opening", "mass", "obstacle", "lead", "splitter", "converter", "plants", "animals",
                    "thermostat", "shade", "screen", "heater", "battery"):  # fmt: skip
        assert "Not taken over" not in visitor.do("mine", "part", add=section).text, section
    page = visitor.get("/plan/mine/place").text + visitor.get("/plan/mine/kit").text
    shown = {re.sub(r"\.\d+", "", place) for place in re.findall(r'name="([a-z_.0-9]+)"', page)}
    schema = plan_schema()

    def places(node, at):
        while "$ref" in node or "anyOf" in node:
            node = schema["$defs"][node["$ref"].rpartition("/")[2]] if "$ref" in node else node["anyOf"][0]
        if "$ref" in node.get("items", {}):
            yield from places(node["items"], at)
        elif "properties" in node:
            for key, below in node["properties"].items():
                if key not in NOT_TYPED:
                    yield from places(below, [*at, key])
        else:
            yield ".".join(at)

    assert set(places(schema, [])) - shown == set()


@pytest.mark.parametrize(
    ("place", "label", "hint"),
    [
        ("panel.0.soiling_ratio", "share of the light that passes the dirt", "soiling ratio"),
        ("panel.0.outlet.family", "outlet: what it is", "outlet: family; an entry of the connectors library"),
        ("fan.0.height", "height", "of its middle above the ground; left out: three quarters of the house"),
        ("fan.0.start_voltage", "start voltage", "voltage with its unit: V, mV"),
        ("shade.place", "place", "cloth over or under the cover, or paint on it"),
    ],
)
def test_a_field_is_called_by_what_the_schema_says_of_it_where_that_stands_for_itself(place, label, hint):
    at = ".".join(place.split(".")[:2]) if place.count(".") > 1 else "shade"
    entry = next(one for one in entries_below(at, {}) if one.place == place)
    assert (entry.label, entry.hint) == (label, hint)


def test_lists_obstacles_and_plugs_are_typed_and_taken_back(visitor):
    visitor.begin("mine")
    visitor.do("mine", "part", add="obstacle")
    typed = {"target.months": "6, 7,8", "place.skyline": "120, 5; 200, 12.5", "obstacle.0.leaf_months": "5,6",
             "obstacle.0.distance": "12", "sky.full_cover": "thin", "fan.1.inlet.family": "barrel-5.5x2.1",
             "fan.1.inlet.body": "jack", "notes": "one\r\ntwo"}  # fmt: skip
    answer = visitor.send("POST", "/plan/mine/change", data=typed | {"room": "place"}, headers={"origin": ADDRESS})
    assert answer.status_code == 200, answer.text
    plan = tomllib.loads(visitor.file("mine"))
    assert (plan["target"]["months"], plan["place"]["skyline"]) == ([6, 7, 8], [[120, 5], [200, 12.5]])
    assert (plan["obstacle"][0]["leaf_months"], plan["obstacle"][0]["distance"]) == ([5, 6], "12 m")
    assert plan["sky"] == {"full_cover": "thin"}
    assert plan["fan"][1]["inlet"] == {"family": "barrel-5.5x2.1", "body": "jack"}
    assert plan["notes"] == "one\ntwo"
    page = visitor.get("/plan/mine/place").text
    assert 'value="6, 7, 8"' in page
    assert 'value="120, 5; 200, 12.5"' in page
    before = visitor.file("mine")
    again = {"target.months": "6, 7, 8", "place.skyline": "120, 5; 200, 12.5", "notes": "one\r\ntwo"}
    visitor.change("mine", **{key.replace(".", "__"): value for key, value in again.items()})
    assert visitor.file("mine") == before
    visitor.change("mine", fan__1__inlet__family="", fan__1__inlet__body="jack", target__months="")
    plan = tomllib.loads(visitor.file("mine"))
    assert "inlet" not in plan["fan"][1]
    assert "months" not in plan["target"]
    assert "is not a number" in visitor.change("mine", target__months="6, x").text
    visitor.do("mine", "part", remove="obstacle.0")
    assert "obstacle" not in tomllib.loads(visitor.file("mine"))


def test_joins_are_typed_part_by_part(visitor):
    visitor.begin("mine")
    for section in ("lead", "splitter"):
        visitor.do("mine", "part", add=section)
    runs = "\r\n".join(f"panel, lead-1, splitter-1, {fan}" for fan in ("gable-left", "gable-right", "bench"))
    answer = visitor.change("mine", room="kit", wiring__runs=runs, wiring__layout="", splitter__0__branches="3")
    assert "Not taken over" not in answer.text
    plan = tomllib.loads(visitor.file("mine"))
    assert plan["wiring"]["runs"] == [run.split(", ") for run in runs.split("\r\n")]
    assert "layout" not in plan["wiring"]
    page = visitor.get("/plan/mine/kit").text
    assert runs.replace("\r", "") in page
    assert "No answer yet" not in page
    assert "give a layout or runs" in visitor.change("mine", room="kit", wiring__layout="shared").text
    visitor.change("mine", room="kit", wiring__layout="shared", wiring__runs="")
    assert "runs" not in tomllib.loads(visitor.file("mine"))["wiring"]


@pytest.mark.parametrize("way", one_in(4, (*BEGINNINGS, "faulty", "rich")))
def test_a_form_that_nobody_touched_changes_nothing(visitor, tmp_path, way):
    if way in BEGINNINGS:
        visitor.begin("mine", way)
    else:
        text = shipped_text(way) if way == "faulty" else (TESTS / "fuzz" / "rich_plan.toml").read_text(encoding="utf-8")
        (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    visitor.do("mine", "save")
    before = visitor.file("mine")
    for room in ROOMS:
        answer = visitor.press(visitor.get(f"/plan/mine/{room}").text, "Saved")
        assert "Saved." in answer.text
        assert not Sheet(answer.text).can_undo, room
        assert visitor.file("mine") == before, room


@pytest.mark.parametrize(
    ("room", "words"),
    [
        ("place", "Undo"),
        ("place", "An opening"),
        ("place", "Take out"),
        ("kit", "A fan"),
        ("kit", "Put it into the box"),
    ],
)
def test_every_button_takes_along_what_was_typed_in_its_room(visitor, room, words):
    """Without a script nothing is taken over before a button is pressed."""
    visitor.begin("mine")
    visitor.change("mine", house__width="3 m")
    place = {"place": "house.length", "kit": "wiring.lead.length"}[room]
    visitor.press(visitor.get(f"/plan/mine/{room}").text, words, **{place: "4.5 m"})
    if words == "Undo":
        visitor.do("mine", "redo")
    plan = tomllib.loads(visitor.file("mine"))
    assert (plan["house"] if room == "place" else plan["wiring"]["lead"])["length"] == "4.5 m"
    assert plan["house"]["width"] == "3 m"


def test_a_button_does_nothing_where_something_typed_cannot_be_and_both_are_told(visitor):
    visitor.begin("mine")
    before = visitor.file("mine")
    typed = {"house.length": "8,5 m", "house.width": "4 m"}
    answer = visitor.press(visitor.get("/plan/mine/place").text, "An opening", **typed)
    assert answer.status_code == 422
    assert "decimal point" in answer.text
    assert Sheet(answer.text).fields.items() >= typed.items()
    # Only what was typed is marked, and the button is there to be pressed again.
    assert set(re.findall(r'name="([a-z.]+)"[^>]* aria-invalid', answer.text)) == set(typed)
    assert visitor.file("mine") == before
    visitor.press(answer.text, "An opening", **(typed | {"house.length": "8.5 m"}))
    plan = tomllib.loads(visitor.file("mine"))
    assert (plan["house"]["length"], plan["house"]["width"]) == ("8.5 m", "4 m")
    assert len(plan["opening"]) == len(tomllib.loads(before).get("opening", [])) + 1


def test_the_slider_is_moved_the_readings_are_kept_and_the_copy_has_it_all(visitor):
    visitor.begin("mine")
    visitor.press(visitor.get("/plan/mine/answer").text, "Pin this state", **{"slide.tilt": "20"})
    assert tomllib.loads(visitor.file("mine"))["panel"][0]["tilt"] == 20
    bench = visitor.get("/plan/mine/bench").text
    step = next(name for name in Sheet(bench).fields if name.startswith("step."))
    visitor.press(bench, "Save", **{"read.light": "812", step: "done"})
    fields = Sheet(visitor.get("/plan/mine/bench").text).fields
    assert (fields["read.light"], fields[step]) == ("812", "done")
    visitor.press(visitor.get("/plan/mine/place").text, "Make it", name="other", **{"house.length": "4.5 m"})
    assert tomllib.loads(visitor.file("other"))["house"]["length"] == "4.5 m"


def test_a_plan_whose_text_is_broken_can_still_be_undone(visitor, tmp_path):
    visitor.begin("mine")
    visitor.do("mine", "save")
    (tmp_path / "mine.toml").write_text("[house\n", encoding="utf-8")
    page = visitor.get("/plan/mine/place").text
    assert "No answer yet" in page
    visitor.press(page, "Undo")
    assert tomllib.loads(visitor.file("mine"))["plan_version"] == 1
