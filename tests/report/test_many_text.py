"""The answer for many places: text, JSON, CSV and the picture."""

import json
import re
import xml.etree.ElementTree as ET

import pandas as pd
import pytest
from place_tables import rows, summary

from solarvent.base.errors import OutputError
from solarvent.report.many_text import ManyFolder, kept_in, many_csv, many_json, places_picture, render_many
from solarvent.studies.many import prepare
from solarvent.studies.place_rows import NUMBERS, ORDER, TEXTS

TWO = rows(small=(10, "fsx-"), large=(50, "fffs"))


def test_the_verdict_stands_first_in_lines_of_eighty():
    text = render_many("Sheds", summary(TWO), whole=False)
    lines = text.split("\n")
    assert lines[1].startswith('No design fits at nine places in ten; "large"')
    assert max(map(len, lines)) <= 80
    assert text.index("Where it does not fit") < text.index("Designs (90%") < text.index("Not worked out: 1")
    assert "light: 1 place, 43 N, 3 W (p3). At p3: because." in " ".join(text.split())


def test_many_designs_stand_behind_full_but_for_the_best():
    table = rows(**{f"d{watts}": (watts, "f" * (watts % 7) + "s" * (10 - watts % 7)) for watts in range(5, 33)})
    short, full = (render_many("Sheds", summary(table), whole=False, full=asked) for asked in (False, True))
    assert short.count("\n") < 45
    assert "and 18 more: --full" in short
    assert re.search(r"^-> +d6 ", short, re.MULTILINE)
    assert all(f" d{watts} " in full for watts in range(5, 33))


def test_the_json_has_its_schema_the_counts_and_all_rows():
    whole = TWO.reindex(columns=list(ORDER))
    read = json.loads(many_json("Sheds", summary(TWO), False, [whole.iloc[:4], whole.iloc[4:]]))
    assert read["schema"] == "solarvent.many/1"
    assert read["choice"] == {"design": "large", "nearly_everywhere": False}
    assert [(one["id"], one["fits"], one["share_that_fits"]) for one in read["designs"]] == [
        ("small", 1, pytest.approx(1 / 3)), ("large", 3, 0.75),
    ]  # fmt: skip
    assert [row["id"] for row in read["rows"]] == TWO["id"].tolist()
    assert read["rows"][0]["mean_flow"] is None


def test_the_csv_has_one_heading_with_units():
    whole = TWO.reindex(columns=list(ORDER))
    lines = many_csv([whole.iloc[:4], whole.iloc[4:]]).split("\n")
    assert len(lines) == 1 + len(TWO)
    assert "mean_flow [m3/s]" in lines[0]
    assert lines[1].startswith("2,p0,40.0,0,small,10,fits,because")


def test_the_picture_has_a_mark_of_its_own_for_each_verdict_and_says_it_in_words():
    text = places_picture("Sheds & more", summary(TWO))
    drawing = ET.fromstring(text)
    assert drawing.find("{*}title").text == "Where it fits: Sheds & more"
    assert "comes nearest" in drawing.find("{*}desc").text
    assert "large 75%" in drawing.find("{*}desc").text
    assert text == places_picture("Sheds & more", summary(TWO))
    marks = [one for one in drawing.iter() if "PathCollection" in one.get("id", "")]
    drawn = {mark.find(".//{*}use").get("{http://www.w3.org/1999/xlink}href") for mark in marks}
    # On the map and in its legend: fits and short, which is what the design that is shown has.
    assert (len(marks), len(drawn)) == (4, 2)


