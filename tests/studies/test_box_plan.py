import tomllib

import pytest

from solarvent.base.errors import PlanError
from solarvent.plan.boxes import load_box
from solarvent.plan.checking import check_plan
from solarvent.plan.parts import Fan
from solarvent.plan.plan import Plan
from solarvent.studies.box_plan import box_plan
from solarvent.studies.pair import pair
from solarvent.wiring.harness import build_harness


def plan_from(*boxes):
    given = load_box(boxes)
    return given, Plan(check_plan(tomllib.loads(box_plan(given)), given.library), given.library)


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


@pytest.mark.parametrize(
    ("kit", "words"),
    [("trio-wrong-splitter", "cannot be joined as they are"), ("usb-panel-barrel-fan", "cannot be joined as they are")],
)
def test_a_box_that_no_plan_can_hold_is_refused_with_the_reason(kit, words):
    with pytest.raises(PlanError, match=words):
        box_plan(load_box([kit]))
