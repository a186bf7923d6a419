"""Converters: the stable point, and figures at the input."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import DomainError
from solarvent.electrical.converter import OFF_CONDUCTANCE, ConverterLaw, input_side
from solarvent.electrical.intersection import intersect
from solarvent.electrical.load import LoadTable
from solarvent.electrical.panel_source import PanelSource

plain = settings(deadline=None, max_examples=60)
CASES = 1000
LOAD = np.linspace(0.0, 30.0, 601)


def random_cases():
    """Panels of 5 to 50 W in 50 to 1100 W/m2, constant powers from 2 to 130 % of what they can give."""
    rng = np.random.default_rng(20)
    size, light = rng.uniform(0.25, 2.5, CASES), rng.uniform(0.05, 1.1, CASES)
    slope = rng.uniform(0.85, 1.05, CASES)
    panel = PanelSource(1.17 * size * light, 2e-11 * size, 1.05 / size, 406.0 / size / light, slope)
    return panel, rng.uniform(0.02, 1.3, CASES) * 20.0 * size * light, rng.uniform(4.0, 9.0, CASES)


def seen(power, cut_out):
    """The load of constant power as a converter shows it: 5 V into a resistor that takes the power."""
    law = ConverterLaw("buck", 5.0, cut_in=cut_out + 0.5, cut_out=cut_out, efficiency=((0.0, 1.0),))
    return input_side(law, LOAD, LOAD * power / 25.0, 30.0)


def settled_in_time(panel, power, cut_out, seconds=0.12, steps=12_000):
    """Voltage of a capacitor at the input, from the open circuit on; Euler steps of ten microseconds.

    The capacitor, 100 uF for each ampere of the panel, makes all cases equally quick: within the 0.12 s each has
    settled, or fallen. A larger one only takes longer.
    The converter is on until the voltage falls below the cut-out; there it counts as fallen.
    """
    volts = panel.voltage_at(np.zeros(CASES))[0]
    fallen, step = np.zeros(CASES, dtype=bool), seconds / steps
    for _ in range(steps):
        given = given_current(panel, volts)
        volts = volts + step / (1e-4 * panel.photocurrent) * (given - np.where(fallen, 0.0, power / volts))
        fallen |= volts < cut_out
        volts = np.maximum(volts, cut_out - 0.1)
    return volts, fallen


def given_current(panel, volts, turns=4):
    """Current of the panel by Newton steps in the diode voltage, written out here."""
    diode = volts + panel.resistance_series * panel.photocurrent * 0.5
    for _ in range(turns + 6):
        grown = panel.saturation_current * np.exp(np.minimum(diode / panel.nNsVth, 60.0))
        current = panel.photocurrent - grown - diode / panel.resistance_shunt
        slope = -grown / panel.nNsVth - 1.0 / panel.resistance_shunt
        diode = diode - (diode - panel.resistance_series * current - volts) / (1.0 - panel.resistance_series * slope)
    return current


def table_of(side):
    """What a converter makes of its load, as a table without fans."""
    return LoadTable(side.voltage, side.current, np.zeros((0, 2, len(side.voltage))))


@pytest.fixture(scope="module")
def cases():
    panel, power, cut_out = random_cases()
    nodes = [seen(p, v) for p, v in zip(power, cut_out, strict=True)]
    found = np.empty((2, CASES))
    for k, side in enumerate(nodes):
        one = PanelSource(
            *(np.atleast_1d(np.broadcast_to(value, CASES)[k]) for value in list(vars(panel).values())[:5])
        )
        found[:, k] = np.ravel(intersect(one, table_of(side)))
    return panel, power, cut_out, found


def test_the_chosen_point_is_the_one_that_a_capacitor_settles_to_in_a_thousand_cases(cases):
    panel, power, cut_out, (volts, _) = cases
    in_time, fallen = settled_in_time(panel, power, cut_out)
    # Within 1 % of the most that the panel can give, settling takes far longer than is followed.
    most = np.max([v * given_current(panel, np.full(CASES, v)) for v in np.linspace(8.0, 24.0, 161)], axis=0)
    clear = np.abs(power / most - 1.0) > 0.01
    on = volts >= cut_out
    assert clear.sum() > 950
    np.testing.assert_array_equal(on[clear], ~fallen[clear])
    assert on.sum() > 600
    assert fallen.sum() > 150
    np.testing.assert_allclose(volts[clear & on], in_time[clear & on], atol=5e-3)


def test_the_chosen_point_is_stable_by_its_slope(cases):
    panel, power, cut_out, (volts, amps) = cases
    on = volts >= cut_out
    np.testing.assert_allclose(amps[on], given_current(panel, volts)[on], rtol=1e-6)
    up = given_current(panel, volts + 1e-4) - given_current(panel, volts - 1e-4)
    # The panel's current falls faster with the voltage than that of the load of constant power.
    assert (up / 2e-4 < -power / volts**2)[on].all()


def test_no_point_of_higher_voltage_is_passed_over(cases):
    panel, power, cut_out, (volts, _) = cases
    for share in np.linspace(0.001, 1.0, 60):
        above = volts + share * (26.0 - volts)
        held = given_current(panel, above) >= power / above
        assert not (held & (volts >= cut_out)).any()


def test_many_steps_at_once_find_what_each_finds_alone():
    # From the dark, where nothing is held, to full sun, and one light that is missing.
    light = np.array([0.0, 0.2, 0.45, np.nan, 0.7, 1.0])
    panel = PanelSource(1.17 * light, 2e-11, 1.05, 406.0, 0.95)
    side = seen(8.0, 6.0)

    def meet(source):
        return intersect(source, table_of(side))[0]

    together = meet(panel)
    for step in (0, 1, 2, 4, 5):
        assert together[step] == pytest.approx(meet(panel.at(np.array([step])))[0], rel=1e-9, abs=1e-12)
    assert together[0] == pytest.approx(0.0, abs=1e-6)
    assert (np.diff(together[[2, 4, 5]]) > 0).all()


@plain
@given(volts=st.floats(14.0, 29.0), amps=st.floats(0.05, 2.0), share=st.floats(0.5, 0.99), own=st.floats(0.0, 0.05))
def test_a_switching_converter_loses_what_its_efficiency_says(volts, amps, share, own):
    law = ConverterLaw("buck", 12.0, 13.5, 13.0, 1.0, ((0.0, share),), own)
    side = input_side(law, LOAD, LOAD * amps / 12.0, 30.0)
    drawn = np.interp(volts, side.voltage, side.current)
    # Constant power between nodes that lie 1 % apart.
    assert drawn == pytest.approx(12.0 * amps / share / volts + own, rel=3e-5)


def test_a_buck_converter_follows_its_input_in_drop_out_and_is_off_below_its_cut_out():
    law = ConverterLaw("buck", 12.0, 8.5, 8.0, 1.5, ((0.0, 0.9),))
    side = input_side(law, LOAD, LOAD / 40.0, 30.0)
    out = np.interp([7.9, 10.0, 13.0, 13.5, 25.0], side.voltage, side.output_voltage)
    np.testing.assert_allclose(out, [0.0, 8.5, 11.5, 12.0, 12.0], atol=1e-9)
    assert np.interp(7.0, side.voltage, side.current) == pytest.approx(7.0 * OFF_CONDUCTANCE, rel=1e-2)
    off = side.voltage < 8.0
    assert not side.output_voltage[off].any()
    assert not side.output_current[off].any()


def test_a_converter_for_a_single_cell_goes_off_below_a_volt():
    side = input_side(ConverterLaw("boost", 5.0, cut_in=0.9, cut_out=0.8), LOAD, LOAD / 500.0, 5.0)
    on = side.voltage >= 0.8
    assert on.any()
    np.testing.assert_allclose(side.output_voltage, np.where(on, np.maximum(side.voltage, 5.0), 0.0), atol=1e-12)


def test_a_linear_regulator_passes_the_current_and_a_boost_converter_a_higher_input():
    linear = input_side(ConverterLaw("linear", 12.0, headroom=2.0, quiescent_current=0.005), LOAD, LOAD / 40.0, 30.0)
    assert np.interp(20.0, linear.voltage, linear.current) == pytest.approx(0.305)
    # Nothing flows without a voltage, not even what it draws for itself.
    assert (linear.voltage[0], linear.current[0]) == (0.0, 0.0)
    # One without headroom, as where the sheet says nothing, passes a low input undiminished.
    ideal = input_side(ConverterLaw("linear", 12.0), LOAD, LOAD / 40.0, 30.0)
    np.testing.assert_allclose(ideal.output_voltage, np.minimum(ideal.voltage, 12.0), atol=1e-9)
    boost = input_side(ConverterLaw("boost", 12.0, 4.5, 4.2, efficiency=((0.0, 0.8),)), LOAD, LOAD / 60.0, 20.0)
    np.testing.assert_allclose(np.interp([5.0, 15.0], boost.voltage, boost.output_voltage), [12.0, 15.0])
    assert np.interp(5.0, boost.voltage, boost.current) == pytest.approx(12.0 * 0.2 / 0.8 / 5.0, rel=1e-4)


def test_a_clamp_draws_nothing_below_its_voltage_and_the_excess_above():
    side = input_side(ConverterLaw("clamp", 13.0, slope_resistance=0.2), LOAD, LOAD / 40.0, 30.0)
    drawn = np.interp([10.0, 13.0, 13.5], side.voltage, side.current)
    np.testing.assert_allclose(drawn, [0.25, 0.325, 13.5 / 40 + 2.5], rtol=1e-6)
    # Where nothing is said its slope is half an ohm.
    usual = input_side(ConverterLaw("clamp", 13.0), LOAD, LOAD / 40.0, 30.0)
    assert np.interp(13.5, usual.voltage, usual.current) == pytest.approx(13.5 / 40 + 1.0, rel=1e-6)


def test_the_current_limit_lowers_the_output_and_folds_back():
    stalled = LOAD / 2.0  # a held rotor of 2 ohm
    flat = input_side(ConverterLaw("buck", 12.0, 13.5, 13.0, 1.0, current_limit=1.5), LOAD, stalled, 30.0)
    assert flat.output_voltage.max() == pytest.approx(3.0)
    folding = ConverterLaw("buck", 12.0, 13.5, 13.0, 1.0, current_limit=1.5, fold_back=0.4)
    out = input_side(folding, LOAD, stalled, 30.0).output_voltage.max()
    # V / 2 = 1.5 (0.4 + 0.6 V / 12)
    assert out == pytest.approx(0.6 / (0.5 - 0.075), rel=1e-6)


def test_the_current_limit_is_met_on_a_bent_load_too():
    # 1 A at 6 V, and no more than a tenth of it up to 5 V: a fan that starts late.
    volts, amps = np.array([0.0, 5.0, 6.0, 20.0]), np.array([0.0, 0.1, 1.0, 3.0])
    side = input_side(ConverterLaw("buck", 12.0, 13.5, 13.0, 1.0, current_limit=0.55), volts, amps, 30.0)
    assert side.output_voltage.max() == pytest.approx(5.5, rel=1e-9)


def test_a_table_that_ends_early_goes_straight_on():
    short = np.array([0.0, 4.0, 8.0])
    side = input_side(ConverterLaw("linear", 12.0), short, np.array([0.0, 0.1, 0.4]), 30.0)
    # 75 mA for each volt of its last stretch: 0.4 A + 4 V x 75 mA at 12 V.
    assert np.interp([8.0, 10.0, 20.0], side.voltage, side.current) == pytest.approx([0.4, 0.55, 0.7], rel=1e-6)


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ({"kind": "buck", "output_voltage": 5.0}, "has a cut-out voltage"),
        ({"kind": "buck", "output_voltage": 5.0, "cut_in": 6.0, "cut_out": 7.0}, "come on at a lower voltage"),
        ({"kind": "linear", "output_voltage": 0.0}, "not above zero"),
        ({"kind": "clamp", "output_voltage": 13.0, "cut_in": 1.0}, "always on"),
        ({"kind": "boost", "output_voltage": 12.0, "cut_in": 5.0, "cut_out": 4.0, "efficiency": ((0.0, 1.2),)}, "0-1"),
        ({"kind": "buck", "output_voltage": 5.0, "cut_in": 8.0, "cut_out": 7.0,
          "efficiency": ((0.1, 0.8), (1.0, 1.2))}, "0-1; correct"),
        ({"kind": "buck", "output_voltage": 5.0, "cut_in": 8.0, "cut_out": 7.0, "efficiency": ((0.1, 0.0),)}, "0-1"),
        ({"kind": "linear", "output_voltage": 12.0, "efficiency": ((1.0, 0.5), (1.0, 0.6))}, "not in order"),
        ({"kind": "linear", "output_voltage": 12.0, "fold_back": 1.5}, "fold-back"),
        ({"kind": "linear", "output_voltage": 12.0, "current_limit": 0.0}, "current limit"),
    ],
)  # fmt: skip
def test_figures_that_contradict_each_other_are_refused(figures, words):
    with pytest.raises(DomainError, match=words):
        ConverterLaw(**figures)
