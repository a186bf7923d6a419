"""The wiring checklist of a plan: what to do in which order, what the meter should show, and what it means if not."""

from __future__ import annotations

from solarvent.planning.bench import Bench, Step
from solarvent.planning.bench_steps import labels, on_the_bench, panels_alone
from solarvent.planning.mounting import on_the_wall, seasons
from solarvent.planning.sun_steps import first_sun
from solarvent.planning.wiring_steps import far_ends, joints


def checklist(bench: Bench) -> list[Step]:
    """Write the steps of a plan in the order in which they are done.

    Parameters
    ----------
    bench : Bench
        From :func:`solarvent.planning.bench.prepare`.

    Returns
    -------
    list of Step
    """
    parts = (labels, on_the_bench, panels_alone, far_ends, joints, first_sun, on_the_wall, seasons)
    return [step for part in parts for step in part(bench)]
