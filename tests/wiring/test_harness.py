from dataclasses import replace

import pytest

from solarvent.base.errors import PlanError
from solarvent.plan.connectors import read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector, Fan, Lead, Panel, Splitter
from solarvent.wiring.harness import build_harness

RUNS = {"wiring.layout": None, "wiring.lead": None}
LEAD = {"id": "cord", "length": "4 m"}
SPLIT = {"id": "split", "length": "0 m"}
BOTH = [["roof", "split", "east"], ["roof", "split", "west"]]


def edges(harness):
    return {(join.source.part, join.sink.part) for join in harness.joins}


def wired_by(small_plan, runs, **more):
    changes = RUNS | {"wiring.runs": runs, "lead": [LEAD], "splitter": [SPLIT]} | more
    return build_harness(small_plan(changes))


def test_shared_goes_from_each_panel_through_one_lead_to_each_fan(small_plan):
    second = {"id": "wall", "part": "panel-30w"}
    harness = build_harness(small_plan({"panel.0.id": "roof", "panel": [{"id": "roof", "part": "panel-30w"}, second]}))
    assert edges(harness) == {
        ("roof", "panel-joint"), ("wall", "panel-joint"), ("panel-joint", "main-lead"), ("main-lead", "fan-split"),
        ("fan-split", "branch-east"), ("branch-east", "east"), ("fan-split", "branch-west"), ("branch-west", "west"),
    }  # fmt: skip
    assert harness.parts["main-lead"].length == 4.0
    assert harness.parts["fan-split"].arrangement == "parallel"


def test_what_a_layout_word_brings_is_of_the_wire_that_is_written(small_plan):
    main, branch = {"wire": "16 AWG", "length": "4 m", "wire_quality": 1.6}, {"wire": "22 AWG", "length": "30 cm"}
    words = {"wiring.lead": main, "wiring.branch": branch, "wiring.converter": "buck-12v"}
    parts = build_harness(small_plan(words)).parts
    assert parts["main-lead"] == Lead(wire="16 AWG", length="4 m", wire_quality=1.6, name="lead 4 m 16 AWG")
    assert parts["branch-west"] == Lead(wire="22 AWG", length="0.3 m", name="lead 0.3 m 22 AWG")
    assert parts["fan-split"] == Splitter(branches=2, length="0 m", name="splitter 1 to 2")
    assert (parts["converter"].id, parts["converter"].output_voltage) == ("converter", 12.0)


def test_one_panel_and_one_fan_need_neither_joint_nor_branch(small_plan):
    harness = build_harness(small_plan({"fan": [{"id": "east", "part": "fan-24v-120x25"}]}))
    assert edges(harness) == {("roof", "main-lead"), ("main-lead", "east")}


@pytest.mark.parametrize("length", ["3 ft", "7 in", "1.1 yd"])
def test_a_length_that_is_no_round_number_of_metres_is_no_mistake(small_plan, length):
    harness = build_harness(small_plan({"wiring.branch.length": length, "wiring.lead.length": length}))
    assert harness.parts["main-lead"].length == pytest.approx(harness.parts["branch-east"].length)


def test_series_joins_the_fans_in_a_chain(small_plan):
    harness = build_harness(small_plan({"wiring.layout": "series"}))
    assert harness.parts["fan-split"].arrangement == "series"


def test_one_each_gives_each_fan_a_panel_and_a_lead_of_its_own(small_plan):
    panels = [{"id": "roof", "part": "panel-5w"}, {"id": "wall", "part": "panel-5w"}]
    harness = build_harness(small_plan({"panel": panels, "wiring.layout": "one-each"}))
    assert edges(harness) == {
        ("roof", "lead-east"), ("lead-east", "east"), ("wall", "lead-west"), ("lead-west", "west"),
    }  # fmt: skip


def test_one_each_wants_as_many_panels_as_fans(small_plan):
    with pytest.raises(PlanError, match="as many panels as fans; there are 1 and 2"):
        build_harness(small_plan({"wiring.layout": "one-each"}))


def test_a_blocking_diode_sits_behind_each_panel(small_plan):
    harness = build_harness(small_plan({"wiring.blocking_diode": "schottky-3a"}))
    assert harness.after("roof") == ["diode-roof"]
    assert harness.parts["diode-roof"].diode == "schottky-3a"
    assert harness.parts["diode-roof"].length == 0


