"""Fans on panels: whole circuits against the worked figures of the trade, fan sheets and a circuit simulator."""

from __future__ import annotations

import math

import numpy as np
from reference_panel import SOURCE, panel
from reference_table import LIBRARY, PRACTICE, READ, WHOLE, WORKED_FROM, checks, row

from solarvent.air.airflow import FanPath, house_flow
from solarvent.air.fan import FanCurve, speed_ratio
from solarvent.electrical.motor import locked_rotor_resistance, running_current
from solarvent.electrical.operation import FanElectrical, operate, point
from solarvent.electrical.start_light import thresholds
from solarvent.plan.parts import Converter
from solarvent.weather.sky import cloud_factor
from solarvent.wiring.circuit import Circuit, DiodeLaw, Joined, Leaf, Through

TOPIC = "Fans on panels"
BY_HAND = f"by hand with the {SOURCE}; current as the volts to 0.95"


def _fan(volts, amps, start, stop, ratio, name="a", retrying=True):
    return FanElectrical(name, volts, amps, 0.95, start, stop, ratio, retrying)


def _turning(fan, watts, lights):
    circuit = Circuit(Leaf("panel"), Leaf("a"))
    return point(circuit, {"panel": panel(watts, lights)}, {"a": fan}, {"a": "turning"}).fan_voltage[0]


_TWELVE, _TWENTY_FOUR = _fan(12.0, 0.5, 7.0, 5.0, 1.5), _fan(24.0, 0.25, 13.0, 9.0, 1.5)
_SUNS = (1000.0, 600.0, 400.0, 300.0, 200.0)


def _table(name, fan, watts, volts):
    """One line of the trade's table of fans in five suns."""
    lights, label = _SUNS[: len(volts)], f"{fan.rated_voltage:g} V fan of 6 W on {watts:g} W"
    rows = [
        row(f"{name}{letter}", f"{label} at {light:g} W/m2", "V", value, rel=0.02)
        for letter, light, value in zip("abcde"[: len(volts)], lights, volts, strict=True)
    ]
    checks(TOPIC, f"{label}, {BY_HAND}", PRACTICE, *rows, kind=WHOLE)(lambda: _turning(fan, watts, lights))


_table("FAN-40", _TWELVE, 10.0, (13.9, 8.2, 5.4))
_table("FAN-41", _TWELVE, 20.0, (18.7, 16.4, 11.0, 8.2, 5.4))
_table("FAN-42", _TWENTY_FOUR, 10.0, (19.7, 19.6, 18.6, 15.9, 10.6))
_table("FAN-43", _TWENTY_FOUR, 20.0, (20.2, 20.4, 20.2, 19.8, 18.6))


# --- start and run-down ---------------------------------------------------------------------------------------------


def _limits(watts, *fans):
    names = [fan.id for fan in fans]
    load = Leaf(names[0]) if len(names) == 1 else Joined("parallel", tuple(Leaf(name) for name in names))
    circuit, by_id = Circuit(Leaf("panel"), load), {fan.id: fan for fan in fans}
    return thresholds(circuit, lambda g: {"panel": panel(watts, g)}, by_id)[names[0]]


@checks(
    TOPIC, f"12 V fan of 0.3 A, starts at 6.5 V with 2.8 times its current; {BY_HAND}", PRACTICE,
    # 15 W/m2 for the rounding of the figures, 1 for the step of the search.
    row("FAN-44a", "12 V fan of 0.3 A starts on a 20 W panel at", "W/m2", 400, within=16),
    row("FAN-44b", "12 V fan of 0.3 A runs down on a 20 W panel at", "W/m2", 95, within=16),
    row("FAN-44c", "12 V fan of 0.3 A starts on a 10 W panel at", "W/m2", 790, within=16),
    row("FAN-44d", "12 V fan of 0.3 A runs down on a 10 W panel at", "W/m2", 185, within=16),
    kind=WHOLE,
)  # fmt: skip
def typical_fan_starts_and_runs_down():
    fan = _fan(12.0, 0.3, 6.5, 4.0, 2.8)
    twenty, ten = _limits(20.0, fan), _limits(10.0, fan)
    return [twenty.start_irradiance, twenty.run_down_irradiance, ten.start_irradiance, ten.run_down_irradiance]


