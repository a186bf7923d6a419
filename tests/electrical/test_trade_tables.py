"""The worked figures of the trade for small fans on small panels: thresholds, and what 12 V and 24 V fans get.

Common practice, no source: the figures were worked out by hand with the same panel and the same fan laws. Panel:
Isc 1.17 A, Vmp 18.76 V, Voc 22.70 V, Rs 1.05 ohm, Rsh 406 ohm, ideality 1.004 at 20 W (published single-diode fit,
doi 10.1186/s40807-018-0049-0, table 1), scaled by watts; cells at 25 degC + 0.025 K per W/m2, which is 50 degC in full
sun; current of a turning fan by the power 0.95 of its voltage. Voltages within 2 %, thresholds within 15 W/m2.

The trade's figures keep the band gap of silicon as it is at 25 degC. De Soto et al. (2006), whom this program follows,
let it shrink by 0.027 % a kelvin. That makes no difference to a fan of 12 V, and 2.3 % to the best point of a panel at
60 degC; one test below shows it.
"""

import math

import numpy as np
import pytest
from pvlib.pvsystem import calcparams_desoto, singlediode

from solarvent.electrical.operation import FanElectrical, operate, point
from solarvent.electrical.start_light import thresholds
from solarvent.wiring.circuit import Circuit, Joined, Leaf

SLOPE = 1.004 * 36 * 1.380649e-23 * 298.15 / 1.602176634e-19
LIGHTS = (1000.0, 600.0, 400.0, 300.0, 200.0)


def panel(watts, irradiance, temp_cell=None, band_gap_slope=0.0):
    light, size = np.atleast_1d(np.asarray(irradiance, dtype=float)), watts / 20.0
    saturation = (1.17 * (1 + 1.05 / 406) - 22.70 / 406) / (math.expm1(22.70 / SLOPE) - math.expm1(1.17 * 1.05 / SLOPE))
    current = saturation * math.expm1(22.70 / SLOPE) + 22.70 / 406
    heat = 25.0 + 0.025 * light if temp_cell is None else temp_cell
    values = calcparams_desoto(
        np.maximum(light, 1e-6), heat, 0.0005 * 1.17, SLOPE, current, saturation, 406.0, 1.05, dEgdT=band_gap_slope
    )
    lit = np.where(light > 0, values[0], 0.0)
    return lit * size, values[1] * size, values[2] / size, values[3] / size, values[4]


def fan(name, volts, amps, start, stop, ratio):
    return FanElectrical(name, volts, amps, 0.95, start, stop, ratio, retrying=True)


TWELVE = fan("a", 12.0, 0.5, 7.0, 5.0, 1.5)
TWENTY_FOUR = fan("a", 24.0, 0.25, 13.0, 9.0, 1.5)


@pytest.mark.parametrize(
    ("one", "watts", "volts", "states"),
    [
        (TWELVE, 10.0, (13.9, 8.2, 5.4, None, None), ("starts", "keeps", "keeps", "stops", "stops")),
        (TWELVE, 20.0, (18.7, 16.4, 11.0, 8.2, 5.4), ("starts", "starts", "starts", "keeps", "keeps")),
        (TWENTY_FOUR, 10.0, (19.7, 19.6, 18.6, 15.9, 10.6), ("starts", "starts", "starts", "keeps", "keeps")),
        (TWENTY_FOUR, 20.0, (20.2, 20.4, 20.2, 19.8, 18.6), ("starts", "starts", "starts", "starts", "starts")),
    ],
)
def test_a_fan_of_6_watts_on_10_and_20_watts_in_five_suns(one, watts, volts, states):
    circuit = Circuit(Leaf("panel"), Leaf("a"))
    turning = point(circuit, {"panel": panel(watts, LIGHTS)}, {"a": one}, {"a": "turning"}).fan_voltage[0]
    standing = point(circuit, {"panel": panel(watts, LIGHTS)}, {"a": one}, {"a": "held"}).fan_voltage[0]
    for light, got, still, wanted, state in zip(LIGHTS, turning, standing, volts, states, strict=True):
        if wanted is not None:
            assert got == pytest.approx(wanted, rel=0.02), light
        assert (got >= one.stop_voltage) == (state != "stops"), light
        # "Keeps" is what turns in that light, and would not start in it.
        assert (still >= one.start_voltage) == (state == "starts"), light


def found(watts, *fans):
    names = [one.id for one in fans]
    load = Leaf(names[0]) if len(names) == 1 else Joined("parallel", tuple(Leaf(name) for name in names))
    return thresholds(Circuit(Leaf("panel"), load), lambda g: {"panel": panel(watts, g)}, {one.id: one for one in fans})


