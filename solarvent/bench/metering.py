"""What a meter reads on a plan's circuits: in a given sun, and under a clear sky at one moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from solarvent.base.errors import PlanError
from solarvent.bench.evidence import KnownLight
from solarvent.electrical.bands import BANDS, Band
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.operation import OperatingPoint, point
from solarvent.electrical.start_light import Thresholds, start_and_run_down
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import panel_light
from solarvent.weather.span import plan_clock
from solarvent.wiring.circuit import Circuit
from solarvent.wiring.harness import build_harness
from solarvent.wiring.network import circuits


@dataclass(frozen=True)
class FanReading:
    """At the terminals of one fan: volts and amperes."""

    id: str
    voltage: float
    current: float


@dataclass(frozen=True)
class Reading:
    """A circuit with its fans, in the order of the plan, in one state; [V] and [A] at the first panel's terminals."""

    panel_voltage: float
    panel_current: float
    fans: tuple[FanReading, ...]


@dataclass(frozen=True)
class Expected:
    """What a meter should read on one circuit.

    `standing` is with all rotors held, `turning` with all fans turning, whether or not they would start. `open_circuit`
    is the voltage with nothing joined [V]; `short_circuit` the current into a meter across the panels' lead, at the
    point that feeds the fans [A]; `thresholds` are by fan, for cells at the given temperature.
    """

    panels: tuple[str, ...]
    open_circuit: float
    short_circuit: float
    standing: Reading
    turning: Reading
    thresholds: dict[str, Thresholds]


def expected_readings(
    plan: Plan, irradiance: float, temp_cell: float, bands: tuple[Band, ...] = BANDS
) -> dict[str, tuple[Expected, ...]]:
    """Work out the readings of every circuit of a plan, by band of its plates.

    Parameters
    ----------
    irradiance : float
        Light on the cells of every panel, but for sections in shadow that bypass diodes bridge. [W/m2]
    temp_cell : float
        Of the cells. [degC]
    bands : tuple of Band
        Which readings of the plates.

    Returns
    -------
    dict of str to tuple of Expected
        By band, one entry a circuit.
    """
    wired = circuits(build_harness(plan), plan)
    return {band.name: tuple(_expected(circuit, irradiance, temp_cell, band) for circuit in wired) for band in bands}


def _expected(circuit: Circuit, irradiance: float, temp_cell: float, band: Band) -> Expected:
    """Work out the readings of one circuit in one band."""
    fans = circuit_fans(circuit, band)
    panels = circuit_panels(circuit, np.array([irradiance]), np.array([temp_cell]), band)
    held, turning = (point(circuit, panels, fans, dict.fromkeys(fans, state)) for state in ("held", "turning"))
    return Expected(
        panels=circuit.panel_ids,
        open_circuit=float(held.open_circuit_voltage[0]),
        short_circuit=float(held.short_circuit_current[0]),
        standing=_reading(held),
        turning=_reading(turning),
        thresholds=start_and_run_down((circuit,), band, temp_cell),
    )


def _reading(operating: OperatingPoint) -> Reading:
    """Take the first step of an operating point."""
    fans = zip(
        operating.fan_ids, operating.fan_voltage[:, 0].tolist(), operating.fan_current[:, 0].tolist(), strict=True
    )
    return Reading(
        float(operating.panel_voltage[0, 0]),
        float(operating.panel_current[0, 0]),
        tuple(FanReading(*values) for values in fans),
    )


def clear_sky_light(plan: Plan, when: datetime, temp_air: float = 20.0) -> KnownLight:
    """Estimate light and heat of the cells under a clear sky, of which a cloud may have taken most.

    Parameters
    ----------
    when : datetime
        Clock time of the plan, without a zone.
    temp_air : float
        Air temperature. [degC]

    Returns
    -------
    KnownLight
        Mean of the panels.

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
