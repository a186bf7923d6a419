"""Panels: the single diode, plates, heat and cold, against published modules, codes and 40-digit arithmetic."""

from __future__ import annotations

from functools import cache

import numpy as np
from reference_panel import SOURCE, TWENTY_WATTS, best_point, open_circuit, panel, short_circuit
from reference_table import LIBRARY, MEMORY, PRACTICE, READ, WHOLE, WORKED_FROM, checks, row

from solarvent.electrical.panel_model import check_plate, fill_factor, maximum_power
from solarvent.electrical.panel_source import PanelSource
from solarvent.electrical.single_diode import fit_nameplate, operating_parameters
from solarvent.plan.library import Library
from solarvent.plan.parts import RECORDS
from solarvent.weather.conditions import cell_temperature
from solarvent.wiring.circuit import conductor_current_basis

TOPIC = "Panels"
# Boltzmann's constant over the charge of the electron as the papers of 1986 and after have it. [V/K]
THERMAL = 1.3806503e-23 / 1.60217646e-19
EASWARAKHANTHAN = "T. Easwarakhanthan et al. 1986, Int. J. Solar Energy 4, 1-12"
BENCHMARK = "benchmark data set of 12 V class modules of 36 cells"
NEC_COLD = "NEC (NFPA 70), table 690.7(A), seen alike in four public codes"


@checks(
    TOPIC, "test_pvsystem.py of pvlib 0.16 (IL 7 A, I0 0.6 uA, Rs 0.1, Rsh 20 ohm, slope 0.5 V)", READ,
    row("PV-06a", "generic single diode: short circuit", "A", 6.965172, rel=1e-6),
    row("PV-06b", "generic single diode: open circuit", "V", 8.106300, rel=1e-6),
    row("PV-06c", "generic single diode: power of the best point", "W", 38.194211, rel=1e-6),
    row("PV-06d", "generic single diode: current at half that voltage", "A", 6.755882, rel=1e-6),
    row("PV-06e", "generic single diode: current above the best point", "A", 4.264060, rel=1e-6),
)  # fmt: skip
def generic_single_diode():
    values = (7.0, 6e-7, 0.1, 20.0, 0.5)
    source, top = PanelSource(*values), open_circuit(values)
    best = best_point(values)
    half, upper = (float(source.current_at(voltage)[0]) for voltage in (top / 2, (top + 6.224339) / 2))
    return [short_circuit(values), top, best[0] * best[1], half, upper]


@checks(
    TOPIC, f"{EASWARAKHANTHAN}: points of a 57 mm cell, 33 degC (read); parameters of later fits", READ,
    row("PV-01a", "cell of 57 mm: current at 0.0057 V", "A", 0.7605, rel=0.002),
    row("PV-01b", "cell of 57 mm: current at 0.3585 V", "A", 0.7465, rel=0.002),
    row("PV-01c", "cell of 57 mm: current at 0.4590 V", "A", 0.6755, rel=0.003),
    row("PV-01d", "cell of 57 mm: current at 0.5265 V", "A", 0.4130, rel=0.005),
)  # fmt: skip
def silicon_cell_of_1986():
    cell = PanelSource(0.76077553, 3.2302083e-7, 0.03637709, 53.71852771, 1.4811836 * THERMAL * 306.15)
    return cell.current_at(np.array([0.0057, 0.3585, 0.4590, 0.5265]))[0]


@checks(
    TOPIC, f"{EASWARAKHANTHAN} and later fits: 36-cell module at 45 degC", MEMORY,
    row("PV-04a", "module of 36 cells, 45 degC: short circuit", "A", 1.0292, rel=2e-4),
    row("PV-04b", "module of 36 cells, 45 degC: open circuit", "V", 16.778, rel=2e-4),
    row("PV-04c", "module of 36 cells, 45 degC: best voltage", "V", 12.646, rel=5e-4),
    row("PV-04d", "module of 36 cells, 45 degC: best power", "W", 11.540, rel=2e-4),
)  # fmt: skip
def module_of_1986():
    values = (1.0305143, 3.48226e-6, 1.20127, 981.982, 48.64283 * THERMAL * 318.15)
    voltage, current = best_point(values)
    return [short_circuit(values), open_circuit(values), voltage, voltage * current]


