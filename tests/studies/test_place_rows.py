"""Rows of many places: each is what `run`, or `size`, says of that place alone.

SOLARVENT_MANY=long python -m pytest tests/studies/test_place_rows.py        100 random rows of each, not three
"""

import os
import random
from math import isnan, nan

import numpy as np
import pytest

from solarvent.findings.air import air_supply
from solarvent.findings.verdicts import find, verdict
from solarvent.simulation.simulate import simulate
from solarvent.studies import place_rows
from solarvent.studies.place_rows import FAILED, NUMBERS, ORDER, TEXTS, ManyStudy, work_out
from solarvent.studies.places import DesignRow, PlaceRow, read_designs, read_places
from solarvent.studies.size_designs import own_designs
from solarvent.studies.sizing import size
from solarvent.weather.conditions import plan_weather

ROWS = 100 if os.environ.get("SOLARVENT_MANY") == "long" else 3
CLOSE = 1e-8
CLIMATES = ("cool-maritime", "mediterranean", "hot-desert", "humid-continental", "tropical-savanna")
FANS = ("fan-12v-120x25", "fan-24v-120x25", "fan-24v-120x38")


def some_places(count, seed):
    chance = random.Random(seed)
    return [
        {
            "id": f"place-{number}", "latitude": round(chance.uniform(-45, 62), 2),
            "longitude": round(chance.uniform(-170, 170), 2), "climate": chance.choice(CLIMATES),
            "panel.tilt": chance.randrange(5, 80), "panel.soiling_ratio": round(chance.uniform(0.7, 1), 2),
            "house.length": f"{chance.uniform(2, 6):.1f} m", "house.use": chance.choice(["shed", "greenhouse", "coop"]),
            "thermostat": "{closes_at = '24 degC', opens_at = '20 degC'}" if chance.random() < 0.2 else None,
        }
        for number in range(count)
    ]  # fmt: skip


def some_designs(seed):
    chance = random.Random(seed)
    kinds = [(chance.choice(FANS), chance.choice([None, "buck-12v"])) for _ in range(2)]
    return [
        {"id": f"{fan} {part} {watts}", "watts": watts, "fan.part": fan, "wiring.converter": part}
        for fan, part in dict.fromkeys(kinds)
        for watts in sorted(chance.sample([10, 15, 20, 30, 50, 100], 2))
    ]


def test_each_row_is_what_run_says_of_that_place_alone(small_plan):
    plan = small_plan({"weather": {"climate": "mediterranean"}})
    places = read_places(some_places(ROWS, 11), plan)
    for place, row in zip(places, work_out(ManyStudy(plan, (), True), places), strict=True):
        assert row["verdict"] != FAILED, row["reason"]
        run = simulate(plan.with_(place.changes))
        findings = find(run)
        alone, supply = verdict(run, findings), air_supply(run)
        assert (row["verdict"], row["reason"]) == (alone.level, alone.sentence)
        assert row["findings"].split() == list(dict.fromkeys(one.code for one in findings if one.level != "note"))
        assert row["share_at_target"] == pytest.approx(supply.share, rel=CLOSE, nan_ok=True)
        assert row["mean_flow"] == pytest.approx(run.bands["typical"].target_flow, rel=CLOSE, nan_ok=True)
        starts = [limits.start_irradiance for limits in run.bands["typical"].thresholds.values()]
        assert row["start_irradiance"] == pytest.approx(float(np.max(starts)), rel=CLOSE, nan_ok=True)


@pytest.mark.long
def test_each_row_of_a_design_is_what_size_says_of_that_place_alone(small_plan):
    plan = small_plan({"weather": {"climate": "mediterranean"}})
    for number in range(ROWS):
        places = read_places(some_places(1, 100 + number), plan)
        designs = tuple(read_designs(some_designs(number), plan))
        chance = random.Random(number)
        rows = work_out(ManyStudy(plan, designs, False), places)
        chosen = chance.randrange(len(designs))
        row, design = rows[chosen], designs[chosen]
        assert row["verdict"] != FAILED, row["reason"]
        alone = plan.with_({**places[0].changes, **design.changes})
        own = alone.record.wiring.converter, alone.record.fan[0]
        [tried] = [one for one in own_designs(alone, [design.watts]) if (one.converter_part, one.fan) == own]
        [option] = size(alone, [tried]).options
        assert (row["verdict"], row["reason"]) == (option.verdict, option.reason)
        for name in ("share_at_target", "hours_at_target", "hours_running", "hours_needed", "mean_flow", "energy_used",
                     "fan_voltage_max", "start_irradiance"):  # fmt: skip
            assert row[name] == pytest.approx(getattr(option, name), rel=CLOSE, nan_ok=True), name
        assert row["findings"].split() == list(
            dict.fromkeys(finding.code for finding in option.findings if finding.level != "note")
        )


