"""What to think of a design: its findings, its verdict and the reason in one sentence."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan
from typing import TYPE_CHECKING

from solarvent.base.quantities import show
from solarvent.inputs.loading import LoadedPlan
from solarvent.planning.electrical_checks import LATE_START
from solarvent.planning.findings import Finding
from solarvent.planning.worst_case import WorstCase

if TYPE_CHECKING:
    from solarvent.planning.size_option import Option

_CLAMP = "Put a regulator or clamp between panel and fan, use a 24 V fan, or a smaller panel."
_BIGGER = "A larger panel, an easier-starting fan, a 24 V fan on the 12 V panel, or fewer fans on it."


def fan_findings(planned: LoadedPlan, worst: WorstCase, start: float, system: str) -> Iterator[Finding]:
    """Say what the fans of a design suffer, each thing once for all of them.

    Parameters
    ----------
    planned : LoadedPlan
        The plan of the design; its fans are alike.
    worst : WorstCase
        Of that plan.
    start : float
        Light at which the last fan starts; NaN if never. [W/m2]
    system : {"metric", "us"}
        Units in the texts.
    """
    fan = planned.plan.fan[0]
    limit, volts = fan.maximum_voltage, max(worst.turning.values())
    failed, standing = max(worst.one_failed.values(), default=0.0), max(worst.standing.values())
    cold = f"In the brightest light (a cloud's edge) at {show(worst.temp_air, 'temperature', system)}"
    if volts > limit:
        text = f"{cold} the turning fan gets {volts:.1f} V; its limit is {limit:g} V."
        yield Finding("stop", "over-voltage", "fan-1", text, _CLAMP, volts, limit, "V")
    elif failed > limit:
        text = f"If another fan fails, the last one gets {failed:.1f} V in bright cold sun; its limit is {limit:g} V."
        yield Finding("warn", "over-voltage-one-failed", "fan-1", text, _CLAMP, failed, limit, "V")
    if fan.standing == "retrying" and standing > limit:
        text = (
            f"Between its attempts to start, a standing fan is at the open-circuit voltage: up to {standing:.1f} V on a"
            f" cold morning; its limit is {limit:g} V."
        )
        do = "Choose a fan whose printed limit is above it, or add a clamp."
        yield Finding("warn", "open-circuit-voltage", "fan-1", text, do, standing, limit, "V")
    if isnan(start):
        text = "No sun starts all the fans: standing rotors draw more than the panel gives."
        yield Finding("stop", "never-starts", "fan-1", text, _BIGGER, None, fan.start_voltage, "V")
    elif start > LATE_START:
        text = f"The last fan starts only above {start:.0f} W/m2 on the cells: clear sky near noon."
        yield Finding("warn", "starts-late", "fan-1", text, _BIGGER, start, LATE_START, "W/m2")


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
    share, rated = option.share_at_target, option.design.fan.rated_voltage
    stops = {finding.code: finding for finding in option.findings if finding.level == "stop"}
    if "over-voltage" in stops:
        volts, limit = option.fan_voltage_max, option.fan_voltage_limit
        return "stop", f"over-voltage: {volts:.1f} V in cold bright sun, and the fan bears {limit:g} V", "voltage"
    if "never-starts" in stops:
        return "stop", "no sun starts all the fans: the standing rotors drag the panel down", "start"
    if stops:
        return "stop", next(iter(stops.values())).text.rstrip("."), "converter"
    if share >= enough:
        caution = next((finding for finding in option.findings if finding.level == "warn"), None)
        but = _BUT.get(caution.code, "") if caution else ""
        return "fits", f"at the target in {share:.0%} of the needed hours{but}", "nothing"
    met = f"at the target in only {share:.0%} of the needed hours"
    start = option.start_irradiance
    if option.hours_at_target < 0.5 * option.hours_running and start < 0.5 * LATE_START:
        speed = option.fan_voltage_max / rated
        if option.hours_at_target == 0 and speed < 1:
            return "short", f"{met}: the fans never get more than {option.fan_voltage_max:.1f} V of {rated:g} V", "air"
        return "short", f"{met}: the fans turn, but too slowly", "air"
    if start > 0.5 * LATE_START:
        return "short", f"{met}: the last fan needs {start:.0f} W/m2 to start", "start"
    return "short", f"{met}: the rest of the time the light is too weak for it", "light"


_BUT = {
    "open-circuit-voltage": ", but a standing fan is near the open-circuit voltage",
    "over-voltage-one-failed": ", but a fan left alone gets too much",
    "starts-late": ", but it starts late",
}
