"""What a meter reads on a plan's circuits, in a given sun or at a moment; and readings as a person writes them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np

from solarvent.base.errors import PlanError, Problem, QuantityError, nearest
from solarvent.base.quantities import parse
from solarvent.bench.evidence import KnownLight
from solarvent.electrical.battery import held_at, law_of
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.operation import OperatingPoint, point
from solarvent.electrical.panel_model import BANDS, Band
from solarvent.electrical.start_light import Thresholds, start_and_run_down
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import panel_light
from solarvent.weather.span import plan_clock
from solarvent.wiring.circuit import Circuit, circuits
from solarvent.wiring.harness import build_harness

#: What a person can see a fan do.
SEEN = ("turns", "stands", "pulses")

_HIGHEST = {"voltage": 600.0, "current": 100.0}


@dataclass(frozen=True)
class Measurement:
    """What was read at one place with everything joined; None for what was not read.

    Attributes
    ----------
    voltage, current : float or None
        [V], [A]; a voltage below zero means that the red probe was on the negative pole.
    seen : str
        One of :data:`SEEN`, or empty.
    """

    voltage: float | None = None
    current: float | None = None
    seen: str = ""


@dataclass(frozen=True)
class Readings:
    """All readings of one visit with the meter, by the id of the part.

    `panel_open` [V] and `panel_short` [A] are of a panel alone; the others are taken with everything joined.
    """

    panel_open: dict[str, float] = field(default_factory=dict)
    panel_short: dict[str, float] = field(default_factory=dict)
    panel_joined: dict[str, Measurement] = field(default_factory=dict)
    fans: dict[str, Measurement] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.panel_open or self.panel_short or self.panel_joined or self.fans)


def parse_readings(
    panels: Sequence[str],
    fans: Sequence[str],
    *,
    panel_open: Iterable[str] = (),
    panel_short: Iterable[str] = (),
    panel_joined: Iterable[str] = (),
    fan: Iterable[str] = (),
) -> Readings:
    """Read the words of the command line; ids before ``=`` are needed only where there are several panels.

    `panel_open` and `panel_short` are like ``"20.4V"`` or ``"roof=20.4V"``; `panel_joined` like ``"17.8V/0.45A"``,
    either alone; `fan` like ``"east=11.2V/0.23A"``, either alone, and what was seen: ``"east=3V/0.6A/pulses"``.

    Raises
    ------
    PlanError
        With every reading that cannot be understood, and how to write it.
    """
    problems: list[Problem] = []
    by_option: list[dict] = []
    for option, texts, ids, reader in (
        ("--panel-open", panel_open, panels, _voltage),
        ("--panel-short", panel_short, panels, _current),
        ("--panel-joined", panel_joined, panels, _measurement),
        ("--fan", fan, fans, _measurement_and_sight),
    ):
        by_place: dict = {}
        for text in texts:
            try:
                name, value = _named(text, ids)
                if name in by_place:
                    raise QuantityError.single("", f'"{name}" is given twice', "give each place one reading")
                by_place[name] = reader(value)
            except (PlanError, QuantityError) as error:
                problems += [Problem(option, problem.what, problem.write) for problem in error.problems]
        by_option.append(by_place)
    if problems:
        raise PlanError(problems)
    return Readings(*by_option)


def _named(text: str, ids: Sequence[str]) -> tuple[str, str]:
    """Part a reading from the id before it, which may be left out where there is only one."""
    name, sign, value = text.partition("=")
    if not sign:
        if len(ids) == 1:
            return ids[0], text
        raise PlanError.single("", f'"{text[:40]}" does not say where', f'write it like "{ids[0]}=..."')
    name = name.strip()
    if name not in ids:
        raise PlanError.single("", f'there is no "{name[:40]}" in the plan', nearest(name, ids))
    return name, value


def _voltage(text: str) -> float:
    return _bounded(parse(text, "voltage"), "voltage", text)


def _current(text: str) -> float:
    value = _bounded(parse(text, "current"), "current", text)
    if value < 0:
        raise QuantityError.single(
            "", f'"{text.strip()}" is below zero', "give the size; a minus sign counts for volts"
        )
    return value


def _bounded(value: float, dimension: str, text: str) -> float:
    if abs(value) > _HIGHEST[dimension]:
        what = f'"{text.strip()}" is more than such a circuit can have'
        raise QuantityError.single("", what, "look at the unit and the range of the meter again")
    return value


def _measurement(text: str) -> Measurement:
    """Read volts and amperes in either order."""
    pair = _measurement_and_sight(text)
    if pair.seen:
        raise QuantityError.single("", f'"{pair.seen}" is for a fan', 'write it like "17.8V/0.45A"')
    return pair


def _measurement_and_sight(text: str) -> Measurement:
    """Read volts, amperes and what was seen, each at most once, in any order."""
    read: dict[str, Any] = {}
    # Between two readings a comma or a semicolon says the same as the stroke; in a number it stays and is refused.
    for piece in re.split(r"/|(?<=[A-Za-z])\s*[,;]", text):
        word = piece.strip()
        value: float | str
        if word in SEEN:
            key, value = "seen", word
        elif word.endswith(("V", "volt", "volts")):
            key, value = "voltage", _voltage(word)
        elif word.endswith(("A", "amp", "amps")):
            key, value = "current", _current(word)
        else:
            what = f'"{word[:40]}" is no volts, no amperes and nothing that a fan is seen to do'
            raise QuantityError.single("", what, f'write it like "11.2V/0.23A", and one of {", ".join(SEEN)}')
        if key in read:
            raise QuantityError.single("", f'"{text[:60]}" has two of a kind', 'write it like "11.2V/0.23A"')
        read[key] = value
    return Measurement(**read)


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
    point that feeds the fans [A]; `thresholds` are by fan, at 20 degC outside as in a run. `battery` is the voltage
    at the poles of a battery that feeds the fans: three quarters full, or in the low and the high reading at its
    cut-off and while the last of it is charged; None without one [V].
    """

    panels: tuple[str, ...]
    open_circuit: float
    short_circuit: float
    standing: Reading
    turning: Reading
    thresholds: dict[str, Thresholds]
    battery: float | None = None


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
    circuit, volts = _stored_in(circuit, band)
    fans = circuit_fans(circuit, band)
    panels = circuit_panels(circuit, np.array([irradiance]), np.array([temp_cell]), band)
    held, turning = (point(circuit, panels, fans, dict.fromkeys(fans, state)) for state in ("held", "turning"))
    return Expected(
        panels=circuit.panel_ids,
        open_circuit=float(held.open_circuit_voltage[0]),
        short_circuit=float(held.short_circuit_current[0]),
        standing=_reading(held),
        turning=_reading(turning),
        thresholds=start_and_run_down((circuit,), band),
        battery=volts,
    )


def _stored_in(circuit: Circuit, band: Band) -> tuple[Circuit, float | None]:
    """A circuit with its battery, if it has one, as it is in a band, and the voltage at its poles. [V]"""
    if circuit.storage is None:
        return circuit, None
    law = law_of(circuit.storage.battery)
    volts = {"low": law.cut_off, "high": law.absorption}.get(band.name, held_at(circuit.storage))
    return replace(circuit, storage=replace(circuit.storage, voltage=volts)), volts


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