BATTERY = {"capacity": "84 Wh", "voltage": "12 V", "controller": "pwm", "fuse": "5 A"}
WALL = [{"id": "roof", "part": "panel-30w"}, {"id": "wall", "part": "panel-30w"}]


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({}, {("main-lead", "controller", "fan-split")}),
        ({"panel": WALL}, {("main-lead", "controller", "fan-split")}),
        ({"wiring.converter": "buck-12v"}, {("main-lead", "controller", "converter")}),
        # One that is named already is the one.
        ({"wiring.converter": "charge-controller-pwm"}, set()),
        (
            {"panel": WALL, "wiring.layout": "one-each"},
            {("lead-east", "controller-east", "east"), ("lead-west", "controller-west", "west")},
        ),
    ],
)
def test_the_controller_of_a_battery_stands_before_the_wires_divide(small_plan, changes, named):
    harness = build_harness(small_plan({"battery": BATTERY} | changes))
    added = [name for name in harness.parts if name.startswith("controller")]
    assert {(*harness.before(name), name, *harness.after(name)) for name in added} == named
    assert all(harness.parts[name].needs_battery for name in added)


TWO_PANELS = [[panel, "joint", "cord", "split", fan] for panel in ("roof", "wall") for fan in ("east", "west")]


@pytest.mark.parametrize(
    ("runs", "joins"),
    [
        ([["roof", "split", "east"], ["roof", "split", "west"]], {"roof": "split"}),
        # The runs of one circuit need not follow one another, nor have a part in common each with each.
        (
            [["roof", "joint", "east"], ["wall", "split", "west"], ["roof", "joint", "lone"]],
            {"roof": "joint", "split": "west"},
        ),
        (TWO_PANELS, {"cord": "split"}),
        # A regulator in the panel's own box is before the controller, one that stands by itself behind it.
        ([["roof", "board", "east"], ["wall", "cord", "buck", "west"]], {"board": "east", "cord": "buck"}),
    ],
)
def test_a_controller_is_added_to_each_circuit_of_the_runs(small_plan, runs, joins):
    used = {name for run in runs for name in run}
    kinds = {"panel": WALL, "fan": [{"id": name, "part": "fan-12v-120x25"} for name in ("east", "west", "lone")]}
    kinds |= {"lead": [LEAD], "splitter": [SPLIT, SPLIT | {"id": "joint"}]}
    kinds |= {"converter": [{"id": "board", "part": "buck-12v", "built_in": True}, {"id": "buck", "part": "buck-12v"}]}
    parts = {kind: [part for part in every if part["id"] in used] for kind, every in kinds.items()}
    harness = build_harness(small_plan(RUNS | {"battery": BATTERY, "wiring.runs": runs} | parts))
    added = [name for name in harness.parts if name.startswith("controller")]
    assert {harness.before(name)[0]: harness.after(name)[0] for name in added} == joins
    assert len({*added}) == len(joins)


def test_a_layout_word_with_leads_of_ones_own_is_refused(small_plan):
    with pytest.raises(PlanError, match="a layout word brings its own leads"):
        build_harness(small_plan({"lead": [LEAD]}))


def test_runs_give_the_graph_that_the_layout_word_gives(small_plan):
    leads = [{"id": "main-lead"}, {"id": "branch-east"}, {"id": "branch-west"}]
    runs = [["roof", "main-lead", "fan-split", f"branch-{fan}", fan] for fan in ("east", "west")]
    by_runs = wired_by(small_plan, runs, lead=leads, splitter=[{"id": "fan-split"}])
    by_word = build_harness(small_plan())
    assert edges(by_runs) == edges(by_word)
    assert by_runs.ids(Panel) == by_word.ids(Panel) == ["roof"]
    assert by_runs.ids(Fan) == ["east", "west"]
    assert set(by_runs.ids(Lead)) == {"main-lead", "branch-east", "branch-west"}
    assert by_runs.ids(Splitter) == ["fan-split"]


def test_the_graph_is_followed_both_ways(small_plan):
    harness = build_harness(small_plan())
    assert list(harness.downstream("main-lead")) == [
        "main-lead",
        "fan-split",
        "branch-east",
        "east",
        "branch-west",
        "west",
    ]
    assert list(harness.upstream("west")) == ["west", "branch-west", "fan-split", "main-lead", "roof"]
    assert harness.before("roof") == []
    assert harness.after("east") == []


