"""Findings on fans that stand: what keeps them from starting, and what standing in the sun does to them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from math import isnan

import numpy as np

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.electrical.battery import held_at
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.operating_point import OperatingPoint
from solarvent.electrical.operation import State, point
from solarvent.electrical.start_light import Thresholds, start_and_run_down
from solarvent.findings.wires import poor_joint
from solarvent.plan.parts import Converter, Fan, Lead, Splitter
from solarvent.simulation.simulate import Simulation
from solarvent.weather.conditions import Conditions
from solarvent.wiring.circuit import Circuit
from solarvent.wiring.harness import Harness

#: Full sun, which hardly any hour passes, and the cells of a panel in it (common practice, no source). [W/m2], [degC]
FULL_SUN, WARM_CELLS = 1000.0, 50.0


def in_full_sun(circuit: Circuit, held: str = "") -> OperatingPoint:
    """Give what flows in a circuit in full sun on warm cells, all fans turning but one whose rotor may be held."""
    panels, fans = circuit_panels(circuit, np.array([FULL_SUN]), np.array([WARM_CELLS])), circuit_fans(circuit)
    states: dict[str, State] = {fan: "held" if fan == held else "turning" for fan in fans}
    return point(circuit, panels, fans, states)


def motor_findings(run: Simulation) -> Iterator[Finding]:
    """Say what a long run, or a blocked rotor, does to a motor."""
    for row, fan in enumerate(run.plan.record.fan):
        name = fan.id
        if fan.motor == "brushed":
            hours = float(run.electrical.running[row].sum()) * run.conditions.step / 3600.0
            text = (
                "A brushed motor draws five to ten times its current to start, and its brushes last some 1000 to 3000"
                f" hours; over this weather it turns {hours:.0f} h. Blowers for cars and boats are made for a quarter"
                " of an hour at a time."
            )
            do = "Use a brushless fan that is rated for continuous duty."
            yield Finding("warn", "motor-brushed", name, text, do, hours, 1000.0, "h")
        if fan.standing == "held":
            yield from _blocked(run, fan)


def _blocked(run: Simulation, fan: Fan) -> Iterator[Finding]:
    """Say what flows through a blocked rotor that nothing switches off, in full sun with the others turning."""
    reading = in_full_sun(run.circuit_of(fan.id), held=fan.id)
    amps = float(reading.fan_current[reading.fan_ids.index(fan.id), 0])
    if amps > fan.rated_current:
        text = (
            f"Nothing switches this motor off when its rotor is blocked (a nest, a leaf, a dry bearing): {amps:.2g} A"
            f" would flow through it all day, {amps / fan.rated_current:.1f} times its rated current."
        )
        do = (
            "Choose a fan with automatic restart, or one marked impedance protected; else guard it with mesh and turn"
            " it by hand each month."
        )
        yield Finding("warn", "stalls-unprotected", fan.id, text, do, amps, fan.rated_current, "A")


def speed_findings(run: Simulation) -> Iterator[Finding]:
    """Say what a fan that holds its own speed does on a panel."""
    for fan in run.plan.record.fan:
        if fan.speed_controlled:
            text = (
                "It holds its own speed, so it draws more as the voltage falls: in failing light it drops out at once"
                " where another fan would slow down."
            )
            do = "Prefer a 2- or 3-wire fan straight on a panel, or leave it the panel's full watts to spare."
            yield Finding("note", "fan-holds-speed", fan.id, text, do)


#: Light on the cells from which a start is late: a clear sky gives it some hours around noon (our choice). [W/m2]
LATE_START = 700.0
#: A fan may well stand through one dull day; what it does in less says nothing of the year.
_DAYS_THAT_TELL = 28
#: Below this share of its start voltage the driver of a fan sleeps (common practice, no source: 3.5 V of a 12 V fan).
AWAKE = 0.5
#: Shares of the hours of need from which it is told (our choice).
IN_VAIN, APART, BURSTS, CARRIED = 0.1, 0.25, 0.1, 0.1
#: Cold grease lifts the start voltage by so much, below this temperature (common practice, no source). [V], [degC]
STIFFER, COLD = 0.5, 5.0
#: A capacitor that people solder to a fan (common practice, no source). [F]
CAPACITOR = 4700e-6
#: A capacitor is worth it where the fan then starts at so much of the light or less (our choice). [-]
_MUCH_EARLIER = 0.8
_Thresholds = dict[str, Thresholds]


def threshold_findings(run: Simulation) -> Iterator[Finding]:
    """Say which fans do not start, start late, or will not start again after a cloud."""
    long_enough = tells_of_the_year(run.conditions)
    for fan in run.plan.record.fan:
        typical, low = (run.bands[band].thresholds[fan.id] for band in ("typical", "low"))
        start, brightest = typical.start_irradiance, np.inf
        if long_enough and not (run.hours[f"running.{fan.id}"] > 0).any():
            brightest = float(run.conditions.brightest_on(run.circuit_of(fan.id).panel_ids).max())
        storage = run.circuit_of(fan.id).storage
        battery = None if storage is None else held_at(storage)
        finding = start_finding(fan, start, brightest, starved_by(run.harness, fan.id), battery=battery)
        if finding is not None:
            yield finding
        # The band is that of panels and fans; a battery holds its voltage whatever the panel gives.
        elif isnan(low.start_irradiance) and battery is None:
            text = f"With a weak panel and a stiff fan it would never start; typically it does at {start:.0f} W/m2."
            do = f"{more_panel(fan)} Or measure the panel's short-circuit current at noon: it decides."
            yield Finding("warn", "may-not-start", fan.id, text, do, start, None, "W/m2")
        if finding is None or finding.level != "stop":
            yield from _restart_finding(run, fan, start, typical.run_down_irradiance)


def spread_finding(run: Simulation) -> Iterator[Finding]:
    """Say where the low and the high reading are cut down."""
    if run.cut_down:
        do = "Under one sky they are whole: solarvent airflow. Fans of one kind on leads of one length are quick."
        yield Finding("note", "spread-cut-down", "", run.cut_down, do)


def tells_of_the_year(sun: Conditions) -> bool:
    """Tell a span that is long enough to say of a fan that never turns in it that it never does."""
    return len(sun.times) * sun.step > _DAYS_THAT_TELL * 86400


def start_finding(
    fan: Fan,
    start: float,
    brightest: float = np.inf,
    starved_by: str = "",
    whom: str = "The fan",
    battery: float | None = None,
) -> Finding | None:
    """Say that a fan never starts, or starts late.

    `start` is the light on the cells at which it starts, NaN if no sun starts it [W/m2]; `brightest` the most light
    that its panels get where it stands all the time, else endless [W/m2]; `starved_by` what to do about a part on its
    way that no larger panel helps against. Of alike fans `whom` is the last one. `battery` is the voltage of the
    battery from which it runs, None if it hangs on its panel [V].
    """
    if battery is not None:
        return _never_on_battery(fan, battery, whom) if isnan(start) else None
    bigger = more_panel(fan)
    if isnan(start):
        text = f"{whom} never starts: no sun gives it {fan.start_voltage:g} V while its rotor stands still."
        return Finding("stop", "never-starts", fan.id, text, starved_by or bigger, None, fan.start_voltage, "V")
    if brightest < start:
        text = (
            f"{whom} never starts: it would in {start:.0f} W/m2 on the cells, and they never get more than"
            f" {brightest:.0f} W/m2."
        )
        do = f"See what keeps the sun away: tilt, azimuth, dirt, glass, shade. {bigger}"
        return Finding("stop", "never-starts", fan.id, text, do, brightest, start, "W/m2")
    if start > LATE_START:
        text = f"{whom} starts only above {start:.0f} W/m2 on the cells: clear sky near noon."
        return Finding("warn", "starts-late", fan.id, text, bigger, start, LATE_START, "W/m2")
    return None


def _never_on_battery(fan: Fan, battery: float, whom: str) -> Finding:
    """Say that the battery does not start a fan."""
    text = (
        f"{whom} does not start from the battery: standing still it wants {fan.start_voltage:g} V, and the battery has"
        f" {battery:.1f} V at rest, less what is lost on the way."
    )
    do = "Use a fan for the voltage of the battery, thicker wire, or nothing in line that takes volts."
    return Finding("stop", "never-starts", fan.id, text, do, battery, fan.start_voltage, "V")


def may_be_24_volt(fan: Fan) -> bool:
    """Tell a 12 V fan, of which there is a 24 V twin; there is none of USB fans."""
    return 9.0 < fan.rated_voltage < 20.0


def more_panel(fan: Fan) -> str:
    """Say what helps a fan that its panel starts too late; all findings of that kind give this one advice."""
    higher = " a 24 V fan on the 12 V panel," if may_be_24_volt(fan) else ""
    return f"A larger panel, an easier-starting fan,{higher} or fewer fans on it where there are several."


def starved_by(harness: Harness, fan: str) -> str:
    """Name the joint or the part on the way that no larger panel would help against; empty if there is none."""
    if joint := poor_joint(harness, fan):
        return joint
    for name in harness.upstream(fan):
        part = harness.parts[name]
        if isinstance(part, Lead) and part.diode_reversed:
            return f"Turn the diode {name} round: its ring looks to the fans."
        if isinstance(part, Splitter) and part.arrangement == "series" and len(harness.after(name)) > 1:
            return "It is in series with another fan, which takes the voltage: join them side by side."
        if isinstance(part, Converter):
            given = f"{name} gives {part.output_voltage:g} V and {part.current_limit:g} A"
            if isinstance(rotor := harness.parts[fan], Fan) and part.output_voltage < rotor.start_voltage:
                return f"Use a fan for less volts, or feed it another way: {given}."
            return f"A larger panel, or fewer fans: {given} at the most, if the panel holds it up."
    return ""


def _restart_finding(run: Simulation, fan: Fan, start: float, stop: float) -> Iterator[Finding]:
    """Say how often a fan turns in light that would not start it."""
    name, hours = fan.id, run.hours
    need = run.needed
    turning = (hours[f"running.{name}"].to_numpy() > 0) & need
    # Even the brightest moment of such an hour would not start it.
    carried = turning & (run.conditions.brightest_on(run.circuit_of(name).panel_ids) < start)
    if turning.any() and (share := carried.sum() / turning.sum()) > CARRIED:
        text = (
            f"In {share:.0%} of the hours in which you need it, the fan keeps turning but would not start again after"
            f" a cloud: it starts at {start:.0f} W/m2 and stops at {stop:.0f} W/m2."
        )
        yield Finding("warn", "will-not-restart", name, text, more_panel(fan), start, stop, "W/m2")


def start_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say which fans try in vain, wait for a push, start one without the other, or in bursts."""
    need = run.needed
    if not need.any():
        return
    bursts: list[Finding] = []
    # For all fans at once, and only if one of them asks.
    with_capacitors = cache(lambda: _thresholds_with(run, start_capacitor=lambda fan: fan.start_capacitor or CAPACITOR))
    with_stiff_fans = cache(lambda: _thresholds_with(run, start_voltage=lambda fan: fan.start_voltage + STIFFER))
    for row, fan in enumerate(run.plan.record.fan):
        light = run.conditions.light_on(run.circuit_of(fan.id).panel_ids)[need]
        standing = run.electrical.running[row][need] == 0
        yield from _in_vain(run, fan, light, standing)
        yield from _push(run, fan, light, standing, with_capacitors)
        yield from _stiff(run, fan, light, need, system, with_stiff_fans)
        bursts += _bursts(run, fan, run.electrical.running[row][need])
    # Fans behind one converter drop out together.
    yield from {(burst.code, burst.part): burst for burst in bursts}.values()
    yield from _one_without_the_other(run, need)


