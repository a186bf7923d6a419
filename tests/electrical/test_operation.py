"""Circuits through time: thresholds, states, energy; the sources of the figures are given at each check."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib.pvsystem import calcparams_desoto, i_from_v

from solarvent.base.errors import DomainError
from solarvent.electrical.operation import FanElectrical, fan_states, operate, point
from solarvent.electrical.start_light import thresholds
from solarvent.plan.house_records import Battery
from solarvent.plan.parts import Converter
from solarvent.wiring.circuit import Circuit, DiodeLaw, Joined, Leaf, Storage, Through

plain = settings(deadline=None, max_examples=25)
SLOPE = 1.004 * 36 * 1.380649e-23 * 298.15 / 1.602176634e-19
DIODE = DiodeLaw(1e-7, 0.03)


def reference_panel(watts, irradiance, temp_cell=None):
    """A 20 W 36-cell panel, scaled: Isc 1.17 A, Voc 22.70 V, Rs 1.05 ohm, Rsh 406 ohm, ideality 1.004.

    Published single-diode fit, doi 10.1186/s40807-018-0049-0, table 1. Cell = 25 degC + 0.03 K per W/m2.
    """
    irradiance = np.atleast_1d(np.asarray(irradiance, dtype=float))
    size, lit = watts / 20.0, np.maximum(irradiance, 1e-6)
    saturation = (1.17 * (1 + 1.05 / 406) - 22.70 / 406) / (math.expm1(22.70 / SLOPE) - math.expm1(1.17 * 1.05 / SLOPE))
    light = saturation * math.expm1(22.70 / SLOPE) + 22.70 / 406
    temperature = 25.0 + 0.03 * irradiance if temp_cell is None else temp_cell
    values = calcparams_desoto(lit, temperature, 0.0005 * 1.17, SLOPE, light, saturation, 406.0, 1.05)
    photocurrent, saturation_current, resistance_series, resistance_shunt, slope = values
    photocurrent = np.where(irradiance > 0, photocurrent, 0.0)
    return photocurrent * size, saturation_current * size, resistance_series / size, resistance_shunt / size, slope


def fan(name="a", volts=12.0, amps=0.3, start=6.5, stop=4.0, ratio=2.8, retrying=True, exponent=0.95, points=()):
    return FanElectrical(name, volts, amps, exponent, start, stop, ratio, retrying, points)


def side_by_side(*fans, lead=0.0, panels=("panel",)):
    legs = tuple(Through(Leaf(one.id), lead) for one in fans)
    source = Leaf(panels[0]) if len(panels) == 1 else Joined("parallel", tuple(Leaf(name) for name in panels))
    return Circuit(source, legs[0] if len(legs) == 1 else Joined("parallel", legs)), {one.id: one for one in fans}


def sweep_thresholds(watts, *fans):
    circuit, by_id = side_by_side(*fans)
    return thresholds(circuit, lambda irradiance: {"panel": reference_panel(watts, irradiance)}, by_id)


# Small cheap fans of one make, 4 % apart: tolerance of data sheets is 12-20 %.
FIRST = {"volts": 12.0, "amps": 0.15, "start": 6.5, "stop": 4.5, "ratio": 2.5}
SECOND = {"volts": 12.0, "amps": 0.156, "start": 6.7, "stop": 4.7, "ratio": 2.5}


def test_a_battery_feeds_a_fan_by_ohms_law():
    # A fan of 40 ohm behind 1 ohm of wire; poles, fuse and switch of the battery have 0.02 ohm together.
    circuit, fans = side_by_side(fan(exponent=1.0), lead=1.0)
    controller = Converter(kind="linear", output_voltage="13.8 V", needs_battery=True)
    battery = Battery(voltage="12 V", capacity="84 Wh", controller="pwm", fuse="5 A")
    stored = replace(circuit, storage=Storage(battery, controller, 12.6))
    found = point(stored, {"panel": reference_panel(20.0, [0.0, 800.0])}, fans, {"a": "turning"})
    np.testing.assert_allclose(found.fan_voltage[0], 12.6 * 40 / 41.02, rtol=1e-6)
    np.testing.assert_allclose(found.bus_current, 12.6 / 41.02, rtol=1e-6)


def test_near_sunset_one_of_two_retrying_fans_turns_alone():
    # Common practice, no source: of two alike fans on one small panel one is seen turning alone near sunset.
    first, second = fan("first", **FIRST), fan("second", **SECOND)
    found = sweep_thresholds(10.0, first, second)
    assert found["second"].run_down_irradiance > found["first"].run_down_irradiance + 50.0
    band = np.arange(found["first"].run_down_irradiance, found["second"].run_down_irradiance)
    assert band[0] == pytest.approx(141.0, abs=2.0)
    assert band[-1] == pytest.approx(215.0, abs=2.0)

    circuit, fans = side_by_side(first, second)
    evening = np.concatenate([[1000.0], np.arange(1000.0, 0.0, -1.0)])
    done = operate(circuit, {"panel": reference_panel(10.0, evening)}, fans)
    alone = done.running[0] & ~done.running[1]
    assert set(evening[alone]) == set(band)
    assert np.all(done.fan_voltage[0, alone] >= 4.5)


def test_in_a_sudden_dip_the_fan_of_the_higher_stop_voltage_stops_first():
    circuit, fans = side_by_side(fan("second", **SECOND), fan("first", **FIRST))
    done = operate(circuit, {"panel": reference_panel(10.0, [1200.0, 180.0])}, fans)
    assert done.running[:, 0].all()
    assert done.running[:, 1].tolist() == [False, True]


def test_of_two_alike_fans_the_one_on_the_longer_lead_stops_first():
    legs = (Through(Leaf("far"), 3.0), Through(Leaf("near"), 0.1))
    fans = {name: fan(name, **FIRST) for name in ("far", "near")}
    for members in (legs, legs[::-1]):
        circuit = Circuit(Leaf("panel"), Joined("parallel", members))
        done = operate(circuit, {"panel": reference_panel(10.0, [1200.0, 180.0])}, fans)
        assert done.running[:, 0].all()
        assert dict(zip(done.fan_ids, done.running[:, 1].tolist(), strict=True)) == {"far": False, "near": True}


def test_in_a_sudden_gap_of_the_clouds_the_fan_of_the_lower_start_voltage_starts_first():
    circuit, fans = side_by_side(fan("second", **SECOND), fan("first", **FIRST))
    panel = {"panel": reference_panel(10.0, [450.0])}
    assert operate(circuit, panel, fans).running[:, 0].tolist() == [False, True]
    # Alone, the other would have started too.
    circuit, fans = side_by_side(fan("second", **SECOND))
    assert operate(circuit, panel, fans).running.all()


FEW_VOLTS = {"volts": 5.0, "amps": 0.2, "start": 3.5, "stop": 2.6, "ratio": 2.6, "exponent": 1.0}
EASY_START = {"volts": 12.0, "amps": 0.5, "start": 7.5, "stop": 5.5, "ratio": 1.1, "exponent": 1.0}


def test_the_fan_whose_start_needs_less_light_is_first_though_it_needs_more_volts():
    # Far below its knee a panel gives the current of its light, so the least start current is the least light.
    few, easy = fan("few", **FEW_VOLTS), fan("easy", **EASY_START)
    light, needed = np.arange(1.0, 1000.0), {}
    for one in (few, easy):
        current = one.start_voltage / one.locked_rotor_resistance
        needed[one.id] = light[i_from_v(one.start_voltage, *reference_panel(20.0, light)) >= current][0]
    assert needed["easy"] < needed["few"] - 10.0
    assert sweep_thresholds(20.0, few, easy)["easy"].start_irradiance == needed["easy"]
    # Once it turns, the other starts at 436 W/m2 only.
    circuit, fans = side_by_side(few, easy)
    for lights in ([needed["few"] + 1.0], [0.0, 200.0, 430.0], np.arange(430.0)):
        done = operate(circuit, {"panel": reference_panel(20.0, lights)}, fans)
        assert done.running[:, -1].tolist() == [False, True], lights


KINDS = {
    "usb": FEW_VOLTS,
    "large usb": FEW_VOLTS | {"amps": 0.5},
    "small": FIRST,
    "middle": {},
    "easy": EASY_START,
    "24 V": {"volts": 24.0, "amps": 0.125, "start": 13.0, "stop": 9.0, "ratio": 2.5},
    "hard 24 V": {"volts": 24.0, "amps": 0.3, "start": 12.0, "stop": 8.0, "ratio": 3.5},
}


@pytest.mark.parametrize("number", range(24))
def test_one_step_from_dark_to_bright_starts_what_a_slow_dawn_starts(number):
    # Within a step the light is thought to rise slowly, so a dawn in a thousand steps is what one step has to tell.
    rng = np.random.default_rng(number)
    names = rng.choice(list(KINDS), rng.integers(2, 5), replace=False)
    unlike = [fan(name, **KINDS[name], retrying=bool(rng.random() < 0.8)) for name in names.tolist()]
    circuit, fans = side_by_side(*unlike, lead=float(rng.uniform(0.0, 2.0)))
    watts, bright = float(rng.choice([10.0, 20.0, 30.0, 50.0])), float(rng.uniform(200.0, 1000.0))
    jump, dawn = (
        operate(circuit, {"panel": reference_panel(watts, light, 40.0)}, fans).running[:, -1].tolist()
        for light in ([0.0, bright], np.linspace(0.0, bright, 1000))
    )
    assert jump == dawn


def test_panels_of_every_size_worked_out_together_start_what_each_starts_alone():
    # The small one starts neither fan, so that its dawn tells of no order; that of the large one starts "easy".
    circuit, fans = side_by_side(fan("middle"), fan("easy", **EASY_START), lead=0.5)
    sizes, light = (1.0, 3.25), [0.0, 300.0, 0.0, 250.0]
    found = fan_states(circuit, {"panel": reference_panel(10.0, light)}, fans, sizes).running
    alone = [operate(circuit, {"panel": reference_panel(10.0 * size, light)}, fans).running for size in sizes]
    np.testing.assert_array_equal(found, np.concatenate(alone, axis=1))
    assert found[:, [1, 5]].tolist() == [[False, False], [False, True]]


def test_a_retrying_fan_in_a_series_string_counts_as_held():
    light = {"one": reference_panel(20.0, np.arange(0.0, 1000.0)), "two": reference_panel(20.0, np.arange(0.0, 1000.0))}
    source = Joined("series", (Leaf("one"), Leaf("two")))
    string = Circuit(source, Joined("series", (Leaf("a"), Leaf("b"))))
    runs = [
        operate(string, light, {"a": fan("a", retrying=retrying), "b": fan("b", retrying=retrying)}).running
        for retrying in (True, False)
    ]
    np.testing.assert_array_equal(runs[0], runs[1])
    assert runs[0][:, -1].all()


def test_a_standing_retrying_fan_is_off_while_another_tries():
    first, second = fan("first", **FIRST), fan("second", **SECOND)
    together, alone = sweep_thresholds(10.0, first, second)["first"], sweep_thresholds(10.0, first)["first"]
    assert together.start_irradiance == alone.start_irradiance
    assert together.run_down_irradiance > alone.run_down_irradiance


def test_two_held_rotors_drag_each_other_down():
    found = sweep_thresholds(10.0, fan("first", **FIRST, retrying=False), fan("second", **SECOND, retrying=False))
    assert found["first"] == found["second"]
    circuit, fans = side_by_side(fan("first", **FIRST, retrying=False), fan("second", **SECOND, retrying=False))
    light = np.concatenate([np.arange(0.0, 1200.0), np.arange(1200.0, 0.0, -1.0)])
    running = operate(circuit, {"panel": reference_panel(10.0, light)}, fans).running
    np.testing.assert_array_equal(running[0], running[1])


@pytest.mark.parametrize("retrying", [True, False])
def test_dawn_start_comes_at_a_higher_irradiance_than_evening_run_down(retrying):
    found = sweep_thresholds(10.0, fan("first", **FIRST, retrying=retrying), fan("second", **SECOND, retrying=retrying))
    for one in found.values():
        assert one.start_irradiance > one.run_down_irradiance + 100.0


@pytest.mark.parametrize(
    ("watts", "fans", "start", "run_down"),
    [
        # Computed beforehand by another program from the same published panel, to some 3 %.
        (20.0, [fan()], 400.0, 95.0),
        (20.0, [fan("a", retrying=False), fan("b", retrying=False)], 790.0, 185.0),
        (10.0, [fan()], 790.0, 185.0),
        (10.0, [fan(amps=0.5, start=7.5, stop=5.5, ratio=1.1)], 600.0, 415.0),
    ],
)
def test_thresholds_agree_with_an_earlier_computation(watts, fans, start, run_down):
    found = sweep_thresholds(watts, *fans)["a"]
    assert found.start_irradiance == pytest.approx(start, rel=0.03)
    assert found.run_down_irradiance == pytest.approx(run_down, rel=0.05)


def test_fans_too_large_for_the_panel_never_start():
    assert math.isnan(sweep_thresholds(10.0, fan(amps=0.5, start=7.5, stop=5.5))["a"].start_irradiance)
    both = sweep_thresholds(10.0, fan("a", retrying=False), fan("b", retrying=False))
    assert all(math.isnan(one.start_irradiance) and math.isnan(one.run_down_irradiance) for one in both.values())


@pytest.mark.parametrize(
    ("watts", "volts", "amps", "expected"),
    [
        # The same earlier computation, at 1000, 600, 400, 300, 200 W/m2; panel coefficients were not given there.
        (10.0, 12.0, 0.5, [13.9, 8.2, 5.4, None, None]),
        (20.0, 12.0, 0.5, [18.7, 16.4, 11.0, 8.2, 5.4]),
        (10.0, 24.0, 0.25, [19.7, 19.6, 18.6, 15.9, 10.6]),
        (20.0, 24.0, 0.25, [20.2, 20.4, 20.2, 19.8, 18.6]),
    ],
)
def test_turning_voltages_agree_with_an_earlier_computation(watts, volts, amps, expected):
    circuit, fans = side_by_side(fan(volts=volts, amps=amps))
    panel = reference_panel(watts, [1000.0, 600.0, 400.0, 300.0, 200.0])
    got = point(circuit, {"panel": panel}, fans, {"a": "turning"}).fan_voltage[0]
    for mine, theirs in zip(got, expected, strict=True):
        if theirs is not None:
            assert mine == pytest.approx(theirs, rel=0.02)


def test_a_fan_starts_exactly_where_the_locked_line_brings_its_terminals_to_the_start_voltage():
    one = fan(points=())
    circuit, fans = side_by_side(one, lead=0.8)
    start = thresholds(circuit, lambda g: {"panel": reference_panel(20.0, g)}, fans)["a"].start_irradiance
    around = reference_panel(20.0, [start - 1.0, start])
    volts = point(circuit, {"panel": around}, fans, {"a": "held"}).fan_voltage[0]
    assert volts[0] < one.start_voltage <= volts[1]


def test_darkness_stops_all_fans_and_gives_nothing():
    circuit, fans = side_by_side(fan("a"), fan("b"))
    done = operate(circuit, {"panel": reference_panel(20.0, [1000.0, 0.0, 1000.0])}, fans)
    assert done.running.tolist() == [[True, False, True]] * 2
    assert done.bus_voltage[1] == 0.0
    assert not done.fan_voltage[:, 1].any()
    assert not done.panel_current[:, 1].any()


def test_between_attempts_a_retrying_fan_sees_the_open_circuit_voltage():
    circuit, fans = side_by_side(fan())
    panel = {"panel": reference_panel(20.0, [200.0])}
    done = operate(circuit, panel, fans)
    open_voltage = point(circuit, panel, fans, {"a": "open"}).open_circuit_voltage
    assert not done.running.any()
    np.testing.assert_allclose(done.fan_voltage_peak[0], open_voltage, rtol=1e-6)
    assert done.fan_voltage[0, 0] < done.fan_voltage_peak[0, 0]
    held = operate(circuit, panel, {"a": fan(retrying=False)})
    np.testing.assert_array_equal(held.fan_voltage, held.fan_voltage_peak)


def test_a_fan_that_starts_but_cannot_be_kept_is_hunting():
    # At the start voltage the turning fan would draw more than its locked-rotor line: it falls back at once.
    odd = fan(start=6.5, stop=6.4, ratio=0.5)
    circuit, fans = side_by_side(odd)
    done = operate(circuit, {"panel": reference_panel(20.0, np.arange(0.0, 400.0))}, fans)
    assert done.hunting.any()
    assert not (done.hunting & done.running).any()
    assert done.running[0, -1]


def test_measured_points_win_inside_their_range_and_anchor_the_law_outside():
    measured = fan(exponent=1.2, points=((12.0, 0.31), (6.0, 0.2), (9.0, 0.27)))
    np.testing.assert_allclose(measured.running_current(np.array([6.0, 7.5, 10.5, 12.0])), [0.2, 0.235, 0.29, 0.31])
    outside = measured.running_current(np.array([3.0, 15.0]))
    np.testing.assert_allclose(outside, [0.2 * 0.5**1.2, 0.31 * 1.25**1.2])
    assert measured.locked_rotor_resistance == pytest.approx(
        6.5 / (2.8 * float(measured.running_current(np.array(6.5))))
    )


def test_impossible_fans_are_refused():
    with pytest.raises(DomainError, match=r"a: 7 V to run down and 6.5 V to start are not in order"):
        fan(stop=7.0)
    with pytest.raises(DomainError, match="does not rise with the voltage"):
        fan(points=((6.0, 0.3), (12.0, 0.25)))
    with pytest.raises(DomainError, match="does not rise with the voltage"):
        fan(points=((0.0, 0.05), (12.0, 0.25)))
    assert fan(points=((0.5, 0.02), (12.0, 0.25))).running_current(np.array([0.5]))[0] == 0.02


def test_a_part_without_figures_is_refused():
    circuit, fans = side_by_side(fan("a"), fan("b"))
    with pytest.raises(DomainError, match="no fan is given for b"):
        operate(circuit, {"panel": reference_panel(20.0, 500.0)}, {"a": fans["a"]})
    with pytest.raises(DomainError, match="no panel is given for panel"):
        operate(circuit, {}, fans)


def test_interchangeable_fans_behave_as_the_same_fans_told_apart():
    alike = [fan("a"), fan("b"), fan("c")]
    light = np.abs(np.sin(np.linspace(0.0, 9.0, 400))) * 1300.0
    panel = {"panel": reference_panel(20.0, light)}
    circuit, fans = side_by_side(*alike, lead=0.5)
    together = operate(circuit, panel, fans)
    # A lead longer by a hair makes each its own group.
    legs = tuple(Through(Leaf(one.id), 0.5 + 1e-9 * k) for k, one in enumerate(alike))
    apart = operate(Circuit(circuit.source, Joined("parallel", legs)), panel, fans)
    np.testing.assert_array_equal(together.running, apart.running)
    np.testing.assert_allclose(together.fan_voltage, apart.fan_voltage, rtol=1e-5, atol=1e-6)


watts = st.floats(5.0, 100.0)
leads = st.floats(0.0, 2.0)
LIGHT = np.abs(np.sin(np.linspace(0.0, 6.0, 60))) * 1200.0


@plain
@given(watts, leads, st.floats(0.05, 2.0), st.booleans())
def test_more_wire_never_raises_the_voltage_of_the_fans_behind_it(size, lead, more, common):
    # In a leg of its own it may raise the voltage of the fan beside it, which the panel then has more current for.
    panel = {"panel": reference_panel(size, LIGHT)}
    states = {"a": "turning", "b": "held"}

    def volts(resistance):
        legs = (Leaf("a"), Leaf("b")) if common else (Through(Leaf("a"), resistance), Leaf("b"))
        load = Through(Joined("parallel", legs), resistance if common else 0.3)
        fans = {"a": fan("a"), "b": fan("b", amps=0.2)}
        return point(Circuit(Leaf("panel"), load), panel, fans, states).fan_voltage[: 2 if common else 1]

    assert np.all(volts(lead + more) <= volts(lead) + 1e-7)


@plain
@given(watts, watts, leads, leads, st.booleans(), st.booleans(), st.sampled_from(["parallel", "series"]))
def test_panel_power_is_fan_power_plus_losses(first, second, lead, trunk, diode, retrying, arrangement):
    branch = Through(Leaf("one"), lead, DIODE if diode else None)
    source = Through(Joined(arrangement, (branch, Through(Leaf("two"), 0.5 * lead, DIODE if diode else None))), trunk)
    circuit, fans = side_by_side(fan("a", retrying=retrying), fan("b", amps=0.1, start=6.0), lead=lead)
    circuit = Circuit(source, Through(circuit.load, 0.2, DIODE))
    panels = {"one": reference_panel(first, LIGHT), "two": reference_panel(second, 0.7 * LIGHT)}
    done = operate(circuit, panels, fans)
    made = np.sum(done.panel_voltage * done.panel_current, axis=0)
    used = np.sum(done.fan_voltage * done.fan_current, axis=0)
    np.testing.assert_allclose(made, used + done.cable_loss + done.diode_loss, rtol=1e-6, atol=1e-6)


@plain
@given(watts, st.floats(0.3, 1.0))
def test_two_equal_panels_in_parallel_equal_one_of_twice_the_size(size, share):
    light = share * LIGHT
    circuit, fans = side_by_side(fan("a"), fan("b", amps=0.5), panels=("one", "two"))
    pair = operate(circuit, {"one": reference_panel(size, light), "two": reference_panel(size, light)}, fans)
    single, _ = side_by_side(fan("a"), fan("b", amps=0.5))
    large = operate(single, {"panel": reference_panel(2 * size, light)}, fans)
    np.testing.assert_allclose(pair.bus_voltage, large.bus_voltage, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(2 * pair.panel_current[0], large.panel_current[0], rtol=1e-9, atol=1e-9)
    np.testing.assert_array_equal(pair.running, large.running)


@plain
@given(watts, leads)
def test_a_shaded_panel_in_parallel_never_raises_a_voltage_when_it_is_shaded_more(size, lead):
    circuit, fans = side_by_side(fan("a"), lead=lead, panels=("one", "two"))
    volts = [
        point(
            circuit,
            {"one": reference_panel(size, LIGHT), "two": reference_panel(size, share * LIGHT, 25.0 + 0.03 * LIGHT)},
            fans,
            {"a": "turning"},
        ).fan_voltage
        for share in (0.6, 0.3)
    ]
    assert np.all(volts[1] <= volts[0] + 1e-7)


@pytest.mark.parametrize("watts", [10.0, 20.0, 40.0])
def test_behind_a_converter_that_hunts_no_fan_turns(watts):
    # While it is off they have no supply, and when it comes back all try at once (common practice, no source).
    circuit, fans = side_by_side(fan("first", **FIRST), fan("second", **SECOND))
    buck = Converter(id="buck", kind="buck", output_voltage="12 V", cut_in="13.5 V", cut_out="13 V", headroom="1 V")
    behind = Circuit(circuit.source, Through(circuit.load, converter=buck))
    sun = np.concatenate([np.arange(0.0, 1000.0, 5.0), np.arange(1000.0, -1.0, -5.0)])
    done = operate(behind, {"panel": reference_panel(watts, sun)}, fans)
    hunts = done.converter_hunting[0]
    assert hunts.any()
    assert done.running.any()
    assert not done.running[:, hunts].any()


def in_order(fans, leads, order, panels):
    legs = tuple(Through(Leaf(fans[k].id), leads[k]) for k in order)
    source = Joined("parallel", tuple(Leaf(name) for name in panels))
    return Circuit(source, Joined("parallel", legs))


# Few start and stop voltages, so that ties are many.
unlike_fans = st.lists(
    st.tuples(st.sampled_from([6.0, 6.5]), st.sampled_from([4.0, 4.5]), st.floats(0.1, 0.5), st.floats(1.2, 4.0),
              st.booleans(), st.sampled_from([0.1, 0.1, 1.5])), min_size=2, max_size=4)  # fmt: skip


@settings(plain, max_examples=40)
@given(unlike_fans, st.floats(5.0, 40.0), st.randoms(use_true_random=False), st.integers(0, 99))
def test_the_order_of_fans_and_panels_changes_nothing(figures, watts, random, seed):
    fans = [
        fan(f"fan-{k}", 12.0, amps, start, stop, ratio, retrying)
        for k, (start, stop, amps, ratio, retrying, _) in enumerate(figures)
    ]
    leads = [lead for *_, lead in figures]
    by_id = {one.id: one for one in fans}
    light = np.random.default_rng(seed).uniform(0.0, 1000.0, 60)
    panels = {"roof": reference_panel(watts, light), "wall": reference_panel(0.6 * watts, light[::-1])}
    order = list(range(len(fans)))
    random.shuffle(order)
    first = operate(in_order(fans, leads, range(len(fans)), ["roof", "wall"]), panels, by_id)
    other = operate(in_order(fans, leads, order, ["wall", "roof"]), panels, by_id)
    rows = [other.fan_ids.index(name) for name in first.fan_ids]
    # Fans that are alike in all take each other's place.
    alike = [figures.count(one) > 1 for one in figures]
    if not any(alike):
        np.testing.assert_array_equal(other.running[rows], first.running)
        np.testing.assert_allclose(other.fan_voltage[rows], first.fan_voltage, rtol=1e-6, atol=1e-6)
    np.testing.assert_array_equal(other.running.sum(axis=0), first.running.sum(axis=0))
