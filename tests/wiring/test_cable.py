import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.wiring.cable import conductor_current_basis, loop_resistance, temperature_factor
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness

plain = settings(deadline=None, max_examples=60)


@pytest.mark.parametrize(("temp", "divisor"), [(5, 1.064), (30, 0.962), (40, 0.926), (50, 0.893), (70, 0.833)])
def test_temperature_factors_of_the_cable_tables(temp, divisor):
    # WIRE-13: IEC 60228 correction 1 / (1 + 0.004 dT) as a cable maker prints it; the standard rounds 0.00393 up.
    assert 1 / temperature_factor(temp) == pytest.approx(divisor, rel=4e-3)


def test_the_coefficient_at_75_degrees_is_that_at_20_referred():
    # WIRE-14: 0.00393 at 20 degC and 0.00323 at 75 degC are one line (IEC 60028; NEC note; from memory).
    assert temperature_factor(75.0) * (1 + 0.00323 * (20.0 - 75.0)) == pytest.approx(1.0, rel=1e-3)


def test_no_factor_is_known_for_a_cable_on_fire():
    assert np.isnan(temperature_factor([-41.0, 106.0])).all()


def test_length_each_way_counts_twice():
    # WIRE-09: a published cable chart gives 0.265 V for 4.17 A, "5 m", 0.0127 ohm/m. That is the drop of a 5 m loop;
    # 5 m each way lose twice as much.
    assert 4.17 * loop_resistance(2.5, 0.0127) == pytest.approx(0.265, abs=5e-4)
    assert 4.17 * loop_resistance(5.0, 0.0127) == pytest.approx(0.53, abs=5e-3)


@pytest.mark.parametrize(
    ("per_metre", "drops"),
    [
        (0.084, "0.17 0.42 0.84 1.68 2.5"),
        (0.053, "0.11 0.27 0.53 1.1 1.6"),
        (0.0333, "0.07 0.17 0.33 0.67 1.0"),
        (0.0209, "0.04 0.10 0.21 0.42 0.63"),
    ],
)
def test_drops_over_five_metres(per_metre, drops):
    # Common practice, no source: 24, 22, 20 and 18 AWG, 5 m one way; each to its own last printed digit. The
    # row of 20 AWG was made with 33.3 mohm/m, its value in the wire tables, not with the rounded 33.
    for current, printed in zip((0.2, 0.5, 1.0, 2.0, 3.0), drops.split(), strict=True):
        half_digit = 0.5001 * 10.0 ** -len(printed.partition(".")[2])
        assert current * loop_resistance(5.0, per_metre) == pytest.approx(float(printed), abs=half_digit)


def test_conductor_current_basis_is_two_margins_of_a_quarter():
    # NEC 690.8 (from memory): 125 % twice, printed as 156 %.
    assert conductor_current_basis(1.17) == pytest.approx(1.25 * 1.25 * 1.17, rel=2e-3)


@plain
@given(length=st.floats(0.0, 100.0), more=st.floats(0.0, 100.0), quality=st.floats(1.0, 2.0), warmer=st.floats(0, 60))
def test_more_and_warmer_wire_never_loses_less(length, more, quality, warmer):
    usual = loop_resistance(length, 0.0209, quality)
    assert loop_resistance(length + more, 0.0209, quality, 20.0 + warmer) >= usual


def test_the_wires_of_a_plan_are_as_warm_as_it_says(small_plan):
    # IEC 60228 carried from 20 to 60 degC: 15.7 % more. The joints keep their resistance.
    cold, usual, hot = (
        circuits(build_harness(plan), plan)[0].load.resistance
        for plan in (small_plan({"wiring.wire_temperature": f"{temp} degC"}) for temp in (20, 45, 60))
    )
    default = small_plan()
    assert circuits(build_harness(default), default)[0].load.resistance == usual
    copper = (hot - cold) / (0.00393 * 40)
    assert usual - cold == pytest.approx(0.00393 * 25 * copper, rel=1e-9)
    assert 0 < copper < cold