def test_one_fan_starts_and_runs_down_where_the_trade_has_it():
    typical = fan("a", 12.0, 0.3, 6.5, 4.0, 2.8)
    for watts, start, stop in ((20.0, 400.0, 95.0), (10.0, 790.0, 185.0)):
        limits = found(watts, typical)["a"]
        assert limits.start_irradiance == pytest.approx(start, abs=15.0)
        assert limits.run_down_irradiance == pytest.approx(stop, abs=15.0)
    easy = found(10.0, fan("a", 12.0, 0.5, 7.5, 5.5, 1.1))["a"]
    assert easy.start_irradiance == pytest.approx(600.0, abs=15.0)
    assert easy.run_down_irradiance == pytest.approx(415.0, abs=15.0)
    assert math.isnan(found(10.0, fan("a", 12.0, 0.5, 7.5, 5.5, 2.8))["a"].start_irradiance)


def test_two_fans_that_start_together_need_twice_the_light():
    # The trade lets both rotors stand on their lines at once: two held fans. Retrying ones start one after the other,
    # the second against the turning first, which asks for less.
    pair = [FanElectrical(name, 12.0, 0.3, 0.95, 6.5, 4.0, 2.8, retrying=False) for name in ("a", "b")]
    limits = found(20.0, *pair)
    assert limits["a"].start_irradiance == pytest.approx(790.0, abs=15.0)
    assert math.isnan(found(10.0, *pair)["a"].start_irradiance)
    # Both turning, until the first of them falls.
    circuit, fans = Circuit(Leaf("panel"), Joined("parallel", (Leaf("a"), Leaf("b")))), {one.id: one for one in pair}
    light = np.arange(100.0, 300.0)
    volts = point(circuit, {"panel": panel(20.0, light)}, fans, {"a": "turning", "b": "turning"}).fan_voltage[0]
    assert light[np.argmax(volts >= 4.0)] == pytest.approx(185.0, abs=15.0)


def test_the_reference_panel_at_standard_conditions_hot_and_dim():
    for light, heat, watts, v_mp, v_oc in (
        (1000.0, 25.0, 20.07, 18.76, 22.7),
        (1000.0, 60.0, 17.5, 16.3, 20.3),
        (200.0, 30.0, 3.8, None, 20.8),
    ):
        got = singlediode(*panel(20.0, light, heat))
        assert got["p_mp"][0] == pytest.approx(watts, rel=0.02)
        assert got["v_oc"][0] == pytest.approx(v_oc, rel=0.02)
        if v_mp is not None:
            assert got["v_mp"][0] == pytest.approx(v_mp, rel=0.02)


def test_the_shrinking_band_gap_is_what_differs_in_a_hot_panel():
    for slope, v_mp in ((0.0, 16.3), (-0.0002677, 15.92)):
        assert singlediode(*panel(20.0, 1000.0, 60.0, slope))["v_mp"][0] == pytest.approx(v_mp, abs=0.03)
    # And what it makes of a 24 V fan at noon, where it is at its largest.
    circuit = Circuit(Leaf("panel"), Leaf("a"))
    ours, theirs = (
        point(circuit, {"panel": panel(20.0, [1000.0], 50.0, slope)}, {"a": TWENTY_FOUR}, {"a": "turning"}).fan_voltage
        for slope in (-0.0002677, 0.0)
    )
    assert ours[0, 0] == pytest.approx(theirs[0, 0], rel=0.02)


def test_the_open_circuit_says_nothing_of_the_power():
    lights = [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]
    circuit = Circuit(Leaf("panel"), Leaf("a"))
    got = point(circuit, {"panel": panel(20.0, lights, 25.0)}, {"a": TWELVE}, {"a": "held"}).open_circuit_voltage
    np.testing.assert_allclose(got, [18.4, 19.1, 19.9, 20.6, 21.2, 22.1, 22.7], rtol=0.02)


def test_the_dilemma_needs_a_panel_of_three_to_eight_times_the_fan_to_start_in_bright_cloud():
    # To start at 300 W/m2: about 3 times the fan's watts if it starts easily (1.1), 8 times for a typical one (2.8).
    for ratio, times in ((1.1, 3.0), (2.8, 8.0)):
        sizes = np.arange(1.0, 12.0, 0.1)
        starts = [found(6.0 * size, fan("a", 12.0, 0.5, 7.0, 5.0, ratio))["a"].start_irradiance for size in sizes[::10]]
        enough = np.interp(300.0, [value for value in starts[::-1] if not math.isnan(value)],
                           [size for size, value in zip(sizes[::10][::-1], starts[::-1], strict=True)
                            if not math.isnan(value)])  # fmt: skip
        assert enough == pytest.approx(times, rel=0.1)


def test_a_panel_of_1_7_times_the_fan_reaches_its_limit_in_full_sun():
    # 13.8 V at 1000 W/m2 and a cell of 50 degC.
    circuit = Circuit(Leaf("panel"), Leaf("a"))
    sizes = np.arange(1.3, 2.3, 0.02).tolist()
    fans = {"a": TWELVE}
    volts = [operate(circuit, {"panel": panel(6.0 * size, [1000.0], 50.0)}, fans).fan_voltage[0, 0] for size in sizes]
    assert np.interp(13.8, volts, sizes) == pytest.approx(1.7, abs=0.07)