def _thresholds_with(run: Simulation, **changes: Callable[[Fan], float]) -> _Thresholds:
    """Start and run-down irradiance of all fans, were they otherwise."""

    def other(fan: Fan) -> Fan:
        return fan.model_copy(update={name: change(fan) for name, change in changes.items()})

    circuits = (replace(circuit, fans=tuple(map(other, circuit.fans))) for circuit in run.circuits)
    return start_and_run_down(tuple(circuits))


def _in_vain(run: Simulation, fan: Fan, light: np.ndarray, standing: np.ndarray) -> Iterator[Finding]:
    """Say how often a fan twitches without ever starting: its driver is awake, and its panel too weak."""
    start = run.bands["typical"].thresholds[fan.id].start_irradiance
    if isnan(start) or fan.standing != "retrying" or _converter_before(run, fan) is not None:
        return
    # Standing, a fan is much like a resistor on a panel far below its knee: its volts go with the light.
    share = float((standing & (light > AWAKE * start) & (light < start)).mean())
    if share > IN_VAIN:
        text = (
            f"In {share:.0%} of the hours in which you need it the fan twitches or buzzes and does not start: its"
            f" driver wakes from about {AWAKE * start:.0f} W/m2 on the cells and tries again and again, but only"
            f" {start:.0f} W/m2 turn the rotor. It is not broken."
        )
        yield Finding("warn", "tries-in-vain", fan.id, text, more_panel(fan), share, IN_VAIN)