@checks(
    TOPIC, f"12 V fan of 0.5 A, starts at 7.5 V with 1.1 times its current, on 10 W; {BY_HAND}", PRACTICE,
    row("FAN-45a", "easy 12 V fan of 0.5 A starts on a 10 W panel at", "W/m2", 600, within=16),
    row("FAN-45b", "easy 12 V fan of 0.5 A runs down on 10 W at", "W/m2", 415, within=16),
    kind=WHOLE,
)  # fmt: skip
def easy_fan_starts_and_runs_down():
    limits = _limits(10.0, _fan(12.0, 0.5, 7.5, 5.5, 1.1))
    return [limits.start_irradiance, limits.run_down_irradiance]


@checks(
    TOPIC, f"two fans of 0.3 A that start together on 20 W; {BY_HAND}", PRACTICE,
    row("FAN-46a", "two held fans of 0.3 A start on a 20 W panel at", "W/m2", 790, within=16),
    row("FAN-46b", "two fans of 0.3 A both turn on 20 W down to", "W/m2", 185, within=16),
    kind=WHOLE,
)  # fmt: skip
def two_fans_that_start_together():
    """The trade lets both rotors stand on their lines at once: held ones."""
    pair = [_fan(12.0, 0.3, 6.5, 4.0, 2.8, name, retrying=False) for name in ("a", "b")]
    circuit, fans = Circuit(Leaf("panel"), Joined("parallel", (Leaf("a"), Leaf("b")))), {fan.id: fan for fan in pair}
    lights = np.arange(150.0, 220.0)
    volts = point(circuit, {"panel": panel(20.0, lights)}, fans, dict.fromkeys(fans, "turning")).fan_voltage[0]
    return [_limits(20.0, *pair).start_irradiance, lights[np.argmax(volts >= 4.0)]]


def _least_size(starts, light):
    """The size of panel, in watts of the fan, from which a fan starts in some light."""
    sizes = np.array([float(size) for size, start in starts if not math.isnan(start)])
    return np.interp(-light, [-start for _, start in starts if not math.isnan(start)], sizes)


@checks(
    TOPIC, f"panel that starts a 12 V fan of 6 W at 300 W/m2, in watts of the fan; {BY_HAND}", PRACTICE,
    row("FAN-47a", "panel over an easy fan, to start it at 300 W/m2", "-", 3, rel=0.10),
    row("FAN-47b", "panel over a typical fan, to start it at 300 W/m2", "-", 8, rel=0.10),
    kind=WHOLE,
)  # fmt: skip
def panel_that_starts_a_fan_in_bright_cloud():
    sizes = []
    for ratio, span in ((1.1, (2.0, 4.0)), (2.8, (6.0, 10.0))):
        starts = [
            (size, _limits(6.0 * size, _fan(12.0, 0.5, 7.0, 5.0, ratio)).start_irradiance)
            for size in np.linspace(*span, 7)
        ]
        sizes.append(_least_size(starts, 300.0))
    return sizes


@checks(
    TOPIC, f"panel that brings a 12 V fan of 6 W to 13.8 V in full sun at 50 degC; {BY_HAND}", PRACTICE,
    row("FAN-48", "panel over a fan, to reach 13.8 V in full sun", "-", 1.7, within=0.07),
    kind=WHOLE,
)  # fmt: skip
def panel_that_over_volts_a_fan():
    sizes, circuit = np.linspace(1.3, 2.3, 11), Circuit(Leaf("panel"), Leaf("a"))
    volts = [
        operate(circuit, {"panel": panel(6.0 * size, [1000.0], 50.0)}, {"a": _TWELVE}).fan_voltage[0, 0]
        for size in sizes
    ]
    return [np.interp(13.8, volts, sizes)]


@checks(
    TOPIC, f"5 V fan of 0.5 A behind a converter of 0.83; {BY_HAND}", PRACTICE,
    row("FAN-49a", "a 5 W panel carries a 5 V fan of 0.5 A from", "W/m2", 640, within=16),
    row("FAN-49b", "a 10 W panel carries a 5 V fan of 0.5 A from", "W/m2", 320, within=16),
    row("FAN-49c", "a 20 W panel carries a 5 V fan of 0.5 A from", "W/m2", 160, within=16),
    kind=WHOLE,
)  # fmt: skip
def usb_fan_behind_a_converter():
    law = Converter(
        id="regulator", kind="buck", output_voltage="5 V", cut_in="8 V", cut_out="7 V", headroom="1 V",
        current_limit="3 A", efficiency=[[0.0, 0.835]], quiescent_current="0 A",
    )  # fmt: skip
    circuit, fans = Circuit(Leaf("panel"), Through(Leaf("a"), converter=law)), {"a": _fan(5.0, 0.5, 3.5, 2.6, 1.0)}
    return [
        thresholds(circuit, lambda g, w=watts: {"panel": panel(w, g)}, fans)["a"].run_down_irradiance
        for watts in (5.0, 10.0, 20.0)
    ]


