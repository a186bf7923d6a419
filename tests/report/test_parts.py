"""The parts library as a person and a program read it."""

import csv
import json

import pytest

from solarvent.base.errors import PartError
from solarvent.plan.library import KINDS, Library
from solarvent.report.parts import render_parts


@pytest.fixture(scope="module")
def library():
    return Library()


def test_the_kinds_are_counted(library):
    text = render_parts(library, None, None, "text")
    assert {f"{kind} {len(library.entries(kind))} entries" for kind in KINDS} <= {
        " ".join(line.split()) for line in text.splitlines()
    }
    data = json.loads(render_parts(library, None, None, "json"))
    assert data["schema"] == "solarvent.parts/1"
    assert data["parts"]["fans"] == {"entries": len(library.entries("fans"))}


def test_a_part_shows_its_figures_as_they_stand_in_the_file(library):
    entry = library.get("fans", "fan-24v-120x25")
    text = render_parts(library, "fans", "fan-24v-120x25", "text")
    assert all(key in text for key in entry)
    assert json.loads(render_parts(library, "fans", "fan-24v-120x25", "json"))["parts"] == {"fan-24v-120x25": entry}


@pytest.mark.parametrize("kind", KINDS)
def test_a_table_of_a_kind_has_a_line_a_part_and_the_same_columns_in_each(library, kind):
    header, *lines = csv.reader(render_parts(library, kind, None, "csv").splitlines())
    assert header[0] == "id"
    assert {len(line) for line in lines} == {len(header)}
    assert [line[0] for line in lines] == list(library.entries(kind))
    first = library.entries(kind)[lines[0][0]]
    assert dict(zip(header, lines[0], strict=True))["name"] == str(first.get("name", ""))


def test_a_part_that_is_not_there_is_told_with_its_neighbour(library):
    with pytest.raises(PartError, match="did you mean"):
        render_parts(library, "fans", "fan-24v-120x52", "text")