def test_ports_carry_their_connectors(small_plan):
    plug = {"family": "barrel-5.5x2.1", "body": "plug", "positive": "centre"}
    jack = plug | {"body": "jack"}
    parts = {
        "lead": [LEAD | {"inlet": jack, "outlet": plug}],
        "splitter": [SPLIT | {"trunk": jack, "branch": plug}],
        "panel.0.outlet": plug,
        "fan.0.inlet": jack,
        "fan.1.inlet": jack,
    }
    harness = wired_by(small_plan, [["roof", "cord", "split", "east"], ["roof", "cord", "split", "west"]], **parts)
    ports = [(j.source.name, j.source.connector.body, j.sink.name, j.sink.connector.body) for j in harness.joins]
    assert ports == [
        ("outlet", "plug", "inlet", "jack"),
        ("outlet", "plug", "trunk", "jack"),
        ("branch 1", "plug", "inlet", "jack"),
        ("branch 2", "plug", "inlet", "jack"),
    ]
    families = read_families(Library())
    assert all(join.mates(families) for join in harness.joins)
    other = replace(harness.joins[0].sink, connector=Connector(family="barrel-5.5x2.5", body="jack"))
    assert not replace(harness.joins[0], sink=other).mates(families)
    for end in ("source", "sink"):
        unknown = replace(getattr(harness.joins[0], end), connector=None)
        assert replace(harness.joins[0], **{end: unknown}).mates(families) is None


def test_each_neighbour_of_a_panel_takes_an_outlet_of_its_own_kind(small_plan):
    plug, jack = ({"family": "barrel-5.5x2.1", "body": body} for body in ("plug", "jack"))
    usb = [{"family": "usb-a", "body": body} for body in ("jack", "plug")]
    parts = {"panel.0.outlet": plug, "panel.0.other_outlets": usb[:1], "fan.0.inlet": usb[1], "fan.1.inlet": jack}
    harness = wired_by(small_plan, [["roof", "east"], ["roof", "west"]], **parts)
    assert {join.sink.part: join.source.name for join in harness.joins} == {"east": "outlet 2", "west": "outlet"}


def test_a_splitter_the_other_way_round_shows_its_branches_to_the_panels(small_plan):
    panels = [{"id": "roof", "part": "panel-5w"}, {"id": "wall", "part": "panel-5w"}]
    fans = [{"id": "east", "part": "fan-24v-120x25"}]
    harness = wired_by(small_plan, [["roof", "split", "east"], ["wall", "split", "east"]], panel=panels, fan=fans)
    assert [(join.source.name, join.sink.name) for join in harness.joins] == [
        ("outlet", "branch 1"), ("trunk", "inlet"), ("outlet", "branch 2"),
    ]  # fmt: skip


PLUG, JACK = ({"family": "barrel-5.5x2.1", "body": body} for body in ("plug", "jack"))


@pytest.mark.parametrize(
    ("branches", "fans", "ports"),
    [
        # The panel fits a branch and the trunk fits nothing: with a branch for each of the three it stays empty ...
        (3, JACK, {"roof": "branch 1", "east": "branch 2", "west": "branch 3"}),
        # ... and with two it is the panel's all the same: there is no third branch.
        (2, JACK, {"roof": "trunk", "east": "branch 1", "west": "branch 2"}),
        # A fan that fits the trunk alone is put there.
        (2, {"family": "usb-a", "body": "plug"}, {"roof": "branch 1", "east": "trunk", "west": "branch 2"}),
        (3, {"family": "usb-a", "body": "plug"}, {"roof": "branch 1", "east": "trunk", "west": "branch 2"}),
    ],
)
def test_a_splitter_takes_the_power_at_the_end_that_fits_and_has_no_more_ends_than_it_has(
    small_plan, branches, fans, ports
):
    either = {"family": "barrel-5.5x2.1"}
    split = SPLIT | {"branches": branches, "branch": either, "trunk": {"family": "usb-a", "body": "jack"}}
    parts = {"splitter": [split], "panel.0.outlet": PLUG, "fan.0.inlet": fans, "fan.1.inlet": fans}
    harness = wired_by(small_plan, BOTH, **parts)
    into = {join.source.part: join.sink.name for join in harness.joins if join.sink.part == "split"}
    out = {join.sink.part: join.source.name for join in harness.joins if join.source.part == "split"}
    assert into | out == ports