def test_very_many_places_are_drawn_by_cells():
    count = 4000
    table = pd.DataFrame({
        "row": range(count), "id": "x", "design": "", "panel_watts": 30.0, "verdict": ["fits", "short"] * 2000,
        "latitude": [40 + 0.01 * (k // 63) for k in range(count)], "longitude": [0.01 * (k % 63) for k in range(count)],
        "reason": "because", "do": "A panel.", "cause": "light", "weather_by": "named", "share_at_target": 0.5,
    })  # fmt: skip
    text = places_picture("Region", summary(table, 3))
    assert "by cells of the map" in text
    assert len(text) < 300_000


ROWS = [{"id": "a", "latitude": 51, "longitude": 0}]
ROW = {**dict.fromkeys(TEXTS, "x"), **dict.fromkeys(NUMBERS, 1.5), "row": 7}


@pytest.fixture
def manifest(small_plan):
    return prepare(small_plan(), ROWS).manifest


def test_rows_come_back_as_they_were_kept_in_the_order_of_the_chunks(manifest, tmp_path):
    kept = ManyFolder(tmp_path / "new" / "results", manifest)
    kept.keep(1, [{**ROW, "id": "second"}])
    kept.keep(0, [{**ROW, "id": "first"}, {**ROW, "id": "also first"}])
    table = kept.table()
    assert table["id"].tolist() == ["first", "also first", "second"]
    assert tuple(table.columns) == ORDER
    assert table.attrs["units"]["energy_used"] == "Wh"
    assert kept.missing(3) == [2]
    assert [tuple(part.columns) for part in kept.parts(["id"])] == [("id",), ("id",)]


def test_the_same_folder_goes_on_and_the_same_rows_are_the_same_bytes(manifest, tmp_path):
    first, other = (ManyFolder(tmp_path / name, manifest) for name in ("one", "two"))
    for kept in (first, other):
        kept.keep(0, [ROW])
    assert first.part(0).read_bytes() == other.part(0).read_bytes()
    assert ManyFolder(tmp_path / "one", manifest).missing(1) == []


def test_what_was_cut_short_or_comes_from_elsewhere_is_missing(manifest, tmp_path):
    kept, other = ManyFolder(tmp_path / "one", manifest), ManyFolder(tmp_path / "two", {**manifest, "key": "other"})
    for number in range(3):
        kept.keep(number, [ROW])
    other.keep(1, [ROW])
    kept.part(0).write_bytes(kept.part(0).read_bytes()[:-30])
    kept.part(1).write_bytes(other.part(1).read_bytes())
    (kept.rows / ".part-000009.parquet.x.part").write_bytes(b"left by a kill")
    again = ManyFolder(tmp_path / "one", manifest)
    assert again.missing(3) == [0, 1]
    assert not list(again.rows.glob(".*"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"panel.0.tilt": 5}, "another plan"),
        ({"weather": {"climate": "mediterranean"}}, "another plan"),
    ],
)
def test_another_plan_in_the_same_folder_is_refused(small_plan, manifest, tmp_path, change, words):
    ManyFolder(tmp_path / "results", manifest)
    with pytest.raises(OutputError, match=f"the folder holds the results of {words}.*; name a new folder"):
        ManyFolder(tmp_path / "results", prepare(small_plan(change), ROWS).manifest)


def test_other_places_designs_and_versions_are_refused_too(small_plan, manifest, tmp_path):
    folder = tmp_path / "results"
    ManyFolder(folder, manifest)
    with pytest.raises(OutputError, match="other places"):
        ManyFolder(folder, prepare(small_plan(), [{**ROWS[0], "latitude": 52}]).manifest)
    with pytest.raises(OutputError, match="other designs, the other way to work a row out"):
        ManyFolder(folder, prepare(small_plan(), ROWS, [{"id": "d"}]).manifest)
    newer = {**manifest, "versions": {**manifest["versions"], "pvlib": "9.9"}, "key": "x"}
    with pytest.raises(OutputError, match=r"other versions \(pvlib .*, now 9\.9\)"):
        ManyFolder(folder, newer)


def test_a_folder_of_other_things_is_not_written_into(manifest, tmp_path):
    (tmp_path / "letter.txt").write_text("dear", encoding="utf-8")
    with pytest.raises(OutputError, match="the folder holds other files"):
        ManyFolder(tmp_path, manifest)
    (tmp_path / "many.json").write_text("{", encoding="utf-8")
    with pytest.raises(OutputError, match=r"many\.json: this cannot be read"):
        ManyFolder(tmp_path, manifest)
    with pytest.raises(OutputError, match="this cannot be written"):
        ManyFolder(tmp_path / "letter.txt" / "results", manifest)


def test_what_the_rows_rest_on_can_be_read(manifest, tmp_path):
    ManyFolder(tmp_path / "results", manifest)
    read = json.loads((tmp_path / "results" / "many.json").read_text(encoding="utf-8"))
    assert read["plan"]["title"] == "Pea shed"
    assert set(read["versions"]) >= {"solarvent", "python", "numpy", "pvlib"}


def test_without_a_folder_nothing_stays(manifest):
    with kept_in(None, manifest) as kept:
        kept.keep(0, [ROW])
        assert kept.passing
    assert not kept.folder.exists()