def _push(
    run: Simulation, fan: Fan, light: np.ndarray, standing: np.ndarray, with_capacitors: Callable[[], _Thresholds]
) -> Iterator[Finding]:
    """Say how often a fan waits for a push in light that would keep it turning, if a capacitor could give the push."""
    name = fan.id
    now = run.bands["typical"].thresholds[name]
    if fan.standing != "retrying" or fan.start_capacitor or isnan(now.run_down_irradiance):
        return
    most = np.inf if isnan(now.start_irradiance) else now.start_irradiance
    share = float((standing & (light > now.run_down_irradiance) & (light < most)).mean())
    if share <= IN_VAIN:
        return
    helped = with_capacitors()[name].start_irradiance
    if helped < _MUCH_EARLIER * most:
        text = (
            f"In {share:.0%} of the hours in which you need it the fan stands, though the light would keep it turning:"
            f" the surge of the start is too much for the panel, which stores nothing. Pushed by hand it would run from"
            f" {now.run_down_irradiance:.0f} W/m2."
        )
        do = (
            f"A capacitor across the fan's wires, 4700 uF, rated above the panel's open-circuit voltage, + to +: it"
            f' would start from about {helped:.0f} W/m2 (start_capacitor = "4700 uF" shows it). Or a larger panel.'
        )
        yield Finding("note", "start-surge", name, text, do, share, IN_VAIN)


