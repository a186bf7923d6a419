"""The wiring picture: every part once, every fault with shape and words, every probe with its reading."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from solarvent.bench.preparation import prepare
from solarvent.bench.steps import wiring_rows
from solarvent.report import charts
from solarvent.report.drawing import wiring_drawing, wiring_pieces
from solarvent.wiring.joints import PolarityTrace, worst_polarity

PLUG = {"family": "barrel-5.5x2.1", "body": "plug", "positive": "centre"}
JACK = {"family": "barrel-5.5x2.1", "body": "jack", "positive": "centre"}
#: A panel with a plug, an extension, and a fan with a jack.
JOINED = {
    "panel.0.outlet": PLUG,
    "lead": [{"id": "ext", "length": "3 m", "inlet": JACK, "outlet": PLUG}],
    "fan": [{"id": "east", "part": "fan-24v-120x25", "inlet": JACK, "crosses": False}],
    "wiring": {"runs": [["roof", "ext", "east"]]},
}


def words_of(svg):
    return [text.strip() for element in ET.fromstring(svg).iter() for text in element.itertext() if text.strip()]


@pytest.fixture(scope="module")
def rows(embedded_checklist):
    return embedded_checklist.wiring


def rows_of(loaded):
    return {row.title: row for row in wiring_rows(prepare(loaded)) if row.title}


def test_every_part_stands_in_the_picture_once(embedded_checklist, rows):
    titles = [row.title for row in rows if row.title]
    assert sorted(titles) == sorted(embedded_checklist.bench.harness.parts)


def test_every_row_but_the_panels_hangs_on_one_above(rows):
    for place, row in enumerate(rows):
        assert bool(row.above) == (row.kind != "panel")
        assert all(above < place for above in row.above)


def test_branches_step_to_the_right_and_a_line_stays_in_its_column(rows):
    column = {row.title: row.column for row in rows}
    assert column["panel"] == column["main-lead"] == column["fan-split"] == 0
    assert column["branch-bench"] == column["bench"] == 1


def test_several_panels_come_in_from_the_right(small_plan):
    loaded = small_plan({"panel": [{"id": "a", "part": "panel-30w"}, {"id": "b", "part": "panel-30w"}]})
    rows = rows_of(loaded)
    assert rows["a"].column == rows["b"].column == 1
    assert rows["panel-joint"].column == 0
    assert len(rows["panel-joint"].above) == 2


def test_leads_say_gauge_and_length_in_the_units_asked_for(small_plan):
    loaded = small_plan()
    assert "4 m, 18 AWG, two conductors" in rows_of(loaded)["main-lead"].words
    us = {row.title: row for row in wiring_rows(prepare(loaded, system="us"))}
    assert "ft" in us["main-lead"].words[0]


def test_there_is_a_place_for_the_meter_at_every_panel_and_before_every_fan(embedded_checklist, rows):
    probes = [row.probe for row in rows if row.probe]
    assert probes == sorted(set(probes))
    assert len(probes) == 1 + len(embedded_checklist.bench.plan.record.fan)
    [expected] = embedded_checklist.bench.bands["typical"]
    assert f"{expected.open_circuit:.1f} V with nothing joined" in next(row for row in rows if row.probe).probe_words


def test_sound_joints_say_plug_jack_and_pole_and_carry_no_mark(small_plan):
    rows = wiring_rows(prepare(small_plan(JOINED)))
    assert "barrel 5.5 x 2.1 mm plug, + on the centre" in rows[1].words
    assert not any(row.mark for row in rows)


def test_a_crossing_lead_is_marked_there_and_at_its_fan(small_plan):
    loaded = small_plan(JOINED | {"lead.0.outlet.positive": "sleeve"})
    rows = rows_of(loaded)
    assert (rows["ext"].mark, rows["ext"].mark_words) == ("flip", "POLES CHANGE PLACES HERE")
    assert rows["east"].mark == "bad"
    bench = prepare(loaded)
    walk = PolarityTrace(bench.harness.parts, bench.harness.joins, _families(loaded))
    assert worst_polarity(walk.fans()["east"]) == "reversed"
    assert "POLES CHANGE PLACES HERE" in words_of(wiring_drawing(wiring_rows(bench)))


def _families(loaded):
    from solarvent.plan.connectors import read_families

    return read_families(loaded.library)


@pytest.mark.parametrize(
    ("change", "word"),
    [({"body": "plug"}, "two halves"), ({"family": "barrel-5.5x2.5"}, "alike"), ({"family": "usb-a"}, "different")],
)
def test_joints_that_do_not_fit_are_crossed_out_with_words(small_plan, change, word):
    fan = dict(JOINED["fan"][0], inlet=JACK | change | ({"positive": None} if "usb" in str(change) else {}))
    fan["inlet"] = {key: value for key, value in fan["inlet"].items() if value is not None}
    rows = wiring_rows(prepare(small_plan(JOINED | {"fan": [fan]})))
    [bad] = [row for row in rows if row.kind == "joint" and row.mark == "bad"]
    assert bad.mark_words.startswith("DOES NOT FIT")
    assert word in bad.mark_words


def test_the_picture_is_small_well_formed_and_as_wide_as_the_charts(embedded_checklist):
    svg = wiring_drawing(embedded_checklist.wiring)
    assert len(svg.encode()) < 60_000
    assert all(
        float(width) == pytest.approx(72 * charts.WIDTH) for width in re.findall(r'<svg [^>]*width="(\S+)"', svg)
    )
    ET.fromstring(f'<figure xmlns:xlink="http://www.w3.org/1999/xlink">{svg}</figure>')
    assert svg == wiring_drawing(embedded_checklist.wiring)
    assert "<image" not in svg


def test_hostile_names_stand_as_text(small_plan):
    name = 'a <b>& $x_{1}^2$ \\alpha "quoted" \u202e\x07 cable'
    loaded = small_plan(JOINED | {"lead": [{"id": "ext", "name": name, "inlet": JACK, "outlet": PLUG}]})
    svg = wiring_drawing(wiring_rows(prepare(loaded)))
    text = " ".join(words_of(svg))
    assert "<b>& $x_{1}^2$ \\alpha" in text
    assert "\u202e" not in re.sub(r"<desc.*?</desc>", "", svg, flags=re.DOTALL)


def test_the_picture_is_told_in_words_too(embedded_checklist, rows):
    told = re.search("<desc[^>]*>(.*?)</desc>", wiring_drawing(embedded_checklist.wiring))[1]
    assert all(row.title in told for row in rows if row.title)


def test_a_joint_carries_the_number_of_the_step_that_joins_it(embedded_checklist):
    steps = embedded_checklist.steps
    joints = [row for row in embedded_checklist.wiring if row.step]
    assert joints
    assert all("oin " in steps[row.step - 1].do for row in joints)
    assert f"Step {joints[0].step}" in wiring_drawing(embedded_checklist.wiring)


def test_two_circuits_are_two_pictures(embedded_checklist):
    rows = list(embedded_checklist.wiring)
    twice = rows + [replace(row, above=[above + len(rows) for above in row.above]) for row in rows]
    assert wiring_drawing(twice).count('role="img"') == 2
    assert 'id="wiring-2-title"' in wiring_drawing(twice)


def test_a_panel_with_six_fans_is_folded_before_a_branch(small_plan):
    fans = [{"id": f"fan-{number}", "part": "fan-24v-120x25"} for number in range(1, 7)]
    rows = wiring_rows(prepare(small_plan({"fan": fans, "panel.0.part": "panel-50w"})))
    heights = [float(height) for height in re.findall(r'viewBox="0 \S+ \S+ (\S+)"', wiring_drawing(rows))]
    assert len(heights) == 2
    assert min(heights) > 0.4 * sum(heights)


@pytest.mark.parametrize("kit", ["default", "two"])
def test_pieces_of_the_picture_are_the_whole_cut_below_each_place_for_the_meter(embedded_checklist, small_plan, kit):
    rows = embedded_checklist.wiring
    if kit == "two":
        fans = [{"id": name, "part": "fan-24v-120x25"} for name in ("east", "west")]
        panels = [{"id": name, "part": "panel-20w"} for name in ("left", "right")]
        plan = small_plan({"panel": panels, "fan": fans, "wiring": {"layout": "one-each"}})
        rows = wiring_rows(prepare(plan))
    pieces = wiring_pieces(rows)
    probes = [row.probe for row in rows if row.probe]
    assert [piece.probe for piece in pieces if piece.probe] == probes
    heights = [float(re.search(r'viewBox="0 \S+ \S+ (\S+)"', piece.picture)[1]) for piece in pieces]
    whole = re.findall(r'viewBox="0 \S+ \S+ (\S+)"', wiring_drawing(rows))
    assert sum(heights) == pytest.approx(sum(map(float, whole)), abs=0.01)
    assert all(height > 0 for height in heights)
    assert all(bool(piece.cords) == bool(piece.probe) for piece in pieces)
