"""What to think of a design: its findings, its verdict and the reason in one sentence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf, isnan
from typing import TYPE_CHECKING

from solarvent.base.findings import Finding
from solarvent.electrical.start_light import Thresholds
from solarvent.findings.starting import LATE_START, start_finding
from solarvent.findings.verdicts import verdict_level
from solarvent.findings.voltages import fan_voltage_findings
from solarvent.plan.plan import Plan
from solarvent.simulation.worst_case import WorstCase

if TYPE_CHECKING:
    from solarvent.studies.size_option import SizedDesign


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

    `brightest` is, for a fan that stands all the time, the most light of the year on the panels that feed it [W/m2];
    `peaks` the highest voltage between the attempts of each fan while it stands [V]. Unless `each` is asked for, the
    fans are alike and each thing is said once, for the fan that suffers it most.
    """
    told: set[str] = set()
    for fan in reversed(planned.record.fan):
        light = brightest.get(fan.id, inf)
        start = start_finding(fan, limits[fan.id].start_irradiance, light, whom="The fan" if each else "The last fan")
        for finding in (
            *fan_voltage_findings(planned, fan, worst, peaks[fan.id], system),
            *([start] if start else ()),
        ):
            if each or finding.code not in told:
                told.add(finding.code)
                yield finding


def judge(option: SizedDesign, enough: float) -> tuple[str, str, str]:
    """Give the verdict on a design, its reason in one sentence, and what limits it.

    The target should be met in `enough` of the needed hours, a share.
    """
    share, rated = option.share_at_target, option.fan_voltage_rated
    stops = {finding.code: finding for finding in option.findings if finding.level == "stop"}
    if "over-voltage" in stops:
        volts, limit = option.fan_voltage_max, option.fan_voltage_limit
        return "stop", f"over-voltage: {volts:.1f} V in cold bright sun; the rated maximum is {limit:g} V", "voltage"
    if parts := [finding for finding in stops.values() if finding.code in _PARTS]:
        text = parts[0].text.rstrip(".")
        return "stop", f"{parts[0].part}: {text[0].lower()}{text[1:]}", "converter"
    if "never-starts" in stops:
        whom = "all the fans" if option.design.own is None else stops["never-starts"].part
        if isnan(option.start_irradiance):
            straight = option.design.converter_part is None
            why = "standing rotors drag the panel down" if straight else "the converter never gives the start voltage"
            return "stop", f"no sun starts {whom}: {why}", "start"
        return "stop", f"{option.start_irradiance:.0f} W/m2 would start {whom}, more than there ever is", "start"
    if stops:
        return "stop", next(iter(stops.values())).text.rstrip("."), "converter"
    if isnan(share):
        return "fits", "its weather has no hour in which air is needed", "nothing"
    if verdict_level(option.findings, share, enough) == "fits":
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
