"""Two plans side by side."""

import pytest

from solarvent.report.choices_text import render_compare
from solarvent.report.layout import Frame
from solarvent.simulation.simulate import simulate
from solarvent.studies.compare import compare

CLIMATE = {"weather": {"climate": "cool-maritime"}}


@pytest.fixture(scope="module")
def rows(small_plan):
    return compare(small_plan(CLIMATE), small_plan({**CLIMATE, "panel.0.part": "panel-10w", "panel.0.tilt": 20}))


def test_differences_come_first_and_results_before_entries(rows):
    differs = [row.differs for row in rows]
    assert differs == sorted(differs, reverse=True)
    groups = [row.group for row in rows if row.differs]
    assert groups == sorted(groups, key=["result", "finding", "plan"].index)


def test_the_changed_entries_are_named_by_their_place(rows):
    entries = {row.what: (row.left, row.right) for row in rows if row.group == "plan"}
    assert entries["panel[1].tilt"] == (35, 20)
    assert entries["panel[1].part"] == ("panel-30w", "panel-10w")
    assert not any(what.startswith(("fan", "house", "wiring")) for what in entries)


def test_a_smaller_panel_makes_less_and_starts_later(rows):
    by_name = {row.what: row for row in rows}
    made = by_name["energy of the year: could make"]
    assert made.left / made.right == pytest.approx(3.0, rel=0.05)
    start = by_name["light that starts the last fan"]
    assert start.right > start.left
    assert by_name["fans"].differs is False


def test_paint_against_the_sun_is_told_by_what_it_does_inside(small_plan):
    paint = {**CLIMATE, "shade": {"place": "paint", "transmittance": 0.5}}
    by_name = {row.what: row for row in compare(small_plan(CLIMATE), small_plan(paint))}
    for what in ("hottest inside", "hours too hot inside"):
        assert by_name[what].left > by_name[what].right
    run = simulate(small_plan(paint))
    assert by_name["hottest inside"].right == run.hours["temp_inside"].max()
    assert by_name["coldest inside"].right == run.hours["temp_inside"].min()


def test_a_plan_is_the_same_as_itself(small_plan):
    rows = compare(small_plan(CLIMATE), small_plan(CLIMATE))
    assert not any(row.differs for row in rows)
    text = render_compare(("one", "one"), rows, Frame())
    assert "the same" in text
    assert max(map(len, render_compare(("one", "one"), rows, Frame("us", full=True), True).splitlines())) <= 80


def test_the_text_fits_a_plain_terminal(rows):
    text = render_compare(("left", "right"), rows, Frame(full=True), True)
    assert max(map(len, text.splitlines())) <= 80
    assert text.index("What comes of them") < text.index("In the plan files") < text.index("The same in both")


def test_how_long_a_battery_lasts_is_told_where_one_of_them_has_one(small_plan):
    fans = {**CLIMATE, "panel.0.part": "panel-10w", "fan": [{"id": "east", "part": "fan-12v-120x25"}]}
    plans = [small_plan({**fans, "battery": {"capacity": size, "fuse": "3 A"}}) for size in ("60 Wh", "600 Wh")]
    rows = {row.what: row for row in compare(*plans)}
    nights, days = rows["nights that the battery lasts"], rows["days that it lasts without sun"]
    assert nights.left < nights.right
    # Ten times the label, ten times the days.
    assert days.right == pytest.approx(10 * days.left)
    assert "nights that the battery lasts" not in {row.what for row in compare(small_plan(), small_plan())}
