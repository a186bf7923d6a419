"""The text and data of a sizing, on options made up for it."""

import json

import numpy as np
import pytest

from solarvent.report.layout import Frame
from solarvent.report.size_text import render_size, size_csv, size_json
from solarvent.studies.size_designs import base_fan, designs, own_designs
from solarvent.studies.sizing import size


@pytest.fixture(scope="module")
def loaded(small_plan):
    return small_plan({"weather": {"climate": "cool-maritime"}})


@pytest.fixture(scope="module")
def found(loaded):
    return size(loaded, designs(loaded, base_fan(loaded, "fan-12v-120x25", False), [1, 2], [5.0, 30.0]), "50 % speed")


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_text_fits_a_plain_terminal(loaded, found, system, full):
    text = render_size(loaded.record, found, Frame(system, "a note", full=full))
    assert max(map(len, text.splitlines())) <= 80
    assert "a note" in text
    assert ("cfm" in text) == (system == "us")
    assert "nan" not in text


def test_the_choice_is_marked_once(loaded, found):
    text = render_size(loaded.record, found, Frame(full=True))
    marked = [line for line in text.splitlines() if line.startswith("->")]
    assert len(marked) == 1
    chosen = found.options[found.choice]
    assert f"{chosen.design.panel_watts:g} W" in marked[0]


def test_what_never_happens_is_null_in_json_and_empty_in_csv(found):
    data = json.loads(size_json("a plan", found))
    for option, row in zip(found.options, data["options"], strict=True):
        assert (row["start_irradiance"] is None) == np.isnan(option.start_irradiance)
        assert row["cost"] is None
    assert "nan" not in size_csv(found)


def test_without_a_safe_option_it_says_so(loaded):
    fan = base_fan(loaded, "fan-12v-172x51", False)
    nothing = size(loaded, designs(loaded, fan, [6], [5.0]), "50 % speed")
    assert nothing.choice is None
    assert "every one says stop" in render_size(loaded.record, nothing, Frame())
    assert json.loads(size_json("a plan", nothing))["choice"] is None


def test_a_plans_own_fans_and_panels_are_all_named(small_plan):
    panels = [{"id": name, "part": part, "tilt": 35, "azimuth": 200} for name, part in
              (("roof", "panel-20w"), ("shade", "panel-10w"))]  # fmt: skip
    fans = [{"id": "east", "part": "fan-24v-120x25"}, {"id": "west", "part": "fan-24v-120x38"}]
    own = small_plan({"panel": panels, "fan": fans, "wiring.layout": "one-each", "target.months": [7]})
    found = size(own, own_designs(own, [50.0]), "50 % speed")
    text = " ".join(render_size(own.record, found, Frame(full=True)).split())
    assert "50 + 25 W panels, 1 x 24 V axial fan, 120 x 25 mm + 1 x 24 V axial fan, 120 x 38 mm, easy to start" in text
    (option,) = json.loads(size_json("a plan", found))["options"]
    assert option["as_wired"]
    assert option["all_panel_watts"] == pytest.approx([50.0, 25.0], rel=0.01)
    assert option["fan_parts"] == ["fan-24v-120x25", "fan-24v-120x38"]
    assert option["energy_used"] > 0


def test_one_count_of_watts_is_not_repeated_in_every_line(loaded):
    many = size(loaded, designs(loaded, loaded.record.fan[0], [1, 2], [20.0]), "50 % speed")
    lines = render_size(loaded.record, many, Frame(full=True)).splitlines()
    assert any(line.lstrip("->* ").startswith("2 fans  SHORT") for line in lines)