@cache
def _with_forty_digits():
    import mpmath

    with mpmath.workdps(40):
        light, dark, series, shunt, slope = (mpmath.mpf(value) for value in (1.2, 3e-10, 1.05, 406, 1.02))

        def current(volts):
            return mpmath.findroot(
                lambda amps: light - dark * mpmath.expm1((volts + amps * series) / slope)
                - (volts + amps * series) / shunt - amps, 1.0
            )  # fmt: skip

        # A resistor of 12 ohm behind a lead of 0.6 ohm.
        point = mpmath.findroot(lambda volts: current(volts) - volts / mpmath.mpf("12.6"), 14.0)
        return [float(current(mpmath.mpf(18))), float(point)]


@checks(
    TOPIC, "40-digit arithmetic (mpmath): IL 1.2 A, I0 0.3 nA, Rs 1.05, Rsh 406 ohm, slope 1.02 V", LIBRARY,
    row("PV-41a", "20 W panel: current at 18 V", "A", rel=1e-7),
    row("PV-41b", "20 W panel: voltage on 12 ohm behind 0.6 ohm", "V", rel=1e-7),
    oracle=_with_forty_digits,
)  # fmt: skip
def single_diode_beside_forty_digits():
    from solarvent.electrical.intersection import locate
    from solarvent.electrical.load import line, voltage_grid

    grid = voltage_grid(25.0)
    source = PanelSource(*(np.array([value]) for value in (1.2, 3e-10, 1.05, 406.0, 1.02)))
    table = line(grid, grid / 12.6)
    voltage, _, _ = table.points_within(*locate(source, table))
    return [source.current_at(np.array([18.0]))[0][0], voltage[0]]


# --- from the plate -------------------------------------------------------------------------------------------------

_PLATES = [(21.7, 3.45, 17.4, 3.15), (21.7, 5.34, 17.4, 5.02)]


@checks(
    TOPIC, f"{BENCHMARK}; coefficients +0.05 and -0.33 %/K", READ,
    *(
        row(f"PV-10{letter}{number}", f"{plate[1]:g} A module, fitted: {what}", unit, plate[place], rel=1e-3)
        for letter, plate in zip("ab", _PLATES, strict=True)
        for number, (place, what, unit) in enumerate(
            [(0, "open circuit", "V"), (1, "short circuit", "A"), (2, "best voltage", "V"), (3, "best current", "A")], 1
        )
    ),
    kind=WHOLE,
)  # fmt: skip
def plates_are_met():
    """Fit, carry to 1000 W/m2 and 25 degC, and read the curve."""
    numbers = []
    for plate in _PLATES:
        values = operating_parameters(fit_nameplate(*plate, 0.0005 * plate[1], -0.0033 * plate[0]), 1000.0, 25.0)
        numbers += [open_circuit(values), short_circuit(values), *best_point(values)]
    return numbers


@checks(
    TOPIC, "M. G. Villalva, J. R. Gazoli, E. R. Filho 2009, IEEE Trans. Power Electronics 24, 1198-1208", WORKED_FROM,
    row("PV-09a", "module of 54 cells, 200 W: power", "W", 200.14, rel=1e-3),
    # Theirs is straight in temperature; De Soto's bends by a little over 50 K.
    row("PV-09b", "module of 54 cells at 75 degC: open circuit", "V", 26.735, rel=0.01),
    kind=WHOLE,
)  # fmt: skip
def module_of_54_cells():
    reference = fit_nameplate(32.9, 8.21, 26.3, 7.61, 0.0032, -0.123)
    power = maximum_power(tuple(np.atleast_1d(value) for value in operating_parameters(reference, 1000.0, 25.0)))
    return [power[0], open_circuit(operating_parameters(reference, 1000.0, 75.0))]


@checks(
    TOPIC, f"20 W {SOURCE}: single-diode fit and its plate", READ,
    row("PV-20a", "20 W panel at standard conditions: best voltage", "V", 18.76, rel=5e-3),
    row("PV-20b", "20 W panel at standard conditions: best current", "A", 1.07, rel=5e-3),
    row("PV-20c", "20 W panel at standard conditions: open circuit", "V", 22.70, rel=1e-3),
    row("PV-20d", "20 W panel at standard conditions: short circuit", "A", 1.17, rel=1e-3),
)  # fmt: skip
def twenty_watt_panel():
    values = operating_parameters(TWENTY_WATTS, 1000.0, 25.0)
    return [*best_point(values), open_circuit(values), short_circuit(values)]


