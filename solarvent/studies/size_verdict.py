"""What to think of a design: its findings, its verdict and the reason in one sentence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf, isnan
from typing import TYPE_CHECKING

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.electrical.operation import Thresholds
from solarvent.findings.electrical_checks import LATE_START, more_panel
from solarvent.plan.parts import Fan
from solarvent.plan.plan import Plan
from solarvent.simulation.worst_case import WorstCase

if TYPE_CHECKING:
    from solarvent.studies.size_option import Option

_CLAMP = "Put a regulator or clamp between panel and fan, use a fan for more volts, or a smaller panel."


def fan_findings(
    planned: Plan,
    worst: WorstCase,
    limits: Mapping[str, Thresholds],
    brightest: Mapping[str, float],
    peaks: Mapping[str, float],
    system: str,
    each: bool,
) -> Iterator[Finding]:
    """Say what the fans of a design suffer.

    Parameters
    ----------
    planned : Plan
        The plan of the design.
    worst : WorstCase
        Of that plan.
    limits : mapping of str to Thresholds
        By fan.
    brightest : mapping of str to float
        Most light of the year on the panels that feed a fan that stands all the time, by fan; none for those that
        turn. [W/m2]
    peaks : mapping of str to float
        Highest voltage between the attempts of each fan while it stands. [V]
    system : {"metric", "us"}
        Units in the texts.
    each : bool
        Speak of every fan. Otherwise they are alike and side by side: each thing is said once, for the fan that suffers
        it most.
    """
    told: set[str] = set()
    for fan in reversed(planned.record.fan):
        light, peak = brightest.get(fan.id, inf), peaks[fan.id]
        for finding in (
            *_voltage_findings(fan, worst, peak, system),
            *_start_findings(fan, limits[fan.id].start_irradiance, light, each),
        ):
            if each or finding.code not in told:
                told.add(finding.code)
                yield finding


def _voltage_findings(fan: Fan, worst: WorstCase, peak: float, system: str) -> Iterator[Finding]:
    """Say when a fan gets more voltage than it bears."""
    name, limit = fan.id, fan.maximum_voltage
    volts, failed, standing = worst.turning[name], worst.one_failed.get(name, 0.0), max(worst.standing[name], peak)
    cold = f"In the brightest light (a cloud's edge) at {show(worst.temp_air, 'temperature', system)}"
    if volts > limit:
        text = f"{cold} the turning fan gets {volts:.1f} V; its limit is {limit:g} V."
        yield Finding("stop", "over-voltage", name, text, _CLAMP, volts, limit, "V")
    elif failed > limit:
        text = f"If another fan fails, the last one gets {failed:.1f} V in bright cold sun; its limit is {limit:g} V."
        yield Finding("warn", "over-voltage-one-failed", name, text, _CLAMP, failed, limit, "V")
    if fan.standing == "retrying" and standing > limit:
        text = (
            f"Between its attempts to start, a standing fan is at the open-circuit voltage: up to {standing:.1f} V on a"
            f" cold morning; its limit is {limit:g} V."
        )
        do = "Choose a fan whose printed limit is above it, or add a clamp."
        yield Finding("warn", "open-circuit-voltage", name, text, do, standing, limit, "V")


def _start_findings(fan: Fan, start: float, brightest: float, each: bool) -> Iterator[Finding]:
    """Say that a fan, or the last of alike ones, starts late or never."""
    name, whom = fan.id, "The fan" if each else "The last fan"
    if isnan(start):
        text = f"{whom} never starts: while its rotor stands it draws more than the panel gives in any sun."
        yield Finding("stop", "never-starts", name, text, more_panel(fan), None, fan.start_voltage, "V")
    elif brightest < start:
        text = f"{whom} never starts: it would in {start:.0f} W/m2, and the cells never get more than {brightest:.0f}."
        yield Finding("stop", "never-starts", name, text, more_panel(fan), brightest, start, "W/m2")
    elif start > LATE_START:
        text = f"{whom} starts only above {start:.0f} W/m2 on the cells: clear sky near noon."
        yield Finding("warn", "starts-late", name, text, more_panel(fan), start, LATE_START, "W/m2")


def judge(option: Option, enough: float) -> tuple[str, str, str]:
    """Give the verdict on a design, its reason in one sentence, and what limits it.

    Parameters
    ----------
    option : Option
        What it does.
    enough : float
        Share of the needed hours in which the target should be met. [-]

    Returns
    -------
    verdict, reason, limit : str
    """
    share, rated = option.share_at_target, option.fan_voltage_rated
    stops = {finding.code: finding for finding in option.findings if finding.level == "stop"}
    if "over-voltage" in stops:
        volts, limit = option.fan_voltage_max, option.fan_voltage_limit
        return "stop", f"over-voltage: {volts:.1f} V in cold bright sun, and the fan bears {limit:g} V", "voltage"
    if parts := [finding for finding in stops.values() if finding.code in _PARTS]:
        text = parts[0].text.rstrip(".")
        return "stop", f"{parts[0].part}: {text[0].lower()}{text[1:]}", "converter"
    if "never-starts" in stops:
        whom = "all the fans" if option.design.own is None else stops["never-starts"].part
        if isnan(option.start_irradiance):
            return "stop", f"no sun starts {whom}: standing rotors drag the panel down", "start"
        return "stop", f"{option.start_irradiance:.0f} W/m2 would start {whom}, more than there ever is", "start"
    if stops:
        return "stop", next(iter(stops.values())).text.rstrip("."), "converter"
    if share >= enough:
        caution = next((finding for finding in option.findings if finding.level == "warn"), None)
        but = _BUT.get(caution.code, "") if caution else ""
        return "fits", f"at the target in {share:.0%} of the needed hours{but}", "nothing"
    met = f"at the target in only {share:.0%} of the needed hours"
    if hunts := next((finding for finding in option.findings if finding.code == "converter-hunts"), None):
        return "short", f"{met}: in {hunts.value:.0%} of them the converter hunts in weak light", "converter"
    start = option.start_irradiance
    if option.hours_line_open and option.hours_at_target + option.hours_line_open >= enough * option.hours_needed:
        off = option.hours_line_open / option.hours_needed
        return "short", f"{met}: in {off:.0%} of them it is too cool inside for the thermostat", "thermostat"
    if option.hours_at_target < 0.5 * option.hours_running and start < 0.5 * LATE_START:
        speed = option.fan_voltage_max / rated
        if option.hours_at_target == 0 and speed < 1:
            return "short", f"{met}: the fans never get more than {option.fan_voltage_max:.1f} V of {rated:g} V", "air"
        return "short", f"{met}: the fans turn, but too slowly", "air"
    if start > 0.5 * LATE_START:
        return "short", f"{met}: the last fan needs {start:.0f} W/m2 to start", "start"
    return "short", f"{met}: the rest of the time the light is too weak for it", "light"


_PARTS = ("controller-without-battery", "power-bank-switches-off", "converter-latches")
_BUT = {
    "wire-thin": ", but a lead is too thin for this panel: use thicker wire",
    "open-circuit-voltage": ", but a standing fan is near the open-circuit voltage",
    "over-voltage-one-failed": ", but a fan left alone gets too much",
    "starts-late": ", but it starts late",
    "converter-hunts": ", but its converter hunts in weak light",
}
