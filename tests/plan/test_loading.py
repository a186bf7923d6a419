"""Reading a plan: what is right is read, and every mistake is told in one plain line with what to write."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import PartError, PlanError
from solarvent.plan.checking import check_plan, place
from solarvent.plan.library import Library
from solarvent.plan.plan import embedded_plan_path, load_plan
from solarvent.plan.plan_record import plan_schema
from solarvent.wiring.harness import build_harness

DATA = Path(__file__).parents[1] / "data"
BROKEN = DATA / "broken"
GOOD = tomllib.loads((DATA / "good_plan.toml").read_text(encoding="utf-8"))

#: Broken plan -> words that stand in its lines, one line a mistake, in order.
EXPECTED: dict[str, list[str]] = tomllib.loads((DATA / "broken_expected.toml").read_text(encoding="utf-8"))


def mistakes(path: Path) -> list[str]:
    """Read a plan and its wiring; give the lines that tell what is wrong, with the path cut to the file's name."""
    with pytest.raises(PlanError, match=r"\S") as caught:
        build_harness(load_plan(path))
    return [str(problem).replace(str(path), path.name) for problem in caught.value.problems]


def with_change(*steps: Any, value: Any) -> dict[str, Any]:
    """Copy the good plan with one value changed."""
    plan = tomllib.loads((DATA / "good_plan.toml").read_text(encoding="utf-8"))
    table: Any = plan
    for step in steps[:-1]:
        table = table[step]
    table[steps[-1]] = value
    return plan


# Broken files


@pytest.mark.parametrize("name", EXPECTED)
def test_a_broken_plan_tells_its_mistakes(name: str) -> None:
    lines = mistakes(BROKEN / f"{name}.toml")
    assert len(lines) == len(EXPECTED[name])
    for line, words in zip(lines, EXPECTED[name], strict=True):
        assert words in line


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"facing": "south"}, '"roof".facing: this key is not known; write azimuth, in degrees from north: '),
        ({"azimuth": "south"}, '"roof".azimuth: must be a plain number, not "south"; write it in degrees from north: '),
    ],
)
def test_a_direction_in_words_is_told_in_degrees(change: dict[str, Any], words: str) -> None:
    content = with_change("panel", 0, value={**GOOD["panel"][0], **change})
    with pytest.raises(PlanError, match="south 180") as caught:
        check_plan(content, Library())
    assert words in str(caught.value)