@checks(
    TOPIC, "weak-light figures of a data sheet of such a module, relative to 1000 W/m2", READ,
    row("PV-21a", "best voltage at 800 W/m2, of that in full sun", "-", 0.996, rel=0.01),
    row("PV-21b", "best voltage at 400 W/m2, of that in full sun", "-", 0.983, rel=0.02),
    row("PV-21c", "best voltage at 200 W/m2, of that in full sun", "-", 0.952, rel=0.02),
    row("PV-21d", "best voltage at 100 W/m2, of that in full sun", "-", 0.921, rel=0.03),
    row("PV-21e", "best current at 400 W/m2, of that in full sun", "-", 0.4, rel=0.02),
    row("PV-21f", "best current at 100 W/m2, of that in full sun", "-", 0.1, rel=0.04),
    kind=WHOLE,
)  # fmt: skip
def twenty_watt_panel_in_weak_light():
    points = {light: best_point(panel(20.0, light, 25.0)) for light in (1000.0, 800.0, 400.0, 200.0, 100.0)}
    voltage, current = points[1000.0]
    return [
        *(points[light][0] / voltage for light in (800.0, 400.0, 200.0, 100.0)),
        *(points[light][1] / current for light in (400.0, 100.0)),
    ]


_BAND_GAP = "worked with a band gap that stays as at 25 degC; De Soto et al. 2006, followed here, let it shrink"


@checks(
    TOPIC, f"worked by hand with the {SOURCE}", PRACTICE,
    row("PV-22a", "20 W panel at standard conditions: power", "W", 20.07, rel=0.005),
    row("PV-22b", "20 W panel at 60 degC: power", "W", 17.5, rel=0.02),
    row("PV-22c", "20 W panel at 60 degC: best voltage", "V", 16.3, rel=0.02, why_missed=_BAND_GAP),
    row("PV-22d", "20 W panel at 200 W/m2, 30 degC: power", "W", 3.8, rel=0.02),
    row("PV-22e", "20 W panel at 200 W/m2, 30 degC: open circuit", "V", 20.8, rel=0.01),
    kind=WHOLE,
)  # fmt: skip
def twenty_watt_panel_hot_and_dim():
    cold, hot, dim = panel(20.0, 1000.0, 25.0), panel(20.0, 1000.0, 60.0), panel(20.0, 200.0, 30.0)
    power = [float(maximum_power(values)[0]) for values in (cold, hot, dim)]
    return [power[0], power[1], best_point(hot)[0], power[2], open_circuit(dim)]


_LIGHTS = [10.0, 20.0, 50.0, 100.0, 200.0, 500.0]


@checks(
    TOPIC, f"worked by hand with the {SOURCE}", PRACTICE,
    *(
        row(f"PV-23{letter}", f"20 W panel at {light:g} W/m2, 25 degC: open circuit", "V", volts, rel=0.01)
        for letter, light, volts in zip("abcdef", _LIGHTS, (18.4, 19.1, 19.9, 20.6, 21.2, 22.1), strict=True)
    ),
    row("PV-24a", "20 W panel at a cell of 0 degC: open circuit", "V", 24.4, rel=0.02),
    row("PV-24b", "20 W panel at a cell of -10 degC: open circuit", "V", 25.1, rel=0.02),
    # Forward only above 17 V; below, the shunt alone.
    row("PV-25", "what a dark 20 W panel takes at 12 V", "A", 0.030, rel=0.05),
    kind=WHOLE,
)  # fmt: skip
def open_circuit_says_little_of_power():
    dark = tuple(np.array([value]) for value in (0.0, TWENTY_WATTS.I_o_ref, 1.05, 406.0, TWENTY_WATTS.a_ref))
    return [
        *(open_circuit(panel(20.0, light, 25.0)) for light in _LIGHTS),
        *(open_circuit(panel(20.0, 1000.0, heat)) for heat in (0.0, -10.0)),
        -PanelSource(*dark).current_at(np.array([12.0]))[0][0],
    ]


# --- heat, cold and codes -------------------------------------------------------------------------------------------


@checks(
    TOPIC, "R. G. Ross 1980 (nominal operating cell temperature); values in test_temperature.py of pvlib 0.16", READ,
    row("PV-18a", "cell at 1000 W/m2, air 20, nominal 40 degC", "degC", 45, rel=1e-9),
    row("PV-18b", "cell at 600 W/m2, air 40, nominal 100 degC", "degC", 100, rel=1e-9),
    row("PV-18c", "cell at 1000 W/m2, air 60, nominal 20 degC", "degC", 60, rel=1e-9),
)  # fmt: skip
def cell_temperature_by_ross():
    light, air, noct = np.array([[1000.0, 20.0, 40.0], [600.0, 40.0, 100.0], [1000.0, 60.0, 20.0]]).T
    return cell_temperature(light, air, noct)