def test_run_and_size_agree_on_what_both_know(small_plan):
    plan = small_plan({"weather": {"climate": "cool-maritime"}})
    places = read_places([{"id": "a", "latitude": 52.0, "longitude": 0.0}], plan)
    designs = (DesignRow("as it is"), DesignRow("larger", watts=60.0))
    whole, sized = (work_out(ManyStudy(plan, designs, way), places) for way in (True, False))
    for one, other in zip(whole, sized, strict=True):
        for name in ("start_irradiance", "hours_needed", "hours_running", "fan_voltage_max", "panel_watts"):
            assert one[name] == pytest.approx(other[name], rel=1e-6), name
        # The house of a run is as warm as it is, that of a sizing as warm as the plan allows.
        assert one["mean_flow"] == pytest.approx(other["mean_flow"], rel=0.02)


WALL = {"kind": "wall", "azimuth": 200, "distance": "2 m", "height": "3 m", "width": "9 m"}
UNLIKE = (
    {}, {"panel.tilt": 80}, {"panel.soiling_ratio": 0.6}, {"target.start": "08:00"}, {"place.albedo": 0.6},
    {"obstacle": [WALL]}, {"house.length": "6 m"},
)  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize(("whole", "count"), [(True, 2), (False, len(UNLIKE))])
def test_designs_side_by_side_are_those_alone(small_plan, whole, count):
    plan = small_plan({"weather": {"climate": "mediterranean"}})
    places = read_places([{"id": "a", "latitude": 40.0, "longitude": 0.0}], plan)
    designs = tuple(DesignRow(str(number), one) for number, one in enumerate(UNLIKE[:count]))
    together = work_out(ManyStudy(plan, designs, whole), places)
    alone = [work_out(ManyStudy(plan, (one,), whole), places)[0] for one in designs]
    # A longer house changes its air alone, which is last in the list; the others are as unlike as they should be.
    assert len({row["energy_used"] for row in together}) == min(count, len(UNLIKE) - 1)
    for row, other in zip(together, alone, strict=True):
        assert {name: row[name] for name in TEXTS} == {name: other[name] for name in TEXTS}
        for name in NUMBERS:
            assert row[name] == pytest.approx(other[name], rel=CLOSE, nan_ok=True), (row["design"], name)


def test_the_weather_of_a_place_is_made_once_for_all_its_designs(small_plan, monkeypatch):
    plan = small_plan({"weather": {"climate": "mediterranean"}})
    places = read_places([{"id": "a", "latitude": 40.0, "longitude": 0.0}], plan)
    asked = []
    monkeypatch.setattr(place_rows, "plan_weather", lambda planned: asked.append(planned) or plan_weather(planned))
    designs = (DesignRow("a", watts=10.0), DesignRow("b", watts=30.0), DesignRow("c", {"fan.part": "fan-24v-120x38"}))
    work_out(ManyStudy(plan, designs, False), places)
    assert len(asked) == 1


def test_a_place_that_fails_is_a_row_with_its_reason(small_plan, tmp_path, monkeypatch):
    plan = small_plan()
    (tmp_path / "broken.csv").write_text("no weather\n", encoding="utf-8")
    rows = [
        {"id": "broken", "latitude": 51, "longitude": 0, "weather_file": str(tmp_path / "broken.csv")},
        {"id": "north", "latitude": 99, "longitude": 0},
        {"id": "good", "latitude": 51, "longitude": 0},
    ]
    places = read_places(rows, plan)
    broken, north, good = work_out(ManyStudy(plan, (DesignRow("d", watts=20.0),), False), places)
    assert (broken["verdict"], broken["cause"]) == (FAILED, "input")
    assert "broken.csv" in broken["reason"]
    assert (north["verdict"], north["cause"]) == (FAILED, "table")
    assert north["reason"] == 'latitude: "99" is no latitude; write degrees, from -90 to 90, like 51.5'
    assert good["verdict"] in ("fits", "short", "stop")

    def breaks(*_):
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr(place_rows, "_by_size", breaks)
    [row] = work_out(ManyStudy(plan, (DesignRow("d"),), False), places[2:])
    assert (row["verdict"], row["cause"]) == (FAILED, "program")
    assert row["reason"] == "this could not be worked out (ZeroDivisionError: by nothing)"


def test_a_row_has_the_columns_of_the_glossary_and_nine_figures():
    from solarvent.base.columns import COLUMNS

    place = PlaceRow(3, "a", 51.123456789012, nan)
    [row] = place_rows._rows_of(ManyStudy(None, (), True), place)
    row = place_rows._rounded(row)
    assert tuple(row) == ORDER
    assert set(ORDER) == {*TEXTS, *NUMBERS, "row"} <= set(COLUMNS)
    assert row["latitude"] == 51.1234568
    assert isnan(row["longitude"])
