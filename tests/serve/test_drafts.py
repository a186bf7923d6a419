"""Drafts on the disk: steps, what an old tab saw, files that were spoiled, and names."""

import json

import pytest

from solarvent.base.errors import OutputError, PlanError
from solarvent.serve.drafts import Content, Draft, Shelf
from solarvent.serve.forms import changed_text, changes_of, dimension_of

TEXT = 'plan_version = 1  # first\n\n[house]\nlength = "3 m"\n\n[[fan]]\nid = "east"  # left\n\n[[fan]]\nid = "west"\n'


def test_a_version_is_what_a_tab_saw_through_undo_and_new_steps():
    draft = Draft("x", [Content("a")])
    seen = {draft.version: "a"}
    for text in "bcd":
        draft.put(text=text)
        seen[draft.version] = text
    draft.go(-1)
    seen[draft.version] = "c"
    draft.put(text="e")
    seen[draft.version] = "e"
    assert all(draft.as_of(version) == text for version, text in seen.items())
    assert not draft.can_redo
    assert not draft.put(text="e")


def test_steps_are_as_many_as_may_be_and_the_oldest_go():
    draft = Draft("x", [Content("0")])
    for number in range(1, 100):
        draft.put(text=str(number))
    assert len(draft.steps) == 40
    for _ in range(60):
        draft.go(-1)
    assert draft.text == "60"


@pytest.mark.parametrize(
    "spoiled", ["", "{", "[]", '{"draft_version": 1}', '{"draft_version": 9}', "\x00", "[" * 100_000]
)
def test_a_spoiled_draft_is_told_and_left_alone(tmp_path, spoiled):
    path = tmp_path / ".x.solarvent-draft"
    path.write_text(spoiled, encoding="utf-8")
    with pytest.raises(PlanError, match="cannot be read"):
        Shelf(tmp_path).draft("x")
    assert path.read_text(encoding="utf-8") == spoiled


@pytest.mark.parametrize(
    "odd",
    [{"ticks": "abc"}, {"ticks": [1]}, {"ticks": 5}, {"version": "2"}, {"version": None}, {"at": "0"}, {"at": True},
     {"view": []}, {"view": {"oktas": "many"}}, {"view": {"oktas": 3}}, {"readings": {"read.light": 5}},
     {"readings": []}, {"pinned": 5}, {"saved": None}, {"steps": [{"text": 5, "boxes": []}]},
     {"steps": [{"text": "", "boxes": [5]}]}, {"steps": []}],
)  # fmt: skip
def test_a_draft_with_things_of_another_kind_is_told_as_spoiled(tmp_path, odd):
    Shelf(tmp_path).begin("x", TEXT)
    path = tmp_path / ".x.solarvent-draft"
    sound = json.loads(path.read_text(encoding="utf-8"))
    assert Shelf(tmp_path).draft("x").text == TEXT
    path.write_text(json.dumps(sound | odd), encoding="utf-8")
    with pytest.raises(PlanError, match="cannot be read"):
        Shelf(tmp_path).draft("x")


def test_a_name_is_as_long_as_files_take_whatever_its_letters(tmp_path):
    shelf = Shelf(tmp_path)
    assert shelf.begin("ä" * 60, TEXT).name == "ä" * 60
    assert shelf.begin("\N{GOTHIC LETTER AHSA}" * 50, TEXT).text == TEXT
    with pytest.raises(PlanError, match="cannot be the name"):
        shelf.begin("\N{GOTHIC LETTER AHSA}" * 60, TEXT)


def test_two_servers_on_one_folder_see_what_the_other_wrote(tmp_path):
    one, other = Shelf(tmp_path), Shelf(tmp_path)
    one.begin("x", TEXT)
    other.change("x", lambda draft: draft.put(text=TEXT + "# other\n"))
    assert one.draft("x").text.endswith("# other\n")