def _cold_factors(beta, temperatures):
    """Open circuit of a module of so much change for each kelvin, over that at 25 degC. [-]"""
    reference = fit_nameplate(*_PLATES[0], 0.0005 * 3.45, beta * 21.7)
    warm, *cold = (open_circuit(operating_parameters(reference, 1000.0, temp)) for temp in (25.0, *temperatures))
    return np.array(cold) / warm


@checks(
    TOPIC, f"{NEC_COLD}; as its slope says, of a module of -0.40 %/K", WORKED_FROM,
    *(
        row(f"PV-11{letter}", f"factor on the open circuit at {temp:g} degC", "-", factor, rel=0.01)
        for letter, temp, factor in zip("abcde", (20, 0, -10, -25, -40), (1.02, 1.10, 1.14, 1.20, 1.25), strict=True)
    ),
    kind=WHOLE,
)  # fmt: skip
def cold_factors_of_the_code():
    return _cold_factors(-0.0040, (20.0, 0.0, -10.0, -25.0, -40.0))


@checks(
    TOPIC, f"-0.30 %/K, on a module of 21.7 V of the {BENCHMARK}", WORKED_FROM,
    row("PV-12c", "module at -10 degC by its coefficient", "V", 23.98, rel=0.01),
    row("PV-12d", "module at -25 degC by its coefficient", "V", 24.96, rel=0.01),
    kind=WHOLE,
)  # fmt: skip
def module_on_a_cold_morning():
    return 21.7 * _cold_factors(-0.0030, (-10.0, -25.0))


@checks(
    TOPIC, "NEC 690.8, 1.25 x 1.25, as printed 1.56, in an article digest and a list of installers (2010)", READ,
    row("PV-14", "current that the conductor of a 1 A panel must bear", "A", 1.56, rel=2e-3),
)  # fmt: skip
def conductor_of_a_panel():
    return [conductor_current_basis(1.0)]


@checks(
    TOPIC, f"NEC 690.8, unrounded, on a module of 3.45 A of the {BENCHMARK}", WORKED_FROM,
    row("PV-15", "current that the conductor of a 3.45 A module must bear", "A", 5.39, rel=2e-3),
)  # fmt: skip
def conductor_of_a_module():
    return [conductor_current_basis(3.45)]


@checks(
    TOPIC, f"{BENCHMARK}: fill factor from its plate", WORKED_FROM,
    row("PV-26", "fill factor of the 3.45 A module", "-", 17.4 * 3.15 / (21.7 * 3.45), rel=1e-6),
)  # fmt: skip
def fill_factor_of_a_module():
    return [fill_factor(21.7, 3.45, 17.4, 3.15)]


@checks(
    TOPIC, "plates whose watts are open circuit times short circuit: 22 V, 1.2 A, best point 18 V, 1.1 A", PRACTICE,
    row("PLATE-1", "power of such a plate", "W", 19.8, rel=0.005, wrong=26.4,
        why_wrong="open-circuit volts times short-circuit amperes are never there at once: 33 % too much"),
    row("PLATE-2", "watts of such a plate above its best point", "%", 33.3, rel=0.005),
    kind=WHOLE,
)  # fmt: skip
def inflated_plate():
    plate = (22.0, 1.2, 18.0, 1.1)
    values = operating_parameters(fit_nameplate(*plate, 0.0006, -0.0726), 1000.0, 25.0)
    power = maximum_power(tuple(np.atleast_1d(value) for value in values))[0]
    return [power, 100 * check_plate(*plate, watts=22.0 * 1.2).watts_excess]


@checks(
    TOPIC, "crystalline modules to IEC 61215, ranges on several sheets, middle and half width", MEMORY,
    row("PV-17a", "usual change of the open circuit", "%/K", -0.315, within=0.045),
    row("PV-17b", "usual change of the short circuit", "%/K", 0.05, within=0.01),
)  # fmt: skip
def usual_coefficients():
    one = RECORDS["panels"].model_validate(Library().get("panels", "panel-20w"))
    return [100 * one.beta_voc, 100 * one.alpha_sc]