def _stiff(
    run: Simulation,
    fan: Fan,
    light: np.ndarray,
    need: np.ndarray,
    system: str,
    with_stiff_fans: Callable[[], _Thresholds],
) -> Iterator[Finding]:
    """Say whether cold grease keeps a fan from starting in the cold hours of need."""
    name, cold = fan.id, run.conditions.weather["temp_air"].to_numpy()[need] < COLD
    start = run.bands["typical"].thresholds[name].start_irradiance
    starts = cold & (light >= start)
    if not starts.any():
        return
    stiff = with_stiff_fans()[name].start_irradiance
    # Hours in which a fan with thin grease would start, and this one does not.
    late = starts if isnan(stiff) else starts & (light < stiff)
    share = float(late.sum() / starts.sum())
    if share > IN_VAIN:
        when = f"only above {stiff:.0f} W/m2" if not isnan(stiff) else "not at all"
        text = (
            f"You need the fan in hours below {show(COLD, 'temperature', system, 0)}. Cold grease and worn bearings"
            f" raise the start voltage by about {STIFFER:g} V: then it starts {when}, not at {start:.0f} W/m2, which"
            f" takes {share:.0%} of those hours."
        )
        do = (
            "Choose a panel with a margin, or a fan with a lower start voltage; turn the fan by hand before the winter."
        )
        yield Finding("note", "stiff-in-cold", name, text, do, share, IN_VAIN)


def _bursts(run: Simulation, fan: Fan, running: np.ndarray) -> Iterator[Finding]:
    """Say how often broken cloud stops a fan and starts it again within the hour, and what a converter does then."""
    # The share of a step in which it turns is broken only under a broken sky.
    broken = (running > 0) & (running < 1)
    share = float(broken.mean())
    if share <= BURSTS:
        return
    name = fan.id
    turning = float(running[broken].mean())
    converter = _converter_before(run, fan)
    often = f"In {share:.0%} of the hours in which you need it"
    if converter is not None:
        text = (
            f"{often} passing clouds pull the converter below its {converter.cut_out:g} V: it goes off, tries again"
            f" every {converter.retry:g} s and comes back with the sun, so that the fan turns {turning:.0%} of such an"
            " hour."
        )
        do = (
            "A larger panel, a fan that starts at a lower voltage, or fans straight on the panel, which only slow down."
        )
        yield Finding("warn", "drops-in-shade", converter.id, text, do, share, BURSTS)
    else:
        text = f"{often} clouds stop the fan and gaps start it again: it turns {turning:.0%} of such an hour."
        do = (
            "Count on that share, though the mean light of such an hour looks enough. A larger panel carries the fan"
            " through the shadows."
        )
        yield Finding("note", "stops-in-shadow", name, text, do, share, BURSTS)


def _converter_before(run: Simulation, fan: Fan) -> Converter | None:
    """Look up a converter before a fan that goes on and off by its input voltage."""
    before = (run.harness.parts[name] for name in run.harness.upstream(fan.id))
    return next((part for part in before if isinstance(part, Converter) and part.cut_in > 0), None)


def _one_without_the_other(run: Simulation, need: np.ndarray) -> Iterator[Finding]:
    """Say how often some fans of a circuit turn and others stand."""
    ids = [fan.id for fan in run.plan.record.fan]
    for circuit in run.circuits:
        names = list(circuit.fan_ids)
        running = run.electrical.running[[ids.index(name) for name in names]][:, need]
        any_on = running.max(axis=0) > 0
        if len(names) < 2 or not any_on.any():
            continue
        # Shares of a step: a fan that turns more than half of it counts as turning.
        apart = (running.max(axis=0) > 0.5) & (running.min(axis=0) < 0.5)
        share = float(apart.sum() / any_on.sum())
        if share > APART:
            last = names[int(running.sum(axis=1).argmin())]
            text = (
                f"In {share:.0%} of the hours in which one of {', '.join(names)} turns, another one stands: they share"
                f" a supply, whichever starts first takes the light, and mostly {last} is left standing."
            )
            do = "A panel to each fan, a larger panel, alike fans, or a switch that takes one off in weak light."
            yield Finding("warn", "only-some-turn", last, text, do, share, APART)