def test_looking_writes_nothing_and_later_edits_of_the_file_are_seen(tmp_path):
    path = tmp_path / "x.toml"
    path.write_text(TEXT, encoding="utf-8")
    shelf = Shelf(tmp_path)
    assert shelf.draft("x").text == TEXT
    assert [one.name for one in tmp_path.iterdir()] == ["x.toml"]
    path.write_text(TEXT + "# later\n", encoding="utf-8")
    assert shelf.draft("x").text == TEXT + "# later\n"
    assert not shelf.file_has_changed(shelf.draft("x"))
    shelf.change("x", lambda draft: draft.ticks.append("one"))
    path.write_text(TEXT + "# last\n", encoding="utf-8")
    for each in (shelf, Shelf(tmp_path)):
        assert (each.draft("x").text, each.draft("x").ticks) == (TEXT + "# last\n", ["one"])
    shelf.change("x", lambda draft: draft.go(-1))
    assert shelf.draft("x").text == TEXT + "# later\n"


def test_where_both_changed_that_is_told_and_either_can_be_had(tmp_path):
    path = tmp_path / "x.toml"
    path.write_text(TEXT, encoding="utf-8")
    shelf = Shelf(tmp_path)
    shelf.change("x", lambda draft: draft.put(text=TEXT + "# here\n"))
    path.write_text(TEXT + "# there\n", encoding="utf-8")
    assert shelf.draft("x").text == TEXT + "# here\n"
    assert shelf.file_has_changed(shelf.draft("x"))
    with pytest.raises(OutputError, match="changed by another program"):
        shelf.save("x")
    assert shelf.reread("x").text == TEXT + "# there\n"
    shelf.change("x", lambda draft: draft.go(-1))
    shelf.save("x")
    assert path.read_text(encoding="utf-8") == TEXT + "# here\n"


def test_a_change_that_fails_leaves_the_draft_as_it_was(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.begin("x", TEXT)

    def half(draft):
        draft.put(text="half")
        draft.ticks.append("x")
        raise PlanError.single("", "no")

    with pytest.raises(PlanError, match="no"):
        shelf.change("x", half)
    assert (shelf.draft("x").text, shelf.draft("x").ticks) == (TEXT, [])


def test_places_reach_every_kind_of_entry_and_notes_stay():
    changes = {
        "title": "T", "house.length": "4 m", "house.use": "shed", "fan.0.part": "p", "fan.2": {"id": "new"},
        "mass": [{"id": "m"}], "battery": {"kind": "lithium"},
    }  # fmt: skip
    text = changed_text(TEXT.replace("plan_version = 1", 'title = "S"\nplan_version = 1'), changes)
    assert "# first" in text
    assert 'id = "east"  # left\npart = "p"' in text
    assert text.count("[[fan]]") == 3
    assert changed_text(text, {"fan": None, "battery": None, "mass.0": None}).count("[[") == 0
    with pytest.raises(PlanError, match="no fan of that number"):
        changed_text(TEXT, {"fan.9.part": "p"})


def test_a_bare_number_takes_the_unit_that_stands_there_or_that_of_the_person():
    form = {"house.length": "5", "place.record_low": "10", "opening.0.area": "70", "fan.0.id": "east", "x.y": "1"}
    text = TEXT.replace('"3 m"', '"9 ft"')
    assert changes_of(form, text, text, "us") == {
        "house.length": "5 ft", "place.record_low": "10 degF", "opening.0.area": "70 in2",
    }  # fmt: skip
    text = TEXT.replace('"3 m"', '"8 ft 6 in"')
    assert changes_of({"house.length": "9"}, text, text, "metric") == {"house.length": "9 ft"}
    assert dimension_of("target.rise") == "temperature difference"
    assert dimension_of("title") == dimension_of("no.such") == ""


@pytest.mark.parametrize("typed", ["x", "nan", "inf", "1e999", "--3"])
def test_what_is_no_number_is_told(typed):
    with pytest.raises(PlanError, match="is not a number"):
        changes_of({"place.latitude": typed}, TEXT, TEXT, "metric")
