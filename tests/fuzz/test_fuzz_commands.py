"""Whole commands on plans with spoilt figures: the answer is whole, strict, and null only where that is declared."""

from __future__ import annotations

import copy
import os
import re
from typing import Any

import matplotlib.figure
import pvlib
import pytest
from fuzzing import cases, check_outcome, guard, nulls, run, strict_json
from hypothesis import given
from hypothesis import strategies as st
from mutations import places, spoilt, toml
from small import SMALL, changed
from test_fuzz_plans import PLANS

#: Loaded before anything is watched: on their first import they ask the system what it is.
_LOADED = (matplotlib.figure, pvlib)
_MEASURE = re.compile(r"(-?[0-9.]+) (\S+)")


@st.composite
def other_figures(draw: st.DrawFn) -> dict[str, Any]:
    """Give a plan with some of its figures made larger or smaller, up to thirty times, or spoilt in one place."""
    if draw(st.integers(0, 3)) == 0:
        return draw(spoilt(PLANS, most=1))
    content = copy.deepcopy(PLANS[draw(st.integers(0, len(PLANS) - 1))])
    for way in places(content):
        table = content
        for step in way[:-1]:
            table = table[step]
        value = table[way[-1]]
        if draw(st.integers(0, 5)):
            continue
        factor = 10 ** draw(st.sampled_from([-1.5, -0.5, -0.1, 0.02, 0.2, 0.5, 1.5]))
        if isinstance(value, str) and (found := _MEASURE.fullmatch(value)):
            table[way[-1]] = f"{float(found[1]) * factor:.4g} {found[2]}"
        elif isinstance(value, float):
            table[way[-1]] = value * factor
    return content


_DAY = st.sampled_from(["01-01", "02-29", "03-21", "07-15", "12-31"])
_COMMANDS = st.one_of(
    st.builds(lambda day: ["run", "--day", day], _DAY),
    st.builds(lambda day: ["run", "--day", day, "--step", "10 min"], _DAY),
    st.just(["run"]),
    st.just(["run", "--budget"]),
    st.just(["checklist"]),
    st.builds(lambda light: ["checklist", "--irradiance", str(light)], st.integers(50, 1400)),
    st.builds(
        lambda light, warmth: ["meter", "--irradiance", str(light), "--temp-cell", str(warmth)],
        st.integers(1, 1400), st.integers(-40, 100),
    ),
    st.builds(
        lambda light: ["need", "--below", "32 degC", "--outside", "24 degC", "--sun", f"{light} W/m2"],
        st.integers(1, 1400),
    ),
    st.builds(lambda nights: ["night", "--nights", str(nights)], st.integers(1, 4)),
    st.builds(
        lambda month, oktas: ["airflow", "--month", str(month), "--oktas", str(oktas)],
        st.integers(1, 12), st.integers(0, 9),
    ),
    st.builds(
        lambda volts, amps: ["meter", "--panel-open", f"{volts} V", "--panel-short", f"{amps} A"],
        st.integers(-5, 40), st.floats(0, 5),
    ),
    st.builds(
        lambda volts, amps: ["meter", "--panel-joined", f"{volts} V/{amps} A"], st.integers(-5, 40), st.floats(0, 5)
    ),
    st.builds(lambda fans: ["size", "--fans", str(fans)], st.integers(1, 4)),
    st.just(["airflow", "--year"]),
    st.just(["compare"]),
    st.just(["report"]),
)  # fmt: skip

