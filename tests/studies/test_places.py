"""Tables of places and designs: what they may say, and how their mistakes are told."""

import gzip
import re

import pandas as pd
import pytest

from solarvent.base.errors import PlanError
from solarvent.studies.places import mistakes_of, read_designs, read_places
from solarvent.weather.reading import Station

HOME = {"id": "home", "latitude": 51.0, "longitude": 0.1}


def told(source, plan, **others):
    """All mistakes of the rows, as they are printed."""
    return [str(problem) for problem in mistakes_of(source, read_places(source, plan, **others))]


def test_a_row_changes_fields_of_the_plan_by_their_place(small_plan):
    row = {
        **HOME,
        "panel.tilt": "20",
        "fan.west.part": "fan-24v-120x38",
        "house.length [ft]": 12,
        "target.months": "[6, 7]",
    }
    row["thermostat"] = "{closes_at = '24 degC', opens_at = '20 degC'}"
    [place] = read_places([row], small_plan())
    record = small_plan().with_(place.changes).record
    assert (record.panel[0].tilt, record.fan[0].part, record.fan[1].part) == (20, "fan-24v-120x25", "fan-24v-120x38")
    assert record.house.length == pytest.approx(12 * 0.3048)
    assert record.months_of_need == [6, 7]
    assert record.thermostat.closes_at == 24
    assert (record.place.latitude, record.place.longitude) == (51.0, 0.1)


def test_a_file_a_table_and_mappings_say_the_same(small_plan, tmp_path):
    rows = [{**HOME, "panel.tilt": 20, "house.use": None}, {**HOME, "id": "b", "panel.tilt": None, "house.use": "coop"}]
    text = "# sheds\nid,latitude,longitude,panel.tilt,house.use\nhome,51.0,0.1,20,\n\nb,51.0,0.1,,coop\n"
    (tmp_path / "places.csv").write_text(text, encoding="utf-8-sig")
    plan = small_plan()
    found = [read_places(source, plan) for source in (rows, pd.DataFrame(rows), tmp_path / "places.csv")]
    assert [[(place.id, place.changes) for place in places] for places in found[1:]] == [
        [(place.id, place.changes) for place in found[0]]
    ] * 2
    assert [place.line for place in found[2]] == [3, 5]


def test_all_mistakes_are_told_at_once_each_with_its_row(small_plan):
    rows = [
        {"id": "a", "latitude": 95, "longitude": "east", "panel.tilt": "steep"},
        {**HOME, "id": "b", "climate": "mediteranean"},
        {**HOME, "id": "b", "house.ridge": "3.1"},
        {"latitude": 1, "longitude": 1},
        {**HOME, "id": "c", "climate": "mediterranean", "weather_file": "x.epw"},
        {**HOME, "id": "d", "weather_file": "x.epw"},
    ]
    lines = told(rows, small_plan())
    for line, (row, words) in zip(
        lines,
        [
            (1, '"a": latitude: "95" is no latitude; write degrees, from -90 to 90'),
            (1, '"a": longitude: "east" is no longitude'),
            (1, '"a": panel[1] "roof".tilt: must be a plain number'),
            (2, 'did you mean "mediterranean"?'),
            (3, '"b": id: another row has the same'),
            (3, '"b": house.ridge'),
            (4, "id: this is missing"),
            (5, "a climate and a weather file are both given"),
            (6, 'there is no file "x.epw"'),
        ],
        strict=True,
    ):
        assert line.startswith(f"places row {row}")
        assert words in line


@pytest.mark.parametrize("cell", [{"weather_file": "a\0b.epw"}, {"id": "ho\0me"}, {"house.length": "3\0 m"},
                                  {"climate": "\ud800"}])  # fmt: skip
def test_a_sign_that_cannot_be_printed_is_a_mistake_of_its_row(small_plan, cell):
    (line,) = told([{**HOME, **cell}], small_plan())
    assert line.startswith('places row 1 "home": ' + next(iter(cell)))
    assert "a sign in it cannot be printed; write it anew" in line


def test_a_good_row_beside_bad_ones_stays_good(small_plan):
    bad, good = read_places([{**HOME, "id": "bad", "latitude": "x"}, HOME], small_plan())
    assert bad.problems
    assert not good.problems


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("panel.tild", 'no column and no field of a plan is called "panel.tild"; did you mean "tilt"?'),
        ("pannel.tilt", 'did you mean "panel"?'),
        ("panel.rooof.tilt", 'did you mean "roof"?'),
        ("lattitude", 'did you mean "latitude"?'),
        ("weather.file", 'use "climate" or "weather_file"'),
        ("id", '"id" stands twice; keep one'),
    ],
)
def test_a_column_that_is_not_known_is_told_once_with_the_nearest(small_plan, tmp_path, column, words):
    path = tmp_path / "places.csv"
    path.write_text(f"id,latitude,longitude,{column}\na,1,1,5\nb,1,1,5\n", encoding="utf-8")
    with pytest.raises(PlanError, match=re.escape(words)) as error:
        read_places(path, small_plan())
    assert len(error.value.problems) == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the file is empty"),
        ("id;latitude;longitude\n", "not parted by commas"),
        ("id,latitude\na,1\n", "the column longitude is missing"),
        ("id,latitude,longitude\n", "there are no rows"),
        (b"id,latitude,longitude\n\xff,1,1\n", "not UTF-8"),
    ],
)
def test_a_file_that_is_no_table_is_told(small_plan, tmp_path, text, words):
    path = tmp_path / "places.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(PlanError, match=words):
        read_places(path, small_plan())
    with pytest.raises(PlanError, match="there is no such file"):
        read_places(tmp_path / "none.csv", small_plan())


