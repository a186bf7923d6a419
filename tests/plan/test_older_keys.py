"""Keys that had another name before are still read, wherever a part may stand, and told."""

import pytest

from solarvent.base.errors import PlanError
from solarvent.findings.verdicts import find
from solarvent.plan.boxes import load_box
from solarvent.plan.checking import check_plan
from solarvent.plan.library import RENAMED, Library
from solarvent.plan.parts import RECORDS
from solarvent.plan.plan import load_plan
from solarvent.simulation.simulate import simulate

PLAN = """
plan_version = 1
[place]
latitude = 51
longitude = 0
timezone = "UTC"
[weather]
clear_sky = true
[house]
length = "3 m"
width = "2 m"
use = "shed"
[[panel]]
id = "roof"
part = "panel-30w"
tilt = 35
azimuth = 180
soiling = 0.9
[[fan]]
id = "east"
part = "fan-24v-120x25"
run_down_voltage = "8 V"
[[opening]]
part = "plain-hole"
area = "0.1 m2"
[wiring]
layout = "shared"
"""
BOX = """
kit_version = 1
[[panel]]
part = "panel-30w"
outlet = { family = "bare" }
[[fan]]
part = "fan-12v-80x25"
inlet = { family = "bare" }
run_down_voltage = "3 V"
"""
TODAY = PLAN.replace("soiling", "soiling_ratio").replace("run_down_voltage", "stop_voltage")


def test_every_new_name_is_a_key_of_its_record_and_no_older_one_is():
    for kind, pairs in RENAMED.items():
        assert set(pairs.values()) <= RECORDS[kind].model_fields.keys()
        assert not pairs.keys() & RECORDS[kind].model_fields.keys()


def test_a_plan_with_older_keys_is_the_plan_with_todays(tmp_path):
    old, new = tmp_path / "old.toml", tmp_path / "new.toml"
    old.write_text(PLAN), new.write_text(TODAY)
    older, todays = load_plan(old), load_plan(new)
    assert older.record == todays.record
    assert older.record.fan[0].stop_voltage == 8.0
    assert older.older_keys == (("soiling", "soiling_ratio"), ("run_down_voltage", "stop_voltage"))
    assert todays.older_keys == ()


def test_a_note_tells_the_key_of_today(tmp_path):
    path = tmp_path / "old.toml"
    path.write_text(PLAN)
    told = [one for one in find(simulate(load_plan(path), house=False)) if one.code == "older-key"]
    assert [one.level for one in told] == ["note", "note"]
    assert "stop_voltage" in told[1].do


def test_both_keys_at_once_are_one_too_many():
    entry = {"id": "roof", "part": "panel-30w", "tilt": 35, "azimuth": 180, "soiling": 0.9, "soiling_ratio": 0.8}
    with pytest.raises(PlanError, match=r'"roof"\.soiling: this key is not known; did you mean "soiling_ratio"'):
        check_plan({"plan_version": 1, "panel": [entry]}, Library())


def test_boxes_and_folders_of_parts_read_them_too(tmp_path):
    box = tmp_path / "box.toml"
    box.write_text(BOX)
    assert load_box([str(box)]).parts["fan"].stop_voltage == 3.0
    folder = tmp_path / "parts"
    folder.mkdir()
    (folder / "fans.toml").write_text('parts_version = 1\n[mine]\nname = "mine"\nrun_down_voltage = "3 V"\n')
    assert Library(folder).get("fans", "mine")["stop_voltage"] == "3 V"
