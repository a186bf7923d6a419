"""The answer for many places: text, JSON, CSV and the picture."""

import json
import re
import xml.etree.ElementTree as ET

import pandas as pd
import pytest
from place_tables import rows, summary

from solarvent.report.many_text import many_csv, many_json, places_picture, render_many
from solarvent.studies.place_rows import ORDER

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
