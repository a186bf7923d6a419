"""The wiring checklist of a plan: what to do in which order, what the meter should show, and what it means if not."""

from __future__ import annotations

from solarvent.base.sentences import listed
from solarvent.bench.first_sun import first_sun
from solarvent.bench.joining import far_ends, joints
from solarvent.bench.mounting import on_the_wall, seasons
from solarvent.bench.parts_alone import labels, on_the_bench, panels_alone
from solarvent.bench.preparation import Bench, Step


def checklist(bench: Bench) -> list[Step]:
    """Write the steps of a plan in the order in which they are done.

    Parameters
    ----------
    bench : Bench
        From :func:`solarvent.bench.preparation.prepare`.

    Returns
    -------
    list of Step
    """
    parts = (labels, on_the_bench, panels_alone, far_ends, joints, first_sun, on_the_wall, seasons)
    return [step for part in parts for step in part(bench)]


def stops(bench: Bench) -> list[str]:
    """Say what must not be built as the plan has it: wrong poles, and more voltage in this light than a fan stands.

    Parameters
    ----------
    bench : Bench
        From :func:`solarvent.bench.preparation.prepare`.

    Returns
    -------
    list of str
        Sentences; empty if nothing speaks against building it.
    """
    limits = {fan.id: fan.maximum_voltage for fan in bench.plan.record.fan}
    found: dict[str, list[str]] = {}
    for typical in bench.bands["typical"]:
        for fan in typical.turning.fans:
            if fan.voltage > limits[fan.id]:
                words = f"{fan.voltage:.1f} V in {bench.irradiance:.0f} W/m2; the limit is {limits[fan.id]:g} V"
                found.setdefault(words, []).append(fan.id)
    return [
        *bench.wrong_poles,
        *(
            f"Do not build it so: {listed(names)} would get {words}. Change the plan first; solarvent run says how."
            for words, names in found.items()
        ),
    ]