@checks(
    TOPIC, "two still rotors in weak light: the start of the first lifts the voltage by 2 r / (1 + r)", PRACTICE,
    row("FAN-50a", "first start lifts the volts, rotors of 2.8 times", "-", 1.47, rel=0.01),
    row("FAN-50b", "first start lifts the volts, rotors of 1.1 times", "-", 1.05, rel=0.01),
    kind=WHOLE,
)  # fmt: skip
def first_start_lifts_the_other():
    lifts = []
    for ratio in (2.8, 1.1):
        fans = {name: FanElectrical(name, 12.0, 0.5, 1.0, 7.0, 5.0, ratio, False) for name in ("a", "b")}
        circuit = Circuit(Leaf("panel"), Joined("parallel", (Leaf("a"), Leaf("b"))))
        still, one = (
            point(circuit, {"panel": panel(10.0, [200.0])}, fans, {"a": first, "b": "held"}).fan_voltage[1, 0]
            for first in ("held", "turning")
        )
        lifts.append(one / still)
    return lifts


# --- from cloud to air ----------------------------------------------------------------------------------------------

_EASY = _fan(12.0, 0.5, 7.5, 5.5, 1.1)
_OKTAS = (0, 3, 5, 6)


def _air_under_cloud(watts, oktas):
    """Free air of a 120 x 38 mm fan under cloud on an afternoon of 600 W/m2, held to 13.8 V by a clamp."""
    light = 600.0 * cloud_factor(np.array(oktas, dtype=float))
    volts = np.minimum(_turning(_EASY, watts, light), 13.8)
    return 194.0 * speed_ratio(volts, 12.0)


@checks(
    TOPIC, f"120 x 38 mm fan of 194 m3/h, afternoon of 600 W/m2 if clear; {BY_HAND}", PRACTICE,
    *(
        row(f"FAN-51{letter}", f"10 W panel, {oktas} oktas: air of a 120 x 38 mm fan", "m3/h", flow, rel=0.03)
        for letter, oktas, flow in zip("abcd", _OKTAS, (132, 128, 111, 93), strict=True)
    ),
    row("FAN-51e", "20 W panel, 6 oktas: air of a 120 x 38 mm fan", "m3/h", 191, rel=0.03),
    row("FAN-51f", "20 W panel, 7 oktas: air of a 120 x 38 mm fan", "m3/h", 138, rel=0.03),
    row("FAN-51g", "20 W panel, clear, clamped at 13.8 V: its air", "m3/h", 223, rel=0.03),
    row("FAN-51h", "30 W panel, 7 oktas: air of a 120 x 38 mm fan", "m3/h", 210, rel=0.03),
    row("FAN-51i", "30 W panel, 8 oktas: air of a 120 x 38 mm fan", "m3/h", 97, rel=0.03),
    kind=WHOLE,
)  # fmt: skip
def air_of_a_cloudy_afternoon():
    return [
        *_air_under_cloud(10.0, _OKTAS), *_air_under_cloud(20.0, (6, 7, 0)), *_air_under_cloud(30.0, (7, 8)),
    ]  # fmt: skip


# --- fans alone -----------------------------------------------------------------------------------------------------


@checks(
    TOPIC, "hand meter on a 12 V fan of 0.16 A, exponent 1.43: question 361624 of a public forum of engineers", READ,
    # A hand meter of three digits.
    row("FAN-06", "current of a 12 V fan of 0.16 A at 5.33 V", "A", 0.05, rel=0.10, wrong=0.16 * 5.33 / 12,
        why_wrong="a turning fan is no resistor: that would draw 0.071 A, 42 % too much"),
)  # fmt: skip
def under_run_fan():
    return [running_current(5.33, 12.0, 0.16, 1.43)]


@checks(
    TOPIC, "fan laws in trade engineering notes", READ,
    row("FAN-01a", "pressure at 10 % more speed", "-", 1.21, rel=1e-6),
    kind=WHOLE,
)  # fmt: skip
def fan_laws():
    fan = FanCurve.from_two_points(0.03, 20.0)
    slow, fast = (house_flow([FanPath(fan, 0.005, speed)], []).inside_pressure[0] for speed in (1.0, 1.1))
    return [fast / slow]