def test_a_ragged_row_is_a_mistake_of_that_row(small_plan, tmp_path):
    path = tmp_path / "places.csv"
    path.write_text("id,latitude,longitude\na,1\nb,51,0\n", encoding="utf-8")
    [line] = [line for line in told(path, small_plan()) if "values" in line]
    assert line.startswith(f'{path} row 2 "a": 2 values for 3 columns')


def test_the_weather_is_that_which_is_named_or_nearest_and_says_so(small_plan, tmp_path):
    plan = small_plan({"weather": {"climate": "mediterranean"}})
    (tmp_path / "own.epw").write_text("", encoding="utf-8")
    rows = "id,latitude,longitude,climate,weather_file\n"
    rows += "a,51.3,0,,\nb,30,0,,\nc,30,0,hot-desert,\nd,30,0,,own.epw\n"
    (tmp_path / "places.csv").write_text(rows, encoding="utf-8")
    near, far, named, file = read_places(tmp_path / "places.csv", plan)
    assert (near.weather, near.weather_by, "weather" in near.changes) == ("climate mediterranean", "plan", False)
    assert near.weather_distance == pytest.approx(33_358, rel=1e-3)
    assert (far.weather, far.weather_by) == ("climate hot-desert", "latitude")
    assert (named.weather, named.weather_by) == ("climate hot-desert", "named")
    assert (file.weather, file.changes["weather"]) == ("own.epw", {"file": str((tmp_path / "own.epw").resolve())})


def test_a_file_of_the_folder_is_taken_within_reach_only(small_plan, tmp_path):
    known = [Station(tmp_path / "here.epw", 51.0, 0.0), Station(tmp_path / "there.epw", 40.0, 0.0)]
    near, far = read_places([HOME, {**HOME, "id": "far", "latitude": 45.0}], small_plan(), known, 50_000.0)
    assert (near.weather, near.weather_by) == ("here.epw", "nearest file")
    assert near.weather_distance == pytest.approx(6_998, rel=1e-3)
    assert "no weather file within 50 km; there.epw is 556 km away" in str(far.problems[0])


def test_hours_of_need_go_by_the_sun_where_the_clock_of_the_plan_is_far(small_plan):
    rows = [
        HOME,
        {**HOME, "id": "b", "longitude": 150},
        {**HOME, "id": "c", "longitude": 150, "place.timezone": "Asia/Tokyo"},
    ]
    assert [place.clock for place in read_places(rows, small_plan())] == ["UTC", "solar", "Asia/Tokyo"]


def test_designs_have_watts_and_fields_and_all_their_mistakes_are_told(small_plan):
    plan = small_plan()
    one, two = read_designs(
        [{"id": "a", "watts": "20 W"}, {"id": "b", "watts": 50, "fan.part": "fan-12v-120x25"}], plan
    )
    assert (one.watts, dict(one.changes)) == (20.0, {})
    assert (two.watts, dict(two.changes)) == (50.0, {"fan.part": "fan-12v-120x25"})
    with pytest.raises(PlanError, match='there is no "fan-12" among the fans') as error:
        read_designs(
            [{"id": "a", "watts": "20 V"}, {"id": "a", "watts": 5000}, {"id": "c", "fan.part": "fan-12"}], plan
        )
    assert [problem.where for problem in error.value.problems][:3] == [
        'designs row 1 "a": watts', 'designs row 2 "a": id', 'designs row 2 "a": watts',
    ]  # fmt: skip


def test_what_the_designs_set_is_not_set_by_the_places_too(small_plan):
    with pytest.raises(PlanError, match=r"panel\.tilt: the designs set this too"):
        read_places([{**HOME, "panel.tilt": 5}], small_plan(), taken=["panel.tilt"])


def test_a_packed_table_is_not_read_as_text(small_plan, tmp_path):
    (tmp_path / "places.csv").write_bytes(gzip.compress(b"id,latitude,longitude\n", mtime=0))
    with pytest.raises(PlanError, match="not UTF-8"):
        read_places(tmp_path / "places.csv", small_plan())
