"""The light of a clear sky on a plan's panels at one moment."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from solarvent.base.errors import PlanError
from solarvent.bench.evidence import KnownLight
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import panel_light
from solarvent.weather.span import plan_clock


def clear_sky_light(plan: Plan, when: datetime, temp_air: float = 20.0) -> KnownLight:
    """Estimate light and heat of the cells under a clear sky.

    Parameters
    ----------
    plan : Plan
        The plan: its place, and how its panels hang.
    when : datetime
        Clock time of the plan, without a zone.
    temp_air : float
        [degC]

    Returns
    -------
    KnownLight
        Mean of the panels; a cloud may have taken most of it.

    Raises
    ------
    PlanError
        If the clock skips this time, or the sun is down.
    """
    import pandas as pd

    from solarvent.weather import sky, sun

    place = plan.record.place
    stamp = pd.DatetimeIndex([when]).tz_localize(plan_clock(plan), ambiguous=np.array([True]), nonexistent="NaT")
    if stamp.isna().any():
        raise PlanError.single(
            "--at", f"{when:%Y-%m-%d %H:%M} is skipped by the clock there", "it goes an hour forward"
        )
    index = stamp.tz_convert("UTC")
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    weather = pd.DataFrame({"ghi": clear.ghi, "dni": clear.dni, "dhi": clear.dhi, "temp_air": temp_air}, index=index)
    weather.attrs["step"] = 0.0
    position = sun.solar_position(index, place.latitude, place.longitude, place.altitude)
    lights = [panel_light(panel, plan, weather, position) for panel in plan.record.panel]
    irradiance = float(np.mean([light.effective_irradiance[0] for light in lights]))
    if irradiance < 20:
        what = f"at {when:%Y-%m-%d %H:%M} the sun is down, or nearly so"
        raise PlanError.single("--at", what, f"clock times are those of {place.timezone}")
    return KnownLight(irradiance, False, float(np.mean([light.temp_cell[0] for light in lights])))