def test_a_path_with_backslashes_is_told_how_to_be_written(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('[weather]\nfile = "C:\\data\\year.csv"\n', encoding="utf-8")
    with pytest.raises(PlanError, match=r"line 2.*write paths with /"):
        load_plan(plan)


@pytest.mark.parametrize("wrong", [5, ["plan.toml"], {"title": "shed"}])
def test_what_is_no_path_is_told_as_a_mistake_of_the_plan(wrong: Any) -> None:
    with pytest.raises(PlanError, match="content goes to plan_from"):
        load_plan(wrong)
    with pytest.raises(PlanError, match="no mapping of places"):
        load_plan("default").with_(5)  # type: ignore[arg-type]


def test_every_broken_plan_is_in_the_table_and_says_what_is_wrong() -> None:
    files = sorted(BROKEN.iterdir())
    assert [file.stem for file in files] == sorted(EXPECTED)
    assert len(files) >= 30
    assert all(file.read_bytes().startswith(b"# Broken on purpose: ") for file in files)


@pytest.mark.parametrize("name", EXPECTED)
def test_messages_are_in_our_own_plain_words(name: str) -> None:
    for line in mistakes(BROKEN / f"{name}.toml"):
        assert len(line.splitlines()) == 1
        assert line.isprintable()
        assert len(line) < 260
        assert not re.search(
            r"input should|\b(pydantic|validation|traceback|errno|none|dict|class|value error)\b", line, re.I
        )


def test_a_file_with_four_mistakes_reports_four() -> None:
    assert len(mistakes(BROKEN / "four_mistakes.toml")) == 4


def test_a_file_of_two_megabytes_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "huge.toml"
    file.write_bytes(b"# filler\n" * 230_000)
    (line,) = mistakes(file)
    assert line.startswith("huge.toml: the file has more than 1,000,000 bytes")


def test_a_folder_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    assert mistakes(tmp_path) == [f"{tmp_path.name}: this is a folder; name a .toml file in it"]
    assert mistakes(tmp_path / "plan.toml") == ["plan.toml: there is no such file; check the path"]
    (tmp_path / "my-plan.toml").touch()
    for slip in ("my-plan", "my-pln.toml"):
        assert mistakes(tmp_path / slip) == [f'{slip}: there is no such file; did you mean "my-plan.toml"?']


# Good files


@pytest.mark.parametrize("name", ["good_plan", "good_runs"])
def test_the_plans_that_the_broken_ones_are_copies_of_are_good(name: str) -> None:
    loaded = load_plan(DATA / f"{name}.toml")
    assert {"roof", "east", "west"} <= set(build_harness(loaded).parts)
    assert loaded.path == DATA / f"{name}.toml"


@pytest.mark.parametrize("name", ["default", "faulty", "coop"])
def test_the_shipped_plans_can_be_read(name: str) -> None:
    assert embedded_plan_path(name).is_file()
    loaded = load_plan(name)
    assert len(loaded.record.fan) == 3
    assert len(build_harness(loaded).joins) >= 6


def test_without_a_file_the_worked_example_is_read() -> None:
    assert load_plan().record == load_plan("default").record
    assert load_plan().record.title.startswith("Bramble Row")


def test_the_worked_example_stays_below_the_limits_of_its_fans() -> None:
    plan = load_plan().record
    (panel,) = plan.panel
    coldest = panel.v_oc * (1 + panel.beta_voc * (plan.place.record_low - 25))
    assert all(coldest < fan.maximum_voltage for fan in plan.fan)
    holes = sum(fan.size**2 for fan in plan.fan)
    assert sum(opening.area * opening.free_share for opening in plan.opening) > 1.5 * holes


def test_the_faulty_twin_is_the_same_house_in_the_same_place() -> None:
    good, faulty = load_plan().record, load_plan("faulty").record
    assert (good.place, good.house, good.weather, good.target) == (
        faulty.place,
        faulty.house,
        faulty.weather,
        faulty.target,
    )
    assert [part.id for _, part in good.parts()] == [part.id for _, part in faulty.parts()]


def test_words_of_a_plan_lead_to_records() -> None:
    loaded = load_plan()
    assert loaded.wire("18 AWG").ampacity == 7.0
    assert loaded.cover(loaded.record.house.cover).transmittance > 0.5
    assert loaded.opening("gravity-shutter").opening_pressure == 10.0
    assert loaded.diode("schottky-3a").slope_voltage < 0.1


# The library under the plan


def test_figures_of_the_plan_win_over_the_library() -> None:
    plan = check_plan(with_change("fan", 0, "start_voltage", value="11 V"), Library())
    assert plan.fan[0].start_voltage == 11.0
    assert plan.fan[1].start_voltage == 13.0


def test_a_plate_in_the_plan_replaces_the_whole_plate_of_the_library() -> None:
    content = with_change("panel", 0, "v_oc", value="21.4 V")
    content["panel"][0] |= {"i_sc": "1.05 A", "v_mp": "17.6 V", "i_mp": "0.97 A"}
    (panel,) = check_plan(content, Library()).panel
    assert (panel.v_oc, panel.watts) == (21.4, None)
    assert panel.width == pytest.approx(0.34), "what is no plate stays"


def test_an_own_folder_of_parts_is_laid_over(tmp_path: Path) -> None:
    (tmp_path / "panels.toml").write_text('parts_version = 1\n[panel-20w]\nwatts = "19 W"\n', encoding="utf-8")
    assert load_plan(DATA / "good_plan.toml", tmp_path).record.panel[0].watts == 19.0


def test_a_broken_entry_of_an_own_folder_is_told_with_its_place(tmp_path: Path) -> None:
    text = 'parts_version = 1\n[single-glass]\ntransmittance = 85\nu_value = "6 W"\n'
    (tmp_path / "covers.toml").write_text(text, encoding="utf-8")
    with pytest.raises(PlanError, match="covers") as caught:
        check_plan(with_change("house", "cover", value="single-glass"), Library(tmp_path))
    assert [str(problem) for problem in caught.value.problems] == [
        'covers "single-glass".transmittance: 85 is out of range; it must be at most 1; it is a share: 0.85 for 85 %',
        'covers "single-glass".u_value: "6 W" is a power; a heat transfer is wanted; use one of: W/m2K, Btu/h ft2 F',
    ]
    with pytest.raises(PartError, match='covers "single-glass"'):
        load_plan(DATA / "good_plan.toml", tmp_path).cover("single-glass")


# Wording


def test_a_place_is_counted_from_one_and_carries_the_id() -> None:
    assert place(("fan", 1, "size"), GOOD) == 'fan[2] "west".size'
    assert place(("fan", 7), GOOD) == "fan[8]"
    assert place(("nothing", 0, "x"), GOOD) == "nothing[1].x"


@pytest.mark.parametrize(
    ("steps", "value", "said"),
    [
        (("panel", 0, "cells_in_series"), True, "panel[1] \"roof\".cells_in_series: must be a whole number, not true"),
        (("place", "latitude"), True, "place.latitude: must be a plain number, not true"),
        (("place", "latitude"), 10**400, "place.latitude: "),
        (("house", "length"), 10**400, "house.length: this number has no unit"),
        (("title",), "x" * 30_000, "title: the text is too long; use at most 20000 characters"),
        (("screen",), {"saving": 1.0}, "screen.saving: 1.0 is out of range; it must be less than 1"),
        (("fan",), [], "fan: 0 values stand here; give at least 1"),
        (("fan",), ["east"], "fan[1]: must be a table, not \"east\"; begin it with [[fan]]"),
        (("wiring", "runs"), "roof", "wiring.runs: must be a list, not \"roof\"; put it in [ ]"),
        (("wiring", "lead"), {"lenght": "3 m"}, 'lead.lenght: this key is not known; did you mean "length"?'),
        (("panel", 0, "single_diode"), {"I_L_ref": "1 A"}, "panel[1] \"roof\".single_diode.I_o_ref: this is missing"),
        (("panel", 0, "outlet"), {"famly": "barrel"}, 'outlet.famly: this key is not known; did you mean "family"?'),
    ],
)  # fmt: skip
def test_a_wrong_value_is_told_in_plain_words(steps: tuple, value: Any, said: str) -> None:
    with pytest.raises(PlanError, match=r"\S") as caught:
        check_plan(with_change(*steps, value=value), Library())
    assert any(said in str(problem) for problem in caught.value.problems), str(caught.value)


ANYTHING = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=12),
        st.sampled_from(["3 m", "12 V", "panel-20w", "18 AWG", "roof", "shared", "2 1/h", 10**400]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["id", "part", "length", "wire", "x"]), inner, max_size=3),
    ),
    max_leaves=6,
)
PLACES = [
    *((section,) for section in GOOD),
    *(("place", key) for key in ("latitude", "timezone", "altitude", "new")),
    *(("house", key) for key in ("length", "cover", "shape")),
    *(("weather", key) for key in ("file", "clear_sky", "embedded")),
    *(("panel", 0, key) for key in ("id", "part", "v_oc", "single_diode", "outlet", "tilt", "behind")),
    *(("fan", 1, key) for key in ("id", "part", "curve", "readings", "start_voltage", "standing", "outlet_opening")),
    *(("opening", 0, key) for key in ("part", "area")),
    *(("wiring", key) for key in ("layout", "runs", "lead", "branch", "blocking_diode", "panels")),
]


@given(st.sampled_from(PLACES), ANYTHING)
@settings(max_examples=250, deadline=None)
def test_whatever_stands_in_a_plan_it_is_read_or_told(steps: tuple, value: Any) -> None:
    try:
        check_plan(with_change(*steps, value=value), Library())
    except PlanError as error:
        told = [str(problem) for problem in error.problems]
    else:
        told = []
    assert all(line.isprintable() and len(line) < 600 for line in told)


# The schema for editors


def test_the_schema_asks_for_no_key_that_the_library_may_lend() -> None:
    schema = plan_schema()
    assert schema["required"] == ["place", "weather", "house", "panel", "fan", "wiring"]
    assert "required" not in schema["$defs"]["Fan"]
    assert schema["$defs"]["Fan"]["properties"]["start_voltage"]["examples"] == ["12 V"]


def test_every_key_of_the_schema_says_what_it_means():
    schema = plan_schema()
    tables = {**schema["$defs"], "": schema}
    silent = [f"{name}.{key}" for name, table in tables.items() for key, entry in table.get("properties", {}).items()
              if len(entry.get("description", "")) < 5]  # fmt: skip
    assert silent == []
