"""Each option of a sizing against the same plan simulated alone: hours, air, energy, thresholds, voltages, findings."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from solarvent.electrical.panel_model import TYPICAL
from solarvent.findings import air, house, joints, light, starting, supply, wires
from solarvent.plan.connectors import read_families
from solarvent.plan.plan import load_plan
from solarvent.simulation.simulate import simulate
from solarvent.simulation.worst_case import coldest_air, worst_case
from solarvent.studies import sizing
from solarvent.studies.size_designs import base_fan, designs, own_designs, plan_of
from solarvent.studies.sizing import size, size_plan
from solarvent.studies.sky_day import under_sky
from solarvent.weather.conditions import plan_weather
from solarvent.weather.span import hours_of_need

CLIMATE = {"weather": {"climate": "cool-maritime"}, "target.months": [7]}
DOUBT = {"thermostat-hunts"}
CLEAR = {"target.months": [7]}
#: Needs a thermostat: it is warm in summer, and cool in the same afternoons under a cloud.
GREENHOUSE = {"house.use": "greenhouse", "thermostat": {"closes_at": "32 degC", "opens_at": "28 degC"}}
ROOF = {"id": "roof", "part": "panel-30w", "tilt": 35, "azimuth": 200}
SECOND = {"id": "shade", "part": "panel-20w", "tilt": 60, "azimuth": 120}
UNLIKE = [{"id": "east", "part": "fan-24v-120x38"}, {"id": "west", "part": "fan-24v-120x25", "wall_azimuth": 90}]
TWO_12 = [{"id": "east", "part": "fan-12v-120x25"}, {"id": "west", "part": "fan-12v-120x25"}]


def agrees(loaded, option):
    """Hold an option against the public way: one plan, one simulation."""
    planned = plan_of(option.design, loaded)
    run = simulate(planned, bands=(TYPICAL,), house=False)
    need, electrical = hours_of_need(planned, run.conditions.times), run.electrical
    assert option.hours_needed == need.sum()
    assert option.hours_running == pytest.approx(electrical.any_running[need].sum(), rel=1e-9)
    # With a thermostat the air of a run knows how warm the house is; that of a sizing does not.
    draught = 0.01 if loaded.record.thermostat else 1e-9
    assert option.mean_flow == pytest.approx(run.hours["flow"][need].mean(), rel=draught)
    assert option.energy_used == pytest.approx(electrical.fan_power[:, need].sum(), rel=1e-9)
    limits = run.bands["typical"].thresholds.values()
    for name in ("start_irradiance", "run_down_irradiance"):
        # The last fan to start and the first one to stop; NaN, where there is one, comes last of all.
        light = np.sort([getattr(limit, name) for limit in limits])[-1]
        assert getattr(option, name) == pytest.approx(light, rel=1e-12, nan_ok=True)
    worst = worst_case(run.circuits, coldest_air(planned, run.conditions.weather), planned.record.place.altitude)
    over = {fan.id: worst.turning[fan.id] / fan.maximum_voltage for fan in planned.record.fan}
    assert option.fan_voltage_max == pytest.approx(worst.turning[max(over, key=over.get)], rel=1e-9)
    # Which steps of the year are in doubt depends on the months that are looked at.
    assert {finding.code for finding in option.findings} - DOUBT == told(run, worst, option.design.own) - DOUBT


def told(run, worst, own):
    """Codes of what a sizing can tell, as a run finds them; that a weak panel may do worse is left out."""
    run = replace(run, bands={**run.bands, "low": run.bands["typical"]})
    peaks = dict(zip(worst.turning, run.electrical.fan_voltage_peak.max(axis=1), strict=True))
    findings = (
        *supply.voltage_findings(run.plan, worst, "metric", None, peaks),
        *starting.threshold_findings(run),
        *wires.thin_wire_findings(run.plan, run.harness),
        *supply.heat_and_voltage_findings(run.harness, worst),
        *supply.hunting_findings(run),
        *house.thermostat_findings(run, "metric"),
        *joints.wiring_findings(run.plan, read_families(run.plan.library), run.harness, every_joint=False),
        *supply.controller_findings(run.plan, run.harness),
    )
    if own:
        findings += (
            *supply.drop_findings(run.harness, run.circuits),
            *air.inlet_findings(run.plan, "metric"),
            *house.house_findings(run.plan, "metric"),
            *light.weather_findings(run.plan, run.conditions),
        )
    return {finding.code for finding in findings} - {"will-not-restart", "runs-in-cold-sun"}


def only(loaded, tried, watts, converter):
    (chosen,) = (one for one in tried if (one.panel_watts, one.converter) == (watts, converter))
    return size(loaded, [chosen], "50 % speed").options[0]


@pytest.mark.parametrize(
    ("part", "watts", "converter", "code"),
    [
        ("fan-12v-120x25", 10.0, "none", "over-voltage"),
        ("fan-12v-120x25", 10.0, "24 V fan", ""),
        ("fan-12v-120x25", 10.0, "12 V buck", "converter-hunts"),
        ("fan-12v-120x25", 50.0, "clamp", "converter-overheats"),
        ("fan-12v-120x25", 20.0, "own converter", ""),
        ("fan-usb-120", 10.0, "USB regulator", "converter-hunts"),
        ("fan-usb-120", 20.0, "5 V buck", "converter-hunts"),
    ],
)
def test_alike_fans_behind_each_converter_do_what_they_do_alone(small_plan, part, watts, converter, code):
    own = {"wiring.converter": "linear-12v"} if converter == "own converter" else {}
    loaded = small_plan({**CLIMATE, **own})
    option = only(loaded, designs(loaded, base_fan(loaded, part, False), [2], [watts]), watts, converter)
    agrees(loaded, option)
    assert not code or code in {finding.code for finding in option.findings}


@pytest.mark.parametrize(
    ("changes", "converter"),
    [
        ({"fan": UNLIKE, "opening.0.wall_azimuth": 270}, "none"),
        ({"fan": UNLIKE, "panel": [ROOF, SECOND], "wiring.layout": "one-each"}, "none"),
        ({"fan": TWO_12, "panel": [ROOF, SECOND]}, "clamp"),
        ({"fan": TWO_12, "wiring.layout": "series"}, "none"),
        ({"fan": [{"id": "desk", "part": "fan-usb-120"}], "wiring.converter": "panel-usb-board-latching"},
         "own converter"),
        ({"panel": [ROOF | {"part": "panel-50w", "lit_share_of_worst_cell": 0.2}]}, "none"),
    ],
    ids=["unlike fans", "one panel each", "two panels", "a chain", "latching", "half in shadow"],
)  # fmt: skip
def test_a_plans_own_fans_and_panels_do_what_they_do_alone(small_plan, changes, converter):
    loaded = small_plan({**CLEAR, **changes})
    agrees(loaded, only(loaded, own_designs(loaded, [15.0]), 15.0, converter))


@pytest.mark.parametrize("own", [False, True], ids=["alike fans", "one panel each"])
def test_a_thermostat_is_in_the_line_of_every_design(small_plan, own):
    several = {"panel": [ROOF, SECOND], "fan": UNLIKE, "wiring.layout": "one-each"} if own else {}
    loaded = small_plan({**CLIMATE, **GREENHOUSE, **several})
    tried = own_designs(loaded, [15.0]) if own else designs(loaded, loaded.record.fan[0], [2], [15.0])
    option = only(loaded, tried, 15.0, "none")
    agrees(loaded, option)
    assert 5 < option.hours_line_open < option.hours_needed - 5


def test_with_a_thermostat_the_named_skies_are_those_of_the_same_day_alone(small_plan):
    loaded = small_plan({**CLIMATE, **GREENHOUSE})
    option = only(loaded, designs(loaded, loaded.record.fan[0], [2], [15.0]), 15.0, "none")
    found = size(loaded, [option.design], "50 % speed")
    assert list(option.by_month) == [found.month]
    planned = plan_of(option.design, loaded)
    run = under_sky(planned, plan_weather(planned), found.month, 5, bands=(TYPICAL,)).run
    hours = run.conditions.times[run.electrical.any_running > 0]
    first, last = (hour.hour + hour.minute / 60 for hour in (hours[0], hours[-1]))
    assert option.starts["5 oktas"] == pytest.approx(first, abs=1 / 6 + 1e-9)
    assert option.stops["5 oktas"] == pytest.approx(last + 1 / 6, abs=1 / 6 + 1e-9)


def test_hours_in_which_it_is_cool_are_no_fault_of_the_panel(small_plan):
    warm = {"house.use": "greenhouse", "thermostat": {"closes_at": "40 degC", "opens_at": "38 degC"}}
    loaded = small_plan({**CLIMATE, **warm, "wiring.lead.wire": "14 AWG", "wiring.branch.wire": "14 AWG"})
    option = only(loaded, designs(loaded, loaded.record.fan[0], [2], [100.0]), 100.0, "none")
    found = size(loaded, [option.design], "50 % speed").options[0]
    assert (found.verdict, found.limit) == ("short", "thermostat")
    assert "too cool inside" in found.reason


def test_a_panel_too_large_for_its_leads_is_said_to_be_in_the_sentence_on_it(small_plan):
    loaded = small_plan(CLIMATE)
    tried = designs(loaded, loaded.record.fan[0], [2], [50.0, 100.0])
    small, large = (option for option in size(loaded, tried, "50 % speed").options if option.design.converter == "none")
    # 1.56 x Isc (NEC 690.8) is 4.7 A of 50 W and 9.3 A of 100 W; the library trusts 18 AWG with 7 A.
    assert "wire-thin" not in {finding.code for finding in small.findings}
    (lead,) = (one for one in large.findings if (one.code, one.part) == ("wire-thin", "main-lead"))
    assert (lead.level, lead.limit) == ("stop", 7.0)
    assert lead.value == pytest.approx(9.3, abs=0.2)
    assert (small.verdict, large.verdict, large.limit) == ("fits", "stop", "wiring")
    assert "18 AWG may carry 7 A" in large.reason


def test_behind_a_converter_of_too_few_volts_the_rotors_are_not_to_blame():
    # The 24 V fans of the worked example start at 13 V, which 12 V never are, however large the panel.
    found = size_plan(load_plan().with_({"wiring.converter": "buck-12v"}), watts=(100.0,))
    (behind,) = [option for option in found.options if option.design.converter_part == "buck-12v"]
    assert (behind.verdict, behind.limit) == ("stop", "start")
    assert "the converter never gives the start voltage" in behind.reason


def test_processes_that_share_the_work_give_the_same_options(small_plan, monkeypatch):
    loaded = small_plan(CLEAR)
    tried = {"watts": [5.0, 10.0, 20.0, 30.0, 50.0], "wires": ["16AWG", "20AWG"], "tilts": [10.0, 40.0]}
    alone = size_plan(loaded, 1, fan="fan-12v-120x25", **tried, workers=4)
    assert len(alone.options) == 80
    monkeypatch.setattr(sizing, "MANY", 80)
    shown = []
    shared = size_plan(loaded, 1, fan="fan-12v-120x25", **tried, workers=2, progress=partial(shown_in, shown))
    # NaN, where a fan never starts, is not equal to itself; in words it is.
    assert repr(shared) == repr(alone)
    assert len(shown) == 80
    assert [option.design for option in shared.options] == [option.design for option in alone.options]


def shown_in(shown, every):
    for one in every:
        shown.append(one)
        yield one
