"""The words beside the parts of the wiring picture, for parts that the worked example has not."""

import pytest

from solarvent.bench.preparation import prepare
from solarvent.bench.steps import wiring_rows

RUN = [["roof", "cord", "split", "east"], ["roof", "cord", "split", "west"]]
CORD = {"id": "cord", "wire": "18 AWG", "length": "4 m"}
SPLIT = {"id": "split", "branches": 2}


def words(small_plan, **changes):
    """Words of each part, under its name."""
    joined = {"wiring": {"runs": RUN}, "lead": [CORD], "splitter": [SPLIT]}
    rows = wiring_rows(prepare(small_plan(joined | changes)))
    return {row.title: " / ".join(row.words) for row in rows if row.title}


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "4 m, 18 AWG, two conductors"),
        ({"diode": "schottky-3a"}, "a diode in the + conductor, its ring towards the fans"),
        ({"fuse": "3 A"}, "a fuse of 3 A in the + conductor"),
        ({"length": "0 m", "name": "switch on the post"}, "switch on the post"),
    ],
)
def test_what_is_in_a_lead_is_told(small_plan, more, said):
    assert said in words(small_plan, lead=[CORD | more])["cord"]


def test_a_lead_without_length_and_name_is_told_by_its_title_alone(small_plan):
    assert words(small_plan, lead=[CORD | {"length": "0 m"}])["cord"] == ""


def test_a_chain_is_told_from_a_split(small_plan):
    assert words(small_plan)["split"] == "divides to 2: + to +, - to -"
    chained = words(small_plan, splitter=[SPLIT | {"arrangement": "series"}])
    assert chained["split"] == "divides to 2: in a chain, - of one to + of the next"


def test_panels_that_meet_are_joined(small_plan):
    panels = [{"id": name, "part": "panel-30w", "tilt": 35, "azimuth": 200} for name in ("roof", "wall")]
    runs = [[name, "meet", "cord", "split", fan] for name in ("roof", "wall") for fan in ("east", "west")]
    found = words(small_plan, panel=panels, splitter=[SPLIT, {"id": "meet"}], wiring={"runs": runs})
    assert found["meet"] == "joins 2: + to +, - to -"


def test_a_panel_of_which_only_the_watts_are_known_says_no_more(small_plan):
    found = words(small_plan, panel=[{"id": "roof", "watts": "30 W", "tilt": 35, "azimuth": 200}])
    assert found["roof"] == "panel: 30 W, no more is known"
