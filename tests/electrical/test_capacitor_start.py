"""The voltage of a capacitor that starts a fan."""

import numpy as np
import pytest

from solarvent.electrical.motor import ROTOR_ENERGY, capacitor_start_voltage


@pytest.mark.parametrize(("start", "farads"), [(6.5, 4700e-6), (3.0, 1000e-6), (12.0, 0.1)])
def test_what_the_capacitor_loses_is_what_the_rotor_takes(start, farads):
    # The energy of a capacitor, C V^2 / 2.
    volts = capacitor_start_voltage(start, farads)
    assert 0.5 * farads * (volts**2 - start**2) == pytest.approx(ROTOR_ENERGY)


def test_a_rotor_without_mass_starts_at_the_start_voltage_and_no_capacitor_never_starts_one():
    assert capacitor_start_voltage(6.5, 4700e-6, 0.0) == pytest.approx(6.5)
    assert np.isinf(capacitor_start_voltage(6.5, 0.0))


def test_more_capacitance_needs_less_voltage_value_by_value():
    volts = capacitor_start_voltage(6.5, np.array([1e-4, 1e-3, 1e-2]))
    assert volts.shape == (3,)
    assert np.all(np.diff(volts) < 0)
    assert volts.tolist() == [capacitor_start_voltage(6.5, farads) for farads in (1e-4, 1e-3, 1e-2)]