def test_a_spare_lead_is_left_out_of_the_graph(small_plan):
    harness = wired_by(small_plan, [["roof", "split", "east"], ["roof", "split", "west"]])
    assert "cord" not in harness.parts


@pytest.mark.parametrize(
    ("runs", "message"),
    [
        ([["roof", "crod", "east"]], r'runs\[1\]: there is no part "crod".*did you mean "cord"'),
        ([["roof"]], "a run needs a panel and a fan at least"),
        ([["roof", "cord", "cord", "east"]], 'the run is a loop: it comes to "cord" twice'),
        ([["cord", "east"]], '"cord" is not a panel'),
        ([["roof", "cord"]], '"cord" is not a fan'),
        ([["roof", "east", "west"]], 'the run goes on behind the fan "east"'),
        ([["roof", "cord", "east"]], 'fan "west": it is on no run'),
        ([["roof", "cord", "east"], ["roof", "cord", "west"]], '"cord" is joined to 2 parts on one side'),
    ],
)
def test_wiring_that_cannot_be_is_refused_in_plain_words(small_plan, runs, message):
    with pytest.raises(PlanError, match=message):
        wired_by(small_plan, runs)


def test_panels_back_to_back_are_refused(small_plan):
    panels = [{"id": "roof", "part": "panel-5w"}, {"id": "wall", "part": "panel-5w"}]
    with pytest.raises(PlanError, match='two sources back to back: "roof" feeds into the panel "wall"'):
        wired_by(small_plan, [["roof", "wall", "east"]], panel=panels)


@pytest.mark.parametrize(
    ("runs", "message"),
    [
        (
            [["roof", "cord", "east"], ["wall", "cord", "east"]],
            r'"cord" is joined to 2 parts on one side \(roof, wall\), and has 1 end there',
        ),
        (
            [["roof", "cord", "east"], ["roof", "cord", "west"]],
            r'"cord" is joined to 2 parts on one side \(east, west\), and has 1 end there',
        ),
        (
            [["roof", "split", name] for name in ("east", "west", "north")],
            r'"split" is joined to 3 parts on one side \(east, west, north\), and has 2 ends there',
        ),
        (
            [["roof", name] for name in ("east", "west", "north")],
            r'"roof" is joined to 3 parts on one side \(east, west, north\), and has 2 ends there',
        ),
    ],
)
def test_more_neighbours_than_ends_are_named_with_the_side_where_they_are(small_plan, runs, message):
    used = {name for run in runs for name in run}
    panels = [{"id": "roof", "part": "panel-5w", "other_outlets": [JACK]}, {"id": "wall", "part": "panel-5w"}]
    fans = [{"id": name, "part": "fan-24v-120x25"} for name in ("east", "west", "north")]
    parts = {"panel": panels, "fan": fans}
    parts = {kind: [part for part in every if part["id"] in used] for kind, every in parts.items()}
    with pytest.raises(PlanError, match=message):
        wired_by(small_plan, runs, **parts)


def test_a_splitter_joins_or_divides_but_not_both(small_plan):
    panels = [{"id": "roof", "part": "panel-5w"}, {"id": "wall", "part": "panel-5w"}]
    runs = [[panel, "split", fan] for panel in ("roof", "wall") for fan in ("east", "west")]
    with pytest.raises(PlanError, match='"split" joins 2 parts to 2'):
        wired_by(small_plan, runs, panel=panels)


def test_a_loop_over_several_runs_is_named(small_plan):
    leads = [{"id": "one"}, {"id": "two"}]
    runs = [["roof", "one", "two", "east"], ["roof", "two", "one", "west"]]
    with pytest.raises(PlanError, match="the wiring is a loop: "):
        wired_by(small_plan, runs, lead=leads)


def test_every_mistake_is_told_at_once(small_plan):
    with pytest.raises(PlanError, match="nothing") as caught:
        wired_by(small_plan, [["cord", "east"], ["roof", "nothing", "west"], ["roof"]])
    assert len(caught.value.problems) == 3


def test_many_fans_with_long_names_go_on_a_layout_word(small_plan):
    fan = {"part": "fan-12v-80x25"}
    loaded = small_plan({"fan": [fan | {"id": f"{'f' * 37}-{number:02d}"} for number in range(24)]})
    assert len(build_harness(loaded).ids(Fan)) == 24
