"""Ways to mend a plan that is wired by runs: what its file does not write, and the ids of new parts."""

import re
import tomllib

import pytest
from faulty_wiring import B25, WIRED, jack, plug
from small import SMALL, changed
from test_mending import look_on, written

from solarvent.base.errors import PlanError
from solarvent.base.findings import Finding
from solarvent.plan.connectors import read_families
from solarvent.plan.edit import edited
from solarvent.plan.plan import plan_from
from solarvent.studies import mending_joints
from solarvent.studies.mending import NO_WAY, WAYS, mend
from solarvent.studies.mending_joints import Case
from solarvent.wiring.harness import build_harness

#: A panel of 70 V at the controller that is meant with a battery, and is not written.
HIGH = {
    "panel": [{"id": "p", "part": "panel-20w", "watts": "20 W", "v_oc": "70 V", "i_sc": "0.36 A", "v_mp": "60 V",
               "i_mp": "0.33 A"}],
    "fan": [{"id": "f", "part": "fan-12v-120x25"}],
    "lead": [{"id": "l", "wire": "18 AWG", "length": "2 m"}],
    "battery": {"capacity": "84 Wh", "voltage": "12 V", "fuse": "5 A"},
    "wiring": {"runs": [["p", "l", "f"]]},
}  # fmt: skip


def ways(content, code, *parts):
    """Yield the ways to mend a finding that stands at some parts, each with what the file says after it."""
    text = written(content)
    plan = plan_from(tomllib.loads(text))
    found = tuple(Finding("stop", code, part, "It is wrong.", "Mend it.", 1.0, 1.0) for part in parts)
    case = Case(plan, tomllib.loads(text), build_harness(plan), read_families(plan.library), found)
    for mending in WAYS[code](case):
        yield mending, tomllib.loads(edited(text, mending.changes))


@pytest.mark.parametrize("more", [{}, {"converter": [{"id": "other", "part": "buck-5v"}]}])
def test_a_controller_that_the_file_does_not_write_cannot_be_changed_in_it(more):
    text = written(changed(SMALL, HIGH | more))
    plan = plan_from(tomllib.loads(text))
    with pytest.raises(PlanError, match=re.escape(NO_WAY)):
        mend(text, plan, "converter-over-voltage", look_on("06-21"))


def test_two_adapters_of_one_entry_have_an_id_each(monkeypatch):
    real = mending_joints.chain
    monkeypatch.setattr(mending_joints, "chain", lambda *given: [row * 2 for row in real(*given)])
    content = changed(changed(SMALL, WIRED), {"lead.0.inlet": jack(B25), "lead.0.outlet": plug(B25)})
    entries = set()
    for _, after in ways(content, "connector-mismatch", "main"):
        ids = [lead["id"] for lead in after["lead"]]
        assert len(ids) == len(set(ids)) >= 3
        assert set(ids) <= {name for run in after["wiring"]["runs"] for name in run}
        plan_from(after)
        entries |= {lead["part"] for lead in after["lead"] if "part" in lead}
    assert any("." in entry for entry in entries)


def two_panels(**more):
    roof, lead = WIRED["panel"][0], {"length": "0 m"}
    return changed(SMALL, WIRED) | {
        "panel": [roof, roof | {"id": "wall"}],
        "lead": [*WIRED["lead"], {"id": "diode-wall"} | lead | more],
        "splitter": [*WIRED["splitter"], {"id": "joint", "branches": 2, "length": "0 m"}],
        "wiring": {"runs": [
            [*way, "joint", "main", "split", fan]
            for way in (["roof"], ["wall", "diode-wall"]) for fan in ("east", "west")
        ]},
    }  # fmt: skip


def test_a_panel_that_has_a_diode_gets_no_second_one():
    ((_, after),) = ways(two_panels(diode="schottky-3a"), "no-blocking-diode", "roof")
    assert after["wiring"]["runs"][2] == ["wall", "diode-wall", "joint", "main", "split", "east"]
    assert after["wiring"]["runs"][0] == ["roof", "diode-roof", "joint", "main", "split", "east"]
    plan_from(after)


def test_a_diode_takes_an_id_that_no_part_has():
    ((_, after),) = ways(two_panels(), "panels-without-fuse", "roof")
    assert [lead["id"] for lead in after["lead"]] == ["main", "diode-wall", "diode-roof", "diode-wall-2"]
    assert after["wiring"]["runs"][2][:3] == ["wall", "diode-wall-2", "diode-wall"]
    plan_from(after)


def test_where_each_panel_has_a_diode_there_is_nothing_to_do():
    content = two_panels(diode="schottky-3a")
    content["lead"].append({"id": "own", "length": "0 m", "diode": "schottky-3a"})
    content["wiring"]["runs"] = [
        [way[0], "own", *way[1:]] if way[0] == "roof" else way for way in content["wiring"]["runs"]
    ]
    assert not list(ways(content, "no-blocking-diode", "roof"))