@checks(
    TOPIC, "tables at three voltages on five fan sheets: power as the volts to the power 1.7 to 2.1", READ,
    row("FAN-02", "electric power of a 3 W fan at half its volts", "W", 0.81, within=0.12, wrong=0.375,
        why_wrong="the cube law is of the shaft: a fan's current falls with its volts, so its power with the square"),
)  # fmt: skip
def electric_power_of_a_fan():
    return [6.0 * running_current(6.0, 12.0, 0.25)]


@checks(
    TOPIC, "sheet of a 5 V fan: start current 2.6 times the running one", WORKED_FROM,
    row("FAN-12", "held rotor of a 5 V fan of 0.2 A", "A", 0.52, rel=1e-3),
)  # fmt: skip
def held_rotor():
    return [5.0 / locked_rotor_resistance(5.0, 0.2, 5.0, 2.6)]


# --- beside a circuit simulator -------------------------------------------------------------------------------------

# The netlists, solved by ngspice 39 at 27 degC (thermal voltage 25.865 mV, so N is the slope voltage over it):
#
#   side by side:  I1 0 a 1.2, D1 a 0 IS=3e-10 N=39.43566, R1 a 0 406, R2 a b 1.05, D2 b bus IS=1e-7 N=1.159872
#                  I2 0 c 0.5, D3 c 0 IS=2e-10 N=38.66241, R3 c 0 900, R4 c d 2.1, D4 d bus IS=1e-7 N=1.159872
#                  R5 bus e 0.4, RA e x 0.3, RFA x 0 40, RB e y 0.8, RFB y 0 60
#   in series:     I1 m a 1.1, D1 a m IS=3e-10 N=39.43566, R1 a m 406, R2 a plus 1.05
#                  I2 0 c 0.9, D3 c 0 IS=3e-10 N=39.43566, R3 c 0 500, R4 c m 1.05; R5 plus e 0.5, RF e 0 96, RH e 0 48


@checks(
    TOPIC, "circuit simulator (ngspice 39): two unlike panels side by side, a diode each, two fans on leads", LIBRARY,
    row("SIM-1a", "two panels side by side: at their joint", "V", 20.43007876, rel=1e-5),
    row("SIM-1b", "two panels side by side: at the nearer fan", "V", 19.94874955, rel=1e-5),
    row("SIM-1c", "two panels side by side: at the farther fan", "V", 19.83391300, rel=1e-5),
    kind=WHOLE,
)  # fmt: skip
def panels_side_by_side():
    line = DiodeLaw(1e-7, 0.03)
    circuit = Circuit(
        Joined("parallel", tuple(Through(Leaf(name), 0.0, line) for name in ("large", "small"))),
        Through(Joined("parallel", (Through(Leaf("near"), 0.3), Through(Leaf("far"), 0.8))), 0.4),
    )
    panels = {"large": (1.2, 3e-10, 1.05, 406.0, 1.02), "small": (0.5, 2e-10, 2.1, 900.0, 1.0)}
    fans = {
        name: FanElectrical(name, 12.0, amps, 1.0, 7.0, 5.0, 2.0, False) for name, amps in (("near", 0.3), ("far", 0.2))
    }
    got = point(circuit, panels, fans, dict.fromkeys(fans, "turning"))
    return [got.bus_voltage[0], *got.fan_voltage[:, 0]]


@checks(
    TOPIC, "circuit simulator (ngspice 39): two panels in series, one dimmer; a turning fan and a held one", LIBRARY,
    row("SIM-2a", "two panels in series: at their ends", "V", 28.60626222, rel=1e-5),
    row("SIM-2b", "two panels in series: at the fans", "V", 28.16616588, rel=1e-5),
    row("SIM-2c", "two panels in series: at the dimmer one", "V", 8.97699094, rel=1e-5),
    kind=WHOLE,
)  # fmt: skip
def panels_in_series():
    circuit = Circuit(
        Joined("series", (Leaf("bright"), Leaf("dim"))),
        Through(Joined("parallel", (Leaf("turns"), Leaf("held"))), 0.5),
    )
    panels = {"bright": (1.1, 3e-10, 1.05, 406.0, 1.02), "dim": (0.9, 3e-10, 1.05, 500.0, 1.02)}
    fans = {name: FanElectrical(name, 24.0, 0.25, 1.0, 13.0, 9.0, 2.0, False) for name in ("turns", "held")}
    got = point(circuit, panels, fans, {"turns": "turning", "held": "held"})
    return [got.bus_voltage[0], got.fan_voltage[0, 0], got.panel_voltage[1, 0]]