#: Places of null in answers as JSON, by the first word of the schema; each has its reason.
DECLARED: dict[str, set[str]] = {
    # A finding without a figure; a span of days outside the months of need; a house that no opening airs; light that
    # never comes.
    "run": {
        "findings[].value", "findings[].limit", "verdict.figures[].value", "totals.house.flows",
        *(f"totals.house.cases.{case}.{key}" for case in ("closed", "openings", "fans", "both")
          for key in ("need_mean", "need_rise")),
        *(f"totals.bands.{band}.{key}" for band in ("typical", "low", "high")
          for key in ("target_flow", "target_air_changes", "fans[].start_irradiance", "fans[].run_down_irradiance")),
    },
    # No water is needed, or none would be enough.
    "night": {"litres", "filling_days", "findings[].value", "findings[].limit"},
    # No air where no hour is asked for; inside temperature belongs to the hours of a year; a clear or a covered sky has
    # no gaps and no shadows.
    "airflow": {
        "verdict.figures[].value",
        "hours[].temp_inside", "skies[].hours[].temp_inside", "sunlit_share", "gap_level", "shadow_level",
        "skies[].sunlit_share", "skies[].gap_level", "skies[].shadow_level",
    },
    # Readings without a light given; nothing more to read. Findings without a figure.
    "diagnosis": {"irradiance", "temp_cell", "circuits[].next"},
    # No converter, no prices; a sky, or any light, that starts no fan; no option that will do; no hour of need, or none
    # that wants air; a finding without a figure.
    "size": {
        "choice", "verdict.figures[].value",
        *(f"options[].{key}" for key in ("share_at_target", "mean_flow", "findings[].value", "findings[].limit")),
        *(f"options[].{key}" for key in ("converter_part", "cost", "start_irradiance", "run_down_irradiance")),
        *(f"options[].{key}.{sky}" for key in ("starts", "stops", "by_month.N")
          for sky in ("clear", "N oktas", "overcast")),
    },
    # What one of two plans does not have.
    "compare": {"rows[].left", "rows[].right"},
    # A fan that no sun starts.
    "meter": {f"{place}{key}" for place in ("", "circuits[].", "circuits[].fans[].", "fans[].")
              for key in ("start_irradiance", "run_down_irradiance")},
    # No air is enough to keep a house cooler than it is outside; no standard for the use of the house.
    "need": {"flow", "air_changes", "otherwise[].flow", "rules.standard"},
    # A pole that nothing names.
    "pair": {"joins[].plus"},
    # A night has no clear sky to hold its light against; a file may know no wind and no cloud.
    "weather": {"calm_share", "hottest[].clear_sky_index", "hottest[].wind_speed",
                *(f"months[].{key}" for key in ("clear_sky_index", "oktas", "wind_speed", "calm_share"))},
    # Fans that no light starts.
    "orientation": {"start_irradiance", "grid[].above_start"},
    # Checks that are met, and whose published figure is right.
    "checks": {"checks[].why_missed", "checks[].why_wrong", "checks[].wrong"},
}  # fmt: skip
#: A small panel that looks at the horizon in the north, under fans that it never starts.
NEVER = changed(SMALL, {
    "panel.0.part": "panel-5w", "panel.0.tilt": 90, "panel.0.azimuth": 0, "fan.0.part": "fan-24v-120x38",
    "fan.1.part": "fan-12v-172x51",
})  # fmt: skip


NIGHT = """\
# latitude: 36.1
# longitude: -79.95
# altitude: 273
# stamp: end
time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC]
2023-06-01T01:00-05:00,0,0,0,20
2023-06-01T02:00-05:00,0,0,0,20.5
"""


def check_nulls(answer: dict[str, Any]) -> None:
    """Hold the places of null in an answer against those that are declared."""
    kind = answer["schema"].split("/")[0].removeprefix("solarvent.")
    found = {re.sub(r"\.\d+\b", ".N", place) for place in nulls(answer)}
    assert found <= DECLARED.get(kind, set())


@pytest.mark.parametrize(
    "words",
    [
        "run plan.toml", "meter plan.toml", "need plan.toml --below 10_degC --outside 24_degC", "size plan.toml",
        "need default --below 10_degC --outside 24_degC", "airflow plan.toml --month 12 --oktas 8",
        "airflow plan.toml --orient", "night plan.toml", "compare plan.toml default", "pair trio-right-splitter",
        "weather look night.csv", "about checks",
    ],
)  # fmt: skip
def test_what_never_happens_is_null_only_where_that_is_declared(tmp_path, words):
    (tmp_path / "plan.toml").write_bytes(toml(NEVER))
    (tmp_path / "night.csv").write_text(NIGHT, encoding="utf-8")
    args = [word.replace("_", " ") for word in words.split()]
    outcome = run([*args, "--format", "json"], tmp_path)
    assert outcome.code in (0, 3), outcome.err
    check_nulls(strict_json(outcome.out))


@cases("whole commands")
@given(
    content=other_figures(), command=_COMMANDS, form=st.sampled_from(["json", "json", "text"]), to_file=st.booleans()
)
def test_a_command_gives_a_whole_answer_or_a_reason(tmp_path_factory, content, command, form, to_file):
    folder = tmp_path_factory.getbasetemp() / "commands"
    folder.mkdir(exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    (folder / "plan.toml").write_bytes(toml(content))
    if command[0] == "size":
        # With a thermostat in the line the house is solved anew for each option, which takes its time.
        content.pop("thermostat", None)
    words = [command[0], "plan.toml", *command[1:]]
    words += ["default"] if command[0] == "compare" else []
    words += ["--format", form] if command[0] != "report" else []
    words += ["-o", "answer"] if to_file else []
    with guard("whole commands"):
        outcome = run(words, folder)
    check_outcome(words, outcome, folder)
    if outcome.code in (1, 2):
        assert os.listdir(folder) == ["plan.toml"]
        return
    text = (folder / "answer").read_text("utf-8") if to_file else outcome.out
    assert text.endswith("\n")
    if "json" in words:
        answer = strict_json(text)
        check_nulls(answer)
    elif command[0] != "report":
        title = content.get("title")
        text = text.replace(title, "") if isinstance(title, str) and title else text
        # A sentence may begin with it.
        assert re.search(r"\b(nan|NaN|inf|NaT|None(?! of these| is enough))\b", text) is None
