import random
import tomllib
from datetime import date

import pytest
import tomlkit
from faulty_wiring import STEPPED_UP
from sampled import one_in

from solarvent.base.errors import PlanError
from solarvent.findings.verdicts import find
from solarvent.plan.boxes import load_box
from solarvent.plan.checking import check_plan
from solarvent.plan.library import Library
from solarvent.plan.parts import Fan
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import simulate
from solarvent.studies.box_plan import box_plan
from solarvent.studies.pair import joined_boxes, pair
from solarvent.wiring.harness import build_harness


def plan_from(*boxes):
    given = load_box([str(box) for box in boxes])
    return given, Plan(check_plan(tomllib.loads(box_plan(joined_boxes(given))), given.library), given.library)


@pytest.mark.parametrize(
    "boxes",
    [("trio-right-splitter",), ("trio-unmetered",), ("bare-leads",), ("pv-pair-barrel-fans",),
     ("flat-two-pin-crosser",), ("box-of-panel", "box-of-fans"), ("daisy-chain",), ("usb-pair",)],
    ids="+".join,
)  # fmt: skip
def test_a_plan_from_a_box_is_joined_as_the_box_was(boxes):
    given, loaded = plan_from(*boxes)
    assert sorted(build_harness(loaded).ids(Fan)) == sorted(given.of(Fan))
    assert pair(loaded).feasible == pair(given).feasible


def test_figures_of_ones_own_come_through_with_their_units(tmp_path):
    box = tmp_path / "box.toml"
    box.write_text(
        'kit_version = 1\n[[panel]]\nid = "roof"\npart = "panel-20w"\nbeta_voc = "-0.30 %/K"\n'
        'outlet = { family = "barrel-5.5x2.1", body = "plug", positive = "centre" }\n'
        '[[fan]]\nid = "old"\npart = "fan-12v-80x25"\nstart_voltage = "6.25 V"\nsize = "3 in"\n'
        'inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }\n',
        encoding="utf-8",
    )
    _, loaded = plan_from(str(box))
    fan, panel = loaded.record.fan[0], loaded.record.panel[0]
    assert fan.start_voltage == 6.25
    assert fan.size == pytest.approx(0.0762)
    assert panel.beta_voc == pytest.approx(-0.003)
    assert panel.v_oc == load_box([str(box)]).parts["roof"].v_oc


def test_a_fan_of_which_little_is_known_is_taken_for_the_likest(tmp_path):
    box = tmp_path / "box.toml"
    barrel = 'family = "barrel-5.5x2.1", positive = "centre"'
    box.write_text(
        'kit_version = 1\n[[panel]]\nid = "roof"\npart = "panel-20w"\n'
        f'outlet = {{ {barrel}, body = "plug" }}\n'
        f'[[fan]]\nid = "scrap"\nsize = "92 mm"\ninlet = {{ {barrel}, body = "jack" }}\n',
        encoding="utf-8",
    )
    assert plan_from(box)[1].record.fan[0].part == "fan-12v-92x25"


def test_a_box_that_nothing_joins_is_refused_with_the_reason():
    with pytest.raises(PlanError, match="cannot be joined as they are"):
        joined_boxes(load_box(["usb-panel-barrel-fan"]))


def test_a_lead_that_steps_a_usb_socket_up_goes_from_the_box_to_the_plan(tmp_path):
    path = tmp_path / "box.toml"
    path.write_text(STEPPED_UP, encoding="utf-8")
    given, loaded = plan_from(path)
    assert pair(given).feasible == pair(loaded).feasible == "yes"
    # The regulator of the socket stands before the lead, and the lead is held against its 5 V.
    assert loaded.record.wiring.runs == [["panel", "panel-socket", "boost-lead", "fan"]]
    found = find(simulate(loaded, date(2001, 6, 21)))
    assert [one.code for one in found if one.level == "stop"] == []
    # Straight on the cells the lead would get more than it stands, and is not joined.
    end = 'outlet = { family = "usb-a", body = "jack"'
    path.write_text(STEPPED_UP.replace(end, f'{end}, voltage = "18 V"', 1), encoding="utf-8")
    assert pair(load_box([str(path)])).fed == 0


ENDS = {
    "barrel": [{"family": "barrel-5.5x2.1", "body": body, "positive": "centre"} for body in ("plug", "jack")],
    "flat": [{"family": "flat-two-pin", "positive": positive} for positive in ("shrouded", "exposed")],
    "usb": [{"family": "usb-a", "body": body} for body in ("jack", "plug")],
}


def random_box(chance):
    """Make a box: a panel of one socket or two, fans that may pass the power on, a lead and a splitter."""
    kind = chance.choice(list(ENDS))
    ends, small = ENDS[kind], kind == "usb"
    panel = {"part": "panel-usb-10w" if small else "panel-20w", "outlet": ends[0]}
    if chance.random() < 0.5:
        panel["other_outlets"] = [chance.choice([ends[0], ENDS["usb"][0]])]
    fans = [
        {"part": "fan-usb-80" if small else "fan-24v-120x25", "inlet": ends[1]}
        | ({"outlet": ends[0], "crosses": False} if chance.random() < 0.4 else {})
        for _ in range(chance.choice([1, 2, 3]))
    ]
    library = Library()
    goods = {
        section: [{"part": chance.choice([name for name, entry in library.entries(kind).items() if end in entry])}]
        for section, kind, end in (("lead", "leads", "inlet"), ("splitter", "splitters", "trunk"))
    }
    return {"kit_version": 1, "panel": [panel], "fan": fans} | goods


@pytest.mark.parametrize("seed", one_in(4, range(24)))
def test_whatever_can_be_joined_becomes_a_plan_that_is_joined_the_same(tmp_path, seed):
    path = tmp_path / "box.toml"
    path.write_text(tomlkit.dumps(random_box(random.Random(seed))), encoding="utf-8")
    answer = pair(load_box([str(path)]))
    if answer.fits != "no":
        assert pair(plan_from(path)[1]).fits == answer.fits
