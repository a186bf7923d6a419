"""The folder of a study of many places."""

import json

import pytest

from solarvent.base.errors import OutputError
from solarvent.report.many_folder import ManyFolder, kept_in
from solarvent.studies.many import prepare
from solarvent.studies.place_rows import NUMBERS, ORDER, TEXTS

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
