"""What a sizing says it took from the plan, and what it left out."""

import pytest

from solarvent.studies.size_designs import designs, own_designs
from solarvent.studies.sizing import assumptions

ROOF = {"id": "roof", "part": "panel-30w", "tilt": 35, "azimuth": 200}
UNLIKE = [{"id": "east", "part": "fan-24v-120x25"}, {"id": "west", "part": "fan-24v-120x38"}]


def words(loaded, own=False, own_plan=True):
    tried = own_designs(loaded, [20.0]) if own else designs(loaded, loaded.record.fan[0], [2], [20.0])
    return " ".join(assumptions(loaded, tried, "metric", own_plan))


def test_of_alike_fans_on_one_panel_there_is_nothing_to_say(small_plan):
    assert words(small_plan()) == ""


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"fan": UNLIKE}, "2 fans of 2 kinds"),
        ({"panel": [ROOF, ROOF | {"id": "shade"}]}, "2 panels"),
        ({"wiring.layout": "series"}, 'the layout "series"'),
        ({"wiring": {"runs": [["roof", "east"]]}, "fan": UNLIKE[:1]}, "wiring of its own (runs)"),
    ],
)
def test_what_a_person_has_and_the_designs_have_not_is_said(small_plan, changes, said):
    assert said in words(small_plan(changes))
    assert words(small_plan(changes), own_plan=False) == ""


def test_a_plans_own_fans_are_named_and_how_its_panels_grow(small_plan):
    said = words(small_plan({"panel": [ROOF, ROOF | {"id": "shade"}], "fan": UNLIKE}), own=True)
    assert "east, west on 2 panels" in said
    assert "keep their ratio" in said
    assert "runs" in words(small_plan({"wiring": {"runs": [["roof", "east"]]}, "fan": UNLIKE[:1]}), own=True)


def test_a_thermostat_is_named_with_its_temperatures_and_a_battery_with_its_capacity(small_plan):
    said = words(small_plan({"thermostat": {}, "battery": {"capacity": "84 Wh", "fuse": "5 A"}}))
    assert "28 degC" in said
    assert "24 degC" in said
    assert "On the plan's battery, 84 Wh" in said
